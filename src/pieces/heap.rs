//! What lies over and around each piece, where pieces touch or lie in a heap.

use super::found::{FREE, FoundPiece};
use crate::units::Mm;
use crate::view::Camera;

/// What others do to the light of one piece.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Around {
    /// Silhouettes of those that may lie over it.
    pub over: Vec<Vec<Mm>>,
    /// Probability that one of them stands in its light.
    pub shaded: f64,
}

/// How often a piece lies in another's shadow: alone, beside another, and in a heap. Set by hand: over the
/// sample photos to tune on 2, 4 and 17 in 100 are darker by more than 4 L* than the photo's others are
/// against what was taught, but not all of them by a shadow, and shadows may be fainter.
const SHADED_ALONE: f64 = 0.005;
const SHADED_BESIDE: f64 = 0.03;
const SHADED_IN_HEAP: f64 = 0.25;

/// What is around each piece. The net sees more of what lies over others.
pub fn around(found: &[FoundPiece], camera: &Camera) -> Vec<Around> {
    let outlines: Vec<Vec<Mm>> = found.iter().map(|p| p.stance.silhouette(camera)).collect();
    let reach: Vec<f64> = (outlines.iter().zip(found))
        .map(|(outline, piece)| {
            let far = |at: &Mm| at.distance(piece.stance.at);
            outline.iter().map(far).fold(0.0, f64::max)
        })
        .collect();
    let meets = |i: usize, k: usize| {
        i != k && found[i].stance.at.distance(found[k].stance.at) < reach[i] + reach[k]
    };
    (0..found.len())
        .map(|i| {
            let others: Vec<usize> = (0..found.len()).filter(|k| meets(i, *k)).collect();
            let mine = found[i].covered();
            let over = |k: &&usize| mine > found[**k].covered();
            let in_heap = mine > 0.0 || others.iter().any(|k| found[*k].covered() > 0.0);
            Around {
                over: (others.iter().filter(over))
                    .map(|k| outlines[*k].clone())
                    .collect(),
                shaded: match (in_heap, found[i].touched) {
                    (true, _) => SHADED_IN_HEAP,
                    (_, true) => SHADED_BESIDE,
                    _ => SHADED_ALONE,
                },
            }
        })
        .collect()
}

/// How far around a piece others tell whether it lies in a heap.
const HEAP_REACH_MM: f64 = 30.0;

/// Tells each piece how much of those around it is hidden.
pub(super) fn mark_heaped(pieces: &mut [FoundPiece]) {
    let hidden: Vec<(Mm, f64)> = (pieces.iter())
        .map(|piece| (piece.stance.at, (piece.covered() - FREE).max(0.0)))
        .collect();
    for (i, piece) in pieces.iter_mut().enumerate() {
        let others = hidden.iter().enumerate().filter(|(k, _)| *k != i);
        let (mut sum, mut count) = (0.0, 0.0);
        for (_, (at, covered)) in others {
            if at.distance(piece.stance.at) < HEAP_REACH_MM {
                sum += covered;
                count += 1.0;
            }
        }
        piece.heaped = if count > 0.0 { sum / count } else { 0.0 };
    }
}

#[cfg(test)]
mod tests {
    use super::super::face::Face;
    use super::super::found::{Said, Witness};
    use super::super::list::tests::shape;
    use super::super::refine::Score;
    use super::super::stance::Stance;
    use super::*;

    /// A piece at a place on one line, of which this share is hidden.
    fn piece(x: f64, hidden: f64) -> FoundPiece {
        let stance = Stance {
            shape: shape("plate", "1x2"),
            face: Face::Up,
            at: Mm::new(x, 0.0),
            turn: 0.0,
        };
        let said = Said {
            size_p: 1.0,
            allowed_p: 1.0,
            score: 1.0,
            visible: 1.0 - hidden,
        };
        FoundPiece::of(stance, &Score::default(), Witness::Net(said))
    }

    fn heaped<const N: usize>(pieces: [(f64, f64); N]) -> [f64; N] {
        let mut pieces = pieces.map(|(x, hidden)| piece(x, hidden));
        mark_heaped(&mut pieces);
        pieces.map(|piece| piece.heaped)
    }

    #[test]
    fn a_piece_is_in_a_heap_by_what_is_hidden_of_those_around_it() {
        let near = HEAP_REACH_MM - 1.0;
        let alike = |got: &[f64], want: &[f64]| {
            let off = got.iter().zip(want).map(|(a, b)| (a - b).abs());
            assert!(
                got.len() == want.len() && off.fold(0.0, f64::max) < 1e-12,
                "{got:?}"
            );
        };
        alike(&heaped([(0.0, 0.8)]), &[0.0]);
        // Its own hidden share says nothing of itself.
        alike(&heaped([(0.0, FREE + 0.4), (near, 0.0)]), &[0.0, 0.4]);
        // The mean of those around, with those that nothing hides.
        let three = heaped([(0.0, FREE + 0.4), (10.0, 0.0), (20.0, FREE + 0.2)]);
        alike(&three, &[0.1, 0.3, 0.2]);
        // Beyond its reach none counts, and one that may stand behind a neighbour is not hidden.
        alike(
            &heaped([(0.0, 0.8), (HEAP_REACH_MM + 1.0, 0.8)]),
            &[0.0, 0.0],
        );
        alike(&heaped([(0.0, FREE - 0.01), (near, 0.0)]), &[0.0, 0.0]);
    }

    #[test]
    fn marking_again_forgets_what_was_marked_before() {
        let mut pieces = [piece(0.0, 0.8), piece(10.0, 0.8)];
        mark_heaped(&mut pieces);
        assert!(pieces[0].heaped > 0.5);
        pieces[1].stance.at = Mm::new(2.0 * HEAP_REACH_MM, 0.0);
        mark_heaped(&mut pieces);
        assert_eq!(pieces.map(|piece| piece.heaped), [0.0, 0.0]);
    }
}
