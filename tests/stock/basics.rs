//! `cuptally stock` through the real program.

use crate::harbour::{Harbour, Row, hash};
use serde_json::{Value, json};
use std::fs;

const BASALT: Row = ("brick", "2x4", "basalt", 41, 40, 42);
const ROSE: Row = ("plate", "2x4", "rose", 7, 7, 7);
const SAND: Row = ("tile", "1x2", "weathered sand", 33, 30, 35);

/// Two checked places and a pending one: entries 1 and 2.
fn stocked() -> Harbour {
    let harbour = Harbour::new();
    let quay = harbour.checked("quay", Some("cup 10"), &[BASALT, ROSE]);
    let mole = harbour.checked("mole", Some("cup 2"), &[ROSE]);
    harbour.run(&["post", &quay, &mole]).code(0);
    let slip = harbour.sheet("slip", Some("cup 2"), &[SAND]);
    harbour.run(&["post", &slip, "--add"]).code(3);
    harbour
}

#[test]
fn the_table_reads_well_and_fits_80_columns() {
    let harbour = stocked();
    let by_place = harbour.run(&["stock"]).code(3);
    assert_eq!(
        by_place.out,
        "
 Place    Piece       Colour              Checked      Pending
───────────────────────────────────────────────────────────────
 cup 2    2 kinds                       7           33 (30-35)
          plate 2x4   rose              7
          tile 1x2    weathered sand                33 (30-35)

 cup 10   2 kinds                      48 (47-49)
          brick 2x4   basalt           41 (40-42)
          plate 2x4   rose              7

 All                                   55 (54-56)   33 (30-35)

Pending: nobody has looked at these yet.
 Entry   Place   Photo or table   Hash           Pieces
────────────────────────────────────────────────────────
     2   cup 2   slip.jpg         HASHHASH   33 (30-35)
"
        .replace("HASHHASH", &hash("slip")[..8])
        .trim_start_matches('\n')
    );
    let long = "the long drawer under the model of the tidal gate, second from the left, back";
    let far = harbour.checked(
        "far",
        Some(long),
        &[(
            "plate",
            "16x16",
            "weathered sand of the inner harbour at low tide",
            123456,
            120000,
            130000,
        )],
    );
    harbour.run(&["post", &far]).code(0);
    for by in ["place", "piece", "colour"] {
        let ended = harbour.run(&["stock", "--by", by]).code(3);
        let widest = ended.out.lines().map(|line| line.chars().count()).max();
        assert!(widest <= Some(80), "{widest:?}\n{}", ended.out);
        assert!(
            ended.out.contains("123456 (120000-130000)"),
            "{}",
            ended.out
        );
    }
}

#[test]
fn pieces_are_gathered_and_found() {
    let harbour = stocked();
    let json = harbour
        .run(&["stock", "--by", "piece", "--json"])
        .code(3)
        .json();
    let names: Vec<&Value> = json["groups"]
        .as_array()
        .unwrap()
        .iter()
        .map(|g| &g["name"])
        .collect();
    assert_eq!(names, ["brick 2x4", "plate 2x4", "tile 1x2"]);
    assert_eq!(json["groups"][1]["total"]["checked"]["count"], 14);
    let seven = json!({"count": 7, "low": 7, "high": 7});
    let none = json!({"count": 0, "low": 0, "high": 0});
    assert_eq!(
        json["groups"][1]["rows"][0]["places"],
        json!([
            {"place": "cup 2", "checked": seven, "pending": none},
            {"place": "cup 10", "checked": seven, "pending": none}
        ])
    );
    harbour
        .run(&["stock", "--by", "piece"])
        .code(3)
        .prints("cup 2: 7; cup 10: 7");
    let json = harbour
        .run(&["stock", "--by", "colour", "--json", "--find", "ROSE cup"])
        .code(0)
        .json();
    assert_eq!(json["groups"].as_array().unwrap().len(), 1);
    assert_eq!(
        json["total"]["checked"],
        json!({"count": 14, "low": 14, "high": 14})
    );
    assert_eq!(
        json["pending"],
        json!([]),
        "nothing pending matches, so nothing needs a look"
    );
    let json = harbour
        .run(&["stock", "--json", "--find", "1x2"])
        .code(3)
        .json();
    assert_eq!(json["pending"][0]["file"], "slip.jpg");
    let none = harbour
        .run(&["stock", "--find", "gull"])
        .code(0)
        .says("nothing in stock matches 'gull'");
    assert_eq!(none.out, "");
}

#[test]
fn an_absent_stock_is_shown_as_such() {
    let harbour = Harbour::new();
    for args in [&["stock"][..], &["stock", "history"], &["stock", "check"]] {
        let ended = harbour.run(args).code(0).says("there is no stock file");
        assert_eq!(ended.out, "");
    }
    let ended = harbour.run(&["stock", "--json"]).code(0);
    assert_eq!(
        (ended.json()["groups"].clone(), ended.err.as_str()),
        (json!([]), "")
    );
    assert_eq!(
        harbour.run(&["stock", "history", "--json"]).code(0).json(),
        json!([])
    );
    harbour
        .run(&["stock", "undo"])
        .code(1)
        .says("there is no stock file");
    harbour
        .run(&["stock", "confirm", "1"])
        .code(1)
        .says("there is no stock file");
    assert!(!harbour.home().exists(), "looking makes nothing");
}

/// A name after `--home` that is mistyped would otherwise look like an empty stock.
#[test]
fn a_named_home_folder_must_be_there_to_be_looked_at() {
    let harbour = stocked();
    fs::write(harbour.path("file"), "text").unwrap();
    for rest in [
        &["stock"][..],
        &["stock", "--json"],
        &["stock", "export"],
        &["stock", "undo"],
        &["shapes"],
        &["review"],
        &["plan", "check", "x.csv"],
        &["cover", "x.csv"],
    ] {
        let absent = [&["--home", "typo"], rest].concat();
        let ended = harbour
            .run(&absent)
            .code(1)
            .says("there is no folder typo; check the name after --home, or leave it out");
        assert_eq!(ended.out, "");
        let file = [rest, &["--home", "file"]].concat();
        harbour
            .run(&file)
            .code(1)
            .says("file is a file, not a folder");
    }
    assert!(!harbour.path("typo").exists());
    // What brings pieces may begin one.
    let put = ["stock", "put", "2 plate 2x4 tar", "--place", "cup 1"];
    harbour
        .run(&[&["--home", "new"], &put[..]].concat())
        .code(0);
    harbour.run(&["--home", "new", "stock"]).code(0);
}

/// What is told to be typed next works as it stands, in the folder that `--home` named.
#[test]
fn a_told_command_goes_on_in_the_named_home_folder() {
    let harbour = Harbour::new();
    let slip = harbour.sheet("slip", Some("cup 2"), &[SAND]);
    harbour
        .run(&["--home", "my club", "post", &slip])
        .code(3)
        .says("put them right with `cuptally --home \"my club\" review`")
        .says("doubt and all, with `cuptally --home \"my club\" stock confirm 1`");
    harbour
        .run(&["--home", "my club", "stock"])
        .code(3)
        .says("doubt and all, with `cuptally --home \"my club\" stock confirm ENTRY`");
    harbour
        .run(&["--home", "my club", "stock", "undo"])
        .code(0)
        .prints("To bring it back: cuptally --home \"my club\" stock undo 2");
    harbour
        .run(&["demo", "--home", "my club"])
        .code(2)
        .says("leave --home out, and name that folder with --out");
}

#[test]
fn a_number_finds_whole_numbers_of_names_only() {
    let harbour = Harbour::new();
    for (pieces, place) in [
        ("1 plate 2x8 rose", "cup 2"),
        ("2 plate 1x8 rose", "cup 18"),
        ("4 plate 1x1 rose", "cup 8, left"),
        ("8 plate 1x1 grey 8", "cup 2"),
    ] {
        harbour
            .run(&["stock", "put", pieces, "--place", place, "--new"])
            .code(0);
    }
    let found = |text: &str| {
        let ended = harbour.run(&["stock", "--json", "--find", text]).code(0);
        ended.json()["total"]["checked"]["count"].as_u64().unwrap()
    };
    assert_eq!(found("cup 8"), 4 + 8, "the place, and the colour grey 8");
    assert_eq!(found("cup 8 rose"), 4);
    assert_eq!(found("8 left"), 4);
    assert_eq!(found("2x8"), 1);
    assert_eq!(found("cup 1"), 0, "neither cup 18 nor 1x8");
    assert_eq!(found("cup"), 15);
}

/// A photo's name stands whole where there is room, and is broken between its parts where there is not.
#[test]
fn long_file_names_can_be_read() {
    let harbour = Harbour::new();
    for (place, name) in [
        ("cup 3, sea wall", "plates-sorted-d65-window-48"),
        (
            "cup 4, warehouses",
            "north_side_of_the_harbour_second_try_20260502_101200",
        ),
    ] {
        let file = harbour.sheet(name, Some(place), &[ROSE]);
        harbour.run(&["post", &file]).code(3);
    }
    let pending = harbour.run(&["stock"]).code(3).out;
    for line in [
        "plates-sorted-d65-window-48.jpg ",
        "north_side_of_the_harbour_ ",
        "second_try_20260502_101200.jpg\n",
    ] {
        assert!(pending.contains(line), "no '{line}' in\n{pending}");
    }
    let history = harbour.run(&["stock", "history"]).code(0).out;
    for line in [
        "(plates-sorted-d65-window-48.jpg)\n",
        "(north_side_of_the_harbour_\n",
        " second_try_20260502_101200.jpg)\n",
    ] {
        assert!(history.contains(line), "no '{line}' in\n{history}");
    }
    for line in pending.lines().chain(history.lines()) {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

#[test]
fn history_tells_who_when_what_and_what_was_undone() {
    let harbour = stocked();
    harbour
        .run(&["stock", "undo", "1"])
        .code(0)
        .prints("Entry 3: undid entry 1 (added: ");
    let ended = harbour.run(&["stock", "history"]).code(0);
    for text in [
        "2026-05-02 10:12",
        "mara",
        "undid entry 1: cup 10 -48; cup 2 -7",
        "added: cup 2 +33 (30-35) pending (slip.jpg)",
        "[undone by",
    ] {
        assert!(ended.out.contains(text), "no '{text}' in\n{}", ended.out);
    }
    let json = harbour.run(&["stock", "history", "--json"]).code(0).json();
    let numbers: Vec<&Value> = json
        .as_array()
        .unwrap()
        .iter()
        .map(|e| &e["number"])
        .collect();
    assert_eq!(numbers, [3, 2, 1], "newest first");
    assert_eq!(json[2]["in_force"], false);
    assert_eq!(json[0]["undoes"], 1);
    harbour
        .run(&["stock", "history", "--last", "1"])
        .code(0)
        .says("2 earlier entries not shown");
    harbour
        .run(&["stock", "history", "2"])
        .code(0)
        .prints("tile 1x2")
        .prints("33 (30-35)");
    harbour
        .run(&["stock", "history", "9"])
        .code(1)
        .says("there is no entry 9; the history ends at 3");
}

#[test]
fn undo_goes_back_and_forth_and_refuses_what_others_stand_on() {
    let harbour = stocked();
    let full = harbour.stock().contents;
    harbour.run(&["stock", "undo"]).code(0);
    assert!(harbour.pending_rows().is_empty());
    harbour.run(&["stock", "undo"]).code(0);
    assert!(harbour.checked_rows().is_empty());
    harbour
        .run(&["stock", "undo"])
        .code(1)
        .says("there is nothing left to undo");
    harbour
        .run(&["stock"])
        .code(0)
        .prints("The stock is empty.");
    harbour
        .run(&["stock", "undo", "1"])
        .code(1)
        .says("entry 1 is undone already, by entry 4; to bring it back, undo 4");
    harbour
        .run(&["stock", "undo", "4"])
        .code(0)
        .prints("brought back entry 1");
    harbour.run(&["stock", "undo", "3"]).code(0);
    assert_eq!(harbour.stock().contents.places, full.places);
    assert_eq!(harbour.stock().contents.pending, full.pending);

    harbour.run(&["stock", "confirm", "2"]).code(0);
    harbour
        .run(&["stock", "undo", "2"])
        .code(1)
        .says("was taken off the pending list by entry 7; undo 7 first");
    let new = harbour.checked("new", None, &[ROSE]);
    harbour
        .run(&["post", &new, "--place", "cup 2", "--recount"])
        .code(0);
    harbour
        .run(&["stock", "undo", "7"])
        .code(1)
        .says("cup 2 was recounted since, by entry 8; undo 8 first");
    harbour
        .run(&["stock", "undo", "99"])
        .code(1)
        .says("there is no entry 99 to undo; the history ends at 8");
    harbour
        .run(&["stock", "undo", "0"])
        .code(1)
        .says("there is no entry 0");
    harbour.run(&["stock", "undo", "-1"]).code(2);
    assert_eq!(harbour.stock().history.len(), 8, "refusals leave no trace");
}

/// Pieces that a later version of the program took out: what it did is in the
/// steps, so this one can undo it, show it, and must not go below nothing.
#[test]
fn undo_never_leaves_fewer_than_none() {
    let harbour = Harbour::new();
    let quay = harbour.checked("quay", Some("cup 3"), &[ROSE]);
    harbour.run(&["post", &quay]).code(0);
    let mut value: Value =
        serde_json::from_slice(&fs::read(harbour.stock_file()).unwrap()).unwrap();
    let tally = |n: u64| json!({"count": n, "low": n, "high": n});
    value["history"].as_array_mut().unwrap().push(json!({
        "number": 2, "time": "2027-01-01T00:00:00Z", "who": "ove", "what": "lent",
        "changes": [{"count": {"place": "cup 3", "form": "plate", "size": "2x4", "colour": "rose",
                               "was": tally(7), "now": tally(2)}}]
    }));
    value["places"]["cup 3"][0]
        .as_object_mut()
        .unwrap()
        .extend(tally(2).as_object().unwrap().clone());
    fs::write(harbour.stock_file(), value.to_string()).unwrap();
    harbour.run(&["stock", "check"]).code(0);
    harbour
        .run(&["stock", "history"])
        .code(0)
        .prints("lent: cup 3 -5");
    harbour
        .run(&["stock", "undo", "1"])
        .code(1)
        .says("entry 1 cannot be undone: of plate 2x4 rose in cup 3, 7 would be taken from 2, which leaves fewer than none; undo later entries first");
    harbour.run(&["stock", "undo", "2"]).code(0);
    harbour.run(&["stock", "undo", "1"]).code(0);
    assert!(harbour.checked_rows().is_empty());
}

#[test]
fn confirm_by_entry_hash_or_place() {
    let harbour = Harbour::new();
    let (one, two) = (hash("one"), hash("two"));
    for (name, place) in [
        ("one", "cup 1"),
        ("two", "cup 2"),
        ("three", "cup 3"),
        ("four", "cup 3"),
    ] {
        let sheet = harbour.sheet(name, Some(place), &[SAND]);
        harbour.run(&["post", &sheet, "--add"]).code(3);
    }
    harbour
        .run(&["stock", "confirm"])
        .code(1)
        .says("more than one sheet is pending; say which: 1 (one.jpg, cup 1), 2 (two.jpg, cup 2)");
    harbour
        .run(&["stock", "confirm", &one[..5]])
        .code(1)
        .says("a hash needs 6 digits or more");
    harbour
        .run(&["stock", "confirm", "7"])
        .code(1)
        .says("no pending sheet has the number or photo hash '7'");
    harbour
        .run(&["stock", "confirm", "--place", "cup 9"])
        .code(1)
        .says("nothing is pending in cup 9");
    harbour
        .run(&["stock", "confirm", &two[..8].to_uppercase(), "1"])
        .code(3)
        .prints("taken as counted, with the range and a mark that nobody looked")
        .prints("cup 1 33 (30-35) pieces from one.jpg")
        .says("2 sheets are still pending");
    harbour
        .run(&["stock", "confirm", "--place", "cup 3"])
        .code(0);
    assert_eq!(harbour.checked_rows().len(), 3);
    assert!(
        harbour
            .checked_rows()
            .contains(&"cup 3: tile 1x2 weathered sand 66 (60-70, taken as counted)".to_owned())
    );
    harbour.run(&["stock"]).code(0);
    harbour
        .run(&["stock", "confirm"])
        .code(1)
        .says("nothing is pending");
    // The only one there is needs no number.
    let five = harbour.sheet("five", Some("cup 5"), &[SAND]);
    harbour.run(&["post", &five]).code(3);
    harbour.run(&["stock", "confirm"]).code(0);
}

#[test]
fn check_finds_what_was_changed_by_hand_and_puts_either_side_right() {
    let harbour = stocked();
    harbour
        .run(&["stock", "check"])
        .code(0)
        .prints("The contents of 2 places follow from 2 entries of history.");
    let text = fs::read_to_string(harbour.stock_file()).unwrap();
    let line = r#"{"form":"brick","size":"2x4","colour":"basalt","count":41,"low":40,"high":42}"#;
    assert!(text.contains(line));
    let edited = text.replacen(line, &line.replace("41", "42"), 1);
    fs::write(harbour.stock_file(), &edited).unwrap();
    let says = "cup 10 holds 42 (40-42) brick 2x4 basalt; by the history it is 41 (40-42)";
    harbour.run(&["stock", "check"]).code(3).prints(says);
    let json = harbour.run(&["stock", "check", "--json"]).code(3).json();
    assert_eq!(
        json,
        json!({"entries": 2, "places": 2, "differences": [says]})
    );
    harbour
        .run(&["stock", "undo"])
        .code(1)
        .says(says)
        .says("see `cuptally stock check`");
    assert_eq!(fs::read_to_string(harbour.stock_file()).unwrap(), edited);

    harbour
        .run(&["stock", "check", "--keep", "history"])
        .code(0);
    assert_eq!(fs::read_to_string(harbour.stock_file()).unwrap(), text);
    fs::write(harbour.stock_file(), &edited).unwrap();
    harbour
        .run(&["stock", "check", "--keep", "contents"])
        .code(0)
        .prints("Entry 3: took over 1 difference");
    assert!(
        harbour
            .checked_rows()
            .contains(&"cup 10: brick 2x4 basalt 42 (40-42)".to_owned())
    );
    harbour.run(&["stock", "undo"]).code(0);
    assert!(
        harbour
            .checked_rows()
            .contains(&"cup 10: brick 2x4 basalt 41 (40-42)".to_owned())
    );
    harbour
        .run(&["stock", "check", "--keep", "contents"])
        .code(0)
        .prints("agree; nothing was changed");

    // A history that does not fit on itself cannot be mended from either side.
    let text = fs::read_to_string(harbour.stock_file()).unwrap();
    let cut = text.replacen(
        r#""was":{"count":41,"low":40,"high":42}"#,
        r#""was":{"count":40,"low":40,"high":42}"#,
        1,
    );
    assert_ne!(cut, text);
    fs::write(harbour.stock_file(), &cut).unwrap();
    harbour
        .run(&["stock", "check"])
        .code(3)
        .prints("entry 3 of the history does not fit: it says that cup 10 held 40 (40-42)");
    harbour
        .run(&["stock", "check", "--keep", "history"])
        .code(1)
        .says("neither side can be kept");
}

#[test]
fn the_file_keeps_to_its_schema_and_to_one_line_an_entry() {
    let harbour = stocked();
    harbour.run(&["stock", "confirm", "2"]).code(0);
    harbour.run(&["stock", "undo"]).code(0);
    let new = harbour.checked("new", None, &[ROSE]);
    harbour
        .run(&["post", &new, "--place", "cup 10", "--recount"])
        .code(0);
    fs::write(
        harbour.path("t.csv"),
        "place,form,size,colour,count,status\ncup 7,plate,2x4,rose,4,pending\n",
    )
    .unwrap();
    harbour.run(&["stock", "import", "t.csv"]).code(3);
    let text = fs::read_to_string(harbour.stock_file()).unwrap();
    let value: Value = serde_json::from_str(&text).unwrap();
    let schema: Value =
        serde_json::from_str(&fs::read_to_string("docs/stock-v3.schema.json").unwrap()).unwrap();
    jsonschema::draft202012::meta::validate(&schema).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let errors: Vec<String> = validator
        .iter_errors(&value)
        .map(|e| e.to_string())
        .collect();
    assert_eq!(errors, Vec::<String>::new());
    for entry in 1..=6 {
        let begin = format!("    {{\"number\":{entry},");
        assert_eq!(
            text.lines().filter(|line| line.starts_with(&begin)).count(),
            1
        );
    }
    // What the schema forbids, the program refuses too.
    let breaks: &[(&str, Value)] = &[
        ("/places/cup 10/0/count", json!(-1)),
        ("/places/cup 10/0/size", json!("x")),
        ("/places/cup 10/0/extra", json!(1)),
        ("/history/0/time", json!("yesterday")),
        ("/history/0/number", json!(0)),
        ("/pending/0/hash", json!("abc")),
        ("/later", json!(true)),
    ];
    for (path, with) in breaks {
        let mut broken = value.clone();
        let (part, name) = path.rsplit_once('/').unwrap();
        broken.pointer_mut(part).unwrap()[name] = with.clone();
        assert!(!validator.is_valid(&broken), "{path}");
        fs::write(harbour.stock_file(), broken.to_string()).unwrap();
        harbour.run(&["stock"]).code(1).says("cannot be used");
    }
}
