//! Which pixels cannot be empty tray, and which may be a shadow on it.
//!
//! A shadow keeps the tray's chromaticity and loses light: if light falls to the
//! share s, CIELAB's cube root scales (L* + 16), a* and b* by s^(1/3) alike. A
//! pixel off that line, brighter than the tray or darker than any shadow is a
//! piece for certain; on the line it is either.

use ndarray::{Array2, Axis};
use rayon::prelude::*;

use super::ground::Ground;
use super::lab_view::LabView;
use crate::units::Mm;

/// What a pixel can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Kind {
    /// Outside the photo, or on the card.
    #[default]
    Outside,
    /// Empty tray in plain light.
    Ground,
    /// A shadow on the tray, or a piece whose colour is the tray's, only darker.
    Dim,
    /// No tray, in light or in shadow.
    Piece,
}

/// Cube root of the darkest plausible shadow's share of light: 0.45^3 is 9 %.
/// A piece on a tray under a lit ceiling never casts a deeper one over more than a sliver.
const DARKEST_SHADOW: f32 = 0.45;

/// The kind of every view pixel.
#[derive(Clone, Debug)]
pub struct Foreground {
    /// Kinds (rows, columns), aligned with the view.
    pub kind: Array2<Kind>,
}

impl Foreground {
    /// Classifies the view against the ground. `card` tells whether a place lies on the card.
    pub fn of(view: &LabView, ground: &Ground, card: &(dyn Fn(Mm, f64) -> bool + Sync)) -> Self {
        let mut kind = Array2::from_elem(view.size(), Kind::Outside);
        kind.axis_iter_mut(Axis(0))
            .into_par_iter()
            .enumerate()
            .for_each(|(row, mut line)| {
                for (column, out) in line.iter_mut().enumerate() {
                    if !view.inside[(row, column)] {
                        continue;
                    }
                    let place = view.middle(row, column);
                    if card(place, 1.0) {
                        continue;
                    }
                    *out = classify(view.at(row, column), ground.at(place), ground.noise);
                }
            });
        Self { kind }
    }
}

/// Distance of a view pixel from the empty tray's colour in CIELAB.
pub fn distance(view: &LabView, ground: &Ground, row: usize, column: usize) -> f32 {
    let (lab, tray) = (view.at(row, column), ground.at(view.middle(row, column)));
    let off = [lab[0] - tray[0], lab[1] - tray[1], lab[2] - tray[2]];
    off.iter().map(|d| d * d).sum::<f32>().sqrt()
}

/// The kind of one pixel, given the empty tray's colour there and its noise.
pub fn classify(lab: [f32; 3], tray: [f32; 3], noise: [f32; 3]) -> Kind {
    let light = lab[0] - tray[0];
    let share = ((lab[0] + 16.0) / (tray[0] + 16.0)).clamp(0.0, 1.2);
    // Chromaticity off the shadow line; shadows take on the surroundings' tint.
    let da = lab[1] - tray[1] * share;
    let db = lab[2] - tray[2] * share;
    let chroma_noise = noise[1].hypot(noise[2]);
    let chroma_limit = 2.0 + 3.0 * chroma_noise + 8.0 * (1.0 - share).max(0.0);
    let chroma = da.hypot(db);
    if chroma > chroma_limit || light > 3.0 + 4.0 * noise[0] || share < DARKEST_SHADOW {
        Kind::Piece
    } else if light < -(2.5 + 3.0 * noise[0]) {
        Kind::Dim
    } else {
        Kind::Ground
    }
}
