//! The end of a review: checked pieces in the stock, or pending ones.

use std::path::{Path, PathBuf};

use cuptally::stock::{Stock, format};
use serde_json::{Value, json};

use crate::browser::{Browser, ENTER, WINDOWS, Window};
use crate::need_browser;
use crate::sheets::{self, read};
use crate::support::{PROGRAM, Server};

const NAMES: [&str; 3] = [
    "plates-sorted-d50-42",
    "plates-stored-turned-40",
    "tiles-sorted-led-b3-55",
];

fn home_with(sheets_of: &[&str], doubtful: usize) -> (tempfile::TempDir, Vec<PathBuf>) {
    let home = tempfile::tempdir().unwrap();
    let paths = sheets_of
        .iter()
        .map(|name| {
            let mut sheet = sheets::sheet(name, 15, doubtful, false);
            sheet.place = Some(format!("cup of {}", &name[..6]));
            sheets::write(&home.path().join("sheets"), name, &sheet)
        })
        .collect();
    (home, paths)
}

fn stock(home: &Path) -> Stock {
    format::parse(&std::fs::read(home.join("stock.json")).unwrap()).unwrap()
}

fn pieces(home: &Path) -> String {
    let total = stock(home).contents.totals(false).unwrap().total().unwrap();
    // The best number, without the range.
    total.to_string().split(' ').next().unwrap().to_owned()
}

fn finish(server: &Server, wish: Value) -> crate::support::Answer {
    let mut wish = wish;
    wish["version"] = server.shown()["version"].clone();
    server.post("api/sheet/0/finish", &wish)
}

/// Several sheets in a row, by keys or by pointing, until the review closes itself.
#[test]
fn sheets_are_finished_one_after_the_other() {
    if !need_browser() {
        return;
    }
    for window in WINDOWS {
        let (home, paths) = home_with(&NAMES, 2);
        let named: Vec<&Path> = paths.iter().map(PathBuf::as_path).collect();
        let mut server = Server::start(home.path(), &named);
        let mut browser = Browser::open(window, false);
        browser.review(&server.address);
        for k in 0..3 {
            browser.wait(&format!("document.body.dataset.ready === '{k}'"));
            for _ in 0..2 {
                browser.kept(|b| b.key(ENTER));
            }
            let go = |b: &mut Browser, words: &str| match window {
                Window::Desktop => b.key(ENTER),
                Window::Phone => b.press(words),
            };
            go(&mut browser, "Finish this sheet");
            browser.wait(
                "document.querySelector('dialog[open] h2')?.innerText === 'Finish this sheet'",
            );
            if k == 1 {
                // This cup holds the first sheet's pieces already: it must be said what
                // these are to them.
                browser.press("Post as checked");
                browser.wait("document.querySelector('dialog .wrong')?.hidden === false");
                assert!(
                    browser
                        .text("dialog .wrong")
                        .contains("come on top or replace")
                );
                browser.click("dialog [value=add]");
                browser.press("Post as checked");
            } else {
                go(&mut browser, "Post as checked");
            }
            browser.wait("document.querySelector('dialog[open] h2')?.innerText === 'Done'");
            go(
                &mut browser,
                if k < 2 {
                    "Next sheet"
                } else {
                    "Close the review"
                },
            );
        }
        browser.wait("document.querySelector('h1')?.innerText === 'The review is closed'");
        assert_eq!(server.ended(), 0);
        assert_eq!(pieces(home.path()), "45");
        assert!(paths.iter().all(|path| read(path).checked));
        assert!(stock(home.path()).contents.pending.is_empty());
    }
}

#[test]
fn what_is_left_stays_pending() {
    let (home, paths) = home_with(&NAMES[..1], 3);
    let server = Server::start(home.path(), &[&paths[0]]);
    finish(&server, json!({ "checked": true })).refused(422, "3 pieces still to look at");
    assert!(!home.path().join("stock.json").exists());
    let done = finish(&server, json!({ "checked": false })).ok().json();
    assert!(
        done["done"]
            .as_str()
            .unwrap()
            .contains("as pending: entry 1")
    );
    assert_eq!(done["sheets"][0]["standing"]["is"], "pending");
    // Again: nothing happens twice.
    let again = finish(&server, json!({ "checked": false })).ok().json();
    assert!(again["done"].as_str().unwrap().contains("stays pending"));
    assert_eq!(stock(home.path()).history.len(), 1);
    // Looked at now: the checked pieces take the place of the pending ones.
    let open = server.shown()["open"].clone();
    server
        .correct(json!({ "what": "accept", "ids": open }))
        .ok();
    server
        .correct(json!({ "what": "remove", "ids": [open[0]] }))
        .ok();
    finish(&server, json!({ "checked": true })).ok();
    assert_eq!(pieces(home.path()), "14");
    assert!(stock(home.path()).contents.pending.is_empty());
    assert!(read(&paths[0]).checked);
    // Posted: not changed any more, until its entry is undone.
    server
        .correct(json!({ "what": "remove", "ids": [2] }))
        .refused(422, "stock undo 2");
    finish(&server, json!({ "checked": true })).refused(422, "stock undo 2");
    let undone = std::process::Command::new(PROGRAM)
        .args([
            "--home",
            home.path().to_str().unwrap(),
            "stock",
            "undo",
            "2",
        ])
        .output()
        .unwrap();
    assert!(
        undone.status.success() || undone.status.code() == Some(3),
        "{undone:?}"
    );
    assert_eq!(server.shown()["posted"], Value::Null);
    server.correct(json!({ "what": "remove", "ids": [2] })).ok();
    assert!(!read(&paths[0]).checked);
}

#[test]
fn the_place_is_asked_for_and_kept() {
    let (home, paths) = home_with(&NAMES[..1], 0);
    let mut sheet = read(&paths[0]);
    sheet.place = None;
    std::fs::write(&paths[0], serde_json::to_vec(&sheet).unwrap()).unwrap();
    let server = Server::start(home.path(), &[&paths[0]]);
    finish(&server, json!({ "checked": true })).refused(422, "say where these pieces live");
    finish(&server, json!({ "checked": true, "place": "a\u{7}b" })).refused(422, "cannot be seen");
    finish(&server, json!({ "checked": true, "place": " cup 12 " })).ok();
    assert_eq!(read(&paths[0]).place.as_deref(), Some("cup 12"));
    assert_eq!(pieces(home.path()), "15");
    let end = server.post("api/end", &json!({}));
    assert_eq!(end.status, 200);
}

/// Post and sheet agree on how it stands when the review ends; exit code 3 while
/// something waits.
#[test]
fn the_end_says_how_every_sheet_stands() {
    let (home, paths) = home_with(&NAMES[..2], 1);
    let named: Vec<&Path> = paths.iter().map(PathBuf::as_path).collect();
    let mut server = Server::start(home.path(), &named);
    finish(&server, json!({ "checked": false })).ok();
    server.post("api/end", &json!({})).ok();
    assert_eq!(server.ended(), 3);
    // Ctrl+C ends it as properly as the page's button does.
    let mut server = Server::start(home.path(), &named);
    server.interrupt();
    assert_eq!(server.ended(), 3);
}
