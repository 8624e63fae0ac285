//! How often what was stated came true.

use cuptally::numbers::wilson;
use cuptally::sheet::SURE;

/// A counted piece.
#[derive(Clone, Copy)]
pub struct Told {
    /// How probable it was said to be that all of it is right.
    pub stated: f64,
    /// Whether it is.
    pub right: bool,
}

/// Bins of equal width.
const BINS: usize = 10;
/// A bin of fewer says little: the share of 100 is known to some 5 points.
const ENOUGH: usize = 100;

/// Pieces whose stated probabilities lie close together.
struct Bin {
    pieces: usize,
    right: usize,
    stated: f64,
}

impl Bin {
    fn share(&self) -> f64 {
        self.right as f64 / self.pieces.max(1) as f64
    }

    /// How far off it is to be expected by chance alone, points: the mean distance of a normal distribution.
    fn chance(&self) -> f64 {
        let variance = self.stated * (1.0 - self.stated) / self.pieces.max(1) as f64;
        100.0 * (2.0 / std::f64::consts::PI * variance).sqrt()
    }

    /// Points by which what came true is more than what was stated.
    fn off(&self) -> f64 {
        100.0 * (self.share() - self.stated)
    }
}

fn bins(all: &[Told]) -> Vec<Bin> {
    let mut tenths: [Vec<Told>; BINS] = Default::default();
    for &one in all {
        tenths[((one.stated * BINS as f64) as usize).min(BINS - 1)].push(one);
    }
    let filled = tenths.iter().filter(|bin| !bin.is_empty());
    let bin = |told: &Vec<Told>| Bin {
        pieces: told.len(),
        right: told.iter().filter(|one| one.right).count(),
        stated: told.iter().map(|one| one.stated).sum::<f64>() / told.len() as f64,
    };
    filled.map(bin).collect()
}

/// A mean over the bins, each weighted by its pieces.
fn mean(bins: &[Bin], of: fn(&Bin) -> f64) -> f64 {
    let pieces: usize = bins.iter().map(|bin| bin.pieces).sum();
    let sum: f64 = bins.iter().map(|bin| bin.pieces as f64 * of(bin)).sum();
    sum / pieces.max(1) as f64
}

/// Mean distance of the bins, and the largest of those with enough pieces; points.
fn off(all: &[Told]) -> (f64, f64) {
    let bins = bins(all);
    let far = |bin: &Bin| bin.off().abs();
    let full = bins.iter().filter(|bin| bin.pieces >= ENOUGH);
    (mean(&bins, far), full.map(far).fold(0.0, f64::max))
}

/// How many are called sure, and how many of these are wrong.
fn sure(all: &[Told]) -> (usize, usize) {
    let sure = all.iter().filter(|one| one.stated >= SURE);
    (sure.clone().count(), sure.filter(|one| !one.right).count())
}

/// The head of the rows.
pub fn head() {
    println!(
        "{:10} {:>8} {:>7} | {:>22} {:>18} | {:>22} {:>18}",
        "", "reviewed", "", "before: off, points", "", "after: off, points", ""
    );
    println!(
        "{:10} {:>8} {:>7} | {:>10} {:>11} {:>8} {:>9} | {:>10} {:>11} {:>8} {:>9}",
        "home",
        "sheets",
        "pieces",
        "mean",
        "most",
        "sure",
        "of wrong",
        "mean",
        "most",
        "sure",
        "of wrong"
    );
}

/// A home's row.
pub fn row(name: &str, reviewed: &[usize], before: &[Told], after: &[Told]) {
    // As many as there were of the least and of the most.
    let (least, most) = (reviewed.iter().min(), reviewed.iter().max());
    let reviewed = match (least, most) {
        (Some(least), Some(most)) if least != most => format!("{least}-{most}"),
        (Some(least), _) => least.to_string(),
        _ => String::new(),
    };
    let half = |all: &[Told]| {
        let ((mean, most), (sure, wrong)) = (off(all), sure(all));
        format!("{mean:10.1} {most:11.1} {sure:8} {wrong:9}")
    };
    let pieces = before.len();
    println!(
        "{name:10} {reviewed:>8} {pieces:7} | {} | {}",
        half(before),
        half(after)
    );
}

/// All homes together, bin by bin.
pub fn tables(all: &[(&str, &[Told])]) {
    for (name, told) in all {
        println!("\n{name}");
        println!(
            "{:>10} {:>8} {:>10} {:>18} {:>8}",
            "stated", "pieces", "right", "95 % interval", "off"
        );
        for bin in bins(told) {
            let [low, high] = wilson(bin.right as u32, bin.pieces as u32);
            println!(
                "{:8.1} % {:8} {:8.1} % {:8.1} to {:5.1} % {:+8.1}",
                100.0 * bin.stated,
                bin.pieces,
                100.0 * bin.share(),
                100.0 * low,
                100.0 * high,
                bin.off()
            );
        }
        let (far, most) = off(told);
        let (sure, wrong) = sure(told);
        println!(
            "off by {far:.1} points in the mean (by chance alone {:.1}), {most:.1} at most in a bin of {ENOUGH} or more; {sure} of {} called sure, {wrong} of these wrong ({:.2} %)",
            mean(&bins(told), Bin::chance),
            told.len(),
            100.0 * wrong as f64 / sure.max(1) as f64
        );
    }
}
