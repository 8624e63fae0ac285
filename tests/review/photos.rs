//! A sheet of several photos: one key shows the next one, and a piece is seen close in all of them.

use std::path::Path;

use cuptally::sheet::Sheet;
use cuptally::sheet::file::InView;
use serde_json::json;

use crate::browser::{Browser, ENTER, WINDOWS, Window};
use crate::need_browser;
use crate::sheets;
use crate::support::Server;

const FIRST: &str = "plates-sorted-w304-32-a";
const SECOND: &str = "plates-sorted-w304-32-b";

/// The two photos of a tray as one sheet; the second is said not to show the first doubtful piece.
fn of_two_photos() -> Sheet {
    let mut sheet = sheets::sheet(FIRST, usize::MAX, 4, false);
    let second = sheets::sheet(SECOND, usize::MAX, 0, false);
    assert_eq!(sheet.pieces.len(), second.pieces.len());
    for (piece, there) in sheet.pieces.iter_mut().zip(&second.pieces) {
        piece.seen_in = vec![1, 2];
        piece.views = vec![InView {
            photo: 2,
            x_px: there.x_px,
            y_px: there.y_px,
            outline_px: there.outline_px.clone(),
        }];
    }
    sheet.pieces[0].seen_in = vec![1];
    sheet.photos.others = vec![second.photos.first];
    sheet
}

fn opened(home: &Path, window: Window) -> (Server, Browser) {
    let path = sheets::write(home, "tray", &of_two_photos());
    let server = Server::start(home, &[&path]);
    let browser = Browser::open(window, false);
    browser.review(&server.address);
    (server, browser)
}

#[test]
fn one_key_shows_the_next_photo_of_the_tray() {
    if !need_browser() {
        return;
    }
    for window in WINDOWS {
        let home = tempfile::tempdir().unwrap();
        let (_server, mut browser) = opened(home.path(), window);
        let sheet = of_two_photos();
        let ready = |number: u32| {
            format!(
                "document.getElementById('photo').dataset.ready?.startsWith('photo/0/{number}/')"
            )
        };
        let outline = "[...document.querySelectorAll('.outline')].find((o) => o.dataset.id === '2').querySelector('polygon').points[0].x";
        browser.wait(&ready(1));
        assert_eq!(browser.text("#flip-words"), "Photo 1 of 2");
        let near = |is: f64, wanted: f64| assert!((is - wanted).abs() < 0.01, "{is} {wanted}");
        near(
            browser.js(outline).as_f64().unwrap(),
            sheet.pieces[1].outline_px[0][0],
        );
        browser.key('n');
        browser.wait(&ready(2));
        assert_eq!(browser.text("#flip-words"), "Photo 2 of 2");
        near(
            browser.js(outline).as_f64().unwrap(),
            sheet.pieces[1].views[0].outline_px[0][0],
        );
        // What is drawn anew is drawn in the first photo, whose tray the page knows.
        browser.key('a');
        browser.wait(&ready(1));
        browser.key('a');
        // A piece is seen close in both, the one that does not show it named so; a click shows that photo.
        let looks =
            "[...document.querySelectorAll('.close-look-of')].map((look) => look.innerText.trim())";
        assert_eq!(browser.js(looks), json!(["photo 1", "photo 2: hidden"]));
        browser.kept(|b| b.key(ENTER));
        assert_eq!(browser.js(looks), json!(["photo 1", "photo 2"]));
        let loaded = "[...document.querySelectorAll('.close-look-of img')].every((i) => i.complete && i.naturalWidth > 0)";
        browser.wait(loaded);
        browser.click(".close-look-of:last-child");
        browser.wait(&ready(2));
    }
}

#[test]
fn a_sheet_of_one_photo_has_nothing_to_flip_and_says_so() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet(FIRST, usize::MAX, 2, false);
    let path = sheets::write(home.path(), "tray", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let mut browser = Browser::open(Window::Desktop, false);
    browser.review(&server.address);
    assert_eq!(browser.js("document.getElementById('flip').hidden"), true);
    browser.key('n');
    let told = browser.message();
    assert!(
        told.contains("one photo") && told.contains("--together"),
        "{told}"
    );
    // Another number is no photo of it.
    assert_ne!(server.get("photo/0/2/1600").status, 200);
    assert_ne!(server.get("crop/0/0/10/10/50/50").status, 200);
}
