//! A thing that fits no listed shape is named on the page, and its copies with it.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

use crate::browser::{Browser, ENTER, Window};
use crate::need_browser;
use crate::support::{PROGRAM, Server, rendered};

const PHOTO: &str = "own-sorted-yard-34";
/// A bracket is as flat as a plate.
const FLAT_MM: f64 = 3.2;

struct Tray {
    _home: tempfile::TempDir,
    sheet: PathBuf,
    shapes: PathBuf,
    server: Server,
    truth: Value,
}

impl Tray {
    /// Counted by a program that knows none of the user's shapes.
    fn counted() -> Self {
        let home = tempfile::tempdir().unwrap();
        let photo = rendered().join("tune").join(format!("{PHOTO}.jpg"));
        let counted = Command::new(PROGRAM)
            .env("CUPTALLY_HOME", home.path())
            .env("CUPTALLY_NOW", "2026-05-02T10:12:00Z")
            .arg("count")
            .arg(&photo)
            .output()
            .unwrap();
        let sheet = home.path().join(format!("sheets/{PHOTO}.sheet.json"));
        let why = String::from_utf8_lossy(&counted.stderr).into_owned();
        assert!(sheet.is_file(), "{why}");
        let truth = fs::read_to_string(photo.with_extension("json")).unwrap();
        Self {
            server: Server::start(home.path(), &[&sheet]),
            shapes: home.path().join("calibration/shapes.json"),
            truth: serde_json::from_str(&truth).unwrap(),
            _home: home,
            sheet,
        }
    }

    fn brackets(&self) -> Vec<Value> {
        of_form(&self.truth["pieces"], "bracket")
    }

    fn ask(&self, mut more: Value) -> crate::support::Answer {
        let bracket = &self.brackets()[0];
        let body = more.as_object_mut().unwrap();
        for (key, usual) in [
            ("version", self.server.shown()["version"].clone()),
            ("at_px", json!([bracket["x_px"], bracket["y_px"]])),
            ("height_mm", json!(FLAT_MM)),
        ] {
            body.entry(key).or_insert(usual);
        }
        self.server.post("api/sheet/0/thing", &more)
    }
}

fn of_form(pieces: &Value, form: &str) -> Vec<Value> {
    let all = pieces.as_array().unwrap().iter();
    all.filter(|piece| piece["form"] == form).cloned().collect()
}

fn place(piece: &Value) -> [f64; 2] {
    [&piece["x_mm"], &piece["y_mm"]].map(|v| v.as_f64().unwrap())
}

fn on_disk(path: &Path) -> Value {
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

#[test]
fn one_that_is_named_brings_its_copies() {
    let tray = Tray::counted();
    let brackets = tray.brackets();
    assert_eq!(brackets.len(), 3);
    let before = tray.server.shown();
    let shown = tray.ask(json!({})).ok().json();
    assert_eq!(shown["size"], "2x3");
    assert_eq!(shown["outlines_px"].as_array().unwrap().len(), 3, "{shown}");
    assert!(!tray.shapes.exists(), "looking writes nothing");
    assert_eq!(tray.server.shown()["version"], before["version"]);

    let after = tray.ask(json!({ "name": "quay bracket" })).ok().json();
    let named = of_form(&after["pieces"], "quay bracket");
    assert_eq!(named.len(), 3);
    // What they were counted as is gone, and nothing else.
    let count = |sheet: &Value| sheet["pieces"].as_array().unwrap().len() as u64;
    let counted_as = shown["counted_as"].as_u64().unwrap();
    assert!(counted_as >= 3);
    assert_eq!(count(&after), count(&before) - counted_as + 3);
    for piece in &named {
        let [x, y] = place(piece);
        let off = |is: &Value| (x - place(is)[0]).hypot(y - place(is)[1]);
        let nearest = brackets.iter().map(off).fold(f64::MAX, f64::min);
        // The lens' blur, and what a trace of edges is off by.
        assert!(nearest < 1.0, "{piece} is {nearest} mm off");
        assert_eq!(piece["looked_at"], true);
    }
    // Of one shape all are turned against the truth's own entry alike.
    let turns: Vec<f64> = (named.iter())
        .map(|piece| {
            let [x, y] = place(piece);
            let off = |is: &&Value| (x - place(is)[0]).hypot(y - place(is)[1]);
            let is = brackets.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
            let turn = |piece: &Value| piece["turn_deg"].as_f64().unwrap();
            (turn(piece) - turn(is.unwrap())).rem_euclid(360.0)
        })
        .collect();
    for turn in &turns {
        let apart = (turn - turns[0]).rem_euclid(360.0);
        assert!(apart.min(360.0 - apart) < 5.0, "{turns:?}");
    }
    assert_eq!(on_disk(&tray.shapes)["pieces"][0]["form"], "quay bracket");
    let kept = of_form(&on_disk(&tray.sheet)["pieces"], "quay bracket");
    assert_eq!(kept.len(), 3);
    // It can be chosen from now on.
    let forms = tray.server.get("api/start").ok().json();
    let forms = forms["vocabulary"]["forms"].as_array().unwrap().clone();
    assert!(forms.iter().any(|form| form["name"] == "quay bracket"));
    // One step takes all of it back.
    let version = after["version"].clone();
    let undone = tray
        .server
        .post("api/sheet/0/undo", &json!({ "version": version }));
    let undone = undone.ok().json();
    assert_eq!(undone["pieces"], before["pieces"]);
    assert_eq!(undone["spots"], before["spots"]);
    // The list has it: the same is named once more, and nothing else by that name and size.
    let again = tray.ask(json!({ "name": "quay bracket" })).ok().json();
    assert_eq!(of_form(&again["pieces"], "quay bracket").len(), 3);
    assert_eq!(on_disk(&tray.shapes)["pieces"].as_array().unwrap().len(), 1);
    tray.ask(json!({ "name": "quay bracket", "studs": true }))
        .refused(422, "listed");
}

#[test]
fn copies_that_are_none_are_left_out_and_studs_can_be_said() {
    let tray = Tray::counted();
    let with = |studs: bool| tray.ask(json!({ "studs": studs })).ok().json()["studs"].clone();
    assert_eq!([with(false), with(true)], [json!(0), json!(4)]);
    let after = tray
        .ask(json!({ "name": "knee", "left_out": [0, 2] }))
        .ok()
        .json();
    // What was pointed at stays whatever is said.
    assert_eq!(of_form(&after["pieces"], "knee").len(), 2);
}

#[test]
fn what_cannot_be_named_is_refused_in_words() {
    let tray = Tray::counted();
    let before = fs::read(&tray.sheet).unwrap();
    let name = |more: Value| {
        let mut all = json!({ "name": "quay bracket" });
        let more = more.as_object().unwrap().clone();
        all.as_object_mut().unwrap().extend(more);
        tray.ask(all)
    };
    name(json!({ "height_mm": 100.0 })).refused(422, "0.5 to 60 mm");
    name(json!({ "at_px": [3.0, 3.0] })).refused(422, "nothing lies there");
    name(json!({ "at_px": [1e300, -1e300] })).refused(422, "nothing lies there");
    name(json!({ "name": "brick" })).refused(422, "listed");
    name(json!({ "name": "" })).refused(422, "name");
    name(json!({ "version": "0" })).refused(409, "changed elsewhere");
    name(json!({ "left_out": [-1] })).refused(400, "load the page again");
    name(json!({ "colour": "kelp" })).refused(400, "load the page again");
    assert_eq!(fs::read(&tray.sheet).unwrap(), before);
    assert!(!tray.shapes.exists());
}

/// By keys alone: what is traced is shown before it is named, and then all of it is on the sheet.
#[test]
fn a_shape_is_named_on_the_page() {
    if !need_browser() {
        return;
    }
    let tray = Tray::counted();
    let bracket = place(&tray.brackets()[0]);
    let shown = tray.server.shown();
    let off = |piece: &&Value| (place(piece)[0] - bracket[0]).hypot(place(piece)[1] - bracket[1]);
    let pieces = shown["pieces"].as_array().unwrap().iter();
    let counted = pieces.min_by(|a, b| off(a).total_cmp(&off(b))).unwrap();
    let mut browser = Browser::open(Window::Desktop, false);
    browser.review(&tray.server.address);
    let title = format!("Piece {}", counted["id"]);
    for _ in 0..shown["open"].as_array().unwrap().len() {
        if browser.text("#card h2") == title {
            break;
        }
        browser.key(fantoccini::key::Key::Right);
    }
    assert_eq!(browser.text("#card h2"), title);
    browser.key('o');
    browser.wait("document.querySelectorAll('.copies .copy').length === 3");
    assert_eq!(
        browser.text("dialog[open] button[type=submit]"),
        "Name all 3"
    );
    browser.click(".copies button.copy");
    assert_eq!(
        browser.text("dialog[open] button[type=submit]"),
        "Name all 2"
    );
    browser.click(".copies button.copy");
    browser.text_in("brick");
    // Nothing is lost where the name is taken: another is typed in its stead.
    browser.press("Name all 3");
    browser.wait("!!document.querySelector('dialog[open] .wrong:not([hidden])')");
    browser.run("document.querySelector('dialog[open] input[name=name]').value = ''; document.querySelector('dialog[open] input[name=name]').focus()");
    browser.text_in("quay bracket");
    browser.key(ENTER);
    browser.wait("!document.querySelector('dialog[open]')");
    assert!(browser.message().contains("quay bracket"));
    let named = of_form(&tray.server.shown()["pieces"], "quay bracket");
    assert_eq!(named.len(), 3);
}
