//! How many presses a review takes: one piece after the other against all of a colour side by side.
//!
//! The real program counts photos of `sample-photos/check`, taught as a user would have taught it; then a scripted person
//! who knows the truth puts each sheet right on the real page, in a real Chromium, once in either view. They see what a
//! photo shows: nothing of pieces of which less than half shows, and of an underside not whether it is a plate or a tile.
//! They leave no piece wrong that they come to see. What the count missed altogether they do not add: that takes as much
//! in either view.
//!
//! ```text
//! cargo bench --bench review_presses                  counts and reviews, minutes
//! cargo bench --bench review_presses -- --counted     with the sheets of the last run
//! ```
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, dead_code)]

#[path = "../../tests/review/browser.rs"]
mod browser;
#[path = "../accuracy/decode.rs"]
mod decode;
#[path = "../accuracy/foreign.rs"]
mod foreign;
#[path = "../accuracy/lessons.rs"]
mod lessons;
#[path = "../accuracy/matching.rs"]
mod matching;
mod person;
#[path = "../accuracy/program.rs"]
mod program;
#[path = "../accuracy/set.rs"]
mod set;
#[path = "../../tests/review/support.rs"]
mod support;
#[path = "../accuracy/truth.rs"]
mod truth;
mod views;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Instant;

use browser::{Browser, Window};
use clap::Parser;
use program::{Homes, Said};
use set::{Folder, Kind, Photo};
use support::Server;
use views::Sitting;

/// So many photos.
const PHOTOS: usize = 12;
/// As many pieces as a photo should have, by its name.
const PIECES: std::ops::RangeInclusive<u32> = 100..=150;

#[derive(Parser)]
#[command(bin_name = "cargo bench --bench review_presses --")]
struct Args {
    /// Take the sheets of the last run instead of counting anew.
    #[arg(long)]
    counted: bool,

    /// Only photos whose name has this in it.
    #[arg(long, default_value = "")]
    only: String,

    /// What cargo adds.
    #[arg(long, hide = true)]
    bench: bool,
}

/// How many pieces a photo's name says it has.
fn pieces_of(name: &str) -> u32 {
    let mut words = name.rsplit('-');
    words.find_map(|word| word.parse().ok()).unwrap_or(0)
}

/// The poured and dumped photos whose names say the most fitting number of pieces, by name where that is alike.
fn chosen(all: &[Photo]) -> Vec<&Photo> {
    let off = |photo: &&Photo| {
        let pieces = pieces_of(&photo.name);
        PIECES.start().saturating_sub(pieces) + pieces.saturating_sub(*PIECES.end())
    };
    let heaps = |photo: &&Photo| {
        photo.folder == Folder::Check && matches!(photo.kind, Kind::Poured | Kind::Dumped)
    };
    let mut photos: Vec<&Photo> = all.iter().filter(heaps).collect();
    photos.sort_by(|a, b| off(a).cmp(&off(b)).then_with(|| a.name.cmp(&b.name)));
    photos.truncate(PHOTOS);
    photos
}

fn count(photo: &Photo, home: &Path, sheets: &Path) {
    eprintln!("counting {}", photo.name);
    let ended = Command::new(support::PROGRAM)
        .current_dir(&photo.root)
        .arg("--home")
        .arg(home)
        .arg("count")
        .arg(&photo.path)
        .args(["--form", photo.truth.form_argument(), "--out"])
        .arg(sheets)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .unwrap();
    assert!(matches!(ended.code(), Some(0 | 3)), "{}", photo.name);
}

/// What one way of reviewing a sheet took.
#[derive(Clone, Copy, Default)]
struct Took {
    presses: usize,
    seconds: f64,
    left_wrong: usize,
}

/// One sheet both ways.
struct Row {
    name: String,
    pieces: usize,
    wrong: usize,
    single: Took,
    side: Took,
    /// How many side by side leaves for the other view, and what these take there.
    rest: (usize, Took),
}

fn review(photo: &Photo, home: &Path, sheet: &Path) -> Row {
    let said: Said = serde_json::from_slice(&fs::read(sheet).unwrap()).unwrap();
    let verdicts = person::verdicts(&photo.truth, &said.pieces);
    let scratch = tempfile::tempdir().unwrap();
    let sit = |work: &mut dyn FnMut(&mut Sitting<'_>)| {
        let copy = scratch.path().join(sheet.file_name().unwrap());
        fs::copy(sheet, &copy).unwrap();
        let mut command = support::command(home, &[&copy]);
        let server = Server::at(&mut command, &photo.root.join("sample-photos/check"));
        let browser = Browser::open(Window::Desktop, false);
        work(&mut Sitting::new(browser, &server, &verdicts));
    };
    let took = |sitting: &mut Sitting<'_>, work: &mut dyn FnMut(&mut Sitting<'_>)| {
        let (before, start) = (sitting.presses(), Instant::now());
        work(sitting);
        Took {
            presses: sitting.presses() - before,
            seconds: start.elapsed().as_secs_f64(),
            left_wrong: sitting.left_wrong(),
        }
    };
    let mut row = Row {
        name: photo.name.clone(),
        pieces: said.pieces.len(),
        wrong: 0,
        single: Took::default(),
        side: Took::default(),
        rest: (0, Took::default()),
    };
    sit(&mut |sitting| {
        row.wrong = sitting.left_wrong();
        row.single = took(sitting, &mut |sitting| sitting.one_by_one());
    });
    sit(&mut |sitting| {
        let mut left = 0;
        row.side = took(sitting, &mut |sitting| left = sitting.side_by_side());
        row.rest.0 = left;
        if left > 0 {
            row.rest.1 = took(sitting, &mut |sitting| {
                if sitting.on_to_the_rest() {
                    sitting.one_by_one();
                }
            });
        }
        let end = if left > 0 { row.rest.1 } else { row.side };
        row.side.left_wrong = end.left_wrong;
    });
    row
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    if values.len() % 2 == 1 {
        values[middle]
    } else {
        (values[middle - 1] + values[middle]) / 2.0
    }
}

fn main() {
    let args = Args::parse();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let all = set::photos(root).unwrap();
    let folder: PathBuf = root.join("target/presses");
    let mut homes = Homes::new(folder.join("homes"), args.counted);
    println!(
        "{:28} {:>6} {:>6} | {:>15} {:>7} {:>6} | {:>15} {:>7} {:>6} | {:>5} {:>8}",
        "", "", "", "one by one", "", "", "side by side", "", "", "rest", ""
    );
    println!(
        "{:28} {:>6} {:>6} | {:>7} {:>7} {:>7} {:>6} | {:>7} {:>7} {:>7} {:>6} | {:>5} {:>8}",
        "photo",
        "pieces",
        "wrong",
        "presses",
        "per 100",
        "seconds",
        "left",
        "presses",
        "per 100",
        "seconds",
        "left",
        "of it",
        "presses"
    );
    let mut rows = Vec::new();
    for photo in chosen(&all) {
        if !photo.name.contains(&args.only) {
            continue;
        }
        let lessons = lessons::lessons(photo, &all);
        homes.teach(&lessons).unwrap();
        let home = homes.place(&lessons);
        let sheet = folder.join(format!("{}.sheet.json", photo.name));
        if !(args.counted && sheet.is_file()) {
            count(photo, &home, &folder);
        }
        let row = review(photo, &home, &sheet);
        let per = |took: Took| took.presses as f64 * 100.0 / row.pieces as f64;
        println!(
            "{:28} {:6} {:6} | {:7} {:7.1} {:7.1} {:6} | {:7} {:7.1} {:7.1} {:6} | {:5} {:8}",
            row.name,
            row.pieces,
            row.wrong,
            row.single.presses,
            per(row.single),
            row.single.seconds,
            row.single.left_wrong,
            row.side.presses,
            per(row.side),
            row.side.seconds,
            row.side.left_wrong,
            row.rest.0,
            row.rest.1.presses
        );
        rows.push(row);
    }
    let of = |value: &dyn Fn(&Row) -> f64| {
        median(
            rows.iter()
                .map(|row| value(row) * 100.0 / row.pieces as f64)
                .collect(),
        )
    };
    println!(
        "\nmedians per 100 pieces: one by one {:.1} presses, {:.1} s; side by side {:.1} presses, {:.1} s; what that leaves for one by one {:.1} pieces, {:.1} presses",
        of(&|row| row.single.presses as f64),
        of(&|row| row.single.seconds),
        of(&|row| row.side.presses as f64),
        of(&|row| row.side.seconds),
        of(&|row| row.rest.0 as f64),
        of(&|row| row.rest.1.presses as f64),
    );
    println!("seconds are those of a person who needs no time to think");
}
