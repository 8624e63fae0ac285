//! `cuptally post` through the real program.

use crate::harbour::{Harbour, Row, sheet};
use serde_json::{Value, json};
use std::fs;

const BASALT: Row = ("brick", "2x4", "basalt", 41, 40, 42);
const ROSE: Row = ("plate", "2x4", "rose", 7, 7, 7);

#[test]
fn a_checked_sheet_counts_and_an_unchecked_one_is_pending() {
    let harbour = Harbour::new();
    let quay = harbour.checked("quay", Some("cup 3"), &[BASALT]);
    harbour
        .run(&["post", &quay])
        .code(0)
        .prints("Entry 1: 1 sheet posted to cup 3, which now holds 41 (40-42) pieces.");
    let slip = harbour.sheet("slip", Some("cup 4"), &[ROSE]);
    harbour
        .run(&["post", &slip])
        .code(3)
        .prints("which now holds 7 pieces, pending.")
        .says("cuptally stock confirm 2");
    assert_eq!(
        harbour.checked_rows(),
        ["cup 3: brick 2x4 basalt 41 (40-42)"]
    );
    assert_eq!(harbour.pending_rows(), ["cup 4: plate 2x4 rose 7"]);
}

#[test]
fn a_full_place_needs_to_be_told_add_or_recount() {
    let harbour = Harbour::new();
    let quay = harbour.checked("quay", Some("cup 3"), &[BASALT]);
    harbour.run(&["post", &quay]).code(0);
    let again = harbour.checked(
        "again",
        Some("cup 3"),
        &[("brick", "2x4", "basalt", 5, 5, 5)],
    );
    let before = fs::read(harbour.stock_file()).unwrap();
    harbour
        .run(&["post", &again])
        .code(2)
        .says("cup 3 already holds pieces; say --add")
        .says("--recount");
    assert_eq!(fs::read(harbour.stock_file()).unwrap(), before);
    harbour.run(&["post", &again, "--add", "--recount"]).code(2);
    harbour.run(&["post", &again, "--add"]).code(0);
    assert_eq!(
        harbour.checked_rows(),
        ["cup 3: brick 2x4 basalt 46 (45-47)"]
    );
}

#[test]
fn sheets_of_one_recount_together_replace_the_place_and_its_pending_sheets() {
    let harbour = Harbour::new();
    let old = harbour.checked("old", Some("cup 3"), &[BASALT, ROSE]);
    let waiting = harbour.sheet("waiting", Some("cup 3"), &[ROSE]);
    let other = harbour.checked("other", Some("drawer"), &[ROSE]);
    harbour.run(&["post", &old, &waiting, &other]).code(3);
    let left = harbour.checked(
        "left",
        Some("cup 3"),
        &[("brick", "2x4", "basalt", 20, 20, 20)],
    );
    let right = harbour.checked(
        "right",
        Some("cup 3"),
        &[("brick", "2x4", "basalt", 19, 19, 20)],
    );
    harbour
        .run(&["post", &left, &right, "--recount"])
        .code(0)
        .prints("2 sheets posted to cup 3, which now holds 39 (39-40) pieces.");
    assert_eq!(
        harbour.checked_rows(),
        [
            "cup 3: brick 2x4 basalt 39 (39-40)",
            "drawer: plate 2x4 rose 7"
        ]
    );
    assert!(harbour.pending_rows().is_empty());
}

#[test]
fn a_photo_posts_once_under_whatever_name() {
    let harbour = Harbour::new();
    let quay = harbour.checked("quay", Some("cup 3"), &[BASALT]);
    harbour.run(&["post", &quay]).code(0);
    // A renamed copy, with other numbers, for another place.
    let mut copy = sheet("quay", Some("drawer"), true, &[ROSE]);
    copy.photos.first.file = "IMG 7 (copy).jpg".to_owned();
    let copy = harbour.write_sheet("copy", &copy);
    for mode in ["--add", "--recount"] {
        harbour
            .run(&["post", &copy, mode])
            .code(1)
            .says("copy.sheet.json was already posted, by entry 1");
    }
    let new = harbour.checked("new", Some("drawer"), &[ROSE]);
    harbour
        .run(&["post", &new, &copy, "--add"])
        .code(1)
        .says("nothing was posted");
    assert_eq!(harbour.stock().history.len(), 1);
    // Twice in one call.
    let twin = harbour.write_sheet("twin", &sheet("new", Some("drawer"), true, &[ROSE]));
    harbour
        .run(&["post", &new, &twin])
        .code(1)
        .says("come from the same photo");
    // Left out on demand, undone on demand.
    harbour
        .run(&["post", &new, &copy, "--skip-posted"])
        .code(0)
        .says("left out copy.sheet.json: its photo was posted by entry 1");
    harbour
        .run(&["post", &copy, "--skip-posted"])
        .code(0)
        .prints("Nothing was posted");
    assert_eq!(harbour.stock().history.len(), 2);
    harbour.run(&["stock", "undo", "1"]).code(0);
    harbour.run(&["post", &copy, "--add"]).code(0);
    assert_eq!(harbour.checked_rows(), ["drawer: plate 2x4 rose 14"]);
}

#[test]
fn a_sheet_that_was_looked_at_takes_the_place_of_its_pending_self() {
    let harbour = Harbour::new();
    let slip = harbour.sheet("slip", Some("cup 4"), &[("plate", "2x4", "rose", 7, 5, 9)]);
    harbour.run(&["post", &slip]).code(3);
    // Still unchecked: it posts once.
    harbour
        .run(&["post", &slip, "--add"])
        .code(1)
        .says("already posted, by entry 1");
    let slip = harbour.checked("slip", None, &[("plate", "2x4", "rose", 8, 8, 8)]);
    harbour
        .run(&["post", &slip, "--place", "cup 5"])
        .code(1)
        .says("is pending in cup 4, not in cup 5");
    harbour.run(&["post", &slip]).code(0);
    assert_eq!(harbour.checked_rows(), ["cup 4: plate 2x4 rose 8"]);
    assert!(harbour.pending_rows().is_empty());
    harbour
        .run(&["post", &slip, "--add"])
        .code(1)
        .says("already posted, by entry 2");
    harbour.run(&["stock", "undo"]).code(0);
    assert_eq!(harbour.pending_rows(), ["cup 4: plate 2x4 rose 7 (5-9)"]);
}

#[test]
fn the_place_comes_from_the_call_or_the_sheet_or_is_asked_for() {
    let harbour = Harbour::new();
    let lost = harbour.checked("lost", None, &[ROSE]);
    harbour
        .run(&["post", &lost])
        .code(2)
        .says("name the place with --place NAME");
    assert!(!harbour.stock_file().exists());
    let found = harbour.checked("found", Some("cup 1"), &[ROSE]);
    harbour
        .run(&["post", &lost, &found, "--place", "  cup 9 "])
        .code(0);
    assert_eq!(harbour.checked_rows(), ["cup 9: plate 2x4 rose 14"]);
    for bad in ["", "   ", "cup\t3", &"c".repeat(81)] {
        let next = harbour.checked("next", None, &[ROSE]);
        harbour.run(&["post", &next, "--place", bad]).code(2);
    }
}

#[test]
fn names_that_differ_only_in_case_are_kept_apart_and_pointed_out() {
    let harbour = Harbour::new();
    let quay = harbour.checked("quay", Some("cup 3"), &[ROSE]);
    harbour.run(&["post", &quay]).code(0);
    let other = harbour.checked("other", Some("Cup 3"), &[("plate", "2x4", "Rose", 1, 1, 1)]);
    let ended = harbour.run(&["post", &other]).code(0);
    assert!(
        ended
            .err
            .contains("'Cup 3' is new and differs from 'cup 3' only in")
    );
    assert!(
        ended
            .err
            .contains("'Rose' is new and differs from 'rose' only in")
    );
    assert_eq!(
        harbour.checked_rows(),
        ["Cup 3: plate 2x4 Rose 1", "cup 3: plate 2x4 rose 7"]
    );
    let third = harbour.checked("third", Some("Cup 3"), &[("plate", "2x4", "Rose", 1, 1, 1)]);
    assert_eq!(harbour.run(&["post", &third, "--add"]).code(0).err, "");
}

#[test]
fn a_bad_sheet_stops_the_whole_post() {
    let harbour = Harbour::new();
    let good = harbour.checked("good", Some("cup 3"), &[ROSE]);
    let text = fs::read_to_string(harbour.path(&good)).unwrap();
    let bad = |change: &dyn Fn(&mut Value)| {
        let mut value: Value = serde_json::from_str(&text).unwrap();
        value["photo"]["hash"] = json!(crate::harbour::hash("bad"));
        change(&mut value);
        serde_json::to_string(&value).unwrap()
    };
    let cases: Vec<(String, &str)> = vec![
        (
            "tide".to_owned(),
            "bad.sheet.json is no sheet file: expected",
        ),
        (String::new(), "is no sheet file: EOF while parsing"),
        (text[..text.len() / 2].to_owned(), "is no sheet file"),
        ("[]".to_owned(), "is no sheet file"),
        (
            r#"{"stock":"v2","places":{}}"#.to_owned(),
            "bad.sheet.json is a stock file, not a sheet; name a file that `cuptally count` wrote",
        ),
        (
            r#"{"plan":"v1","modules":[]}"#.to_owned(),
            "bad.sheet.json is a plan, not a sheet",
        ),
        (
            bad(&|v| v["sheet"] = json!("v2")),
            "is a sheet of version v2, and this program reads v1",
        ),
        (
            bad(&|v| v["groups"][0]["count"] = json!(-1)),
            "is no sheet file: invalid value: integer `-1`",
        ),
        (
            bad(&|v| v["groups"][0]["high"] = json!(3)),
            "in group 1, plate 2x4 rose: the count 7 is not within its range 7-3",
        ),
        (
            bad(&|v| v["groups"][0]["size"] = json!("4x2")),
            "the size '4x2' is spelled 2x4",
        ),
        (
            bad(&|v| v["groups"][0]["colour"] = json!("ro\u{1b}[31mse")),
            "cannot be seen",
        ),
        (
            bad(&|v| v["photo"]["hash"] = json!("abc")),
            "photo hash 'abc'",
        ),
        (
            bad(&|v| v["place"] = json!("  ")),
            "in its place, a name is empty",
        ),
    ];
    for (text, says) in cases {
        fs::write(harbour.path("bad.sheet.json"), text).unwrap();
        let ended = harbour
            .run(&["post", &good, "bad.sheet.json"])
            .code(1)
            .says(says);
        assert_eq!(ended.err.lines().count(), 1, "{}", ended.err);
        assert_eq!(ended.out, "");
    }
    harbour
        .run(&["post", "missing.sheet.json"])
        .code(1)
        .says("cannot read missing.sheet.json");
    harbour.run(&["post"]).code(2);
    assert!(!harbour.stock_file().exists());
}

#[test]
fn counts_never_wrap() {
    let harbour = Harbour::new();
    let most = u32::MAX;
    let a = harbour.checked(
        "a",
        Some("cup 3"),
        &[("any", "1x1", "grey", most, most, most)],
    );
    let b = harbour.checked("b", Some("cup 3"), &[("any", "1x1", "grey", most, 0, most)]);
    harbour.run(&["post", &a, &b]).code(0);
    assert_eq!(
        harbour.checked_rows(),
        ["cup 3: any 1x1 grey 8589934590 (4294967295-8589934590)"]
    );
    fs::write(
        harbour.path("heap.csv"),
        "place,form,size,colour,count\ncup 3,any,1x1,grey,1000000000000\n",
    )
    .unwrap();
    harbour
        .run(&["stock", "import", "heap.csv", "--add"])
        .code(1)
        .says("that is more than 1000000000000 pieces");
    fs::write(
        harbour.path("heap.csv"),
        "place,form,size,colour,count\ncup 3,any,1x1,grey,18446744073709551616\n",
    )
    .unwrap();
    harbour
        .run(&["stock", "import", "heap.csv", "--add"])
        .code(1)
        .says("line 2");
    assert_eq!(harbour.stock().history.len(), 1);
}

#[test]
fn json_says_what_the_words_say() {
    let harbour = Harbour::new();
    let slip = harbour.sheet("slip", Some("cup 4"), &[("plate", "2x4", "rose", 7, 5, 9)]);
    let ended = harbour.run(&["post", &slip, "--json"]).code(3);
    let none = json!({"count": 0, "low": 0, "high": 0});
    assert_eq!(
        ended.json(),
        json!({
            "entry": 1,
            "places": [{
                "name": "cup 4", "sheets": 1, "unchecked": 1,
                "checked": none, "pending": {"count": 7, "low": 5, "high": 9}
            }],
            "skipped": [],
            "alike": []
        })
    );
}

#[test]
fn clock_and_user_come_from_outside() {
    let harbour = Harbour::new();
    let quay = harbour.checked("quay", Some("cup 3"), &[ROSE]);
    let mut command = harbour.command(&["post", &quay]);
    let output = command.env("CUPTALLY_NOW", "yesterday").output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("CUPTALLY_NOW is 'yesterday'"));
    let mut command = harbour.command(&["post", &quay]);
    let now = "2026-05-02T14:12:00.75+02:00";
    command
        .env("CUPTALLY_NOW", now)
        .env_remove("USER")
        .env("LOGNAME", "ove");
    assert!(command.output().unwrap().status.success());
    let entry = harbour.stock().history.remove(0);
    assert_eq!(entry.time.to_string(), "2026-05-02T12:12:00Z");
    assert_eq!(entry.who.as_str(), "ove");
}

/// The schema is complete as well as right: with unknown properties forbidden
/// everywhere it still takes what our own writing makes.
#[test]
fn sheets_keep_to_their_schema() {
    let text = fs::read_to_string("docs/sheet-v1.schema.json").unwrap();
    let schema: Value = serde_json::from_str(&text).unwrap();
    jsonschema::draft202012::meta::validate(&schema).unwrap();
    let mut strict = schema.clone();
    forbid_unknown(&mut strict);
    let strict = jsonschema::validator_for(&strict).unwrap();
    let full = sheet("quay", Some("cup 3"), true, &[BASALT, ROSE]);
    let mut bare = sheet("quay", None, false, &[]);
    bare.pieces[0].doubts.clear();
    for sheet in [&full, &bare] {
        let value = serde_json::to_value(sheet).unwrap();
        let errors: Vec<String> = strict.iter_errors(&value).map(|e| e.to_string()).collect();
        assert_eq!(errors, Vec::<String>::new());
    }

    let open = jsonschema::validator_for(&schema).unwrap();
    let good = serde_json::to_value(&full).unwrap();
    let mut grown = good.clone();
    grown["groups"][0]["later"] = json!(1);
    assert!(open.is_valid(&grown), "the contract may grow");
    for path in [
        "/sheet",
        "/photo/hash",
        "/card/corners_px",
        "/colour/method",
        "/pieces/0/lab",
    ] {
        let mut broken = good.clone();
        *broken.pointer_mut(path).unwrap() = json!("x");
        // `method` is any text, so there another kind of value is wrong.
        if path == "/colour/method" {
            *broken.pointer_mut(path).unwrap() = json!(1);
        }
        assert!(!open.is_valid(&broken), "{path}");
    }
    for (part, name) in [
        ("/photo", "hash"),
        ("/groups/0", "low"),
        ("/pieces/0", "sure"),
        ("", "card"),
    ] {
        let mut broken = good.clone();
        broken
            .pointer_mut(part)
            .unwrap()
            .as_object_mut()
            .unwrap()
            .remove(name);
        assert!(!open.is_valid(&broken), "without {part}/{name}");
    }
    // What came before there was a place or a review.
    let mut old = good.clone();
    old.as_object_mut()
        .unwrap()
        .retain(|name, _| name != "place" && name != "checked");
    assert!(open.is_valid(&old));
    let read: cuptally::sheet::Sheet = serde_json::from_value(old).unwrap();
    assert!(read.place.is_none() && !read.checked);
}

fn forbid_unknown(schema: &mut Value) {
    match schema {
        Value::Object(map) => {
            if map.contains_key("properties") && map.contains_key("type") {
                map.insert("additionalProperties".to_owned(), json!(false));
            }
            map.values_mut().for_each(forbid_unknown);
        }
        Value::Array(list) => list.iter_mut().for_each(forbid_unknown),
        _ => {}
    }
}
