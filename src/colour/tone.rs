//! The inverse of the phone's tone curve.
//!
//! A phone bends its linear picture by an S-shaped curve, the same for the three
//! channels, before it writes the JPEG. Mixing channels is right only in light, so the
//! curve must be undone first. Its shape is unknown, and the grey patches (and, once the
//! channels are mixed, the coloured ones) tell it.
//!
//! With s = sqrt(photo value) and t = sqrt(light), the inverse curve is
//!
//! ```text
//! t(s) = I(s) / I(1),   I(s) = integral from 0 to s of exp(sum a_k cos(k pi x)) dx
//! ```
//!
//! It rises for every choice of the a_k, keeps 0 and 1 in their places (an exposure factor
//! belongs to the correction), is smooth, and is the plain sRGB reading when all a_k are
//! zero: beyond the outermost patches it can only bend as far as its few cosines allow.

use std::f64::consts::PI;
use std::sync::LazyLock;

/// Number of cosines.
pub const SHAPES: usize = 4;
/// Table steps; linear interpolation between them errs by less than 1e-5 of white.
const STEPS: usize = 256;

/// A monotone curve from the photo's linear value (sRGB decoded) to relative light.
#[derive(Clone, Debug, PartialEq)]
pub struct ToneCurve {
    /// t at s = i / STEPS.
    table: Vec<f64>,
}

/// cos(k pi i / STEPS) for k = 1..=SHAPES: a search builds thousands of curves.
static COSINES: LazyLock<Vec<[f64; SHAPES]>> = LazyLock::new(|| {
    let at = |i: usize, k: usize| ((k + 1) as f64 * PI * i as f64 / STEPS as f64).cos();
    (0..=STEPS)
        .map(|i| std::array::from_fn(|k| at(i, k)))
        .collect()
});

impl ToneCurve {
    /// The curve with the given cosine weights a_1, a_2, ...
    pub fn new(weights: &[f64; SHAPES]) -> Self {
        let slope = |cosines: &[f64; SHAPES]| {
            let shape: f64 = weights.iter().zip(cosines).map(|(a, c)| a * c).sum();
            // A search may try absurd weights; the slope must stay a positive number.
            shape.clamp(-12.0, 12.0).exp()
        };
        let mut table = Vec::with_capacity(STEPS + 1);
        let (mut sum, mut before) = (0.0, 0.0);
        for (i, cosines) in COSINES.iter().enumerate() {
            let here = slope(cosines);
            if i > 0 {
                sum += 0.5 * (before + here);
            }
            before = here;
            table.push(sum);
        }
        for t in &mut table {
            *t /= sum;
        }
        Self { table }
    }

    /// Relative light of a photo value (both linear, white about 1).
    ///
    /// Odd-symmetric below 0, straight on above 1, so that values that a colour-space
    /// conversion pushed outside stay in order.
    pub fn light(&self, value: f64) -> f64 {
        let s = value.abs().sqrt();
        let place = s * STEPS as f64;
        let i = (place as usize).min(STEPS - 1);
        let (low, high) = (self.table[i], self.table[i + 1]);
        let t = low + (high - low) * (place - i as f64);
        (t * t).copysign(value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_weights_is_the_identity() {
        let curve = ToneCurve::new(&[0.0; SHAPES]);
        for v in [-0.2, 0.0, 0.001, 0.18, 1.0] {
            assert!((curve.light(v) - v).abs() < 1e-12);
        }
    }

    #[test]
    fn rises_everywhere_for_wild_weights() {
        for weights in [
            [3.0, -2.0, 1.5, 2.0],
            [-40.0, 0.0, 9.0, -9.0],
            [0.5; SHAPES],
        ] {
            let curve = ToneCurve::new(&weights);
            let mut before = curve.light(-0.1);
            for i in -99..1300 {
                let here = curve.light(f64::from(i) / 1000.0);
                assert!(here > before, "{weights:?} at {i}");
                before = here;
            }
        }
    }
}
