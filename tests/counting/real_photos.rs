//! Photographs by real cameras, of other things, with a number that can be counted by eye:
//! the stages that tell the tray from what lies on it must count them.
//!
//! No card is in them, so a piece of empty tray stands for it, and the scale is assumed: one
//! at which things are of our pieces' size. The pictures come from public packages and are
//! not kept here; `CUPTALLY_REAL_PHOTOS` names the folder in which they lie.

use std::collections::{BTreeMap, BTreeSet};
use std::env;
use std::path::{Path, PathBuf};

use cuptally::colour::cluster::cluster;
use cuptally::photo::{self, Limits};
use cuptally::tray::{Foreground, Ground, Kind, LabView};
use cuptally::units::Mm;
use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};
use sha2::{Digest, Sha256};

/// A picture that others published.
struct Picture {
    file: &'static str,
    /// In which package it is.
    package: &'static str,
    /// SHA-256 of the file, so that the number is of this very picture.
    hash: &'static str,
    /// At which a thing is about as large as a 2x2, mm a pixel.
    mm_per_px: f64,
    /// A place of the picture where the tray is empty, px.
    empty: (f64, f64),
}

const DEBIAN: &str = "/usr/share/doc/opencv-doc/examples/data";

impl Picture {
    /// Where it lies; none, and said, where it is not and may be left out.
    fn find(&self) -> Option<PathBuf> {
        let folder = env::var_os("CUPTALLY_REAL_PHOTOS").map(PathBuf::from);
        let folders = folder.into_iter().chain([PathBuf::from(DEBIAN)]);
        let path = folders.map(|f| f.join(self.file)).find(|p| p.is_file());
        let Some(path) = path else {
            crate::support::missing(&format!(
                "needs {} of {} in the folder that CUPTALLY_REAL_PHOTOS names, and it is not there",
                self.file, self.package
            ));
            return None;
        };
        let bytes = std::fs::read(&path).unwrap();
        let hash = Sha256::digest(&bytes);
        let hash: String = hash.iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(hash, self.hash, "{} is another picture", path.display());
        Some(path)
    }

    /// The picture as the tray seen from straight above.
    fn view(&self, path: &Path) -> LabView {
        let photo = photo::open(path, &Limits::default()).unwrap();
        let picture = &photo.pixels;
        let (rows, columns) = (picture.height(), picture.width());
        LabView::from_light(
            self.mm_per_px,
            Mm::new(0.0, 0.0),
            (rows, columns),
            &|r, c| picture.sample(c as f64 + 0.5, r as f64 + 0.5),
        )
    }

    /// Whether a place lies on what stands for the card: 4 mm of empty tray.
    fn on_card(&self, at: Mm, margin_mm: f64) -> bool {
        let middle = Mm::new(self.empty.0 * self.mm_per_px, self.empty.1 * self.mm_per_px);
        let half = 2.0 + margin_mm;
        (at.x - middle.x).abs() < half && (at.y - middle.y).abs() < half
    }
}

/// Connected patches of what can be no tray, each as its pixels (column, row).
type Patches = Vec<Vec<(u32, u32)>>;

/// The smallest patch that counts, mm²: as in the search for pieces, a quarter of a 1x1.
const LEAST_MM2: f64 = 14.0;
/// The widest, mm: as in the search for pieces, what is wider is another surface.
const WIDEST_MM: f64 = 150.0;

fn patches(picture: &Picture, view: &LabView) -> Patches {
    let card = |at: Mm, margin: f64| picture.on_card(at, margin);
    let ground = Ground::fit(view, &card).unwrap();
    let foreground = Foreground::of(view, &ground, &card);
    let (rows, columns) = view.size();
    let mask = GrayImage::from_fn(columns as u32, rows as u32, |x, y| {
        let piece = foreground.kind[(y as usize, x as usize)] == Kind::Piece;
        Luma([if piece { 255 } else { 0 }])
    });
    let labels = connected_components(&mask, Connectivity::Four, Luma([0u8]));
    let mut all: BTreeMap<u32, Vec<(u32, u32)>> = BTreeMap::new();
    for (x, y, label) in labels.enumerate_pixels() {
        if label.0[0] > 0 {
            all.entry(label.0[0]).or_default().push((x, y));
        }
    }
    let scale = picture.mm_per_px;
    let span = |values: &mut dyn Iterator<Item = u32>| {
        let (low, high) = values.fold((u32::MAX, 0), |(l, h), v| (l.min(v), h.max(v)));
        f64::from(high - low + 1) * scale
    };
    all.into_values()
        .filter(|patch| patch.len() as f64 * scale * scale >= LEAST_MM2)
        .filter(|patch| {
            let wide = span(&mut patch.iter().map(|at| at.0));
            wide.max(span(&mut patch.iter().map(|at| at.1))) <= WIDEST_MM
        })
        .collect()
}

/// Coins on a dark cloth, grey, in uneven light: 24.
const COINS: Picture = Picture {
    file: "coins.png",
    package: "the Python package scikit-image 0.26.0 (skimage/data)",
    hash: "f8d773fc9cfa6f4d8e5942dc34d0a0788fcaed2a4fefbbed0aef5398d7ef4cba",
    mm_per_px: 0.25,
    empty: (205.0, 84.0),
};

#[test]
fn coins_in_uneven_light() {
    let Some(path) = COINS.find() else { return };
    assert_eq!(patches(&COINS, &COINS.view(&path)).len(), 24);
}

/// Black blades on a light box, seen askew: 6. What is round the box is another surface.
const BLADES: Picture = Picture {
    file: "pca_test1.jpg",
    package: "the Debian package opencv-doc",
    hash: "9aae52b2bf730216f7e46c662f612a417ebd43642e742e7f867f33aa734293cd",
    mm_per_px: 0.25,
    empty: (420.0, 500.0),
};

#[test]
fn blades_on_a_light_box() {
    let Some(path) = BLADES.find() else { return };
    assert_eq!(patches(&BLADES, &BLADES.view(&path)).len(), 6);
}

/// Sweets on white: 14, of which two are cut by the lower border and one touches the right.
const SWEETS: Picture = Picture {
    file: "smarties.png",
    package: "the Debian package opencv-doc",
    hash: "ad3f751c053fdcf432687c1bc0e56a61a9119d2bb2ae29365f8aa6534fc77417",
    mm_per_px: 0.25,
    empty: (120.0, 100.0),
};

/// Where the sweets are, px, by eye, and their colours.
const EACH_SWEET: [(u32, u32, &str); 14] = [
    (33, 229, "red"),
    (98, 259, "red"),
    (288, 213, "red"),
    (220, 306, "red"),
    (377, 82, "blue"),
    (348, 238, "blue"),
    (294, 320, "blue"),
    (269, 118, "green"),
    (387, 171, "green"),
    (14, 344, "green"),
    (205, 211, "orange"),
    (134, 327, "orange"),
    (152, 272, "dark"),
    (78, 347, "dark"),
];

/// Three pairs hang together by the coloured shadow between them, which the picture's strong
/// contrast leaves as colourful as a piece: to be brought to nothing, none may be added.
const PAIRS: usize = 3;

#[test]
fn sweets_on_white() {
    let Some(path) = SWEETS.find() else { return };
    let patches = patches(&SWEETS, &SWEETS.view(&path));
    let mut on_patch = vec![0; patches.len()];
    for (x, y, colour) in EACH_SWEET {
        let of = patches.iter().position(|patch| patch.contains(&(x, y)));
        let of = of.unwrap_or_else(|| panic!("the {colour} sweet at {x}, {y} is taken for tray"));
        on_patch[of] += 1;
    }
    println!("sweets on each patch: {on_patch:?}");
    assert!(
        !on_patch.contains(&0),
        "something is seen where no sweet is"
    );
    assert!(on_patch.iter().all(|sweets| *sweets <= 2));
    assert!(on_patch.iter().filter(|sweets| **sweets == 2).count() <= PAIRS);
}

/// One blue sweet is lighter than the two others by more than a colour's radius and makes a
/// group of its own: one group too many, measured.
const GROUPS: usize = 6;

/// Nobody taught these colours: the sweets fall into groups by colour alone, and no group
/// has two colours.
#[test]
fn sweets_by_colour() {
    let Some(path) = SWEETS.find() else { return };
    let view = SWEETS.view(&path);
    let labs = EACH_SWEET.map(|(x, y, _)| middle_colour(&view, x, y));
    let clusters = cluster(&labs);
    let mut colours: BTreeMap<usize, BTreeSet<&str>> = BTreeMap::new();
    for ((_, _, colour), group) in EACH_SWEET.iter().zip(&clusters.assignment) {
        colours.entry(*group).or_default().insert(colour);
    }
    println!("{colours:?} as {:?}", clusters.names);
    assert!(colours.values().all(|of_group| of_group.len() == 1));
    assert!(colours.len() <= GROUPS);
}

/// Median of a square in a sweet's middle, CIELAB, channel by channel.
fn middle_colour(view: &LabView, x: u32, y: u32) -> [f64; 3] {
    let mut channels: [Vec<f32>; 3] = Default::default();
    let (rows, columns) = view.size();
    for r in y.saturating_sub(RADIUS) as usize..rows.min((y + RADIUS) as usize) {
        for c in x.saturating_sub(RADIUS) as usize..columns.min((x + RADIUS) as usize) {
            for (channel, value) in channels.iter_mut().zip(view.at(r, c)) {
                channel.push(value);
            }
        }
    }
    channels.map(|mut values| {
        values.sort_by(f32::total_cmp);
        f64::from(values[values.len() / 2])
    })
}

/// Half the side of the square in a sweet's middle whose colour is taken, px; a sweet has a
/// radius of 26.
const RADIUS: u32 = 12;
