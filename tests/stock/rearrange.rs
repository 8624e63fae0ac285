//! Moving and renaming, older files, and photos of a tray that was posted before,
//! through the real program.

use crate::harbour::{Harbour, Row, sheet};
use cuptally::colour::{Swatch, SwatchBook};
use cuptally::sheet::{Piece, Sheet};
use cuptally::stock::format;
use serde_json::json;
use std::fs;

const ROSE: Row = ("plate", "2x4", "rose", 41, 40, 44);
const SAND: Row = ("tile", "1x2", "weathered sand", 33, 30, 35);
const GREY: Row = ("plate", "2x4", "grey 10", 7, 7, 7);

/// `cup 10`: roses and greys; `cup 2`: roses; pending sand in both.
fn stocked() -> Harbour {
    let harbour = Harbour::new();
    let quay = harbour.checked("quay", Some("cup 10"), &[ROSE, GREY]);
    let mole = harbour.checked("mole", Some("cup 2"), &[ROSE]);
    harbour.run(&["post", &quay, &mole]).code(0);
    for (name, place) in [("slip", "cup 2"), ("lock", "cup 10")] {
        let sheet = harbour.sheet(name, Some(place), &[SAND]);
        harbour.run(&["post", &sheet, "--add"]).code(3);
    }
    harbour
}

/// Runs a change, then undoes it: what was there must be back. Gives what it said.
fn changed(harbour: &Harbour, args: &[&str]) -> (String, Vec<String>, Vec<String>) {
    let before = harbour.stock().contents;
    let said = harbour.run(args).code(0).out;
    let rows = (harbour.checked_rows(), harbour.pending_rows());
    harbour.run(&["stock", "undo"]).code(0);
    assert_eq!(harbour.stock().contents, before, "{args:?}");
    (said, rows.0, rows.1)
}

#[test]
fn pieces_move_with_their_ranges_and_what_is_pending() {
    let harbour = stocked();
    let (said, rows, pending) = changed(
        &harbour,
        &["stock", "move", "--from", "cup 10", "--to", "cup 2"],
    );
    assert_eq!(
        said,
        "Entry 4: moved: cup 10 -48, -33 (30-35) pending; cup 2 +48, +33 (30-35) pending.\n"
    );
    assert_eq!(
        rows,
        [
            "cup 2: plate 2x4 grey 10 7",
            "cup 2: plate 2x4 rose 82 (80-88)"
        ]
    );
    assert_eq!(pending.len(), 2);
    assert!(pending.iter().all(|row| row.starts_with("cup 2: ")));

    let some = [
        "stock",
        "move",
        "8 plate 2x4 rose",
        "plate 2x4 grey 10",
        "--from",
        "cup 10",
        "--to",
        "drawer",
        "--note",
        "for the ramp",
    ];
    let (said, rows, _) = changed(&harbour, &some);
    assert_eq!(
        said,
        "Entry 6: moved (for the ramp): cup 10 -15; drawer +15.\n"
    );
    assert_eq!(
        rows,
        [
            "cup 10: plate 2x4 rose 33 (32-36)",
            "cup 2: plate 2x4 rose 41 (40-44)",
            "drawer: plate 2x4 grey 10 7",
            "drawer: plate 2x4 rose 8"
        ]
    );
    // All of a kind takes its doubt along.
    let all = [
        "stock",
        "move",
        "plate 2x4 rose",
        "--from",
        "cup 10",
        "--to",
        "drawer",
    ];
    let (_, rows, _) = changed(&harbour, &all);
    assert!(
        rows.contains(&"drawer: plate 2x4 rose 41 (40-44)".to_owned()),
        "{rows:?}"
    );

    let before = fs::read(harbour.stock_file()).unwrap();
    for (args, says) in [
        (
            &["--from", "cup 2", "--to", "cup 2"][..],
            "cup 2 is where the pieces are",
        ),
        (&["--from", "cup 3", "--to", "cup 2"], "cup 3 holds nothing"),
        (
            &[
                "42 plate 2x4 rose",
                "brick 1x1 rose",
                "--from",
                "cup 2",
                "--to",
                "cup 3",
            ],
            "42 plate 2x4 rose wanted, but cup 2 holds 41 (40-44)\n  1 brick 1x1 rose wanted, but cup 2 holds none",
        ),
        (
            &[
                "tile 1x2 weathered sand",
                "--from",
                "cup 2",
                "--to",
                "cup 3",
            ],
            "cup 2 holds none and 33 (30-35) pending: look at them with `cuptally review`, or take them as counted with `cuptally stock confirm`",
        ),
    ] {
        harbour
            .run(&[&["stock", "move"], args].concat())
            .code(1)
            .says(says);
    }
    assert_eq!(fs::read(harbour.stock_file()).unwrap(), before);
}

/// An import makes one pending sheet a place, all of one entry and one table.
#[test]
fn pending_pieces_of_one_table_are_not_lost_when_their_places_become_one() {
    let harbour = Harbour::new();
    let table = "place,form,size,colour,count,status\n\
                 cup 1,plate,2x4,rose,4,pending\ncup 2,plate,2x4,rose,4,pending\n";
    fs::write(harbour.path("t.csv"), table).unwrap();
    harbour.run(&["stock", "import", "t.csv"]).code(3);
    let merge = ["stock", "rename", "place", "cup 1", "cup 2", "--merge"];
    let (_, _, pending) = changed(&harbour, &merge);
    assert_eq!(pending, ["cup 2: plate 2x4 rose 8"]);
}

#[test]
fn places_and_colours_get_other_names_and_become_one() {
    let harbour = stocked();
    let rename = |args: &[&'static str]| [&["stock", "rename"], args].concat();
    let (said, rows, pending) = changed(&harbour, &rename(&["place", "cup 10", "drawer"]));
    assert_eq!(said, "Entry 4: renamed the place cup 10 to drawer.\n");
    assert!(rows.contains(&"drawer: plate 2x4 rose 41 (40-44)".to_owned()));
    assert!(pending.contains(&"drawer: tile 1x2 weathered sand 33 (30-35)".to_owned()));

    let (_, rows, _) = changed(&harbour, &rename(&["colour", "rose", "hull-red"]));
    assert!(rows.contains(&"cup 2: plate 2x4 hull-red 41 (40-44)".to_owned()));
    let (_, rows, _) = changed(&harbour, &rename(&["colour", "rose", "grey 10", "--merge"]));
    assert!(
        rows.contains(&"cup 10: plate 2x4 grey 10 48 (47-51)".to_owned()),
        "{rows:?}"
    );
    let (_, _, pending) = changed(
        &harbour,
        &rename(&["colour", "weathered sand", "rose", "--merge"]),
    );
    assert!(
        pending
            .iter()
            .all(|row| row.ends_with("tile 1x2 rose 33 (30-35)"))
    );

    let before = fs::read(harbour.stock_file()).unwrap();
    for (args, code, says) in [
        (
            &["place", "cup 10", "cup 2"][..],
            2,
            "there is a place cup 2 already; say --merge",
        ),
        (
            &["colour", "rose", "grey 10"],
            2,
            "there is a colour grey 10 already; say --merge",
        ),
        (
            &["colour", "rose", "rose"],
            2,
            "the colour is called rose already",
        ),
        (
            &["place", "cup 9", "cup 8"],
            1,
            "no place in stock is called cup 9",
        ),
        (
            &["colour", "Rose", "x"],
            1,
            "no colour in stock is called Rose; `cuptally stock --by colour` lists them",
        ),
        (&["shape", "a", "b"], 2, "invalid value 'shape'"),
    ] {
        harbour.run(&rename(args)).code(code).says(says);
    }
    assert_eq!(fs::read(harbour.stock_file()).unwrap(), before);
}

#[test]
fn a_renamed_colour_that_was_taught_is_pointed_out() {
    let harbour = stocked();
    let folder = harbour.home().join("calibration");
    fs::create_dir_all(&folder).unwrap();
    // Written by the library, so that this test follows its format.
    let swatch = Swatch {
        name: "rose".to_owned(),
        samples: vec![[55.0, 40.0, 8.0]],
        light: "kitchen".to_owned(),
        flaw: None,
        from: None,
    };
    let mut book = SwatchBook::default();
    book.teach(swatch).unwrap();
    fs::write(folder.join("swatches.json"), book.to_json().unwrap()).unwrap();
    harbour
        .run(&["stock", "rename", "colour", "rose", "hull-red"])
        .code(0)
        .says("'rose' is still the name of a taught colour");
    let quiet = harbour.run(&["stock", "rename", "colour", "hull-red", "a"]);
    assert_eq!(quiet.code(0).err, "");
}

#[test]
fn numbered_names_stand_in_the_order_of_their_numbers_and_sizes_are_found_exactly() {
    let harbour = Harbour::new();
    let colours: Vec<String> = (1..=11).rev().map(|n| format!("grey {n}")).collect();
    let mut rows: Vec<Row> = colours
        .iter()
        .map(|colour| ("plate", "1x1", colour.as_str(), 1, 1, 1))
        .collect();
    rows.push(("plate", "1x16", "grey 1", 1, 1, 1));
    let sheet = harbour.checked("greys", Some("cup 3"), &rows);
    harbour.run(&["post", &sheet]).code(0);
    let json = harbour
        .run(&["stock", "--json", "--find", "1x1"])
        .code(0)
        .json();
    let found: Vec<&str> = json["groups"][0]["rows"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row["colour"].as_str().unwrap())
        .collect();
    let wanted: Vec<String> = (1..=11).map(|n| format!("grey {n}")).collect();
    assert_eq!(found, wanted);
    for (find, total) in [("16x1", 1), ("x1", 12), ("grey 1x1", 11), ("GREY 11", 1)] {
        let json = harbour
            .run(&["stock", "--json", "--find", find])
            .code(0)
            .json();
        assert_eq!(json["total"]["checked"]["count"], total, "{find}");
    }
}

/// A sheet with pieces in these spots.
fn tray(name: &str, spots: &[(&str, f64, f64)]) -> Sheet {
    let mut sheet = sheet(name, Some("cup 3"), true, &[GREY]);
    let piece = sheet.pieces[0].clone();
    sheet.pieces = spots
        .iter()
        .map(|&(size, x_mm, y_mm)| Piece {
            size: size.to_owned(),
            x_mm,
            y_mm,
            ..piece.clone()
        })
        .collect();
    sheet
}

const TRAY: [(&str, f64, f64); 5] = [
    ("2x4", 95.2, 120.4),
    ("1x2", -30.0, 44.0),
    ("2x2", 10.0, 150.0),
    ("1x1", 60.0, 90.6),
    ("1x1", 120.0, 96.0),
];

#[test]
fn another_photo_of_a_posted_tray_is_pointed_out_and_left_to_the_user() {
    let harbour = Harbour::new();
    let first = harbour.write_sheet("first", &tray("first", &TRAY));
    assert_eq!(harbour.run(&["post", &first]).code(0).err, "");
    // Taken again: spots a little off, one piece out of view.
    let again: Vec<_> = TRAY[1..]
        .iter()
        .map(|(s, x, y)| (*s, x + 1.3, y - 0.9))
        .collect();
    let again = harbour.write_sheet("again", &tray("again", &again));
    let ended = harbour.run(&["post", &again, "--add", "--json"]).code(3).says(
        "look: again.sheet.json seems to show the same tray as first.jpg (cup 3), posted by entry 1: \
         4 of 4 pieces lie in the same spots.",
    );
    assert_eq!(
        ended.json()["alike"],
        json!([{"sheet": "again.sheet.json", "photo": "first.jpg", "place": "cup 3", "entry": 1, "same": 4, "of": 4}])
    );
    assert!(
        ended
            .err
            .contains("take it back with `cuptally stock undo 2`"),
        "{ended:?}"
    );
    assert_eq!(harbour.checked_rows(), ["cup 3: plate 2x4 grey 10 14"]);
    harbour.run(&["stock", "undo", "2"]).code(0);

    // Counting the place anew by a new photo of the same tray counts nothing twice.
    let ended = harbour.run(&["post", &again, "--recount"]).code(0);
    assert_eq!(ended.err, "");
    // Nor does another tray look like it.
    let spread: Vec<_> = TRAY.iter().map(|(s, x, y)| (*s, x + 9.0, *y)).collect();
    let other = harbour.write_sheet("other", &tray("other", &spread));
    assert_eq!(harbour.run(&["post", &other, "--add"]).code(0).err, "");
    // Two photos of one tray in one call.
    let (a, b) = (tray("a", &TRAY[..3]), tray("b", &TRAY[..4]));
    let (a, b) = (harbour.write_sheet("a", &a), harbour.write_sheet("b", &b));
    harbour
        .run(&["post", &a, &b, "--place", "cup 5"])
        .code(3)
        .says("b.sheet.json seems to show the same tray as a.jpg (cup 5), of this post: 3 of 3");
}

#[test]
fn an_older_file_is_read_as_it_is_and_brought_to_the_newest_version_by_the_next_change() {
    an_older_file_is_brought_up("v1", V1_ROWS, ("6", "brought back entry 5"));
    an_older_file_is_brought_up("v2", V2_ROWS, ("9", "undid entry 9 (moved"));
}

/// What lies in the older files after the pending sheet was taken as counted, by hand from the files.
const V1_ROWS: &[&str] = &[
    "cup 10: brick 2x4 basalt 41 (40-42)",
    "cup 10: plate 2x4 rose 7",
    "cup 2: plate 2x4 rose 7",
    "cup 2: tile 1x2 weathered sand 36 (33-38, 3 taken as counted)",
    "drawer 1: plate 1x1 =fog 12",
];
const V2_ROWS: &[&str] = &[
    "cup 10: brick 2x4 basalt 41 (40-42)",
    "cup 10: plate 2x4 hull-red 7",
    "cup 2: plate 2x4 hull-red 4",
    "cup 2: tile 1x2 weathered sand 36 (33-38, 3 taken as counted)",
    "drawer 2: plate 1x1 =fog 12",
];

fn an_older_file_is_brought_up(version: &str, rows: &[&str], undo: (&str, &str)) {
    let harbour = Harbour::new();
    fs::create_dir_all(harbour.home()).unwrap();
    let old = fs::read(format!("tests/data/stock/{version}.json")).unwrap();
    fs::write(harbour.stock_file(), &old).unwrap();
    let schema = |version: &str| {
        let path = format!("docs/stock-{version}.schema.json");
        let schema = serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap();
        jsonschema::validator_for(&schema).unwrap()
    };
    schema(version)
        .validate(&serde_json::from_slice(&old).unwrap())
        .unwrap();
    let kept = format!("stock.json.{version}");
    let before = harbour.stock();
    harbour.run(&["stock"]).code(3);
    harbour.run(&["stock", "check"]).code(0);
    assert_eq!(
        fs::read(harbour.stock_file()).unwrap(),
        old,
        "looking changes nothing"
    );

    harbour.run(&["stock", "confirm", "2"]).code(0);
    let new = fs::read(harbour.stock_file()).unwrap();
    schema("v3")
        .validate(&serde_json::from_slice(&new).unwrap())
        .unwrap();
    let after = harbour.stock();
    assert_eq!(
        after.history[..before.history.len()],
        before.history[..],
        "nothing of it is lost"
    );
    assert_eq!(fs::read(harbour.home().join(&kept)).unwrap(), old);
    assert_eq!(harbour.checked_rows(), rows);
    // Entries of then can be undone today, and the older copy stays as it is.
    let (entry, says) = undo;
    harbour.run(&["stock", "undo", entry]).code(0).prints(says);
    assert_eq!(fs::read(harbour.home().join(&kept)).unwrap(), old);
    assert_eq!(format::parse(&new).unwrap(), after);
    harbour
        .run(&["stock", "export", "--out", &format!("home/{kept}")])
        .code(2)
        .says("belongs to the stock itself");
}
