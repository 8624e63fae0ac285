//! The spot check at the end of a sheet: five sure pieces side by side.

use serde_json::json;

use crate::browser::{Browser, ENTER, WINDOWS};
use crate::need_browser;
use crate::sheets::{self, read};
use crate::support::Server;

#[test]
fn five_sure_pieces_take_one_key_and_are_evidence() {
    if !need_browser() {
        return;
    }
    for window in WINDOWS {
        let home = tempfile::tempdir().unwrap();
        let mut sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 0, false);
        sheet.place = Some("cup 3".to_owned());
        let path = sheets::write(&home.path().join("sheets"), "quay", &sheet);
        let server = Server::start(home.path(), &[&path]);
        let asked = server.get("api/sheet/0/ending").ok().json()["spot_check"].clone();
        assert_eq!(asked["ids"].as_array().unwrap().len(), 5);
        let mut browser = Browser::open(window, false);
        browser.review(&server.address);
        browser.key('p');
        browser.wait("document.getElementById('spot-check') !== null");
        assert!(
            browser
                .text(".spot-check")
                .contains("0 were looked at so far")
        );
        browser.click("#spot-check");
        browser.wait("document.querySelectorAll('.crop img').length === 5 && [...document.querySelectorAll('.crop img')].every((i) => i.complete && i.naturalWidth > 0)");
        // One of them is not right.
        browser.click(".crop");
        browser.kept(|b| b.key('x'));
        browser.wait("document.querySelectorAll('.crop').length === 4");
        browser.kept(|b| b.key(ENTER));
        browser.key(ENTER);
        browser
            .wait("document.querySelector('dialog[open] h2')?.innerText === 'Finish this sheet'");
        // It was done, so it is not asked for again.
        assert_eq!(
            browser.js("document.getElementById('spot-check')"),
            json!(null)
        );
        let looked = read(&path).pieces.iter().filter(|p| p.together).count();
        assert_eq!(looked, 4);
        browser.key(ENTER);
        browser.wait("document.querySelector('dialog[open] h2')?.innerText === 'Done'");
        let text = std::fs::read_to_string(home.path().join("calibration/record.json")).unwrap();
        let record = cuptally::count::record::Record::from_json(&text).unwrap();
        let rows: Vec<_> = record.rows().collect();
        assert_eq!(rows.iter().map(|row| row.number()).sum::<u32>(), 5);
        assert_eq!(rows.iter().map(|row| row.no_piece).sum::<u32>(), 1);
    }
}

/// It may be left: the sheet is finished as ever.
#[test]
fn a_spot_check_may_be_left() {
    let home = tempfile::tempdir().unwrap();
    let mut sheet = sheets::sheet("plates-sorted-d50-42", 12, 0, false);
    sheet.place = Some("cup 3".to_owned());
    let path = sheets::write(&home.path().join("sheets"), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let ending = server.get("api/sheet/0/ending").ok().json();
    assert!(!ending["spot_check"].is_null());
    let wish = json!({ "version": server.shown()["version"], "checked": true, "mode": "add" });
    server.post("api/sheet/0/finish", &wish).ok();
    assert!(read(&path).checked);
    // In the stock it is closed: nothing more is asked.
    let ending = server.get("api/sheet/0/ending").ok().json();
    assert!(ending["spot_check"].is_null());
}
