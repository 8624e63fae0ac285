//! Two hundred photos at once.

use std::fs;
use std::path::PathBuf;

use serde_json::json;

use crate::browser::{Browser, Window};
use crate::home::{Desk, photo};
use crate::need_browser;

const PHOTOS: usize = 200;
const BAD: usize = 17;

/// They come in in their order, the bad one with them, and the server's memory stays far below that of the photos.
#[test]
#[ignore = "200 photos, a minute and more"]
fn two_hundred_photos_come_in_at_once() {
    if !need_browser() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    // 12 megapixels each: together 0.7 GB of files, 29 GB of pixels.
    let tray = photo("plates-sorted-d65-12mp-78");
    let files: Vec<PathBuf> = (1..=PHOTOS)
        .map(|number| {
            let path = folder.path().join(format!("tray {number}.jpg"));
            if number == BAD {
                fs::write(&path, "This is a letter.").unwrap();
            } else {
                fs::hard_link(&tray, &path)
                    .or_else(|_| fs::copy(&tray, &path).map(drop))
                    .unwrap();
            }
            path
        })
        .collect();
    let desk = Desk::open();
    let browser = Browser::open(Window::Desktop, false);
    browser.go(&format!("{}#photos", desk.server.address));
    browser.wait("document.body.dataset.room === 'photos'");
    browser.files("#pick", &files);
    let all_there = || {
        let state = desk.state();
        let photos = state["photos"].as_array().unwrap();
        photos.len() == PHOTOS && photos.iter().all(|photo| photo["there"] == json!(true))
    };
    let start = std::time::Instant::now();
    while !all_there() {
        assert!(
            start.elapsed() < 3 * crate::support::PATIENCE,
            "they do not come in"
        );
        std::thread::sleep(std::time::Duration::from_millis(200));
    }
    let state = desk.state();
    let names: Vec<&str> = (state["photos"].as_array().unwrap().iter())
        .map(|photo| photo["name"].as_str().unwrap())
        .collect();
    let wanted: Vec<String> = (1..=PHOTOS)
        .map(|number| format!("tray {number}.jpg"))
        .collect();
    assert_eq!(names, wanted);
    // Pictures of all of them, as when the list is scrolled through.
    for name in &names {
        let small = desk
            .server
            .get(&format!("photo/{}/320", name.replace(' ', "%20")));
        assert_eq!(
            small.status == 200,
            *name != format!("tray {BAD}.jpg"),
            "{name}"
        );
    }
    desk.until("tray 1.jpg", "done");
    let most = desk.server.most_memory();
    assert!(most < 1 << 30, "{} MB", most >> 20);
    eprintln!("most memory of the server: {} MB", most >> 20);
}
