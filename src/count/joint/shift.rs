//! How far taught colours shift in a photo, and together.
//!
//! Lamp and camera differ in spectrum from those of the teaching, so corrected colours differ too:
//! all alike, like colours alike, and each a little by itself.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::super::even::{Even, distance};
use super::Body;

/// Standard deviations in even units for lightness and for each chromatic direction: of all alike, of like
/// colours alike, of each by itself. Over the sample photos shifts spread by 0.6 and 0.4 to
/// 2.2, with means up to 0.8 and 3.3.
const ALL: [f64; 2] = [0.8, 1.3];
const LIKE: [f64; 2] = [0.6, 2.0];
const OWN: [f64; 2] = [0.6, 0.8];
/// Distance over which colours are alike, even units.
const ALIKE: f64 = 15.0;
/// A photo under a lamp like that of the teaching shifts less, so deviations are so many times those
/// above. Middle and standard deviation of the logarithm, and what is tried. Over the sample
/// photos to tune on 0.25 to 0.9.
const TIMES: (f64, f64) = (-0.5, 0.5);
const TRIED: [f64; 9] = [0.25, 0.33, 0.42, 0.55, 0.7, 0.9, 1.2, 1.6, 2.1];
/// Degrees of freedom of Student's t for one colour's shift: that one colour was mistaken for
/// another does not make the photo unlike the teaching.
const TAILS: f64 = 3.0;

/// What a photo says of one colour's shift in one channel.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// Which colour.
    pub colour: usize,
    /// Its shift, even units.
    pub shift: f64,
    /// Variance of that.
    pub variance: f64,
}

/// Covariance of the shifts: lightness, chromatic. A new colour shifts with no other.
pub fn covariance(bodies: &[Body], taught: usize, times: [f64; 2]) -> [DMatrix<f64>; 2] {
    [0, 1].map(|kind| {
        DMatrix::from_fn(bodies.len(), bodies.len(), |i, j| {
            let own = if i == j { OWN[kind].powi(2) } else { 0.0 };
            if i.max(j) >= taught {
                return own;
            }
            let like = LIKE[kind].powi(2) * alike(bodies[i].even, bodies[j].even);
            times[kind].powi(2) * (ALL[kind].powi(2) + like + own)
        })
    })
}

fn alike(a: Even, b: Even) -> f64 {
    let apart = distance(a, b) / ALIKE;
    (-0.5 * apart * apart).exp()
}

/// Variance of what other colours do not foretell of a shift.
pub fn unforetold(kind: usize) -> f64 {
    OWN[kind].powi(2) + LIKE[kind].powi(2)
}

/// Factors of both covariances.
pub fn factor(covariance: &[DMatrix<f64>; 2]) -> Option<[Cholesky<f64, Dyn>; 2]> {
    let [lightness, chromatic] = covariance;
    Some([lightness.clone().cholesky()?, chromatic.clone().cholesky()?])
}

/// How many times the usual a photo's shifts are, by how well the other colours' foretell each
/// colour's. `seen` is by channel.
pub fn times(bodies: &[Body], seen: &[Vec<Seen>; 3]) -> [f64; 2] {
    let kinds = [&seen[..1], &seen[1..]];
    [0, 1].map(|kind| {
        let likely = |tried: f64| {
            let all = covariance(bodies, bodies.len(), [tried; 2]);
            let shown: f64 = kinds[kind].iter().map(|c| foretold(&all[kind], c)).sum();
            let off = (tried.ln() - TIMES.0) / TIMES.1;
            shown - 0.5 * off * off
        };
        TRIED
            .into_iter()
            .map(|tried| (likely(tried), tried))
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map_or(1.0, |(_, tried)| tried)
    })
}

/// Log probability of each shift as the others let it be expected.
fn foretold(covariance: &DMatrix<f64>, seen: &[Seen]) -> f64 {
    let all = DMatrix::from_fn(seen.len(), seen.len(), |i, j| {
        let noise = if i == j { seen[i].variance } else { 0.0 };
        covariance[(seen[i].colour, seen[j].colour)] + noise
    });
    let Some(inverse) = all.try_inverse() else {
        return f64::NEG_INFINITY;
    };
    let pull = &inverse * DVector::from_iterator(seen.len(), seen.iter().map(|s| s.shift));
    (0..seen.len())
        .map(|k| {
            // Pull over precision is how far the shift is from what the others foretell, and
            // one over precision the variance of that.
            let precision = inverse[(k, k)];
            let far = pull[k] * pull[k] / precision;
            0.5 * precision.ln() - 0.5 * (TAILS + 1.0) * (far / TAILS).ln_1p()
        })
        .sum()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn bodies() -> Vec<Body> {
        (0..8)
            .map(|k| Body {
                even: [f64::from(k) * 9.0 - 30.0, f64::from(k % 3) * 8.0, 0.0],
                gloss: 0.01,
            })
            .collect()
    }

    fn seen(shift: impl Fn(usize) -> f64) -> [Vec<Seen>; 3] {
        std::array::from_fn(|_| {
            (0..8)
                .map(|colour| Seen {
                    colour,
                    shift: shift(colour),
                    variance: 0.01,
                })
                .collect()
        })
    }

    /// By hand: of one colour nothing is foretold, so that its precision is 1 / (1 + 3) and its distance
    /// 2² / 4 = 1.
    #[test]
    fn one_alone_is_foretold_by_nothing() {
        let covariance = DMatrix::from_element(1, 1, 1.0);
        let one = [Seen {
            colour: 0,
            shift: 2.0,
            variance: 3.0,
        }];
        let want = 0.5 * 0.25f64.ln() - 2.0 * (1.0f64 / 3.0).ln_1p();
        assert!((foretold(&covariance, &one) - want).abs() < 1e-12);
    }

    #[test]
    fn a_photo_like_the_teaching_shifts_little_and_one_unlike_it_much() {
        let zigzag = |size: f64| move |k: usize| if k.is_multiple_of(2) { size } else { -size };
        let small = times(&bodies(), &seen(zigzag(0.15)));
        let large = times(&bodies(), &seen(zigzag(3.0)));
        assert!(small[0] < 0.5 && small[1] < 0.5, "{small:?}");
        assert!(large[0] > 1.0 && large[1] > 1.0, "{large:?}");
        // A shift of all alike is foretold.
        let together = times(&bodies(), &seen(|_| 1.0));
        assert!(together[1] < 0.5, "{together:?}");
    }

    #[test]
    fn one_mistaken_colour_does_not_make_a_photo_unlike() {
        let [_, one_off] = times(&bodies(), &seen(|k| if k == 4 { 4.0 } else { 0.1 }));
        let [_, all_off] = times(&bodies(), &seen(|k| [0.1, 4.0][k % 2]));
        assert!(one_off < 1.0 && all_off > 1.4, "{one_off} {all_off}");
    }

    #[test]
    fn covariances_have_factors() {
        let mut bodies = bodies();
        bodies.push(bodies[0]);
        assert!(factor(&covariance(&bodies, 8, [0.25, 2.1])).is_some());
        let [lightness, _] = covariance(&bodies, 8, [0.5; 2]);
        assert_eq!(lightness[(8, 0)], 0.0);
        assert!((lightness[(8, 8)] - 0.36).abs() < 1e-12);
    }
}
