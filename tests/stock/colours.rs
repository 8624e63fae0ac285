//! `cuptally colours`: what was taught and what the stock holds of a colour, renamed, made one, forgotten.

use crate::harbour::Harbour;
use cuptally::colour::{Swatch, SwatchBook};
use serde_json::Value;
use std::fs;
use std::path::Path;

/// Kelp and moss look alike, rose stands apart; the cup holds kelp and moss.
fn taught() -> Harbour {
    let harbour = Harbour::new();
    let mut book = SwatchBook::default();
    for (name, light, lab) in [
        ("kelp", "kitchen", [40.0, -30.0, 25.0]),
        ("kelp", "window", [41.0, -31.0, 25.0]),
        ("moss", "kitchen", [42.0, -30.0, 26.0]),
        ("rose", "kitchen", [55.0, 40.0, 8.0]),
    ] {
        let swatch = Swatch {
            name: name.to_owned(),
            samples: vec![lab],
            light: light.to_owned(),
            flaw: None,
            from: None,
        };
        book.teach(swatch).unwrap();
    }
    let folder = harbour.home().join("calibration");
    fs::create_dir_all(&folder).unwrap();
    fs::write(folder.join("swatches.json"), book.to_json().unwrap()).unwrap();
    let rows = [
        ("plate", "2x4", "kelp", 8, 8, 8),
        ("plate", "2x4", "moss", 3, 3, 3),
    ];
    let sheet = harbour.checked("cup-1", Some("cup 1"), &rows);
    harbour.run(&["post", &sheet]).code(0);
    harbour
}

fn names(harbour: &Harbour) -> Vec<String> {
    let path = harbour.home().join("calibration/swatches.json");
    let book = SwatchBook::from_json(&fs::read_to_string(path).unwrap()).unwrap();
    book.names().into_iter().map(str::to_owned).collect()
}

#[test]
fn the_list_tells_lights_and_neighbours_in_words_and_figures_when_asked() {
    let harbour = taught();
    let told = harbour.run(&["colours"]).code(0);
    let line = |name: &str| {
        let mut lines = told.out.lines();
        let line = lines
            .find(|line| line.trim_start().starts_with(name))
            .unwrap();
        line.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert!(
        line("kelp").ends_with("green kitchen, window moss"),
        "{}",
        told.out
    );
    assert!(line("rose").ends_with("pink kitchen"), "{}", told.out);
    assert!(!told.out.contains("40.0"), "{}", told.out);
    harbour.run(&["colours", "-v"]).code(0).prints("40.0");
    let json = harbour.run(&["colours", "--json"]).code(0).json();
    assert_eq!(json.as_array().unwrap().len(), 3);
    assert_eq!(json[0]["alike"][0]["name"], "moss");
    assert_eq!(json[0]["lights"][1]["light"], "window");
    let none = Harbour::new();
    fs::create_dir_all(none.home()).unwrap();
    none.run(&["colours"])
        .code(0)
        .prints("no colour was taught yet");
    assert_eq!(
        none.run(&["colours", "--json"]).code(0).json(),
        Value::Array(vec![])
    );
}

#[test]
fn a_colour_is_renamed_in_the_teaching_and_in_the_stock_and_back() {
    let harbour = taught();
    let before = (names(&harbour), harbour.checked_rows());
    harbour
        .run(&["colours", "rename", "kelp", "sea wrack"])
        .code(0)
        .prints("Entry 2:")
        .prints("the taught colour kelp is called sea wrack now")
        .prints("to take it back: cuptally colours rename \"sea wrack\" kelp");
    assert_eq!(names(&harbour), ["moss", "rose", "sea wrack"]);
    assert_eq!(
        harbour.checked_rows(),
        ["cup 1: plate 2x4 moss 3", "cup 1: plate 2x4 sea wrack 8"]
    );
    harbour
        .run(&["colours", "rename", "sea wrack", "kelp"])
        .code(0);
    assert_eq!((names(&harbour), harbour.checked_rows()), before);
}

#[test]
fn a_rename_that_was_stopped_half_way_is_finished_by_saying_it_again() {
    let harbour = taught();
    // The stock is changed first: what a stop behind that leaves.
    harbour
        .run(&["stock", "rename", "colour", "kelp", "wrack"])
        .code(0)
        .says("`cuptally colours rename kelp wrack` gives that the new name too");
    assert_eq!(names(&harbour), ["kelp", "moss", "rose"]);
    harbour
        .run(&["colours", "rename", "kelp", "wrack"])
        .code(0)
        .prints("the stock holds nothing of kelp");
    assert_eq!(names(&harbour), ["moss", "rose", "wrack"]);
    assert_eq!(harbour.stock().history.len(), 2);
    // The same of two made one.
    harbour
        .run(&["stock", "rename", "colour", "moss", "wrack", "--merge"])
        .code(0);
    harbour
        .run(&["colours", "merge", "moss", "into", "wrack"])
        .code(0);
    assert_eq!(names(&harbour), ["rose", "wrack"]);
    assert_eq!(harbour.checked_rows(), ["cup 1: plate 2x4 wrack 11"]);
}

#[test]
fn two_colours_are_made_one_in_the_teaching_and_in_the_stock() {
    let harbour = taught();
    harbour
        .run(&["colours", "rename", "moss", "kelp"])
        .code(2)
        .says("there is a colour 'kelp' already; if the two are one, say `cuptally colours merge moss kelp`");
    assert_eq!(names(&harbour).len(), 3);
    harbour
        .run(&["colours", "merge", "moss", "kelp"])
        .code(0)
        .prints("what was taught of moss counts as kelp now");
    assert_eq!(names(&harbour), ["kelp", "rose"]);
    assert_eq!(harbour.checked_rows(), ["cup 1: plate 2x4 kelp 11"]);
    let json = harbour.run(&["colours", "--json"]).json();
    // Both stand together in the light that both were taught in.
    assert_eq!(json[0]["lights"][0]["lab"][0], 41.0);
}

#[test]
fn what_is_forgotten_is_said_and_the_stock_keeps_it() {
    let harbour = taught();
    harbour
        .run(&["colours", "forget", "kelp", "--light", "window"])
        .code(0)
        .prints("it is still known in others");
    harbour
        .run(&["colours", "forget", "kelp", "--light", "window"])
        .code(1)
        .says("kelp was not taught in light 'window', but in kitchen");
    let rows = harbour.checked_rows();
    harbour
        .run(&["colours", "forget", "kelp"])
        .code(0)
        .prints("the stock keeps what it holds of it: 8 pieces in 1 place");
    assert_eq!((names(&harbour).len(), harbour.checked_rows()), (2, rows));
    harbour
        .run(&["colours", "forget", "kelp"])
        .code(1)
        .says("'kelp' was never taught");
}

#[test]
fn unknown_names_are_told_with_what_was_probably_meant() {
    let harbour = taught();
    for args in [
        &["rename", "kelpp", "wrack"][..],
        &["merge", "kelpp", "moss"],
        &["merge", "moss", "into", "kelpp"],
        &["forget", "kelpp"],
    ] {
        let call = [&["colours"][..], args].concat();
        harbour.run(&call).code(1).says("did you mean 'kelp'?");
    }
    harbour
        .run(&["colours", "forget", "parrot"])
        .code(1)
        .says("`cuptally colours` lists");
    harbour
        .run(&["colours", "merge", "a", "b", "c"])
        .code(2)
        .says("merge takes two colours");
}

#[test]
fn sheets_that_are_not_posted_are_told_of_and_left() {
    let harbour = taught();
    let sheets = harbour.home().join("sheets");
    fs::create_dir_all(&sheets).unwrap();
    let mut bytes = Vec::new();
    for (name, colour) in [("cup-2", "kelp"), ("cup-3", "rose")] {
        let file = harbour.sheet(name, None, &[("plate", "2x4", colour, 1, 1, 1)]);
        fs::copy(harbour.path(&file), sheets.join(&file)).unwrap();
        bytes.push(fs::read(sheets.join(file)).unwrap());
    }
    // The one that was posted says nothing that matters any more.
    fs::copy(
        harbour.path("cup-1.sheet.json"),
        sheets.join("cup-1.sheet.json"),
    )
    .unwrap();
    harbour
        .run(&["colours", "rename", "kelp", "wrack"])
        .code(3)
        .prints("1 sheet that is not posted yet still names it");
    let left = |name: &str| fs::read(sheets.join(Path::new(name))).unwrap();
    assert_eq!(
        [left("cup-2.sheet.json"), left("cup-3.sheet.json")].as_slice(),
        bytes
    );
}
