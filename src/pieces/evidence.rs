//! What a pixel or an edge says for and against a piece.
//!
//! All scores are in one currency, so that area and outline can be added up.

use crate::tray::{Ground, Kind};

/// Credit for an mm² that is certainly no tray.
pub(super) const PIECE_PER_MM2: f64 = 0.6;
/// Credit for an mm² that may be shadow or piece.
pub(super) const DIM_PER_MM2: f64 = 0.05;
/// Price of an mm² of plain tray inside a silhouette.
pub(super) const GROUND_PER_MM2: f64 = -0.6;
/// Price of an mm² that the photo does not show or that another piece explains.
pub(super) const OUTSIDE_PER_MM2: f64 = -0.6;
/// Price of having a piece at all.
pub(super) const PIECE_COST: f64 = 10.0;
/// Credit for a mm of a round piece's diameter. Its outline is shorter than that of the square
/// around it, whose sides it all but touches along two thirds: without this the square would win by
/// its length alone. On the rendered trays rounds then win by 8 or more for a 1x1, and so do squares.
pub(super) const ROUND_PER_MM: f64 = 1.15;
/// Credit for a mm of clear outline, and price of a mm without an edge.
pub(super) const EDGE_PER_MM: f64 = 2.0;
/// Credit for a mm of good stud rim, and price of a missing one.
pub(super) const STUD_PER_MM: f64 = 0.5;
/// Credit for a mm of a clear fold between two faces of a top, and price of one that is not seen: set as a stud's rim
/// is, not measured.
pub(super) const FOLD_PER_MM: f64 = 0.5;
/// How far to both sides of an edge its step is measured, mm.
pub(super) const EDGE_REACH_MM: f64 = 0.6;

/// Credit of one mm² by its kind.
pub(super) fn area_credit(kind: Kind) -> f64 {
    match kind {
        Kind::Piece => PIECE_PER_MM2,
        Kind::Dim => DIM_PER_MM2,
        Kind::Ground => GROUND_PER_MM2,
        Kind::Outside => OUTSIDE_PER_MM2,
    }
}

/// Turns a colour step into edge evidence from -1 (none) to 1 (clear).
#[derive(Clone, Copy, Debug)]
pub(super) struct EdgeScale {
    low: f32,
    high: f32,
}

impl EdgeScale {
    /// A scale above the photo's noise.
    pub fn for_noise(ground: &Ground) -> Self {
        let noise = ground.noise.iter().map(|n| n * n).sum::<f32>().sqrt();
        let low = 1.5 + 1.5 * noise;
        Self {
            low,
            high: low + 8.0,
        }
    }

    /// Evidence of a step between two CIELAB colours.
    pub fn evidence(&self, a: [f32; 3], b: [f32; 3]) -> f64 {
        let step = ((a[0] - b[0]).powi(2) + (a[1] - b[1]).powi(2) + (a[2] - b[2]).powi(2)).sqrt();
        f64::from(2.0 * ((step - self.low) / (self.high - self.low)).clamp(0.0, 1.0) - 1.0)
    }
}
