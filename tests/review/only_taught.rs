//! The word that the taught colours are all there are, said on the page.

use std::fs;
use std::path::Path;
use std::process::Command;

use cuptally::sheet::review::What;
use serde_json::{Value, json};

use crate::browser::{Browser, ENTER, WINDOWS};
use crate::need_browser;
use crate::sheets::{self, photo_of, read};
use crate::support::{PROGRAM, Server};

const PHOTO: &str = "plates-sorted-d65-window-48";

/// Teaches two of three colours and counts a photo, in a home folder of its own.
fn counted(home: &Path, more: &[&str]) -> std::path::PathBuf {
    let run = |args: &[&str]| {
        let mut command = Command::new(PROGRAM);
        let done = command.arg("--home").arg(home).args(args).output().unwrap();
        assert!(matches!(done.status.code(), Some(0 | 3)), "{done:?}");
    };
    let photo = photo_of("teach-daylight-24");
    let truth: Value =
        serde_json::from_slice(&fs::read(photo.with_extension("json")).unwrap()).unwrap();
    let names: Vec<&str> = (truth["names"].as_array().unwrap().iter())
        .map(|name| name.as_str().unwrap())
        .collect();
    let path = photo.to_str().unwrap();
    run(&[
        "teach",
        path,
        "--names",
        &names.join(","),
        "--form",
        "plate",
    ]);
    // One in three was never taught.
    let path = home.join("calibration/swatches.json");
    let mut book: Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
    let kept = |name: &Value| names.iter().position(|n| *name == **n).unwrap() % 3 > 0;
    let colours = book["colours"].as_array_mut().unwrap();
    colours.retain(|colour| kept(&colour["name"]));
    let seen = book["seen"][0]["colours"].as_array_mut().unwrap();
    seen.retain(kept);
    fs::write(&path, book.to_string()).unwrap();
    let photo = photo_of(PHOTO);
    let args = [
        &["count", photo.to_str().unwrap(), "--form", "plate"][..],
        more,
    ];
    run(&args.concat());
    home.join("sheets").join(format!("{PHOTO}.sheet.json"))
}

#[test]
fn the_word_on_the_page_is_that_of_the_count_and_goes_back() {
    let (open, only) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let path = counted(open.path(), &[]);
    let by_count = read(&counted(only.path(), &["--only-taught"]));
    assert!(by_count.only_taught);
    let before = read(&path);
    assert_ne!(before.pieces, by_count.pieces);
    let server = Server::start(open.path(), &[&path]);
    let shown = server.shown();
    assert_eq!(shown["only_taught"], false);
    assert!(shown["open_otherwise"].is_number());
    for piece in shown["pieces"].as_array().unwrap() {
        let others = piece["instead"].as_array().cloned().unwrap_or_default();
        let sure = piece["sure"].as_f64().unwrap();
        assert!(
            others.iter().all(|o| o["sure"].as_f64().unwrap() <= sure),
            "{piece}"
        );
    }
    // A piece that was spoken of before stays as it is.
    let spoken = before
        .pieces
        .iter()
        .find(|p| p.otherwise.is_some())
        .unwrap()
        .id;
    server
        .correct(json!({ "what": "accept", "ids": [spoken] }))
        .ok();
    server
        .correct(json!({ "what": "only-taught", "yes": true }))
        .ok();
    server
        .correct(json!({ "what": "only-taught", "yes": true }))
        .refused(422, "nothing would change");
    let after = read(&path);
    assert!(after.only_taught);
    for (after, by_count) in after.pieces.iter().zip(&by_count.pieces) {
        if after.id == spoken {
            assert!(after.looked_at && after.otherwise.is_none());
        } else {
            assert_eq!(after, by_count);
        }
    }
    assert_eq!(
        after.review.as_ref().unwrap().steps[1].what,
        What::OnlyTaught
    );
    let schema = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/sheet-v1.schema.json");
    let schema: Value = serde_json::from_slice(&fs::read(schema).unwrap()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let file: Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
    validator
        .validate(&file)
        .unwrap_or_else(|error| panic!("{error}"));
    for _ in 0..2 {
        let version = server.shown()["version"].clone();
        server
            .post("api/sheet/0/undo", &json!({ "version": version }))
            .ok();
    }
    let back = read(&path);
    assert_eq!((back.only_taught, back.pieces), (false, before.pieces));
}

#[test]
fn the_box_is_ticked_by_pointer_and_by_key() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let path = counted(home.path(), &[]);
    for window in WINDOWS {
        let server = Server::start(home.path(), &[&path]);
        let mut browser = Browser::open(window, false);
        browser.review(&server.address);
        let shown = "document.querySelectorAll('.only-taught:not([hidden])').length";
        assert_eq!(browser.js(shown), 1);
        browser.kept(|b| b.click("#only-taught"));
        assert!(read(&path).only_taught);
        assert_eq!(
            browser.js("document.querySelector('#only-taught').checked"),
            true
        );
        browser.kept(|b| b.key('t'));
        assert!(!read(&path).only_taught);
        assert_eq!(
            browser.js("document.querySelector('#only-taught').checked"),
            false
        );
    }
}

/// As a program before this may have left it: a piece that is likelier something else.
#[test]
fn enter_takes_the_likeliest_even_of_an_old_sheet() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let mut sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 2, false);
    let odd = sheet
        .pieces
        .iter()
        .position(|p| !p.instead.is_empty())
        .unwrap();
    let likelier = sheet.pieces[odd].instead[0].colour.clone();
    sheet.pieces[odd].sure = 0.02;
    sheet.pieces[odd].instead[0].sure = 0.63;
    let path = sheets::write(home.path(), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let mut browser = Browser::open(WINDOWS[0], false);
    browser.review(&server.address);
    assert!(browser.text(".choice.first").contains(&likelier));
    browser.kept(|b| b.key(ENTER));
    assert_eq!(read(&path).pieces[odd].colour, likelier);
}

/// A form that does not come in a piece's size is drawn in one of its own, in its own outline.
#[test]
fn a_corner_is_drawn_as_a_corner_and_a_round_as_round() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let mut sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 2, false);
    for piece in &mut sheet.pieces {
        (piece.form, piece.size) = ("plate".into(), "2x4".into());
    }
    let path = sheets::write(home.path(), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let mut browser = Browser::open(WINDOWS[0], false);
    browser.review(&server.address);
    browser.key('f');
    browser.wait("document.querySelector('dialog[open] .option') !== null");
    // The top is drawn last of the faces: four corners, six of an L, many of a disc.
    let corners = |form: &str| {
        let script = format!(
            "[...document.querySelectorAll('dialog[open] .option')] \
             .find((o) => o.querySelector('.option-label').innerText === '{form}') \
             .querySelector('svg > polygon:last-of-type').points.numberOfItems"
        );
        browser.js(&script).as_u64().unwrap()
    };
    assert_eq!((corners("plate"), corners("corner")), (4, 6));
    assert!(corners("round") > 12, "{}", corners("round"));
}
