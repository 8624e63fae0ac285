//! The pictures in docs/review.md, taken in a real run when `CUPTALLY_PICTURES` names a
//! folder to put them in.

use std::env;
use std::fs;
use std::path::{Path, PathBuf};

use crate::browser::{Browser, ENTER, Window};
use crate::need_browser;
use crate::sheets;
use crate::support::Server;

#[test]
fn pictures_for_the_documents() {
    let Some(folder) = env::var_os("CUPTALLY_PICTURES").map(PathBuf::from) else {
        eprintln!("skipped: CUPTALLY_PICTURES names no folder");
        return;
    };
    if !need_browser() {
        return;
    }
    fs::create_dir_all(&folder).unwrap();
    for (window, dark) in [
        (Window::Desktop, false),
        (Window::Desktop, true),
        (Window::Phone, false),
        (Window::Phone, true),
    ] {
        let home = tempfile::tempdir().unwrap();
        let mut sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 6, false);
        sheet.place = Some("cup 2, quay decks".to_owned());
        sheets::teach(home.path(), "plates-sorted-d50-42");
        let path = sheets::write(home.path(), "quay", &sheet);
        let server = Server::start(home.path(), &[&path]);
        let mut browser = Browser::open(window, dark);
        browser.review(&server.address);
        browser.kept(|b| b.key(ENTER));
        browser.kept(|b| b.key('1'));
        browser.wait("[...document.images].every((i) => i.complete && i.naturalWidth > 0)");
        // The flash on moved rows has faded by then.
        std::thread::sleep(std::time::Duration::from_secs(2));
        let name = match (window, dark) {
            (Window::Desktop, false) => "review-desktop",
            (Window::Desktop, true) => "review-desktop-dark",
            (Window::Phone, false) => "review-phone",
            (Window::Phone, true) => "review-phone-dark",
        };
        keep(&browser, &folder, name);
    }
    side_by_side(&folder);
}

/// Plates of which each colour lies beside the one most like it, some called by the wrong one.
fn side_by_side(folder: &Path) {
    const PHOTO: &str = "hard-colours-plates-a-48";
    let home = tempfile::tempdir().unwrap();
    let mut sheet = sheets::sheet(PHOTO, usize::MAX, 9, false);
    sheet.place = Some("cup 2, quay decks".to_owned());
    sheets::call_alike(&mut sheet, 4);
    sheets::teach(home.path(), PHOTO);
    let path = sheets::write(home.path(), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let mut browser = Browser::open(Window::Desktop, false);
    browser.review(&server.address);
    browser.key('b');
    browser.wait("document.querySelectorAll('.crop img').length > 0 && [...document.images].every((i) => i.complete && i.naturalWidth > 0)");
    browser.point(".crop.doubtful");
    browser.wait("document.querySelector('.strip-choice') !== null");
    keep(&browser, folder, "review-side");
}

fn keep(browser: &Browser, folder: &Path, name: &str) {
    let picture = image::load_from_memory(&browser.picture())
        .unwrap()
        .into_rgb8();
    let file = fs::File::create(folder.join(format!("{name}.jpg"))).unwrap();
    image::codecs::jpeg::JpegEncoder::new_with_quality(file, 82)
        .encode_image(&picture)
        .unwrap();
}
