//! Does what is stated come true? Pieces and groups sorted by stated probability.

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

/// A share of fewer than that many says little: of 30 sure pieces of which 3 are wrong,
/// the true share lies between 2 and 27 % wrong.
const LEAST: usize = 30;

/// Upper ends. Finer above the level from which a piece is marked sure, where most pieces are.
const EDGES: [f64; 12] = [
    0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 1.01,
];

/// Sorts into bins; one of fewer than 30 is joined with the next lower.
pub fn bins(stated: &[Stated]) -> Vec<Bin> {
    let mut from_above: Vec<Vec<Stated>> = Vec::new();
    let mut low = EDGES.iter().rev().skip(1).copied().chain([f64::MIN]);
    let mut sorted = stated.to_vec();
    sorted.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut rest = sorted.as_slice();
    let mut open: Vec<Stated> = Vec::new();
    while let Some(edge) = low.next().filter(|_| !rest.is_empty()) {
        let inside = rest.partition_point(|(probability, _)| *probability >= edge);
        let (these, others) = rest.split_at(inside);
        open.extend_from_slice(these);
        rest = others;
        if open.len() >= LEAST {
            from_above.push(std::mem::take(&mut open));
        }
    }
    // The lowest few have no lower bin to join.
    match from_above.last_mut() {
        Some(last) => last.append(&mut open),
        None if !open.is_empty() => from_above.push(open),
        None => {}
    }
    from_above.iter().rev().map(|bin| summed(bin)).collect()
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
    /// Share right, and the 95 % interval in which the true share lies (Wilson 1927, with
    /// z = 1.96).
    pub fn share(&self) -> (f64, f64, f64) {
        const Z: f64 = 1.96;
        let n = f64::from(self.number.max(1));
        let p = f64::from(self.right) / n;
        let middle = (p + Z * Z / (2.0 * n)) / (1.0 + Z * Z / n);
        let half = Z / (1.0 + Z * Z / n) * (p * (1.0 - p) / n + Z * Z / (4.0 * n * n)).sqrt();
        (p, (middle - half).max(0.0), (middle + half).min(1.0))
    }
}
