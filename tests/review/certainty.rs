//! The rule of certainty: looking never leaves a less certain stock than not looking. Held by the
//! real program from the page to the stock, the cover and the exported table.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use cuptally::sheet::Sheet;
use serde_json::{Value, json};

use crate::sheets::{self, read};
use crate::support::{PROGRAM, Server};

/// A home folder with one sheet: twelve plates 2x4 of two colours, five of them doubtful between the two.
fn home() -> (tempfile::TempDir, PathBuf) {
    let home = tempfile::tempdir().unwrap();
    let mut sheet = sheets::sheet("plates-sorted-d50-42", 12, 5, false);
    sheet.place = Some("cup 3".to_owned());
    for (piece, k) in sheet.pieces.iter_mut().zip(0..) {
        let colours = if k % 2 == 0 {
            ["tar", "fog"]
        } else {
            ["fog", "tar"]
        };
        let [own, other] = colours.map(str::to_owned);
        (piece.form, piece.size, piece.colour) = ("plate".into(), "2x4".into(), own);
        for instead in &mut piece.instead {
            (instead.form, instead.size) = ("plate".into(), "2x4".into());
            instead.colour.clone_from(&other);
        }
        // Sure ones have doubt too, as every photo leaves some.
        if piece.doubts.is_empty() {
            piece.sure = 0.95;
        }
    }
    sheet.groups = cuptally::count::groups(&sheet.pieces);
    let path = sheets::write(&home.path().join("sheets"), "quay", &sheet);
    (home, path)
}

fn run(home: &Path, args: &[&str], code: i32) -> String {
    let ended = Command::new(PROGRAM)
        .current_dir(home)
        .env("CUPTALLY_HOME", home)
        .env("USER", "mara")
        .args(args)
        .output()
        .unwrap();
    assert_eq!(ended.status.code(), Some(code), "{args:?}: {ended:?}");
    String::from_utf8(ended.stdout).unwrap()
}

/// Posts without looking, and takes it as counted.
fn blind(home: &Path, sheet: &Path) {
    run(home, &["post", sheet.to_str().unwrap()], 3);
    run(home, &["stock", "confirm"], 0);
}

fn finish(server: &Server) {
    let wish = json!({ "checked": true, "version": server.shown()["version"] });
    server.post("api/sheet/0/finish", &wish).ok();
}

fn open(sheet: &Sheet) -> Vec<u32> {
    let open = sheet.pieces.iter().filter(|piece| piece.sure < 0.9);
    open.map(|piece| piece.id).collect()
}

/// Kind: count, low, high, taken as counted.
type Rows = BTreeMap<String, (u64, u64, u64, u64)>;

fn rows(home: &Path) -> Rows {
    let told: Value = serde_json::from_str(&run(home, &["stock", "--json"], 0)).unwrap();
    let rows = told["groups"][0]["rows"].as_array().unwrap();
    let number = |row: &Value, of: &str| row["checked"][of].as_u64().unwrap_or(0);
    rows.iter()
        .map(|row| {
            let word = |of: &str| row[of].as_str().unwrap().to_owned();
            let kind = format!("{} {} {}", word("form"), word("size"), word("colour"));
            let numbers = ["count", "low", "high", "as_counted"].map(|of| number(row, of));
            (kind, numbers.into())
        })
        .collect()
}

fn total(rows: &Rows) -> (u64, u64, u64, u64) {
    rows.values().fold((0, 0, 0, 0), |a, b| {
        (a.0 + b.0, a.1 + b.1, a.2 + b.2, a.3 + b.3)
    })
}

/// Modules of one piece each that the stock finishes for certain and likely.
fn cover(home: &Path) -> (u64, u64) {
    let plan = "module,wanted,form,size,count,colours\npile,99,plate,2x4,1,any\n";
    fs::write(home.join("pile.csv"), plan).unwrap();
    let ended = Command::new(PROGRAM)
        .current_dir(home)
        .env("CUPTALLY_HOME", home)
        .args(["cover", "pile.csv", "--json"])
        .output()
        .unwrap();
    let told: Value = serde_json::from_slice(&ended.stdout).unwrap();
    let modules = |reading: &str| told[reading]["modules"].as_u64().unwrap();
    (modules("certain"), modules("likely"))
}

#[test]
fn looking_never_leaves_a_less_certain_stock_than_not_looking() {
    let (not_looked, sheet) = home();
    blind(not_looked.path(), &sheet);
    let (looked, sheet) = home();
    let server = Server::start(looked.path(), &[&sheet]);
    for id in open(&read(&sheet)) {
        server
            .correct(json!({ "what": "accept", "ids": [id] }))
            .ok();
    }
    finish(&server);
    let (blind, seen) = (rows(not_looked.path()), rows(looked.path()));
    // Blind: the range stays, and every piece has the mark.
    let (count, low, high, marked) = total(&blind);
    assert_eq!((count, marked), (12, 12));
    assert!(low < count && count < high, "{blind:?}");
    assert_eq!(cover(not_looked.path()), (0, 12));
    let csv = run(not_looked.path(), &["stock", "export"], 0);
    let said: Vec<&str> = csv.lines().skip(1).collect();
    assert!(said.iter().all(|row| row.ends_with(",as counted")), "{csv}");
    let shown = run(not_looked.path(), &["stock"], 0);
    assert!(shown.contains("As counted"), "{shown}");
    // Looked at: nothing is marked, and no range is wider; some are narrower.
    let width = |(_, low, high, _): &(u64, u64, u64, u64)| high - low;
    for (kind, row) in &seen {
        let before = blind.get(kind).map_or(0, width);
        assert!(width(row) <= before, "{kind}: {row:?}, blind {blind:?}");
        assert_eq!(row.3, 0);
    }
    assert!(width(&total(&seen)) < width(&total(&blind)));
    assert!(total(&seen).1 > low);
    let (certain, likely) = cover(looked.path());
    assert!(certain > 0 && certain >= cover(not_looked.path()).0);
    assert!(likely >= certain);
    let csv = run(looked.path(), &["stock", "export"], 0);
    assert!(csv.lines().skip(1).all(|row| row.ends_with(",checked")));
}

#[test]
fn a_range_covers_exactly_what_nobody_looked_at() {
    let (home, sheet) = home();
    let server = Server::start(home.path(), &[&sheet]);
    let all: Vec<u32> = read(&sheet).pieces.iter().map(|piece| piece.id).collect();
    let (last, others) = all.split_last().unwrap();
    for id in others {
        server
            .correct(json!({ "what": "accept", "ids": [id] }))
            .ok();
    }
    // One sure piece was not looked at: its kind alone has a range, of one.
    let kind = read(&sheet).pieces.last().unwrap().clone();
    assert!(!kind.looked_at && kind.sure == 0.95, "{kind:?} {last}");
    finish(&server);
    let kind = format!("{} {} {}", kind.form, kind.size, kind.colour);
    for (name, (count, low, high, marked)) in rows(home.path()) {
        let open = u64::from(name == kind);
        assert_eq!((low, high, marked), (count - open, count, 0), "{name}");
    }
    // With that one looked at nothing is open, and a bare number is right.
    run(home.path(), &["stock", "undo"], 0);
    server
        .correct(json!({ "what": "accept", "ids": [last] }))
        .ok();
    finish(&server);
    for (name, (count, low, high, marked)) in rows(home.path()) {
        assert_eq!((low, high, marked), (count, count, 0), "{name}");
    }
    assert_eq!(cover(home.path()), (12, 12));
}

/// What is left at the end of the page and taken all at once was looked at by nobody either.
#[test]
fn what_is_taken_at_the_end_of_the_page_keeps_range_and_mark() {
    let (home, sheet) = home();
    let server = Server::start(home.path(), &[&sheet]);
    let before = read(&sheet);
    let open = open(&before);
    server
        .correct(json!({ "what": "accept", "ids": [open[0]] }))
        .ok();
    server
        .correct(json!({ "what": "take-as-counted", "ids": open }))
        .ok();
    let taken = read(&sheet);
    for piece in &taken.pieces {
        let was = before.pieces.iter().find(|was| was.id == piece.id).unwrap();
        let left = open[1..].contains(&piece.id);
        assert_eq!(piece.as_counted, left, "{piece:?}");
        assert_eq!(piece.looked_at, piece.id == open[0]);
        assert!(!left || piece.sure == was.sure && piece.instead == was.instead);
    }
    assert_eq!(server.shown()["done"]["taken"], 4);
    finish(&server);
    assert_eq!(total(&rows(home.path())).3, 4);
    // Looked at after all, it is as if it had been looked at first.
    run(home.path(), &["stock", "undo"], 0);
    for id in &open[1..] {
        server
            .correct(json!({ "what": "accept", "ids": [id] }))
            .ok();
    }
    finish(&server);
    let (_, low, _, marked) = total(&rows(home.path()));
    assert_eq!(marked, 0);
    assert!(low > total(&rows(home.path())).0 - 12);
}

/// Left pending after a part was looked at, and then taken: only the rest has the mark.
#[test]
fn a_piece_that_was_looked_at_is_certain_though_the_rest_is_taken_unseen() {
    let (home, sheet) = home();
    let server = Server::start(home.path(), &[&sheet]);
    for id in open(&read(&sheet)) {
        server
            .correct(json!({ "what": "accept", "ids": [id] }))
            .ok();
    }
    let wish = json!({ "checked": false, "version": server.shown()["version"] });
    server.post("api/sheet/0/finish", &wish).ok();
    let out = run(home.path(), &["stock", "confirm", "--json"], 0);
    let told: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(
        (&told["entry"], &told["still_pending"]),
        (&json!(2), &json!(0))
    );
    assert_eq!(total(&rows(home.path())).3, 7);
    assert!(cover(home.path()).0 > 0);
    run(home.path(), &["stock", "check"], 0);
}
