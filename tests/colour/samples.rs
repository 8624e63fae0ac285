//! The colours of the pieces in the shipped sample photos (rendered; truth beside each).
//!
//! Where the pieces stand is taken from the truth, so that only the reading of colours is asked. It takes
//! minutes, so it runs only when asked for: `cargo test --release --test colour -- --include-ignored`.
//! The figures that are asserted are those of the day on which this was last bettered, or of 29 November 2026. On that
//! day some fell, by two changes that were meant: corners of tags come from a reader in safe Rust, which puts them
//! hundredths of a pixel elsewhere, so that balanced pieces fell to either side; and what is called the likeliest colour
//! of a piece always is (before, the whole photo's best grouping could name another one, which was right a little more
//! often where two colours are hard neighbours).

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use cuptally::colour::lab::de00;
use cuptally::colour::print_profile::PAPER;
use cuptally::colour::{CardLook, Lesson, PrintProfile, Swatch, SwatchBook, read_paper};
use cuptally::count::features::{PhotoQuality, colour_features, whole_features};
use cuptally::count::fitted::fitted;
use cuptally::count::{Named, flaws, name_colours, spoils};
use cuptally::photo::{self, Limits};
use cuptally::pieces::heap::Around;
use cuptally::pieces::paint::{Paint, paint};
use cuptally::pieces::{Face, Shapes, Stance};
use cuptally::pipeline::{self, Targets};
use cuptally::sheet::file::Spoilt;
use cuptally::tray::Light;
use cuptally::units::Mm;
use rayon::prelude::*;
use serde::Deserialize;

#[derive(Deserialize)]
struct Truth {
    seed: u32,
    light: String,
    pieces: Vec<Piece>,
    /// Whose desk it is; that of the first photos has no name.
    #[serde(default)]
    world: Option<String>,
}

#[derive(Deserialize)]
struct Piece {
    form: String,
    size: String,
    colour: String,
    x_mm: f64,
    y_mm: f64,
    turn_deg: f64,
}

impl Piece {
    fn stance(&self) -> Stance {
        Stance {
            shape: Shapes::shipped().named(&self.form, &self.size).unwrap(),
            face: Face::Up,
            at: Mm::new(self.x_mm, self.y_mm),
            turn: self.turn_deg.to_radians(),
        }
    }
}

/// A photo's pieces and what they show.
struct Shown {
    name: String,
    /// Whether it was made to check with, at first.
    later: bool,
    /// The CIE illuminant's name.
    light: String,
    pieces: Vec<Piece>,
    paints: Vec<Paint>,
    card: CardLook,
}

/// Seeds of the photos that were made to check with begin here. They are photos to tune on by now, but the figures
/// below are of those that were from the start.
const LATER_SEED: u32 = 501;

/// Pieces apart from each other, studs up, and those to teach by.
const KINDS: [&str; 5] = [
    "-sorted-",
    "teach-",
    "-stored-turned-",
    "-display-",
    "hard-colours-",
];

static SHOWN: LazyLock<Vec<Shown>> = LazyLock::new(|| {
    shown_by(&Targets::nominal(), &|name| {
        KINDS.iter().any(|kind| name.contains(kind))
    })
});

/// Reads the wanted photos of the first desk with the card's patches taken to look so.
fn shown_by(targets: &Targets, wanted: &(dyn Fn(&str) -> bool + Sync)) -> Vec<Shown> {
    let photos = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos/tune");
    let mut paths: Vec<PathBuf> = fs::read_dir(photos)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "jpg"))
        .filter(|path| {
            let name = path.file_stem().unwrap().to_str().unwrap();
            // The far photo takes as long as four others.
            wanted(name) && !name.contains("-far-")
        })
        .collect();
    paths.sort();
    paths
        .par_iter()
        .filter_map(|path| {
            let truth = fs::read_to_string(path.with_extension("json")).unwrap();
            let truth: Truth = serde_json::from_str(&truth).unwrap();
            if truth.world.is_some() || truth.pieces.is_empty() {
                return None;
            }
            let photo = photo::open(path, &Limits::default()).unwrap();
            let scene = pipeline::measure(&photo, targets, &|_| ()).unwrap();
            let light = Light::of(&scene.ground, &scene.correction);
            let paints = truth.pieces.iter().map(|piece| {
                paint(
                    &scene.view,
                    &scene.pose.camera,
                    &scene.correction,
                    &light,
                    &piece.stance(),
                    &Around::default(),
                )
                .unwrap()
            });
            Some(Shown {
                later: truth.seed >= LATER_SEED,
                name: path.file_stem().unwrap().to_str().unwrap().to_owned(),
                paints: paints.collect(),
                card: pipeline::card_look(&scene),
                light: truth.light,
                pieces: truth.pieces,
            })
        })
        .collect()
}

/// What was taught by the photos whose name says so, but for some colours.
fn book(lights: &[&str], but: &[&str]) -> SwatchBook {
    book_of(&SHOWN, lights, but)
}

fn book_of(all: &[Shown], lights: &[&str], but: &[&str]) -> SwatchBook {
    let mut book = SwatchBook::default();
    for light in lights {
        let name = format!("teach-{light}-");
        let shown = all.iter().find(|s| s.name.starts_with(&name)).unwrap();
        let seen = shown.pieces.iter().zip(&shown.paints);
        let taught = seen.zip(flaws(&shown.paints));
        let swatches = taught
            .filter(|((piece, _), _)| !but.contains(&piece.colour.as_str()))
            .map(|((piece, paint), flaw)| Swatch {
                name: piece.colour.clone(),
                samples: vec![paint.lab],
                light: (*light).to_owned(),
                flaw,
                from: None,
            });
        let lesson = Lesson {
            light: (*light).to_owned(),
            swatches: swatches.collect(),
            card: shown.card.clone(),
            from: None,
            time: None,
        };
        book.learn(&lesson).unwrap();
    }
    book
}

#[derive(Debug, Default)]
struct Figures {
    pieces: usize,
    right: usize,
    sure: usize,
    new: usize,
    /// Of these, the pieces of a colour that was not taught.
    rightly_new: usize,
    wrong_and_sure: Vec<String>,
    exact_photos: usize,
}

impl Figures {
    fn add(&mut self, more: Self) {
        self.pieces += more.pieces;
        self.right += more.right;
        self.sure += more.sure;
        self.new += more.new;
        self.rightly_new += more.rightly_new;
        self.exact_photos += more.exact_photos;
        self.wrong_and_sure.extend(more.wrong_and_sure);
    }
}

/// Sorted trays that were to tune on from the start.
fn seen(shown: &Shown) -> bool {
    !shown.later && !shown.name.starts_with("teach-") && !shown.name.starts_with("hard-")
}

/// Whether some of a photo's colours were taught; others are of another palette.
fn is_of(shown: &Shown, book: &SwatchBook) -> bool {
    let taught = book.names();
    let mut pieces = shown.pieces.iter();
    pieces.any(|piece| taught.contains(&piece.colour.as_str()))
}

/// What the pieces of a photo are named by a book, and whether each name is sure enough for a piece whose shape is certain.
fn named_by(shown: &Shown, book: &SwatchBook) -> Vec<(Named, bool)> {
    let colours = name_colours(&shown.paints, Some(book), &shown.card);
    let quality = PhotoQuality {
        tray_noise: 0.0,
        glare: 0.0,
        unlike: colours.unlike,
    };
    let flaws = flaws(&shown.paints);
    let maps = fitted();
    (colours
        .named
        .into_iter()
        .zip(&shown.paints)
        .zip(&shown.pieces)
        .zip(flaws))
    .map(|(((named, paint), piece), flaw)| {
        let lamp = spoils(paint, &piece.stance(), flaw).contains(&Spoilt::Lamp);
        let features = colour_features(&named, paint, lamp, (false, 0.0), &quality);
        let surely = named.is_sure(quality.unlike);
        let whole = whole_features(maps.colour.of(&features), surely);
        let sure = surely && maps.whole.of(&whole) >= maps.sure_from;
        (named, sure)
    })
    .collect()
}

/// A piece, what it is named, and whether surely.
type Pair<'a> = (&'a Piece, &'a (Named, bool));

/// Names the pieces of the wanted photos and prints a line for each photo.
fn figures(title: &str, book: &SwatchBook, wanted: &dyn Fn(&Shown) -> bool) -> Figures {
    let taught = book.names();
    let mut all = Figures::default();
    println!("{title}");
    for shown in SHOWN.iter().filter(|s| wanted(s)) {
        let named = named_by(shown, book);
        let right = |(piece, (named, _)): &Pair<'_>| {
            if taught.contains(&piece.colour.as_str()) {
                named.name == piece.colour
            } else {
                named.new
            }
        };
        let pairs = || shown.pieces.iter().zip(&named);
        let wrong_and_sure: Vec<String> = pairs()
            .filter(|pair| pair.1.1 && !right(pair))
            .map(|(piece, (named, _))| {
                format!(
                    "{}: {} {} at {:.0}, {:.0} mm is {named:?}",
                    shown.name, piece.colour, piece.size, piece.x_mm, piece.y_mm
                )
            })
            .collect();
        let mut groups: BTreeMap<(&str, &str), i32> = BTreeMap::new();
        for (piece, (named, _)) in pairs() {
            *groups.entry((&piece.size, &piece.colour)).or_default() += 1;
            *groups.entry((&piece.size, &named.name)).or_default() -= 1;
        }
        let off = groups.values().filter(|n| **n != 0).count();
        let count = |wanted: &dyn Fn(&Pair<'_>) -> bool| pairs().filter(wanted).count();
        let (rights, sure) = (count(&right), count(&|pair| pair.1.1));
        println!(
            "  {:28} {:3} pieces, {rights:3} right, {sure:3} sure, {} wrong and sure, {off} groups off",
            shown.name,
            named.len(),
            wrong_and_sure.len()
        );
        all.pieces += named.len();
        all.right += rights;
        all.sure += sure;
        all.new += count(&|pair| pair.1.0.new);
        all.rightly_new += count(&|pair| pair.1.0.new && right(pair));
        all.exact_photos += usize::from(off == 0);
        all.wrong_and_sure.extend(wrong_and_sure);
    }
    println!(
        "  {} pieces, {} right, {} sure, {} new, {} photos exact, wrong and sure: {:#?}",
        all.pieces, all.right, all.sure, all.new, all.exact_photos, all.wrong_and_sure
    );
    all
}

#[test]
#[ignore = "reads many photos"]
fn two_lights_taught() {
    let all = figures(
        "daylight and warm LED",
        &book(&["daylight", "warm-led"], &[]),
        &seen,
    );
    assert!(all.wrong_and_sure.is_empty());
    assert_eq!(all.new, 0);
    assert!(all.right >= RIGHT.0 && all.sure >= RIGHT.1 && all.exact_photos >= RIGHT.2);
}

/// Right, sure, and photos exact in every group.
const RIGHT: (usize, usize, usize) = (480, 381, 7);

/// Several of the daylight photo's pieces have a window's image on them. In other lights few are sure: of colours
/// with a near neighbour none is until a second light was taught.
#[test]
#[ignore = "reads many photos"]
fn one_light_taught() {
    for (light, right, sure) in [("daylight", 468, 245), ("warm-led", 475, 145)] {
        let all = figures(light, &book(&[light], &[]), &seen);
        assert!(all.wrong_and_sure.is_empty());
        assert!(all.right >= right && all.sure >= sure);
    }
}

/// Whichever two lights were taught, also such as hide some pieces under lamps or cut them off, and all five.
/// Half of the photos with hard neighbours were made to check with.
#[test]
#[ignore = "reads many photos"]
fn any_two_lights_taught() {
    let lights = [
        "daylight",
        "warm-led",
        "incandescent",
        "tubes-fl11",
        "cool-led-b5",
    ];
    let pairs = (0..lights.len()).flat_map(|b| (0..b).map(move |a| vec![lights[a], lights[b]]));
    let (mut plain, mut hard) = (Figures::default(), Figures::default());
    for taught in pairs.chain([lights.to_vec()]) {
        let (title, book) = (taught.join(" and "), book(&taught, &[]));
        plain.add(figures(&title, &book, &seen));
        hard.add(figures(&format!("{title}, hard neighbours"), &book, &|s| {
            s.name.starts_with("hard-")
        }));
    }
    for (what, all) in [("plain", &plain), ("hard neighbours", &hard)] {
        println!(
            "{what}: {} of {} right, {} sure, {} of them wrong",
            all.right,
            all.pieces,
            all.sure,
            all.wrong_and_sure.len()
        );
    }
    let within = |all: &Figures, (right, sure, wrong): (usize, usize, usize)| {
        all.right >= right && all.sure >= sure && all.wrong_and_sure.len() <= wrong
    };
    assert!(within(&plain, ANY_TWO.0) && within(&hard, ANY_TWO.1));
}

/// Right, sure, and wrong though sure, of 5,357 and of 1,958 pieces.
const ANY_TWO: ((usize, usize, usize), (usize, usize, usize)) = ((5193, 3391, 0), (1732, 844, 7));

/// Colours that are far from all taught ones: with a hard neighbour taught, the two cannot
/// be told apart from under a shift of the whole photo.
#[test]
#[ignore = "reads many photos"]
fn a_colour_that_nobody_taught_is_new() {
    let lights = ["daylight", "warm-led"];
    for but in ["lichen", "oilskin"] {
        let all = figures(&format!("without {but}"), &book(&lights, &[but]), &seen);
        assert!(all.wrong_and_sure.is_empty());
        let others = all.pieces - shown_of(but);
        assert!(all.new - all.rightly_new <= others / 100, "{but}");
        assert!(20 * all.rightly_new >= 19 * shown_of(but), "{but}");
    }
}

/// Whoever teaches some of their colours only counts cups full of others: every second, third or fourth colour is
/// left out, or another palette was taught.
#[test]
#[ignore = "reads many photos"]
fn many_colours_that_nobody_taught() {
    let all = book(&["daylight"], &[]);
    let names = all.names();
    let steps = (2..=4).flat_map(|step| (0..step).map(move |from| (from, step)));
    let lights = [&["daylight", "warm-led"][..], &["daylight"]];
    let mut books: Vec<SwatchBook> = steps
        .flat_map(|(from, step)| {
            let but: Vec<&str> = names.iter().skip(from).step_by(step).copied().collect();
            lights.map(|lights| book(lights, &but))
        })
        .collect();
    books.push(book(&["other-d50"], &[]));
    let found: Vec<Figures> = (books.par_iter())
        .map(|book| figures("some taught", book, &seen))
        .collect();
    let mut sum = Figures::default();
    for one in found {
        sum.add(one);
    }
    println!(
        "some taught: {} of {} right, {} sure, {} of them wrong",
        sum.right,
        sum.pieces,
        sum.sure,
        sum.wrong_and_sure.len()
    );
    assert!(sum.right >= SOME_TAUGHT.0 && sum.sure >= SOME_TAUGHT.1);
    assert!(sum.wrong_and_sure.len() <= SOME_TAUGHT.2);
}

/// Right, sure, and wrong though sure.
const SOME_TAUGHT: (usize, usize, usize) = (7547, 1063, 18);

fn shown_of(colour: &str) -> usize {
    SHOWN
        .iter()
        .filter(|s| seen(s))
        .flat_map(|s| &s.pieces)
        .filter(|p| p.colour == colour)
        .count()
}

/// Another palette, and both palettes on one tray. One light was taught of the other.
/// Not a blind test: totals over these photos were seen while the reading's deviations were chosen.
#[test]
#[ignore = "reads many photos"]
fn later_photos_and_hard_neighbours() {
    let named = |part: &'static str| move |s: &Shown| s.later && s.name.contains(part);
    let other = figures(
        "other palette",
        &book(&["other-d50"], &[]),
        &named("-sorted-other-"),
    );
    let all = book(&["daylight", "warm-led", "other-d50"], &[]);
    let both = figures("both palettes", &all, &named("-sorted-both-"));
    let lights = book(&["daylight", "warm-led"], &[]);
    let hard = figures("hard neighbours", &lights, &|s| s.name.starts_with("hard-"));
    assert!(other.wrong_and_sure.is_empty() && other.right >= 79 && other.sure >= 59);
    assert!(both.wrong_and_sure.is_empty() && both.right >= 44 && both.sure >= 28);
    assert!(hard.wrong_and_sure.is_empty() && hard.right >= 162 && hard.sure >= 93);
}

/// Each photo that has a teach photo under the same illuminant.
#[test]
#[ignore = "reads many photos"]
fn taught_under_the_same_light() {
    let pairs = [
        ("D65", "daylight"),
        ("LED-B1", "warm-led"),
        ("A", "incandescent"),
        ("FL11", "tubes-fl11"),
        ("LED-B5", "cool-led-b5"),
    ];
    let (mut pieces, mut right, mut sure, mut wrong_and_sure) = (0, 0, 0, Vec::new());
    for (light, taught) in pairs {
        let book = book(&[taught], &[]);
        let all = figures(&format!("{light}, taught under the same"), &book, &|s| {
            s.light == light && !s.name.starts_with("teach-") && is_of(s, &book)
        });
        pieces += all.pieces;
        right += all.right;
        sure += all.sure;
        wrong_and_sure.extend(all.wrong_and_sure);
    }
    println!(
        "same light: {right} of {pieces} right, {sure} sure, {} of them wrong: {wrong_and_sure:#?}",
        wrong_and_sure.len()
    );
    assert!(right >= SAME_LIGHT.0 && sure >= SAME_LIGHT.1 && wrong_and_sure.len() <= SAME_LIGHT.2);
}

/// Right, sure, and wrong though sure: hard neighbours side by side are among the photos.
const SAME_LIGHT: (usize, usize, usize) = (466, 313, 0);

/// Every colour is left out of the teaching in turn. Of some the nearest taught colour is
/// less than 5 dE00 away.
#[test]
#[ignore = "reads many photos"]
fn each_colour_in_turn_is_new() {
    let names: Vec<String> = book(&["daylight"], &[])
        .names()
        .iter()
        .map(|n| (*n).to_owned())
        .collect();
    let runs: Vec<(usize, usize, usize)> = names
        .par_iter()
        .map(|but| {
            let book = book(&["daylight", "warm-led"], &[but]);
            let (mut shown, mut new, mut sure) = (0, 0, 0);
            for photo in SHOWN
                .iter()
                .filter(|s| seen(s) && s.pieces.iter().any(|p| p.colour == *but))
            {
                let named = named_by(photo, &book);
                for (_, (named, is_sure)) in photo
                    .pieces
                    .iter()
                    .zip(&named)
                    .filter(|(p, _)| p.colour == *but)
                {
                    shown += 1;
                    new += usize::from(named.new);
                    sure += usize::from(*is_sure);
                }
            }
            (shown, new, sure)
        })
        .collect();
    for (name, (shown, new, sure)) in names.iter().zip(&runs) {
        println!(
            "  without {name:14} {shown:3} shown, {new:3} new, {sure:3} taken for another and sure"
        );
    }
    let sum = |of: fn(&(usize, usize, usize)) -> usize| runs.iter().map(of).sum::<usize>();
    let (shown, new, sure) = (sum(|r| r.0), sum(|r| r.1), sum(|r| r.2));
    println!("left out: {new} of {shown} new, {sure} taken for another and sure");
    assert!(new >= LEFT_OUT.0 && sure <= LEFT_OUT.1);
}

/// Called new, and taken for another colour and sure.
const LEFT_OUT: (usize, usize) = (388, 25);

/// The card's nominal values are put off by up to 8 dE00, as if the print had missed them, and the
/// print is measured in the teach photo in daylight.
#[test]
#[ignore = "reads many photos"]
fn a_bad_print_costs_little_once_it_is_measured() {
    // The photos of `seen`, and what they are told by.
    let wanted = |name: &str| {
        let taught = ["teach-daylight", "teach-warm-led"];
        taught.iter().any(|part| name.starts_with(part))
            || SHOWN.iter().any(|shown| shown.name == name && seen(shown))
    };
    let right = |all: &[Shown]| {
        let book = book_of(all, &["daylight", "warm-led"], &[]);
        let photos = all.iter().filter(|s| !s.name.starts_with("teach-"));
        photos
            .flat_map(|s| {
                s.pieces
                    .iter()
                    .zip(name_colours(&s.paints, Some(&book), &s.card).named)
            })
            .filter(|(piece, named)| piece.colour == named.name)
            .count()
    };
    let good = shown_by(&Targets::nominal(), &wanted);
    let pieces: usize = good
        .iter()
        .filter(|s| !s.name.starts_with("teach-"))
        .map(|s| s.pieces.len())
        .sum();
    let mut off = Targets::nominal();
    let mut worst: f64 = 0.0;
    for (k, lab) in off.lab.iter_mut().enumerate() {
        let before = *lab;
        // Directions by the golden angle, sizes up to 8 dE00 in turn: neither aligned nor alike.
        let turn = 2.399_963 * k as f64;
        let far = 8.0 * ((5 * k) % 24 + 1) as f64 / 24.0;
        let to = [0.5 * turn.sin(), turn.cos(), (1.3 * turn).sin()];
        let (mut low, mut high) = (0.0, 60.0);
        for _ in 0..40 {
            let middle = (low + high) / 2.0;
            let there = std::array::from_fn(|c| before[c] + middle * to[c]);
            if de00(before, there) < far {
                low = middle;
            } else {
                high = middle;
            }
        }
        *lab = std::array::from_fn(|c| before[c] + low * to[c]);
        worst = worst.max(de00(before, *lab));
    }
    assert!((7.5..=8.1).contains(&worst), "{worst}");
    let photos = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos/tune");
    let photo = photo::open(&photos.join("teach-daylight-24.jpg"), &Limits::default()).unwrap();
    let scene = pipeline::measure(&photo, &off, &|_| ()).unwrap();
    let paper = read_paper(&photo, &scene.pose.camera, PAPER);
    let profile = PrintProfile::measure("bad", &scene.patches, &paper, 24).unwrap();
    let measured = shown_by(&Targets::of(&profile), &wanted);
    let nominal = shown_by(&off, &wanted);
    let errors = |lab: &[[f64; 3]]| {
        let all = lab
            .iter()
            .zip(&Targets::nominal().lab)
            .map(|(a, b)| de00(*a, *b))
            .sum::<f64>();
        all / lab.len() as f64
    };
    let (good, measured, nominal) = (right(&good), right(&measured), right(&nominal));
    println!(
        "of {pieces} pieces right: {good} with a good print, {measured} with a bad one measured, {nominal} with a bad one unmeasured; patches off by {:.1} dE00 on average, {:.1} after measuring",
        errors(&off.lab),
        errors(&Targets::of(&profile).lab)
    );
    assert!(measured > nominal, "measuring does not help");
    let left = errors(&Targets::of(&profile).lab) / errors(&off.lab);
    assert!(
        left < PATCH_ERROR_LEFT,
        "{left} of the patches' error is left"
    );
    assert!(measured >= WITH_BAD_PRINT && good - measured <= PRINT_COSTS);
}

/// Pieces right with a bad print that was measured.
const WITH_BAD_PRINT: usize = 477;
/// Pieces that a bad print costs: of 487 one makes 0.2 percentage points. Two on the day it was set; since a good print
/// is worth one piece more, three.
const PRINT_COSTS: usize = 3;
/// Share of the patches' mean error that measuring may leave: half was, and what it is worth ends
/// where the phone's own rendering errs as much as the print.
const PATCH_ERROR_LEFT: f64 = 0.6;
