//! Does what is stated come true? Pieces and groups sorted by stated probability.

use cuptally::numbers::wilson;
use serde::{Deserialize, Serialize};

use crate::score::Stated;

/// Pieces or groups whose stated probabilities lie close together.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bin {
    /// How many.
    pub number: u32,
    /// How many of these are right.
    pub right: u32,
    /// Least stated probability.
    pub from: f64,
    /// Greatest stated probability.
    pub to: f64,
    /// Mean stated probability.
    pub stated: f64,
}

/// The bins of pieces and of groups, in rising order.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Bins {
    /// A piece is right if form, size and colour are.
    pub pieces: Vec<Bin>,
    /// A group is right if its count is.
    pub groups: Vec<Bin>,
}

/// A tenth of the range each.
const BINS: usize = 10;

/// Sorts into ten bins; those with nothing in them are left out.
pub fn bins(stated: &[Stated]) -> Vec<Bin> {
    let mut tenths: [Vec<Stated>; BINS] = Default::default();
    for &one in stated {
        let tenth = (one.0 * BINS as f64) as usize;
        if let Some(bin) = tenths.get_mut(tenth.min(BINS - 1)) {
            bin.push(one);
        }
    }
    let filled = tenths.iter().filter(|bin| !bin.is_empty());
    filled.map(|bin| summed(bin)).collect()
}

fn summed(stated: &[Stated]) -> Bin {
    let sum: f64 = stated.iter().map(|s| s.0).sum();
    let thousandths = |value: f64| (value * 1000.0).round() / 1000.0;
    Bin {
        number: stated.len() as u32,
        right: stated.iter().filter(|s| s.1).count() as u32,
        from: stated.iter().map(|s| s.0).fold(f64::INFINITY, f64::min),
        to: stated.iter().map(|s| s.0).fold(0.0, f64::max),
        stated: thousandths(sum / stated.len().max(1) as f64),
    }
}

impl Bin {
    /// Share right, and the 95 % interval in which the true share lies.
    pub fn share(&self) -> (f64, f64, f64) {
        let [low, high] = wilson(self.right, self.number);
        (
            f64::from(self.right) / f64::from(self.number.max(1)),
            low,
            high,
        )
    }
}
