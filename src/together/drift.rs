//! By how much the tray lies elsewhere against the card in one photo than in another.

use nalgebra::{Rotation2, Vector2};

use crate::units::Mm;

/// A turn and a shift of the tray's plane against the first photo's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    turn: Rotation2<f64>,
    shift: Vector2<f64>,
    /// By how much places move that it was told by, root mean square, mm.
    pub moved_mm: f64,
}

impl Default for Drift {
    fn default() -> Self {
        Self::NONE
    }
}

impl Drift {
    /// None at all.
    pub const NONE: Self = Self {
        turn: Rotation2::from_matrix_unchecked(nalgebra::Matrix2::new(1.0, 0.0, 0.0, 1.0)),
        shift: Vector2::new(0.0, 0.0),
        moved_mm: 0.0,
    };

    /// A place of this photo in the first one's frame.
    pub fn undone(&self, at: Mm) -> Mm {
        let moved = self.turn.inverse() * (Vector2::new(at.x, at.y) - self.shift);
        Mm::new(moved.x, moved.y)
    }

    /// A place of the first photo's frame in this photo's.
    pub fn done(&self, at: Mm) -> Mm {
        let moved = self.turn * Vector2::new(at.x, at.y) + self.shift;
        Mm::new(moved.x, moved.y)
    }
}

/// Fewest places that tell a drift: a turn and a shift are three numbers, and two places give four.
const FEWEST: usize = 6;
/// Rounds of leaving out what does not fit.
const ROUNDS: usize = 5;
/// What is this many times the median off does not fit, and at least this far, mm.
const ODD: (f64, f64) = (3.0, 0.5);

/// The drift by which places of the first photo (left) became those of another (right), by most of them; none where there
/// are too few.
pub fn drift(pairs: &[(Mm, Mm)]) -> Option<Drift> {
    let mut kept: Vec<(Vector2<f64>, Vector2<f64>)> = (pairs.iter())
        .map(|(a, b)| (Vector2::new(a.x, a.y), Vector2::new(b.x, b.y)))
        .collect();
    let all = kept.clone();
    let mut found = None;
    for _ in 0..ROUNDS {
        if kept.len() < FEWEST {
            break;
        }
        let n = kept.len() as f64;
        let from: Vector2<f64> = kept.iter().map(|(a, _)| a).sum::<Vector2<f64>>() / n;
        let to: Vector2<f64> = kept.iter().map(|(_, b)| b).sum::<Vector2<f64>>() / n;
        let (mut cos, mut sin) = (0.0, 0.0);
        for (a, b) in &kept {
            let (a, b) = (a - from, b - to);
            cos += a.dot(&b);
            sin += a.perp(&b);
        }
        let turn = Rotation2::new(sin.atan2(cos));
        let shift = to - turn * from;
        let off = |(a, b): &(Vector2<f64>, Vector2<f64>)| (turn * a + shift - b).norm();
        let moved = kept
            .iter()
            .map(|(a, _)| (turn * a + shift - a).norm_squared());
        found = Some(Drift {
            turn,
            shift,
            moved_mm: (moved.sum::<f64>() / n).sqrt(),
        });
        let middle = crate::numbers::median(kept.iter().map(off)).unwrap_or_default();
        let limit = (ODD.0 * middle).max(ODD.1);
        kept = all
            .iter()
            .filter(|pair| off(pair) <= limit)
            .copied()
            .collect();
    }
    found
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn places() -> Vec<Mm> {
        (0..12)
            .map(|k| {
                Mm::new(
                    f64::from(k % 4) * 60.0 - 50.0,
                    f64::from(k / 4) * 70.0 + 30.0,
                )
            })
            .collect()
    }

    #[test]
    fn a_tray_that_was_turned_and_moved_is_found_so_whatever_some_pieces_did() {
        let (turn, shift) = (Rotation2::new(0.01), Vector2::new(2.0, -1.0));
        let mut pairs: Vec<(Mm, Mm)> = (places().into_iter())
            .map(|at| {
                let to = turn * Vector2::new(at.x, at.y) + shift;
                (at, Mm::new(to.x, to.y))
            })
            .collect();
        // Two pieces were pushed besides.
        pairs[3].1.x += 9.0;
        pairs[7].1.y -= 6.0;
        let found = drift(&pairs).unwrap();
        for (from, to) in [&pairs[0], &pairs[11]] {
            assert!(found.done(*from).distance(*to) < 1e-9);
            assert!(found.undone(*to).distance(*from) < 1e-9);
        }
        assert!((1.0..5.0).contains(&found.moved_mm), "{}", found.moved_mm);
    }

    #[test]
    fn few_places_tell_none() {
        let pairs: Vec<(Mm, Mm)> = places().into_iter().take(5).map(|at| (at, at)).collect();
        assert_eq!(drift(&pairs), None);
        assert_eq!(Drift::NONE.done(Mm::new(3.0, 4.0)), Mm::new(3.0, 4.0));
    }
}
