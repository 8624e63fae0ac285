//! Which counted piece is which true one, by where they are and nothing else.

use pathfinding::matrix::Matrix;
use pathfinding::prelude::kuhn_munkres_min;

use crate::program::SaidPiece;
use crate::truth::{Stray, TruePiece, Truth};

/// Half a stud's pitch: a 1x1 further off than this is nearer to its neighbour's place.
const LEAST_REACH_MM: f64 = 4.0;

/// Of the longer side: a 1x8 of which only six studs were seen has its middle 8 mm off
/// and is still that piece, with the wrong size.
const REACH_SHARE: f64 = 0.25;

/// How far from a true piece's middle a counted one may lie to be taken for it, mm.
pub fn reach_mm(piece: &TruePiece) -> f64 {
    let long = piece.size.split_once('x').and_then(|s| s.1.parse().ok());
    (REACH_SHARE * 8.0 * long.unwrap_or(1.0)).max(LEAST_REACH_MM)
}

/// Distance between the middles of the visible parts, as lengths on the tray; none where
/// the piece cannot be seen.
fn distance_mm(truth: &Truth, piece: &TruePiece, said: &SaidPiece) -> Option<f64> {
    let (x, y) = (piece.x_px?, piece.y_px?);
    Some((said.x_px - x).hypot(said.y_px - y) * truth.mm_per_px(piece.x_mm, piece.y_mm))
}

/// Costs are whole numbers for the assignment: thousandths of the reach.
const UNITS: f64 = 1000.0;

/// For each true piece the counted one that it is matched with: the one-to-one assignment
/// with the least sum of distances, each measured in its piece's reach, where an unmatched
/// piece costs as much as one at the end of its reach (Kuhn 1955, Munkres 1957).
pub fn matched(truth: &Truth, said: &[SaidPiece]) -> Vec<Option<usize>> {
    let (rows, columns) = (truth.pieces.len(), said.len());
    if rows == 0 {
        return Vec::new();
    }
    // As many places again for "none", so that rows never outnumber columns.
    let costs = Matrix::from_fn(rows, columns + rows, |(row, column)| {
        let (Some(piece), Some(said)) = (truth.pieces.get(row), said.get(column)) else {
            return UNITS as i64;
        };
        let far = 1_000 * UNITS as i64;
        distance_mm(truth, piece, said).map_or(far, |distance| {
            let share = distance / reach_mm(piece);
            if share < 1.0 {
                (share * UNITS) as i64
            } else {
                far
            }
        })
    });
    let (_, columns_of_rows) = kuhn_munkres_min(&costs);
    columns_of_rows
        .into_iter()
        .map(|column| (column < columns).then_some(column))
        .collect()
}

/// A counted piece this near to a stray's middle was made of it: the largest stray, a
/// wheel, has a radius of about that.
const STRAY_MM: f64 = 10.0;

/// The stray that a counted piece was made of.
pub fn stray_under<'a>(truth: &'a Truth, said: &SaidPiece) -> Option<&'a Stray> {
    truth.unknown.iter().find(|stray| {
        let scale = truth.mm_per_px(stray.x_mm, stray.y_mm);
        matches!((stray.x_px, stray.y_px), (Some(x), Some(y))
            if (said.x_px - x).hypot(said.y_px - y) * scale < STRAY_MM)
    })
}
