//! From an empty folder to a checked cup and an answer what it covers, without a terminal, as a new user would.

use std::fs;
use std::path::PathBuf;

use serde_json::json;

use crate::browser::{Browser, ENTER, Window};
use crate::home::{Desk, photo};
use crate::need_browser;

/// Clicks and presses that the whole of it may take.
const MOST: usize = 40;

/// Keeps a picture of each step where `CUPTALLY_PICTURES` names a folder: those in docs/desk.md.
fn keep(browser: &Browser, name: &str) {
    let Some(folder) = std::env::var_os("CUPTALLY_PICTURES").map(PathBuf::from) else {
        return;
    };
    browser.wait("[...document.images].every((i) => i.complete)");
    fs::create_dir_all(&folder).unwrap();
    let picture = image::load_from_memory(&browser.picture())
        .unwrap()
        .into_rgb8();
    let file = fs::File::create(folder.join(format!("{name}.jpg"))).unwrap();
    image::codecs::jpeg::JpegEncoder::new_with_quality(file, 80)
        .encode_image(&picture)
        .unwrap();
}

#[test]
fn a_first_visit_ends_with_an_answer() {
    if !need_browser() {
        return;
    }
    let desk = Desk::open();
    let folder = tempfile::tempdir().unwrap();
    let plan = folder.path().join("ramp.csv");
    fs::write(&plan, "module,wanted,hidden,form,size,count,colours\nferry ramp,3,,plate,1x2,2,any\nferry ramp,,,plate,2x2,1,any\n").unwrap();
    let mut browser = Browser::open(Window::Desktop, false);
    let mut clicks = 0;
    let mut press = |browser: &Browser, words: &str| {
        clicks += 1;
        browser.press(words);
    };
    let room = |browser: &Browser, name: &str| {
        browser.wait(&format!("document.body.dataset.room === '{name}'"))
    };
    browser.go(&desk.server.address);
    room(&browser, "begin");
    keep(&browser, "desk-begin");

    // Colours: the photo is chosen, and the general names do.
    press(&browser, "Teach colours");
    room(&browser, "colours");
    press(&browser, "Choose a photo of one piece");
    browser.files("#teach-photo", &[photo("teach-daylight-24")]);
    browser.wait("document.querySelector('.naming') !== null");
    keep(&browser, "desk-teach");
    press(&browser, "Teach these 24 colours");
    browser.wait("document.querySelectorAll('.colour-list strong').length === 24");

    // A cup: where it lives, and its photo.
    press(&browser, "Count a cup");
    room(&browser, "photos");
    clicks += 1;
    browser.click("input[placeholder='cup 1']");
    browser.text_in("cup 1");
    clicks += 1;
    browser.files("#pick", &[photo("plates-sorted-d65-window-48")]);
    browser.wait("document.querySelector('.photo-row .primary') !== null");
    keep(&browser, "desk-photos");

    // What is doubtful, side by side, and kept.
    let mut press = |browser: &Browser, words: &str| {
        clicks += 1;
        browser.press(words);
    };
    press(&browser, "Look it over");
    browser.wait("document.body.dataset.ready === '0'");
    browser.wait("document.getElementById('photo').dataset.ready !== undefined");
    browser.key('b');
    browser.wait("document.querySelectorAll('.crop').length > 0");
    while browser.text("#left") != "nothing left to look at" {
        browser.wait("[...document.querySelectorAll('.crop img')].every((i) => i.complete && i.naturalWidth > 0)");
        browser.kept(|b| b.key(ENTER));
    }
    browser.key('p');
    browser.wait("document.querySelector('dialog[open]') !== null");
    keep(&browser, "desk-finish");
    browser.key(ENTER);
    browser.wait("document.querySelector('dialog[open] h2').innerText === 'Done'");
    browser.key(ENTER);
    room(&browser, "photos");
    let sheet = desk.state()["sheets"][0].clone();
    assert_eq!(
        (&sheet["checked"], &sheet["standing"]["is"]),
        (&json!(true), &json!("checked"))
    );
    assert_eq!(sheet["pieces"], json!(48));

    // What it covers.
    browser.click("#rooms [data-room=plans]");
    room(&browser, "plans");
    press(&browser, "Import a plan");
    browser.files("#plan-file", std::slice::from_ref(&plan));
    browser.wait("document.querySelector('.answer-lead') !== null");
    assert!(
        browser
            .text(".answer-lead")
            .starts_with("The stock finishes 3 of 3 modules"),
        "{}",
        browser.text(".answer-lead")
    );
    keep(&browser, "desk-cover");
    // The way to the plans, too.
    let all = 1 + clicks + browser.presses;
    eprintln!("{} clicks and {} presses", 1 + clicks, browser.presses);
    assert!(all <= MOST, "{all}");
}
