//! What finished reviews show of how sure pieces were: kept, told, reckoned with and taken back.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread;

use cuptally::count::record::{Entry, Record, Row};
use serde_json::{Value, json};

use crate::sheets;
use crate::support::{PROGRAM, Server};

const NAMES: [&str; 2] = ["plates-sorted-d50-42", "tiles-sorted-led-b3-55"];

/// A sheet of fifteen pieces, three of which are doubtful.
fn sheet_of(home: &Path, name: &str) -> PathBuf {
    let mut sheet = sheets::sheet(name, 15, 3, false);
    sheet.place = Some(format!("cup of {}", &name[..6]));
    sheet.light = Some("quay lamp".to_owned());
    sheets::write(&home.join("sheets"), name, &sheet)
}

fn file(home: &Path) -> PathBuf {
    home.join("calibration/record.json")
}

fn run(home: &Path, args: &[&str]) -> (i32, String, String) {
    let output = Command::new(PROGRAM)
        .env("CUPTALLY_HOME", home)
        .args(args)
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    let code = output.status.code().unwrap();
    (code, text(output.stdout), text(output.stderr))
}

fn told(home: &Path) -> Value {
    let (code, out, err) = run(home, &["record", "--json"]);
    assert_eq!(code, 0, "{err}");
    serde_json::from_str(&out).unwrap()
}

fn finish(server: &Server) -> String {
    let wish = json!({ "version": server.shown()["version"], "checked": true, "mode": "add" });
    let done = server.post("api/sheet/0/finish", &wish).ok().json();
    done["done"].as_str().unwrap().to_owned()
}

/// Looks at every piece: the first is removed, the second has another colour, the third another size.
fn look_through(server: &Server) {
    let shown = server.shown();
    let pieces = shown["pieces"].as_array().unwrap();
    let ids: Vec<u64> = pieces.iter().map(|p| p["id"].as_u64().unwrap()).collect();
    let sure: Vec<u64> = (pieces.iter())
        .filter(|p| p["sure"].as_f64().unwrap() >= 0.9)
        .map(|p| p["id"].as_u64().unwrap())
        .collect();
    server
        .correct(json!({ "what": "remove", "ids": [sure[0]] }))
        .ok();
    server
        .correct(json!({ "what": "change", "ids": [sure[1]], "colour": "no such" }))
        .ok();
    let rest: Vec<u64> = (ids.into_iter())
        .filter(|id| !sure[..2].contains(id))
        .collect();
    server
        .correct(json!({ "what": "accept", "ids": rest }))
        .ok();
}

#[test]
fn a_finished_sheet_is_evidence_and_counts_once() {
    let home = tempfile::tempdir().unwrap();
    let home = home.path();
    let (_, out, _) = run(home, &["record"]);
    assert!(
        out.starts_with("Nothing is known yet of how far 'sure'"),
        "{out}"
    );
    let path = sheet_of(home, NAMES[0]);
    let server = Server::start(home, &[&path]);
    look_through(&server);
    assert!(!file(home).exists(), "not before it is finished");
    assert!(!finish(&server).contains("not kept"));
    let report = told(home);
    assert_eq!(report["sheets"], 1);
    assert_eq!(
        (&report["sure"]["pieces"], &report["sure"]["wrong"]),
        (&12.into(), &2.into())
    );
    assert_eq!(report["lights"][0]["name"], "quay lamp");
    assert_eq!(report["doubts"][0]["name"], "colour close to another");
    assert_eq!(report["doubts"][0]["pieces"], 3);
    assert_eq!(report["doubts"][0]["wrong"], 0);
    let (code, out, _) = run(home, &["record"]);
    assert_eq!(code, 0);
    let first = out.split_whitespace().collect::<Vec<_>>().join(" ");
    // Wilson by hand: 2 of 12 is 0.1667, (4.7 to 44.8 %).
    let says = "Of 12 pieces called sure in your photos 2 were wrong (16.7 %; 95 % interval 4.7 to 44.8 %), in 1 reviewed sheet.";
    assert!(first.starts_with(says), "{out}");
    assert!(
        out.contains("quay lamp") && out.contains("as stated"),
        "{out}"
    );
    assert!(
        first.contains("until 250 doubtful or 250 sure pieces of 5 sheets"),
        "{out}"
    );
    // No photo, no name of one, and as its schema says.
    let kept = fs::read_to_string(file(home)).unwrap();
    assert!(!kept.contains(NAMES[0]), "{kept}");
    let schema = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/record-v1.schema.json");
    let schema: Value = serde_json::from_slice(&fs::read(schema).unwrap()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let mut value: Value = serde_json::from_str(&kept).unwrap();
    assert!(validator.is_valid(&value), "{kept}");
    value["entries"][0]["file"] = "x".into();
    assert!(!validator.is_valid(&value));
    // Undone, put right and finished again: one sheet still, as it was seen last.
    run(home, &["stock", "undo"]);
    let id = server.shown()["pieces"][5]["id"].clone();
    server
        .correct(json!({ "what": "change", "ids": [id], "colour": "no such" }))
        .ok();
    finish(&server);
    let report = told(home);
    assert_eq!(report["sheets"], 1);
    let wrong = |part: &Value| part["wrong"].as_u64().unwrap();
    let doubts = report["doubts"]
        .as_array()
        .unwrap()
        .iter()
        .map(wrong)
        .sum::<u64>();
    assert_eq!(wrong(&report["sure"]) + doubts, 3);
    // And taken back.
    let (code, out, _) = run(home, &["record", "--forget"]);
    assert!(
        code == 0 && out.starts_with("Forgot what reviews showed"),
        "{out}"
    );
    assert!(!file(home).exists());
    assert!(
        run(home, &["record", "--forget"])
            .1
            .contains("nothing to forget")
    );
}

#[test]
fn who_nobody_looked_at_is_no_evidence() {
    let home = tempfile::tempdir().unwrap();
    let path = sheet_of(home.path(), NAMES[0]);
    let server = Server::start(home.path(), &[&path]);
    let shown = server.shown();
    let open = shown["open"].as_array().unwrap();
    // One doubtful piece is looked at, two are taken as counted, and of the sure ones one is come upon.
    server
        .correct(json!({ "what": "accept", "ids": [open[0]] }))
        .ok();
    server
        .correct(json!({ "what": "take-as-counted", "ids": [open[1], open[2]] }))
        .ok();
    let pieces = shown["pieces"].as_array().unwrap();
    let sure = pieces
        .iter()
        .find(|p| p["sure"].as_f64().unwrap() >= 0.9)
        .unwrap();
    server
        .correct(json!({ "what": "change", "ids": [sure["id"]], "colour": "no such" }))
        .ok();
    finish(&server);
    let report = told(home.path());
    assert_eq!(report["sure"]["pieces"], 0);
    assert_eq!(report["came_upon"]["pieces"], 1);
    assert_eq!(report["doubts"][0]["pieces"], 1);
    let (_, out, _) = run(home.path(), &["record"]);
    assert!(
        out.contains("somebody came upon 1 piece called sure, 1 of them wrong"),
        "{out}"
    );
}

#[test]
fn two_processes_that_finish_at_once_are_both_counted() {
    let home = tempfile::tempdir().unwrap();
    let servers = NAMES.map(|name| {
        let path = sheet_of(home.path(), name);
        let server = Server::start(home.path(), &[&path]);
        look_through(&server);
        server
    });
    thread::scope(|scope| {
        for server in &servers {
            scope.spawn(|| finish(server));
        }
    });
    assert_eq!(told(home.path())["sheets"], 2);
}

/// A record of so many sheets of which all pieces were looked at: of a hundred called sure so many were wrong.
fn record_of(sheets: u32, wrong: u32) -> Record {
    record_by(cuptally::count::record::maps_id(), sheets, wrong)
}

/// The same, as these maps stated it.
fn record_by(maps: &str, sheets: u32, wrong: u32) -> Record {
    let mut record = Record::default();
    for number in 0..sheets {
        let row = |stated: f64, right: u32, colour: u32| Row {
            stated,
            right,
            colour,
            ..Row::default()
        };
        assert!(record.add(Entry {
            photo: format!("{number:064x}"),
            review: "0".repeat(16),
            time: "2026-05-02T10:12:00Z".parse().unwrap(),
            light: None,
            maps: Some(maps.to_owned()),
            rows: vec![row(0.7, 40, 20), row(0.99, 100 - wrong, wrong)],
        }));
    }
    record
}

/// Another program's maps stated something else: what came of it is told, and sets nothing right.
#[test]
fn what_former_maps_stated_is_told_and_sets_nothing_right() {
    let home = tempfile::tempdir().unwrap();
    let home = home.path();
    fs::create_dir_all(home.join("calibration")).unwrap();
    let mut record = record_by("000000000000", 6, 3);
    fs::write(file(home), record.to_json().unwrap()).unwrap();
    let before = told(home);
    assert_eq!(
        (
            &before["sheets"],
            &before["sets_right"],
            &before["former"]["sheets"]
        ),
        (&json!(0), &json!(false), &json!(6))
    );
    assert_eq!(before["former"]["sure"]["wrong"], 18);
    let (_, out, _) = run(home, &["record"]);
    let row = out.lines().find(|line| line.contains("(former maps)"));
    let row = row.unwrap_or_else(|| panic!("{out}"));
    assert!(row.contains("600") && row.contains("18"), "{row}");
    assert!(out.contains("set nothing right"), "{out}");
    // As many of today's maps do, and are told apart from those.
    for entry in record_of(12, 0).entries().iter().skip(6) {
        record.add(entry.clone());
    }
    fs::write(file(home), record.to_json().unwrap()).unwrap();
    let after = told(home);
    assert_eq!(
        (
            &after["sheets"],
            &after["sets_right"],
            &after["former"]["sheets"]
        ),
        (&json!(6), &json!(true), &json!(6))
    );
    assert_eq!(after["sure"]["wrong"], 0);
}

#[test]
fn what_reviews_showed_is_what_the_next_count_states() {
    let home = tempfile::tempdir().unwrap();
    let home = home.path();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    fs::create_dir_all(home.join("calibration")).unwrap();
    fs::copy(
        root.join("calibration/sample/swatches.json"),
        home.join("calibration/swatches.json"),
    )
    .unwrap();
    let photo = root.join("sample-photos/tune/plates-sorted-close-a-18.jpg");
    let count = || {
        let (_, out, err) = run(home, &["count", photo.to_str().unwrap(), "--form", "plate"]);
        let sheet = fs::read(home.join("sheets/plates-sorted-close-a-18.sheet.json")).unwrap();
        (out, err, serde_json::from_slice::<Value>(&sheet).unwrap())
    };
    let sure = |sheet: &Value| -> Vec<f64> {
        let pieces = sheet["pieces"].as_array().unwrap().iter();
        pieces
            .map(|piece| piece["sure"].as_f64().unwrap())
            .collect()
    };
    let (_, _, shipped) = count();
    assert!(sure(&shipped).iter().filter(|p| **p >= 0.9).count() > 9);
    assert!(shipped.get("set_right_by").is_none());
    // Of pieces called sure every tenth was wrong: none is called sure any more, and it is said why.
    let bad = record_of(20, 10).to_json().unwrap();
    fs::write(file(home), &bad).unwrap();
    let (out, _, sheet) = count();
    assert!(
        out.contains("how sure: set right by 20 sheets that you reviewed"),
        "{out}"
    );
    assert_eq!(
        sheet["set_right_by"],
        json!({ "sheets": 20, "pieces": 3200 })
    );
    assert!(sure(&sheet).iter().all(|p| *p < 0.9));
    let stated = sheet["pieces"].as_array().unwrap().iter();
    let stated = stated.map(|p| p.get("stated").unwrap_or(&p["sure"]).as_f64().unwrap());
    assert_eq!(stated.collect::<Vec<_>>(), sure(&shipped));
    let why = "pieces as sure as this were wrong too often in your photos";
    assert!(sheet["pieces"].to_string().contains(why));
    let (_, out, _) = run(home, &["record"]);
    assert!(out.contains("no piece is called sure"), "{out}");
    // Few sheets are enough to see that too many are wrong.
    fs::write(file(home), record_of(4, 10).to_json().unwrap()).unwrap();
    let (_, _, sheet) = count();
    assert!(sure(&sheet).iter().all(|p| *p < 0.9));
    // Too little of it, or what is damaged, edited or of a later version: as shipped, and a sentence.
    fs::write(file(home), record_of(4, 0).to_json().unwrap()).unwrap();
    let (_, err, sheet) = count();
    assert_eq!(sheet["pieces"], shipped["pieces"]);
    assert!(!err.contains("record.json"), "{err}");
    for (text, says) in [
        (
            bad[..bad.len() / 2].to_owned(),
            "not a whole record of version v1",
        ),
        (
            bad.replacen("\"right\": 90", "\"right\": 91", 1),
            "changed by something else",
        ),
        (
            bad.replacen("\"record\": \"v1\"", "\"record\": \"v7\"", 1),
            "of version v7",
        ),
    ] {
        fs::write(file(home), &text).unwrap();
        let (_, err, sheet) = count();
        assert_eq!(sheet["pieces"], shipped["pieces"]);
        let faults: Vec<&str> = err
            .lines()
            .filter(|line| line.contains("record.json"))
            .collect();
        assert!(faults.len() == 1 && faults[0].contains(says), "{err}");
        let (code, _, err) = run(home, &["record"]);
        assert!(code == 1 && err.contains(says), "{err}");
        // A review is finished all the same, and the file is left as it is.
        assert_eq!(fs::read_to_string(file(home)).unwrap(), text);
    }
    let path = sheet_of(home, NAMES[0]);
    let server = Server::start(home, &[&path]);
    look_through(&server);
    let done = finish(&server);
    assert!(
        done.contains("as checked") && done.contains("was not kept: cannot use"),
        "{done}"
    );
    assert_eq!(run(home, &["record", "--forget"]).0, 0);
    assert_eq!(count().2["pieces"], shipped["pieces"]);
}
