//! How long the review page takes for each action at 400 pieces, in a real Chromium:
//! from the key to the page drawn anew, the writing to the disk included.
//!
//! Prints milliseconds; needs Chromium and its driver (Debian: chromium,
//! chromium-driver). `cargo bench --bench review_page`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, dead_code)]

#[path = "../tests/review/browser.rs"]
mod browser;
#[path = "../tests/review/sheets.rs"]
mod sheets;
#[path = "../tests/review/support.rs"]
mod support;

use browser::{Browser, ENTER, WINDOWS};
use support::Server;

const PIECES: usize = 400;

fn main() {
    println!(
        "{:10} {:16} {:>6} {:>9} {:>9} {:>12}",
        "window", "action", "times", "median", "worst", "over 100 ms"
    );
    for window in WINDOWS {
        let home = tempfile::tempdir().unwrap();
        let sheet = sheets::crowded("dumped-mixed-d65-180", PIECES, 60);
        assert_eq!(sheet.pieces.len(), PIECES);
        let path = sheets::write(home.path(), "crowded", &sheet);
        let server = Server::start(home.path(), &[&path]);
        let mut browser = Browser::open(window, false);
        browser.review(&server.address);
        let mut measure = |what: &str, times: usize, work: &mut dyn FnMut(&mut Browser)| {
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
            let over = took.iter().filter(|ms| **ms > 100.0).count();
            let window = format!("{window:?}");
            println!("{window:10} {what:16} {times:6} {median:6.1} ms {worst:6.1} ms {over:12}");
        };
        measure("accept", 25, &mut |b| b.key(ENTER));
        measure("another choice", 15, &mut |b| b.key('1'));
        measure("remove", 10, &mut |b| b.key('x'));
        measure("undo", 25, &mut |b| b.key('u'));
        measure("redo", 25, &mut |b| b.key('y'));
        measure("size", 5, &mut |b| {
            b.key('z');
            b.text_in(if b.presses % 2 == 0 { "2x3" } else { "1x4" });
            b.key(ENTER);
        });
    }
}
