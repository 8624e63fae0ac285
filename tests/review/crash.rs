//! Nothing that was shown as kept is lost, however the server ends.

use serde_json::json;

use crate::browser::{Browser, ENTER, Window};
use crate::need_browser;
use crate::sheets::{self, read};
use crate::support::Server;

#[test]
fn a_killed_review_goes_on_where_it_was() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 12, false);
    let path = sheets::write(home.path(), "quay", &sheet);
    let mut server = Server::start(home.path(), &[&path]);
    let mut browser = Browser::open(Window::Desktop, false);
    browser.review(&server.address);
    for _ in 0..3 {
        browser.kept(|b| b.key(ENTER));
    }
    browser.kept(|b| b.key('u'));
    // In the middle of a burst.
    let keys: Vec<char> = (0..6).map(|_| ENTER.into()).collect();
    browser.keys(&keys);
    server.kill();
    browser.wait("document.getElementById('message').innerText.includes('not running any more')");
    let kept = browser.js("document.querySelectorAll('.outline.looked').length");
    let kept = kept.as_u64().unwrap() as usize;
    let after = read(&path);
    let steps = after.review.as_ref().unwrap().steps.len();
    // What was under way when it was killed may be on the disk without having been told.
    assert!(
        steps == kept || steps == kept + 1,
        "{steps} kept, {kept} shown"
    );
    assert!(kept >= 2);
    let stray = std::fs::read_dir(home.path()).unwrap().count();
    assert!(stray <= 2, "at most one unfinished file beside the sheet");

    // Started again: the page shows all of it, and goes on and back as before.
    let server = Server::start(home.path(), &[&path]);
    browser.review(&server.address);
    let looked = browser.js("document.querySelectorAll('.outline.looked').length");
    assert_eq!(looked, json!(steps));
    browser.kept(|b| b.key(ENTER));
    assert_eq!(read(&path).review.unwrap().steps.len(), steps + 1);
    for _ in 0..=steps {
        browser.kept(|b| b.key('u'));
    }
    assert_eq!(read(&path).pieces, sheet.pieces);
    // Unfinished files are swept by the next change.
    assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 1);
}

/// Killed at any moment while it writes: the sheet is whole every time, and holds
/// every correction that was answered.
#[test]
fn the_sheet_is_whole_after_every_kill() {
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 30, false);
    let path = sheets::write(home.path(), "quay", &sheet);
    for round in 0_u64..8 {
        let mut server = Server::start(home.path(), &[&path]);
        let host = server.host().to_owned();
        let token = server.token().to_owned();
        let id = sheet.pieces[0].id;
        let writer = std::thread::spawn(move || {
            let mut answered = 0;
            let origin = format!("http://{host}");
            for k in 0.. {
                let tried = std::panic::catch_unwind(|| {
                    let headers = [
                        ("Host", host.as_str()),
                        ("Origin", origin.as_str()),
                        ("Content-Type", "application/json"),
                    ];
                    let get = crate::support::ask(
                        &host,
                        "GET",
                        &format!("/{token}/api/sheet/0"),
                        &headers[..1],
                        b"",
                    );
                    let shown = get.ok().json();
                    let colour = if k % 2 == 0 { "kelp" } else { "rope" };
                    let body = json!({ "version": shown["version"], "correction": { "what": "change", "ids": [id], "colour": colour } });
                    let path = format!("/{token}/api/sheet/0/correct");
                    let answer = crate::support::ask(
                        &host,
                        "POST",
                        &path,
                        &headers,
                        body.to_string().as_bytes(),
                    );
                    answer.status == 200
                });
                match tried {
                    Ok(true) => answered += 1,
                    // The very first may be what the sheet says already.
                    Ok(false) => {}
                    Err(_) => break,
                }
            }
            answered
        });
        // A different moment each time.
        std::thread::sleep(std::time::Duration::from_millis(150 + 37 * round));
        let before = read(&path).review.map_or(0, |review| review.steps.len());
        server.kill();
        let answered: usize = writer.join().unwrap();
        let after = read(&path);
        let steps = after.review.map_or(0, |review| review.steps.len());
        assert!(
            steps >= before && steps >= answered,
            "{steps} {before} {answered}"
        );
    }
}
