//! How long the review page takes for each action at 400 pieces, in a real Chromium:
//! from the key to the page drawn anew, the writing to the disk included.
//!
//! Prints milliseconds, and fails where the median of an action is more than a person notices; needs Chromium and its
//! driver (Debian: chromium, chromium-driver). `cargo bench --bench review_page`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, dead_code)]

#[path = "../tests/review/browser.rs"]
mod browser;
#[path = "../tests/review/sheets.rs"]
mod sheets;
#[path = "../tests/review/support.rs"]
mod support;

use browser::{Browser, ENTER, WINDOWS, Window};
use fantoccini::key::Key;
use support::Server;

const PIECES: usize = 400;
/// A tenth of a second is what feels at once (Miller 1968; Card, Robertson, Mackinlay 1991).
const AT_ONCE_MS: f64 = 100.0;

fn main() {
    println!(
        "{:10} {:16} {:>6} {:>9} {:>9} {:>12}",
        "window", "action", "times", "median", "worst", "over 100 ms"
    );
    let mut slow = Vec::new();
    for window in WINDOWS {
        let mut page = Page::open(window);
        page.measure("accept", 25, &mut |b| b.key(ENTER));
        page.measure("another choice", 15, &mut |b| b.key('1'));
        page.measure("remove", 10, &mut |b| b.key('x'));
        page.measure("undo", 25, &mut |b| b.key('u'));
        page.measure("redo", 25, &mut |b| b.key('y'));
        page.measure("size", 5, &mut |b| {
            b.key('z');
            b.text_in(if b.presses % 2 == 0 { "2x3" } else { "1x4" });
            b.key(ENTER);
        });
        slow.append(&mut page.slow);
        let mut page = Page::open(window);
        page.browser.key('b');
        // The photo is measured once more before the first crops are there, and nobody acts on what is not to be seen.
        page.browser.wait(SEEN);
        page.measure("side: one click", 10, &mut |b| {
            while b.js("document.querySelector('.chip') === null") == true {
                b.key(Key::PageDown);
            }
            b.click(".chip");
        });
        page.measure("side: accept", 5, &mut |b| {
            b.wait(SEEN);
            b.key(ENTER);
        });
        page.measure("side: undo", 15, &mut |b| b.key('u'));
        page.measure("side: redo", 15, &mut |b| b.key('y'));
        slow.append(&mut page.slow);
    }
    assert!(slow.is_empty(), "slower than {AT_ONCE_MS} ms: {slow:?}");
}

/// All crops of the screen are there.
const SEEN: &str = "document.querySelectorAll('.crop img').length > 0 && [...document.querySelectorAll('.crop img')].every((i) => i.complete && i.naturalWidth > 0)";

/// A crowded sheet on the page.
struct Page {
    browser: Browser,
    window: String,
    /// What took longer than a person notices.
    slow: Vec<String>,
    _server: Server,
    _home: tempfile::TempDir,
}

impl Page {
    fn open(window: Window) -> Self {
        let home = tempfile::tempdir().unwrap();
        let sheet = sheets::crowded("dumped-mixed-d65-180", PIECES, 60);
        assert_eq!(sheet.pieces.len(), PIECES);
        let path = sheets::write(home.path(), "crowded", &sheet);
        let server = Server::start(home.path(), &[&path]);
        let browser = Browser::open(window, false);
        browser.review(&server.address);
        Self {
            browser,
            window: format!("{window:?}"),
            slow: Vec::new(),
            _server: server,
            _home: home,
        }
    }

    fn measure(&mut self, what: &str, times: usize, work: &mut dyn FnMut(&mut Browser)) {
        let (browser, window) = (&mut self.browser, &self.window);
        browser.run("performance.clearMeasures('action')");
        for _ in 0..times {
            browser.kept(|b| work(b));
        }
        let took = browser.js("performance.getEntriesByName('action').map((e) => e.duration)");
        let mut took: Vec<f64> = took
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64().unwrap())
            .collect();
        took.sort_by(f64::total_cmp);
        let (median, worst) = (took[took.len() / 2], took[took.len() - 1]);
        let over = took.iter().filter(|ms| **ms > AT_ONCE_MS).count();
        println!("{window:10} {what:16} {times:6} {median:6.1} ms {worst:6.1} ms {over:12}");
        if median > AT_ONCE_MS {
            self.slow.push(format!("{window} {what}"));
        }
    }
}
