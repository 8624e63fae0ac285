//! What the command says when something is wrong, and where photos are found.

use std::fs;
use std::path::Path;

use serde_json::json;

use crate::browser::{Browser, Window};
use crate::need_browser;
use crate::sheets;
use crate::support::{PROGRAM, Server, command};

/// Runs a review that must not start; gives its exit code and what it says.
fn refused(home: &Path, args: &[&Path]) -> (i32, String) {
    let output = command(home, args).output().unwrap();
    assert!(output.stdout.is_empty(), "{output:?}");
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(said.lines().count(), 1, "{said}");
    (output.status.code().unwrap(), said)
}

#[test]
fn bad_input_gets_one_sentence() {
    let home = tempfile::tempdir().unwrap();
    let at = |name: &str| home.path().join(name);
    fs::write(at("talk.sheet.json"), "not a sheet").unwrap();
    fs::write(at("new.sheet.json"), r#"{"sheet":"v2"}"#).unwrap();
    let mut lost = sheets::sheet("plates-sorted-d50-42", 3, 1, false);
    lost.photos.first.file = "no-such-photo.jpg".to_owned();
    sheets::write(home.path(), "lost", &lost);
    for (name, words) in [
        ("none.sheet.json", "cannot read"),
        ("talk.sheet.json", "is no sheet file"),
        ("new.sheet.json", "version v2"),
        ("lost.sheet.json", "name its folder with --photos DIR"),
    ] {
        let (code, said) = refused(home.path(), &[&at(name)]);
        assert!(code == 1 && said.contains(words), "{code} {said}");
        assert!(said.contains(name) || name == "new.sheet.json", "{said}");
    }
    let (code, said) = refused(home.path(), &[]);
    assert!(
        code == 1 && said.contains("there is no sheet to review"),
        "{said}"
    );
    let (code, _) = refused_options(home.path(), &["--port", "99999"]);
    assert_eq!(code, 2);
    // Nothing was made or changed.
    assert_eq!(fs::read_dir(home.path()).unwrap().count(), 3);
}

fn refused_options(home: &Path, options: &[&str]) -> (i32, String) {
    let output = command(home, &[]).args(options).output().unwrap();
    (
        output.status.code().unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

#[test]
fn a_port_in_use_is_told() {
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet("plates-sorted-d50-42", 3, 1, false);
    let path = sheets::write(&home.path().join("sheets"), "quay", &sheet);
    fs::copy(
        sheets::photo_of("plates-sorted-d50-42"),
        home.path().join("plates-sorted-d50-42.jpg"),
    )
    .unwrap();
    let server = Server::start(home.path(), &[&path]);
    let port = server.host().rsplit(':').next().unwrap();
    let (code, said) = refused_options(home.path(), &["--port", port]);
    assert!(
        code == 1 && said.contains("name another with --port"),
        "{said}"
    );
}

/// Counted, then the whole folder moved elsewhere: the photo is still found, by where it
/// is seen from the sheet. This runs the real count on a shipped photo.
#[test]
fn a_counted_sheet_finds_its_photo_also_when_both_move() {
    let home = tempfile::tempdir().unwrap();
    let club = home.path().join("club");
    fs::create_dir_all(club.join("photos")).unwrap();
    let photo = club.join("photos/cup-3.jpg");
    fs::copy(sheets::photo_of("plates-sorted-close-a-18"), &photo).unwrap();
    let counted = std::process::Command::new(PROGRAM)
        .arg("--home")
        .arg(&club)
        .args(["count", "--form", "plate", "--place", "cup 3"])
        .arg(&photo)
        .output()
        .unwrap();
    assert!(
        [0, 3].contains(&counted.status.code().unwrap()),
        "{counted:?}"
    );
    // Put right by a person: another count does not overwrite that.
    let path = club.join("sheets/cup-3.sheet.json");
    let counted_once = sheets::read(&path);
    let server = Server::start(&club, &[&path]);
    let id = counted_once.pieces[0].id;
    server
        .correct(json!({ "what": "remove", "ids": [id] }))
        .ok();
    drop(server);
    let corrected = fs::read(&path).unwrap();
    let again = std::process::Command::new(PROGRAM)
        .arg("--home")
        .arg(&club)
        .args(["count", "--form", "plate"])
        .arg(&photo)
        .output()
        .unwrap();
    let said = String::from_utf8(again.stderr).unwrap();
    assert_eq!(again.status.code(), Some(1), "{said}");
    assert!(said.contains("holds what a person put right"), "{said}");
    assert_eq!(fs::read(&path).unwrap(), corrected);
    let moved = home.path().join("attic");
    fs::rename(&club, &moved).unwrap();
    let sheet = sheets::read(&moved.join("sheets/cup-3.sheet.json"));
    assert_eq!(
        sheet.photos.first.path.as_deref(),
        Some("../photos/cup-3.jpg")
    );
    // Without sheets named, those of the home folder.
    let server = Server::start(&moved, &[]);
    let shown = server.shown();
    assert_eq!(shown["file"], "cup-3.jpg");
    let picture = server.get("photo/0/1/1600").ok();
    let picture = image::load_from_memory(&picture.body).unwrap();
    assert_eq!(picture.width().max(picture.height()), 1600);
    let crop = server.get("crop/0/1/100/200/300/150").ok();
    let crop = image::load_from_memory(&crop.body).unwrap();
    assert_eq!((crop.width(), crop.height()), (300, 150));
    let beyond = server.get("crop/0/1/4000000/4000000/300/150").ok();
    assert!(image::load_from_memory(&beyond.body).is_ok());
}

/// The page says which photo is missing, and all else still works.
#[test]
fn a_wrong_photo_is_told_on_the_page() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let mut sheet = sheets::sheet("plates-sorted-d50-42", 12, 2, false);
    sheet.photos.first.hash = "1".repeat(64);
    let path = sheets::write(home.path(), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let browser = Browser::open(Window::Phone, false);
    browser.go(&server.address);
    browser.wait("!document.getElementById('photo-note').hidden");
    assert!(
        browser
            .text("#photo-note")
            .contains("is not the photo that")
    );
    server.correct(json!({ "what": "accept", "ids": [1] })).ok();
}

/// What the server is asked wrongly gets a sentence and changes nothing.
#[test]
fn wrong_questions_change_nothing() {
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet("plates-sorted-d50-42", 12, 2, false);
    let path = sheets::write(home.path(), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let before = fs::read(&path).unwrap();
    for (correction, words) in [
        (
            json!({ "what": "accept", "ids": [999] }),
            "piece 999 is no longer",
        ),
        (json!({ "what": "accept" }), "nothing would change"),
        (
            json!({ "what": "accept", "spots": [3] }),
            "no longer on this sheet",
        ),
        (
            json!({ "what": "change", "ids": [2], "size": "2x9" }),
            "no plate 2x9",
        ),
        (
            json!({ "what": "change", "ids": [2], "size": "wide" }),
            "wide",
        ),
        (
            json!({ "what": "change", "ids": [2], "form": "brick", "face": "sideways" }),
            "cannot lie",
        ),
        (
            json!({ "what": "change", "ids": [2], "colour": " " }),
            "empty",
        ),
        (
            json!({ "what": "split", "id": 2, "cut": 99 }),
            "cannot be cut so",
        ),
        (
            json!({ "what": "join", "ids": [2, 2] }),
            "two different pieces",
        ),
        (
            json!({ "what": "recolour", "from": "nobody", "to": "kelp" }),
            "no piece on this sheet is nobody",
        ),
        (
            json!({ "what": "count", "form": "plate", "size": "2x2", "colour": "kelp", "count": 5, "reason": " " }),
            "say in a few words",
        ),
        (
            json!({ "what": "count", "form": "plate", "size": "2x2", "colour": "kelp", "count": 4_000_000, "reason": "pile" }),
            "more than a photo",
        ),
        (
            json!({ "what": "add", "piece": { "form": "plate", "size": "2x2", "colour": "kelp", "face": "up", "x_mm": 1e300, "y_mm": 0, "turn_deg": 0 } }),
            "outside of the photo",
        ),
    ] {
        server.correct(correction.clone()).refused(422, words);
        assert_eq!(fs::read(&path).unwrap(), before, "{correction}");
    }
    for correction in [
        json!({ "what": "sink" }),
        json!({ "what": "remove", "ids": "all" }),
        json!([]),
    ] {
        server.correct(correction).refused(400, "does not know");
    }
    let version = server.shown()["version"].clone();
    server
        .post("api/sheet/0/undo", &json!({ "version": version }))
        .refused(422, "nothing to undo");
    server
        .post("api/sheet/0/redo", &json!({ "version": version }))
        .refused(422, "nothing to redo");
    assert_eq!(fs::read(&path).unwrap(), before);
}

/// Every correction kind keeps the sheet within its schema, and the stock can read it.
#[test]
fn a_corrected_sheet_fits_its_schema() {
    let home = tempfile::tempdir().unwrap();
    let mut sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 4, false);
    sheet.unexplained = vec![sheets::spot(1850.0, 1500.0)];
    let of_size = |size: &str| sheet.pieces.iter().find(|p| p.size == size).unwrap().id;
    let path = sheets::write(home.path(), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let colour = sheet.pieces[5].colour.clone();
    for correction in [
        json!({ "what": "accept", "ids": [1, 2], "spots": [0] }),
        json!({ "what": "change", "ids": [4], "size": "2x3", "face": "side" }),
        json!({ "what": "split", "id": of_size("2x4"), "cut": 0 }),
        json!({ "what": "recolour", "from": colour, "to": "tide-line" }),
        json!({ "what": "count", "form": "tile", "size": "1x1", "colour": "kelp", "count": 9, "reason": "pile" }),
        json!({ "what": "place", "name": "cup 9" }),
        json!({ "what": "remove", "ids": [7] }),
        json!({ "what": "add", "piece": { "form": "plate", "size": "2x2", "colour": "kelp", "face": "up", "x_mm": 95.0, "y_mm": -60.0, "turn_deg": 200.0 } }),
    ] {
        server.correct(correction).ok();
    }
    let version = server.shown()["version"].clone();
    server
        .post("api/sheet/0/undo", &json!({ "version": version }))
        .ok();
    let schema =
        fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/sheet-v1.schema.json")).unwrap();
    let schema: serde_json::Value = serde_json::from_slice(&schema).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let written: serde_json::Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
    validator.validate(&written).unwrap();
    assert_eq!(written["place"], "cup 9");
    assert_eq!(written["review"]["steps"].as_array().unwrap().len(), 7);
    assert_eq!(written["review"]["undone"].as_array().unwrap().len(), 1);
    // Schema and file tell the same things: a property that the schema lacks would show here.
    for part in ["guess", "steps", "undone", "counts"] {
        assert!(
            schema["properties"]["review"]["properties"][part].is_object(),
            "{part}"
        );
    }
    let first = written["review"]["steps"][0].as_object().unwrap();
    for key in first.keys() {
        assert!(
            schema["$defs"]["step"]["properties"][key].is_object(),
            "{key}"
        );
    }
}

/// A folder stands for its sheets that nobody has checked, in the order of their names; elsewhere than home.
#[test]
fn a_folder_is_reviewed_as_its_open_sheets() {
    let folder = tempfile::tempdir().unwrap();
    let home = folder.path().join("home");
    let cups = folder.path().join("cups");
    for (name, checked) in [("cup-2", false), ("cup-1", false), ("cup-3", true)] {
        let mut sheet = sheets::sheet("plates-sorted-d50-42", 3, 1, false);
        sheet.checked = checked;
        sheet.photos.first.file = format!("{name}.jpg");
        sheets::write(&cups, name, &sheet);
        fs::copy(
            sheets::photo_of("plates-sorted-d50-42"),
            cups.join(format!("{name}.jpg")),
        )
        .unwrap();
    }
    let server = Server::start(&home, &[&cups]);
    assert_eq!(server.get("api/sheet/0").ok().json()["file"], "cup-1.jpg");
    assert_eq!(server.get("api/sheet/1").ok().json()["file"], "cup-2.jpg");
    assert_ne!(server.get("api/sheet/2").status, 200);
    let none = folder.path().join("none");
    fs::create_dir(&none).unwrap();
    let (code, said) = refused(&home, &[&none]);
    assert!(
        code == 1 && said.contains("there is no sheet to review in"),
        "{said}"
    );
}
