//! The correction as numbers: tone curve, gains, mixing in root-polynomial terms.
//!
//! In light u = (r, g, b), after the tone curve and one gain a channel, the terms of degree 2 are
//! r, g, b, sqrt(rg), sqrt(gb), sqrt(rb) (Finlayson, Mackiewicz, Hurlbert, 'Color correction
//! using root-polynomial regression', IEEE Transactions on Image Processing 24(5), 2015).
//! All have degree one, so twice the exposure gives twice the result. Each output channel is
//!
//! ```text
//! R = r + c1 (g - r) + c2 (b - r) + c3 (sqrt(rg) - r) + c4 (sqrt(gb) - r) + c5 (sqrt(rb) - r)
//! ```
//!
//! which is the same family as free coefficients of the six terms, with the sum of the row taken
//! over by the channel's gain. A grey (r = g = b) stays grey whatever c is.

use serde::{Deserialize, Serialize};

use super::lab::lab_from_linear;
use super::tone::{SHAPES, ToneCurve};

/// Numbers in a model: gains, tone, linear mixing, root mixing, slope of the light.
pub const PARAMETERS: usize = SLOPE + 2;
/// First tone weight.
pub const TONE: usize = 3;
/// First coefficient of a difference of channels, row by row.
pub const LINEAR: usize = TONE + SHAPES;
/// First coefficient of a root term, row by row.
pub const ROOT: usize = LINEAR + 6;
/// Change of log light along x and y.
pub const SLOPE: usize = ROOT + 9;

/// A model as plain numbers, each group under its name.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Numbers {
    log_gains: [f64; 3],
    tone: [f64; SHAPES],
    linear: [[f64; 2]; 3],
    root: [[f64; 3]; 3],
    light_slope: [f64; 2],
}

/// A whole correction, ready to apply.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(from = "Numbers", into = "Numbers")]
pub struct Model {
    numbers: Numbers,
    tone: ToneCurve,
    gains: [f64; 3],
}

impl From<Numbers> for Model {
    fn from(numbers: Numbers) -> Self {
        Self {
            tone: ToneCurve::new(&numbers.tone),
            gains: numbers.log_gains.map(|v| v.clamp(-12.0, 12.0).exp()),
            numbers,
        }
    }
}

impl From<Model> for Numbers {
    fn from(model: Model) -> Self {
        model.numbers
    }
}

impl Model {
    /// Reads the numbers of a search, in the order of the constants above.
    pub fn new(p: &[f64; PARAMETERS]) -> Self {
        Numbers {
            log_gains: std::array::from_fn(|c| p[c]),
            tone: std::array::from_fn(|k| p[TONE + k]),
            linear: std::array::from_fn(|r| std::array::from_fn(|k| p[LINEAR + 2 * r + k])),
            root: std::array::from_fn(|r| std::array::from_fn(|k| p[ROOT + 3 * r + k])),
            light_slope: [p[SLOPE], p[SLOPE + 1]],
        }
        .into()
    }

    /// Change of log light along x and y, per [`super::fit::Sample::place`]'s unit of 100 mm.
    pub fn light_slope(&self) -> [f64; 2] {
        self.numbers.light_slope
    }

    /// Light at a place (100 mm from the middle of the patches) by the slope, 1 in the middle.
    pub fn light_at(&self, place: [f64; 2]) -> f64 {
        let [x, y] = self.numbers.light_slope;
        (x * place[0] + y * place[1]).exp()
    }

    /// Linear sRGB under D65 of a photo value (linear, sRGB decoded) seen in `light` (1 = normal).
    pub fn linear_d65(&self, rgb: [f64; 3], light: f64) -> [f64; 3] {
        self.mixed(self.balanced(rgb, light))
    }

    /// The camera's own channels of a photo value, tone curve and gains undone, not yet mixed.
    pub fn balanced(&self, rgb: [f64; 3], light: f64) -> [f64; 3] {
        std::array::from_fn(|c| self.tone.light(rgb[c]) * self.gains[c] / light)
    }

    /// Slopes of the mixed channels (rows) against the camera's own (columns) at `balanced`.
    ///
    /// Every term has degree one, so the slopes times the place itself give the mixed value
    /// (Euler), and nearby colours with it.
    pub fn mixing_at(&self, balanced: [f64; 3]) -> [[f64; 3]; 3] {
        /// Relative step of the central differences.
        const STEP: f64 = 1e-4;
        let size = balanced.iter().fold(1e-3f64, |most, v| most.max(v.abs()));
        let mut slopes = [[0.0; 3]; 3];
        for column in 0..3 {
            let (mut up, mut down) = (balanced, balanced);
            up[column] += STEP * size;
            down[column] -= STEP * size;
            let (up, down) = (self.mixed(up), self.mixed(down));
            for (row, slope) in slopes.iter_mut().enumerate() {
                slope[column] = (up[row] - down[row]) / (2.0 * STEP * size);
            }
        }
        slopes
    }

    fn mixed(&self, u: [f64; 3]) -> [f64; 3] {
        // A channel below zero has no root; the term then vanishes continuously.
        let root = |i: usize, j: usize| (u[i].max(0.0) * u[j].max(0.0)).sqrt();
        let roots = [root(0, 1), root(1, 2), root(0, 2)];
        std::array::from_fn(|c| {
            let others = match c {
                0 => [u[1], u[2]],
                1 => [u[0], u[2]],
                _ => [u[0], u[1]],
            };
            let mixed = |terms: &[f64], weights: &[f64]| -> f64 {
                terms.iter().zip(weights).map(|(t, w)| w * (t - u[c])).sum()
            };
            u[c] + mixed(&others, &self.numbers.linear[c]) + mixed(&roots, &self.numbers.root[c])
        })
    }

    /// CIELAB D65 of a photo value.
    pub fn lab(&self, rgb: [f64; 3], light: f64) -> [f64; 3] {
        lab_from_linear(self.linear_d65(rgb, light))
    }

    /// Whether every number is finite.
    pub fn is_finite(&self) -> bool {
        let n = &self.numbers;
        let mut all = n.log_gains.iter().chain(&n.tone).chain(&n.light_slope);
        let mut mixing = n.linear.as_flattened().iter().chain(n.root.as_flattened());
        all.all(|v| v.is_finite()) && mixing.all(|v| v.is_finite())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn some_model() -> Model {
        let mut p = [0.1; PARAMETERS];
        p[0] = 0.4;
        p[LINEAR] = -0.2;
        p[ROOT + 4] = 0.3;
        Model::new(&p)
    }

    /// What root polynomials are for: plain polynomials of degree 2 fail this.
    #[test]
    fn twice_the_light_gives_twice_the_result() {
        let model = some_model();
        let once = model.linear_d65([0.2, 0.5, 0.1], 1.0);
        let twice = model.linear_d65([0.2, 0.5, 0.1], 0.5);
        for (a, b) in once.iter().zip(twice) {
            assert!((2.0 * a - b).abs() < 1e-12);
        }
    }

    #[test]
    fn a_grey_stays_grey_when_the_gains_agree() {
        let mut p = [0.1; PARAMETERS];
        p[..3].fill(0.3);
        let model = Model::new(&p);
        for v in [0.01, 0.3, 0.95] {
            let [r, g, b] = model.linear_d65([v; 3], 1.0);
            assert!((r - g).abs() < 1e-12 && (g - b).abs() < 1e-12);
        }
    }

    #[test]
    fn slopes_times_the_place_give_the_value() {
        let model = some_model();
        let balanced = model.balanced([0.2, 0.5, 0.1], 1.0);
        let slopes = model.mixing_at(balanced);
        let value = model.linear_d65([0.2, 0.5, 0.1], 1.0);
        for (row, want) in slopes.iter().zip(value) {
            let got: f64 = row.iter().zip(balanced).map(|(s, u)| s * u).sum();
            assert!((got - want).abs() < 1e-6, "{got}, expected {want}");
        }
    }

    #[test]
    fn negative_channels_give_numbers() {
        let lab = some_model().lab([-0.05, 0.2, 0.0], 1.0);
        assert!(lab.iter().all(|v| v.is_finite()), "{lab:?}");
    }
}
