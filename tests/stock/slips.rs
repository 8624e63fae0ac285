//! What a hand types: slips are pointed out, beginnings will do, quotes may be left out.

use crate::harbour::Harbour;

fn harbour() -> Harbour {
    let harbour = Harbour::new();
    for (pieces, place) in [
        ("50 plate 1x2 tar", "drawer 1"),
        ("9 plate 2x4 fog", "cup 3, sea wall"),
        ("4 plate 2x4 fog", "cup 30"),
    ] {
        let args = ["stock", "put", pieces, "--place", place, "--new"];
        harbour.run(&args).code(0);
    }
    harbour
}

#[test]
fn an_unknown_colour_needs_to_be_called_new() {
    let harbour = harbour();
    let before = harbour.checked_rows();
    let put = |pieces: &str, more: &[&str]| {
        let args = ["stock", "put", pieces, "--place", "drawer 1"];
        harbour.run(&[&args[..], more].concat())
    };
    put("50 plate 1x2 tarr", &[])
        .code(2)
        .says("no colour 'tarr' was ever in stock or taught; did you mean 'tar'? For a new colour say --new");
    put("50 plate 1x2 mint", &[])
        .code(2)
        .says("for a new colour say --new");
    assert_eq!(harbour.checked_rows(), before);
    put("50 plate 1x2 mint", &["--new"]).code(0);
    // From then on it is known, also when there is none of it left.
    harbour.run(&["stock", "undo"]).code(0);
    put("2 plate 1x2 mint", &[]).code(0);
}

#[test]
fn a_mistyped_piece_is_not_just_none() {
    let harbour = harbour();
    let take = |pieces: &str| harbour.run(&["stock", "take", pieces]);
    take("50 plate 1x2 tarr")
        .code(1)
        .says("there are none; did you mean 'tar'?");
    take("5 plat 1x2 tar").code(1).says("did you mean 'plate'?");
    take("5 plates 1x2 tar").code(0).prints("drawer 1 -5");
    harbour
        .run(&["stock", "put", "5 bricks 1x2 tar", "--place", "drawer 1"])
        .code(0)
        .prints("brick 1x2");
    harbour
        .run(&[
            "stock",
            "move",
            "bricks 1x2 tar",
            "--from",
            "drawer 1",
            "--to",
            "cup 30",
        ])
        .code(0);
}

#[test]
fn the_beginning_of_a_place_will_do() {
    let harbour = harbour();
    harbour
        .run(&["stock", "take", "2 plate 2x4 fog", "--from", "cup 3"])
        .code(0)
        .prints("cup 3, sea wall -2");
    harbour
        .run(&["stock", "take", "2 plate 2x4 fog", "--from", "cup"])
        .code(1)
        .says("'cup' may be 'cup 3, sea wall' or 'cup 30'; say the whole name");
    harbour
        .run(&["stock", "take", "2 plate 1x2 tar", "--from", "drawwer 1"])
        .code(1)
        .says("no place is called 'drawwer 1'; did you mean 'drawer 1'?");
    harbour
        .run(&["stock", "move", "--from", "cup 3", "--to", "tin"])
        .code(0)
        .prints("cup 3, sea wall -7");
}

#[test]
fn quotes_may_be_left_out() {
    let harbour = harbour();
    let take = |words: &[&str]| harbour.run(&[&["stock", "take"], words].concat());
    take(&["2", "plate", "1x2", "tar"])
        .code(0)
        .prints("drawer 1 -2");
    take(&[
        "2", "plates", "2x1", "tar", "3", "plate", "2x4", "fog", "--from", "cup 30", "--from",
        "drawer 1",
    ])
    .code(0)
    .prints("cup 30 -3; drawer 1 -2");
    take(&["2", "plate", "tar"])
        .code(2)
        .says("write each kind in quotes");
}
