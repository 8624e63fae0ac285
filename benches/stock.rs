//! How long the stock commands take on a stock of many years:
//! `cargo bench --bench stock`.
//!
//! The real program is run on real files, as a user runs it: start, read, work, write,
//! flush. Times are the middle of five runs, and beside them the processor's time of
//! all five, divided by five: on a busy machine that is the one to compare. The bench fails when showing or posting
//! takes longer than [`BUDGET`] with 100,000 entries over 20,000 groups.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use cuptally::stock::change::CountChange;
use cuptally::stock::history::SheetRef;
use cuptally::stock::kind::Label;
use cuptally::stock::scene::Scene;
use cuptally::stock::{
    Change, Contents, Entry, Kind, Name, PhotoHash, Size, Stock, Tally, What, check, format,
};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// The longest that a person waits for an answer without wondering.
const BUDGET: Duration = Duration::from_millis(1500);

/// As many groups (a kind in a place) as entries allow, up to this.
const GROUPS: usize = 20_000;

const RUNS: usize = 5;

fn name(text: &str) -> Name {
    Name::new(text).unwrap()
}

/// Group `n`: 80 places with 250 kinds each.
fn group(n: usize) -> (Name, Kind) {
    let sizes = [
        "1x1", "1x2", "1x4", "2x2", "2x3", "2x4", "2x6", "2x8", "4x4", "6x6",
    ];
    let (place, kind) = (n % 80, n / 80);
    let kind = Kind {
        form: name("plate"),
        size: Size::new(sizes[kind % 10]).unwrap(),
        colour: name(&format!("harbour tone {}", kind / 10)),
    };
    (name(&format!("cup {place}, quay decks")), kind)
}

fn sheet(n: usize, place: &Name) -> SheetRef {
    let spots: Vec<String> = (0..16)
        .map(|k| {
            format!(
                "2x4@{},{}",
                (n * 37 + k * 61) % 400,
                (n * 53 + k * 89) % 300 + 70
            )
        })
        .collect();
    SheetRef {
        hash: PhotoHash::try_from(format!("{n:064x}")).unwrap(),
        file: Label::new(&format!("IMG_{n:06}.jpg")),
        place: place.clone(),
        checked: true,
        scene: Some(Scene::try_from(spots.join(" ")).unwrap()),
    }
}

/// A stock with so many entries. Every second entry posts a photo with its scene and
/// changes five groups; the others take or put pieces of two.
fn stock(entries: usize) -> Stock {
    let mut contents = Contents::default();
    let mut counts: BTreeMap<usize, u64> = BTreeMap::new();
    let mut history = Vec::with_capacity(entries);
    for n in 0..entries {
        let post = n % 2 == 0;
        let of = if post { 5 } else { 2 };
        let mut changes = Vec::new();
        for k in 0..of {
            // One place an entry, as a photo has.
            let at = (n * 7 + k * 80) % GROUPS;
            let there = counts.entry(at).or_default();
            let now = if post || *there < 4 {
                *there + 7
            } else {
                *there - 3
            };
            let (place, kind) = group(at);
            let tally = |count: u64| Tally::exact(count).unwrap();
            contents.set(&place, kind.clone(), tally(now));
            changes.push(Change::Count(CountChange {
                place,
                form: kind.form,
                size: kind.size,
                colour: kind.colour,
                was: tally(*there),
                now: tally(now),
            }));
            *there = now;
        }
        let place = changes[0].place().clone();
        history.push(Entry {
            number: n as u64 + 1,
            time: "2026-05-02T10:12:00Z".parse().unwrap(),
            who: Label::new("mara"),
            what: if post { What::Add } else { What::Take },
            undoes: None,
            from: None,
            remark: None,
            renamed: None,
            origin: None,
            left_out: BTreeSet::new(),
            recounts: BTreeSet::new(),
            sheets: if post {
                vec![sheet(n, &place)]
            } else {
                Vec::new()
            },
            changes,
        });
    }
    let stock = Stock { contents, history };
    assert!(check::differences(&stock).is_empty());
    stock
}

/// Processor time of all programs run so far, in units of 10 ms; 0 where the system
/// does not tell it (it does on Linux).
fn spent() -> u64 {
    let text = fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // After the program's name, which may hold spaces: fields 16 and 17 of proc(5).
    let fields = text
        .rsplit(')')
        .next()
        .unwrap_or_default()
        .split_whitespace();
    let ticks = fields.skip(13).take(2);
    ticks.filter_map(|ticks| ticks.parse::<u64>().ok()).sum()
}

/// The middle of the times, of a call that must end with 0 or 3.
fn time(home: &Path, args: &[&str]) -> Duration {
    let mut times: Vec<Duration> = (0..RUNS)
        .map(|_| {
            let start = Instant::now();
            let ended = Command::new(env!("CARGO_BIN_EXE_cuptally"))
                .args(args)
                .arg("--home")
                .arg(home)
                .current_dir(home)
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .status()
                .unwrap();
            let time = start.elapsed();
            assert!(matches!(ended.code(), Some(0 | 3)), "{args:?}: {ended}");
            time
        })
        .collect();
    times.sort();
    times[RUNS / 2]
}

/// A sheet file with sixteen pieces, each time another photo.
fn sheets(home: &Path) {
    let template: serde_json::Value =
        serde_json::from_str(include_str!("stock-sheet.json")).unwrap();
    for n in 0..RUNS {
        let mut sheet = template.clone();
        sheet["photo"]["hash"] = format!("{:064x}", u64::MAX - n as u64).into();
        fs::write(home.join(format!("{n}.sheet.json")), sheet.to_string()).unwrap();
    }
}

fn main() {
    let calls: [(&str, &[&str]); 8] = [
        ("show", &["stock"]),
        ("show --json", &["stock", "--json"]),
        ("find", &["stock", "--find", "2x4 tone 7"]),
        ("history", &["stock", "history"]),
        (
            "take",
            &[
                "stock",
                "take",
                "1 plate 1x1 harbour tone 0",
                "--from",
                "cup 0, quay decks",
            ],
        ),
        ("undo", &["stock", "undo"]),
        ("check", &["stock", "check"]),
        ("export", &["stock", "export"]),
    ];
    print!("{:>9} {:>8} {:>8}", "entries", "groups", "MB");
    for (title, _) in calls {
        print!(" {title:>13}");
    }
    println!(" {:>13}", "post");
    println!("{:>27} milliseconds (of them on the processor)", "");
    let mut late = Vec::new();
    // `CUPTALLY_BENCH_ENTRIES=100000` measures that one size.
    let sizes = match std::env::var("CUPTALLY_BENCH_ENTRIES") {
        Ok(text) => vec![text.parse().unwrap()],
        Err(_) => vec![12_500, 25_000, 50_000, 100_000, 200_000],
    };
    for entries in sizes {
        let folder = tempfile::tempdir().unwrap();
        let home = folder.path();
        let stock = stock(entries);
        let groups: usize = stock
            .contents
            .places
            .values()
            .map(|lots| lots.iter().count())
            .sum();
        let bytes = format::write(&stock).unwrap();
        fs::write(home.join("stock.json"), &bytes).unwrap();
        print!("{entries:>9} {groups:>8} {:>8.1}", bytes.len() as f64 / 1e6);
        let mut shown = |title: &str, time: Duration, before: u64| {
            let processor = (spent() - before) * 10 / RUNS as u64;
            let text = format!("{:.0} ({processor})", time.as_secs_f64() * 1e3);
            print!(" {text:>13}");
            if entries == 100_000 && ["show", "post"].contains(&title) && time > BUDGET {
                late.push(format!("{title} took {time:?}"));
            }
        };
        for (title, args) in calls {
            let before = spent();
            shown(title, time(home, args), before);
        }
        sheets(home);
        let before = spent();
        let mut posts = Vec::new();
        for n in 0..RUNS {
            let file = format!("{n}.sheet.json");
            let start = Instant::now();
            let ended = Command::new(env!("CARGO_BIN_EXE_cuptally"))
                .args(["post", &file, "--add", "--home"])
                .arg(home)
                .current_dir(home)
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .status()
                .unwrap();
            posts.push(start.elapsed());
            assert!(matches!(ended.code(), Some(0 | 3)), "{ended}");
        }
        posts.sort();
        shown("post", posts[RUNS / 2], before);
        println!();
    }
    assert!(
        late.is_empty(),
        "longer than {BUDGET:?}: {}",
        late.join(", ")
    );
}
