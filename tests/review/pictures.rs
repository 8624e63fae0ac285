//! The pictures in docs/review.md, taken in a real run when `CUPTALLY_PICTURES` names a
//! folder to put them in.

use std::env;
use std::fs;
use std::path::PathBuf;

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
        let picture = image::load_from_memory(&browser.picture())
            .unwrap()
            .into_rgb8();
        let file = fs::File::create(folder.join(format!("{name}.jpg"))).unwrap();
        image::codecs::jpeg::JpegEncoder::new_with_quality(file, 82)
            .encode_image(&picture)
            .unwrap();
    }
}
