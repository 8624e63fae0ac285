//! How long the desk's page takes for what a person does while 200 photos come in and are counted, in a real Chromium.
//!
//! Prints milliseconds, and fails where the median of an action is more than a person notices; needs Chromium and its
//! driver (Debian: chromium, chromium-driver). `cargo bench --bench desk_page`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, dead_code)]

#[path = "../tests/review/browser.rs"]
mod browser;
#[path = "../tests/desk/home.rs"]
mod home;
#[path = "../tests/review/support.rs"]
mod support;

use std::path::PathBuf;
use std::time::Instant;

use browser::{Browser, WINDOWS, Window};
use home::{Desk, photo, run};
use serde_json::json;

const PHOTOS: usize = 200;
/// A tenth of a second is what feels at once (Miller 1968; Card, Robertson, Mackinlay 1991).
const AT_ONCE_MS: f64 = 100.0;
/// How often each room is gone to.
const TIMES: usize = 6;
const ROOMS: [&str; 5] = ["begin", "photos", "stock", "plans", "colours"];

fn main() {
    println!(
        "{:10} {:22} {:>6} {:>9} {:>9}",
        "window", "what", "times", "median", "worst"
    );
    let folder = tempfile::tempdir().unwrap();
    let files: Vec<PathBuf> = (1..=PHOTOS)
        .map(|number| {
            let path = folder.path().join(format!("tray {number}.jpg"));
            std::fs::copy(photo("plates-sorted-d50-42"), &path).unwrap();
            path
        })
        .collect();
    let mut slow = Vec::new();
    for window in WINDOWS {
        slow.append(&mut measured(window, &files));
    }
    assert!(slow.is_empty(), "slower than {AT_ONCE_MS} ms: {slow:?}");
}

fn measured(window: Window, files: &[PathBuf]) -> Vec<String> {
    let desk = Desk::open();
    for place in 1..=20 {
        let place = format!("cup {place}");
        let put = [
            "stock",
            "put",
            "--new",
            "--place",
            &place,
            "20 plate 2x4 kelp",
            "3 brick 2x2 fog",
        ];
        run(desk.home.path(), &put);
    }
    let browser = Browser::open(window, false);
    browser.go(&format!("{}#photos", desk.server.address));
    browser.wait("document.body.dataset.room === 'photos'");
    browser.run(
        "window.longest = []; new PerformanceObserver((list) => list.getEntries().forEach((e) => window.longest.push(e.duration))).observe({ entryTypes: ['longtask'] })",
    );
    browser.files("#pick", files);
    let mut slow = Vec::new();
    let mut tell = |what: &str, mut took: Vec<f64>| {
        took.sort_by(f64::total_cmp);
        let (Some(median), Some(worst)) = (took.get(took.len() / 2), took.last()) else {
            return;
        };
        let (window, times) = (format!("{window:?}"), took.len());
        println!("{window:10} {what:22} {times:6} {median:6.1} ms {worst:6.1} ms");
        if *median > AT_ONCE_MS {
            slow.push(format!("{window} {what}"));
        }
    };
    let mut rooms = vec![Vec::new(); ROOMS.len()];
    let mut asked = Vec::new();
    for _ in 0..TIMES {
        for (room, took) in ROOMS.iter().zip(&mut rooms) {
            let drawn = browser.later(&format!(
                "const done = arguments[arguments.length - 1]; const start = performance.now(); addEventListener('hashchange', () => requestAnimationFrame(() => setTimeout(() => done(performance.now() - start))), {{ once: true }}); location.hash = location.hash === '#{room}' ? 'begin' : '{room}'"
            ));
            took.push(drawn.as_f64().unwrap());
            let start = Instant::now();
            desk.server.get("api/state/none").ok();
            asked.push(start.elapsed().as_secs_f64() * 1000.0);
        }
    }
    for (room, took) in ROOMS.iter().zip(rooms) {
        tell(&format!("going to {room}"), took);
    }
    tell("asking how all stands", asked);
    browser.run("location.hash = 'photos'");
    let start = Instant::now();
    let there = || {
        let state = desk.state();
        let photos = state["photos"].as_array().unwrap();
        photos
            .iter()
            .filter(|photo| photo["there"] == json!(true))
            .count()
    };
    while there() < PHOTOS {
        assert!(start.elapsed() < 3 * support::PATIENCE);
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    let longest = browser.js("window.longest");
    let longest: Vec<f64> = longest
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|v| v.as_f64())
        .collect();
    tell("tasks beyond 50 ms", longest);
    println!(
        "{:10} memory of the server: {} MB",
        format!("{window:?}"),
        desk.server.most_memory() >> 20
    );
    slow
}
