//! Two windows, two servers, another program: nobody loses anything.

use serde_json::json;

use crate::browser::{Browser, ENTER, Window};
use crate::need_browser;
use crate::sheets::{self, read};
use crate::support::Server;

#[test]
fn a_second_window_follows_and_loses_nothing() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 6, false);
    let path = sheets::write(home.path(), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let mut first = Browser::open(Window::Desktop, false);
    let mut second = Browser::open(Window::Phone, false);
    first.review(&server.address);
    second.review(&server.address);
    second.kept(|b| b.key(ENTER));
    second.kept(|b| b.key('1'));
    // The first window shows by itself what was done in the second.
    first.wait("document.querySelectorAll('.outline.looked').length === 2");
    assert_eq!(first.text("#left"), "4 pieces left");
    // What it shows was settled over there: Enter only goes on, and accepts nothing that
    // was not to be seen before.
    first.key(ENTER);
    first.wait("document.querySelector('.card .place').innerText === '1 of 4 to look at'");
    assert_eq!(read(&path).review.unwrap().steps.len(), 2);
    first.kept(|b| b.key(ENTER));
    second.wait("document.querySelectorAll('.outline.looked').length === 3");
    assert_eq!(read(&path).review.unwrap().steps.len(), 3);
}

/// A step decided on an older state of the sheet is not taken, and says so; the one
/// that was taken stays.
#[test]
fn a_stale_step_is_refused() {
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 3, false);
    let path = sheets::write(home.path(), "quay", &sheet);
    // Two servers, so that not even they know of each other.
    let (one, two) = (
        Server::start(home.path(), &[&path]),
        Server::start(home.path(), &[&path]),
    );
    let old = one.shown()["version"].clone();
    let id = sheet.pieces[0].id;
    two.correct(json!({ "what": "accept", "ids": [id] })).ok();
    let late = json!({ "version": old, "correction": { "what": "remove", "ids": [id] } });
    one.post("api/sheet/0/correct", &late)
        .refused(409, "changed elsewhere");
    one.post("api/sheet/0/undo", &json!({ "version": old }))
        .refused(409, "changed elsewhere");
    let now = read(&path);
    assert_eq!(now.review.as_ref().unwrap().steps.len(), 1);
    assert!(now.pieces.iter().any(|p| p.id == id && p.looked_at));
    one.correct(json!({ "what": "remove", "ids": [id] })).ok();
    assert_eq!(read(&path).review.unwrap().steps.len(), 2);
}

/// The photo counted again meanwhile: the new sheet is what is shown, not overwritten.
#[test]
fn a_sheet_that_another_program_wrote_is_shown_anew() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let path = sheets::write(
        home.path(),
        "quay",
        &sheets::sheet("plates-sorted-d50-42", usize::MAX, 6, false),
    );
    let server = Server::start(home.path(), &[&path]);
    let mut browser = Browser::open(Window::Desktop, false);
    browser.review(&server.address);
    browser.kept(|b| b.key(ENTER));
    let again = sheets::sheet("plates-sorted-d50-42", 20, 2, false);
    sheets::write(home.path(), "quay", &again);
    browser.wait("document.getElementById('left').innerText === '2 pieces left'");
    assert_eq!(
        browser.js("document.querySelectorAll('.outline').length"),
        json!(20)
    );
    assert_eq!(read(&path), again);
    // Gone altogether: the page says so and makes no empty file.
    std::fs::remove_file(&path).unwrap();
    browser.key(ENTER);
    browser.wait("document.getElementById('message').innerText.includes('cannot read')");
    assert!(!path.exists());
}
