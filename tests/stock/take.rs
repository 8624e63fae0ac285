//! `cuptally stock take` and `put` through the real program.

use crate::harbour::{Harbour, Row};
use serde_json::json;
use std::fs;

const ROSE: Row = ("plate", "2x4", "rose", 41, 40, 44);
const SAND: Row = ("tile", "1x2", "weathered sand", 33, 33, 33);

/// `cup 10` and `cup 2` hold roses, `cup 2` has sand too, some of it pending.
fn stocked() -> Harbour {
    let harbour = Harbour::new();
    let quay = harbour.checked("quay", Some("cup 10"), &[ROSE]);
    let mole = harbour.checked("mole", Some("cup 2"), &[ROSE, SAND]);
    harbour.run(&["post", &quay, &mole]).code(0);
    let slip = harbour.sheet("slip", Some("cup 2"), &[SAND]);
    harbour.run(&["post", &slip, "--add"]).code(3);
    harbour
}

#[test]
fn what_is_taken_is_gone_in_one_entry_and_comes_back_by_undo() {
    let harbour = stocked();
    let before = harbour.stock().contents;
    harbour
        .run(&[
            "stock",
            "take",
            "50 plate 4x2 rose",
            "3 tile 1x2 weathered sand",
            "--from",
            "cup 10",
            "--from",
            "cup 2",
            "--for",
            "ramp",
        ])
        .code(0)
        .prints("Entry 3: took (ramp): cup 10 -41; cup 2 -12.")
        .prints(" cup 2    plate 2x4   rose                  9   32 (31-35)\n");
    assert_eq!(
        harbour.checked_rows(),
        [
            // All 41 went; up to three may have been overlooked.
            "cup 10: plate 2x4 rose 0 (0-3)",
            "cup 2: plate 2x4 rose 32 (31-35)",
            "cup 2: tile 1x2 weathered sand 30",
        ]
    );
    assert_eq!(harbour.stock().history.len(), 3);
    harbour
        .run(&["stock", "history"])
        .code(0)
        .prints("took (ramp): cup 10 -41; cup 2 -12");
    harbour.run(&["stock", "undo"]).code(0);
    assert_eq!(harbour.stock().contents, before);
}

#[test]
fn what_is_not_there_is_told_whole_and_nothing_is_taken() {
    let harbour = stocked();
    let before = fs::read(harbour.stock_file()).unwrap();
    let take = |args: &[&str]| harbour.run(&[&["stock", "take"], args].concat());
    take(&["8 plate 2x4 rose"]).code(2).says(
        "these lie in more than one place; name it with --from PLACE, or say --anywhere: \
         8 plate 2x4 rose: 41 (40-44) in cup 2, 41 (40-44) in cup 10",
    );
    let ended = take(&[
        "83 plate 2x4 rose",
        "34 tile 1x2 weathered sand",
        "1 brick 2x4 rose",
        "1 tile 1x2 weathered sand",
        "--anywhere",
    ])
    .code(1);
    assert_eq!(
        ended.err,
        "cuptally: nothing was taken:
  83 plate 2x4 rose wanted, but there are 82 (80-88)
  34 tile 1x2 weathered sand wanted, but there are 33 and 33 pending: look at them with `cuptally review`, or take them as counted with `cuptally stock confirm`
  1 brick 2x4 rose wanted, but there are none
  1 tile 1x2 weathered sand wanted, but there are 33 and 33 pending: look at them with `cuptally review`, or take them as counted with `cuptally stock confirm`
"
    );
    // Two lines of one kind may not each take the same pieces.
    take(&["41 plate 2x4 rose", "1 plate 2x4 rose", "--from", "cup 10"])
        .code(1)
        .says("1 plate 2x4 rose wanted, but cup 10 holds 41 (40-44)");
    take(&["1 plate 2x4 rose", "--from", "cup 77"])
        .code(1)
        .says("cup 77 holds none");
    for wrong in [
        &["8"][..],
        &["0 plate 2x4 rose"],
        &["plate 2x4 rose"],
        &["1 plate 2x4 rose", "--from", "\u{7}"],
        &["1 plate 2x4 rose", "--for", ""],
        &["1 plate 2x4 rose", "--anywhere", "--from", "cup 2"],
        &[],
    ] {
        take(wrong).code(2);
    }
    assert_eq!(fs::read(harbour.stock_file()).unwrap(), before);
}

#[test]
fn pieces_bought_by_count_are_put_in() {
    let harbour = Harbour::new();
    harbour
        .run(&["stock", "take", "1 plate 2x4 rose"])
        .code(1)
        .says("there is no stock file");
    assert!(!harbour.home().exists(), "taking makes nothing");
    let json = harbour
        .run(&[
            "stock",
            "put",
            "20 plate 2x4 rose",
            "5 plate 2x4 rose",
            "--place",
            "drawer 1",
            "--note",
            "harbour fair",
            "--json",
        ])
        .code(0)
        .json();
    assert_eq!(
        json,
        json!({"entry": 1, "pieces": [{
            "place": "drawer 1", "form": "plate", "size": "2x4", "colour": "rose",
            "moved": 25, "now": {"count": 25, "low": 25, "high": 25}
        }]})
    );
    harbour
        .run(&["stock", "put", "1 plate 2x4 Rose", "--place", "drawer 1"])
        .code(2)
        .says("did you mean 'rose'?");
    harbour
        .run(&[
            "stock",
            "put",
            "1 plate 2x4 Rose",
            "--place",
            "drawer 1",
            "--new",
        ])
        .code(0)
        .says("'Rose' is new and differs from 'rose' only in upper and lower case");
    harbour
        .run(&["stock", "history"])
        .code(0)
        .prints("put in (harbour fair): drawer 1 +25");
    // One place only, so it need not be named.
    harbour.run(&["stock", "take", "25 plate 2x4 rose"]).code(0);
    assert_eq!(harbour.checked_rows(), ["drawer 1: plate 2x4 Rose 1"]);
    harbour
        .run(&[
            "stock",
            "put",
            "999999999999 plate 2x4 Rose",
            "2 plate 2x4 Rose",
            "--place",
            "d",
        ])
        .code(1)
        .says("that is more than 1000000000000 pieces");
    harbour.run(&["stock", "put", "1 plate 2x4 Rose"]).code(2);
}

/// An option is not what was meant, and pieces that no list has are put in, but pointed out.
#[test]
fn what_looks_mistyped_is_told_when_it_is_put_in() {
    let harbour = Harbour::new();
    for args in [
        &["stock", "put", "-3 plate 2x4 tar", "--place", "cup 1"][..],
        &["stock", "take", "2 plate 2x4 tar", "-3 plate 2x4 tar"],
    ] {
        let ended = harbour.run(args).code(2);
        assert_eq!(
            ended.err,
            "cuptally: '-3 plate 2x4 tar' begins with a number below 0; say how many as a whole number from 1, such as \"8 plate 2x4 rose\"\n"
        );
    }
    assert!(!harbour.home().exists());
    let put = |pieces: &str| {
        let ended = harbour.run(&["stock", "put", pieces, "--place", "cup 1"]);
        ended.code(0).err
    };
    for (pieces, says) in [
        (
            "3 plte 2x4 tar",
            "no form 'plte' is in the list of shapes, was ever in stock or is on offer; did you mean 'plate'? (to take this back: cuptally stock undo)",
        ),
        (
            "3 plate 2x9 tar",
            "no plate 2x9 is in the list of shapes, was ever in stock or is on offer; did you mean 'plate 2x8'?",
        ),
        (
            "3 tile 9x9 tar",
            "check the size, unless you have such pieces",
        ),
    ] {
        let told = put(pieces);
        assert!(told.contains(says), "no '{says}' in {told}");
        assert_eq!(put(pieces), "", "what is in stock is known");
    }
    assert_eq!(put("3 plate 2x4 tar"), "");
    let own = harbour.home().join("calibration");
    fs::create_dir(&own).unwrap();
    let list = r#"{"shapes": "v1", "pieces": [{"form": "plate", "sizes": ["8x8"], "height_mm": 3.2, "studs": "all"}]}"#;
    fs::write(own.join("shapes.json"), list).unwrap();
    assert_eq!(put("3 plate 8x8 tar"), "", "the user's own list has it");
}
