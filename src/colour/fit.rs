//! Fitting the model to the card's patches, so that errors count about as dE00.
//!
//! Tone curve, gains, mixing and the slope of the light are found together. All of them are
//! drawn to 'nothing to correct' by a normal prior (a ridge), and a patch that disagrees with the
//! rest counts less the more it disagrees (Cauchy's weight): the card's inks and the
//! surfaces to be measured reflect differently even where they look alike, and a finger or a
//! shadow may lie on a patch.

use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

use super::model::{LINEAR, Model, PARAMETERS, ROOT, SLOPE, TONE};
use super::prints::Patchness;
use crate::numbers::median;

/// One patch as the fit sees it.
#[derive(Clone, Debug)]
pub struct Sample {
    /// Mean in the photo, linear (sRGB decoded).
    pub rgb: [f64; 3],
    /// Light on the patch as far as it is known, 1 = normal.
    pub light: f64,
    /// Place relative to the middle of the patches, in 100 mm.
    pub place: [f64; 2],
    /// What it should become, CIELAB D65.
    pub target: [f64; 3],
    /// Lab difference -> vector whose length is about dE00.
    pub metric: Matrix3<f64>,
    /// What the right correction leaves on it.
    pub print: Patchness,
    /// Trust, 0..=1.
    pub weight: f64,
}

/// How far the numbers may go from 'nothing to correct': standard deviations of the
/// prior, beside the patches' own ([`Patchness::deviation`]).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Freedom {
    /// Differences of channels; raising it allows stronger mixing.
    pub linear: f64,
    /// Root terms; raising it allows stronger bending, 0 leaves them out (a 3x3 matrix).
    pub root: f64,
}

/// The k-th tone weight has this standard deviation divided by k. Wide: a strong S-curve
/// has weights of about 0.5.
const TONE_FREEDOM: f64 = 1.0;
/// Log light per 100 mm. A lamp 1 m away and 0.5 m to the side changes by about 0.1.
const SLOPE_FREEDOM: f64 = 0.1;
/// Logarithm of a gain: nearly free, exposure may be anything.
const GAIN_FREEDOM: f64 = 20.0;

/// Errors from which a patch loses weight, in its standard deviations, from lenient to
/// strict. Starting lenient keeps a few wild patches from deciding which ones look wild
/// (graduated non-convexity). Between 1 and 3 the last one changes the spectral test by 1 %.
const LENIENCE: [f64; 5] = [12.0, 6.0, 3.0, 1.5, 1.5];

/// Fits numbers and weights; the same input gives the same result.
pub fn fit_robustly(samples: &mut [Sample], freedom: Freedom) -> [f64; PARAMETERS] {
    let mut parameters = fit(samples, freedom, &start(samples));
    for lenience in LENIENCE {
        let model = Model::new(&parameters);
        for sample in samples.iter_mut() {
            let error = residual(&model, sample).norm();
            sample.weight = 1.0 / (1.0 + (error / lenience).powi(2));
        }
        parameters = fit(samples, freedom, &parameters);
    }
    parameters
}

/// Gains that bring the median patch to its lightness, and nothing else.
fn start(samples: &[Sample]) -> [f64; PARAMETERS] {
    let mut parameters = [0.0; PARAMETERS];
    for (channel, gain) in parameters.iter_mut().take(TONE).enumerate() {
        let ratios: Vec<f64> = samples
            .iter()
            .map(|sample| {
                let wanted = super::lab::linear_from_lab(sample.target)[channel];
                (wanted.max(1e-3) * sample.light / sample.rgb[channel].max(1e-3)).ln()
            })
            .collect();
        *gain = median(ratios).unwrap_or(0.0);
    }
    parameters
}

/// Weights held, fits from `start`.
pub fn fit(samples: &[Sample], freedom: Freedom, start: &[f64; PARAMETERS]) -> [f64; PARAMETERS] {
    Problem::new(samples, freedom).descend(*start)
}

/// About dE00, beyond what is expected, of each sample when it is predicted without it: the block form of the leave-one-out
/// identity e = (I - H)^-1 r, with H the hat matrix of the problem linearised at the solution.
pub fn left_out(samples: &[Sample], freedom: Freedom, parameters: &[f64; PARAMETERS]) -> Vec<f64> {
    let problem = Problem::new(samples, freedom);
    let residuals = problem.residuals(parameters);
    let jacobian = problem.jacobian(parameters);
    let Some(normal) = jacobian.tr_mul(&jacobian).cholesky() else {
        return vec![f64::INFINITY; samples.len()];
    };
    let predict = |(i, sample): (usize, &Sample)| {
        let rows = jacobian.rows(3 * i, 3);
        let hat = rows * normal.solve(&rows.transpose());
        let hat = Matrix3::from_fn(|r, c| hat[(r, c)]);
        let residual: Vector3<f64> = residuals.fixed_rows::<3>(3 * i).into();
        (Matrix3::identity() - hat)
            .lu()
            .solve(&residual)
            .map_or(f64::INFINITY, |e| {
                e.component_mul(&sample.print.deviation).norm() / sample.weight.sqrt()
            })
    };
    samples.iter().enumerate().map(predict).collect()
}

/// The unexpected error of one sample, in standard deviations.
fn residual(model: &Model, sample: &Sample) -> Vector3<f64> {
    let lab = model.lab(sample.rgb, sample.light * model.light_at(sample.place));
    let error = sample.metric * (Vector3::from(lab) - Vector3::from(sample.target));
    (error - sample.print.expected).component_div(&sample.print.deviation)
}

struct Problem<'a> {
    samples: &'a [Sample],
    /// Numbers that are searched for, with the standard deviation of their prior.
    free: Vec<(usize, f64)>,
}

impl<'a> Problem<'a> {
    fn new(samples: &'a [Sample], freedom: Freedom) -> Self {
        let prior = |i: usize| match i {
            ..TONE => GAIN_FREEDOM,
            TONE..LINEAR => TONE_FREEDOM / (i - TONE + 1) as f64,
            LINEAR..ROOT => freedom.linear,
            ROOT..SLOPE => freedom.root,
            _ => SLOPE_FREEDOM,
        };
        let free = (0..PARAMETERS)
            .map(|i| (i, prior(i)))
            .filter(|(_, sd)| *sd > 0.0)
            .collect();
        Self { samples, free }
    }

    /// Three rows a sample, then one row a free number.
    fn residuals(&self, parameters: &[f64; PARAMETERS]) -> DVector<f64> {
        let model = Model::new(parameters);
        let data = 3 * self.samples.len();
        let mut out = DVector::zeros(data + self.free.len());
        for (i, sample) in self.samples.iter().enumerate() {
            let error = residual(&model, sample) * sample.weight.sqrt();
            out.rows_mut(3 * i, 3).copy_from(&error);
        }
        for (row, (i, sd)) in self.free.iter().enumerate() {
            out[data + row] = parameters[*i] / sd;
        }
        out
    }

    /// Central differences.
    fn jacobian(&self, parameters: &[f64; PARAMETERS]) -> DMatrix<f64> {
        /// About the cube root of the rounding error of an f64.
        const STEP: f64 = 1e-5;
        let rows = 3 * self.samples.len() + self.free.len();
        let mut out = DMatrix::zeros(rows, self.free.len());
        for (column, (i, _)) in self.free.iter().enumerate() {
            let mut moved = *parameters;
            moved[*i] += STEP;
            let up = self.residuals(&moved);
            moved[*i] -= 2.0 * STEP;
            let down = self.residuals(&moved);
            out.set_column(column, &((up - down) / (2.0 * STEP)));
        }
        out
    }

    /// Levenberg-Marquardt with Marquardt's scaling by the diagonal of the normal matrix.
    fn descend(&self, mut parameters: [f64; PARAMETERS]) -> [f64; PARAMETERS] {
        const ROUNDS: usize = 60;
        /// A relative gain below this is over: 1e-7 of a sum of squares is 1e-3 dE00 at most.
        const ENOUGH: f64 = 1e-7;
        for (i, number) in parameters.iter_mut().enumerate() {
            if !self.free.iter().any(|(free, _)| *free == i) {
                *number = 0.0;
            }
        }
        let mut residuals = self.residuals(&parameters);
        let mut cost = residuals.norm_squared();
        let mut damping = 1e-3;
        let mut jacobian = self.jacobian(&parameters);
        for _ in 0..ROUNDS {
            let gradient = jacobian.tr_mul(&residuals);
            let mut normal = jacobian.tr_mul(&jacobian);
            for i in 0..normal.nrows() {
                normal[(i, i)] *= 1.0 + damping;
            }
            let step = normal.cholesky().map(|normal| normal.solve(&gradient));
            let mut moved = parameters;
            for (&(i, _), change) in self.free.iter().zip(step.iter().flat_map(|s| s.iter())) {
                moved[i] -= change;
            }
            let there = self.residuals(&moved);
            let moved_cost = there.norm_squared();
            // A cost that is not a number counts as worse.
            if moved_cost < cost {
                let gain = (cost - moved_cost) / cost;
                (parameters, residuals, cost) = (moved, there, moved_cost);
                damping = (damping * 0.2).max(1e-9);
                if gain < ENOUGH {
                    break;
                }
                jacobian = self.jacobian(&parameters);
            } else if damping > 1e9 {
                break;
            } else {
                damping *= 10.0;
            }
        }
        parameters
    }
}
