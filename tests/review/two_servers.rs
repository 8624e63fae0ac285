//! Two servers on one sheet: what the stock takes is what the sheet says.

use std::fs::File;
use std::path::Path;
use std::sync::mpsc;
use std::thread;
use std::time::{Duration, Instant};

use cuptally::stock::format;
use serde_json::json;

use crate::sheets::{self, read};
use crate::support::{PATIENCE, Server, ask};

/// Whether another process holds the sheet.
fn is_held(path: &Path) -> bool {
    File::open(path).unwrap().try_lock().is_err()
}

#[test]
fn a_sheet_is_not_corrected_while_it_goes_into_the_stock() {
    let home = tempfile::tempdir().unwrap();
    let mut sheet = sheets::sheet("plates-sorted-d50-42", 9, 0, false);
    sheet.place = Some("cup 3".to_owned());
    let path = sheets::write(&home.path().join("sheets"), "quay", &sheet);
    let one = Server::start(home.path(), &[&path]);
    let other = Server::start(home.path(), &[&path]);
    let version = one.shown()["version"].clone();
    assert_eq!(other.shown()["version"], version);
    // The stock is being written by somebody else, for as long as we like.
    let writing = File::create(home.path().join("stock.json.lock")).unwrap();
    writing.lock().unwrap();
    let post = |server: &Server, path: &str, body: serde_json::Value| {
        let host = server.host().to_owned();
        let path = format!("/{}/{path}", server.token());
        let (done, answer) = mpsc::channel();
        thread::spawn(move || {
            let origin = format!("http://{host}");
            let headers = [
                ("Host", host.as_str()),
                ("Origin", origin.as_str()),
                ("Content-Type", "application/json"),
            ];
            let _ = done.send(ask(
                &host,
                "POST",
                &path,
                &headers,
                body.to_string().as_bytes(),
            ));
        });
        answer
    };
    let finish = json!({ "version": version, "checked": true });
    let finished = post(&one, "api/sheet/0/finish", finish);
    let start = Instant::now();
    while !is_held(&path) && start.elapsed() < Duration::from_secs(10) {
        thread::sleep(Duration::from_millis(10));
    }
    // Meanwhile somebody takes three pieces off the sheet in the other window.
    let ids: Vec<u32> = sheet.pieces.iter().take(3).map(|piece| piece.id).collect();
    let removal = json!({ "version": version, "correction": { "what": "remove", "ids": ids } });
    let corrected = post(&other, "api/sheet/0/correct", removal);
    let early = corrected.recv_timeout(Duration::from_secs(3));
    writing.unlock().unwrap();
    finished.recv_timeout(PATIENCE).unwrap().ok();
    let corrected = early.or_else(|_| corrected.recv_timeout(PATIENCE)).unwrap();
    corrected.refused(409, "");
    let after = read(&path);
    assert!(after.checked);
    let stock = format::parse(&std::fs::read(home.path().join("stock.json")).unwrap()).unwrap();
    let total = stock.contents.totals(false).unwrap().total().unwrap();
    assert_eq!(total.count(), after.pieces.len() as u64);
    assert_eq!(total.count(), 9);
}
