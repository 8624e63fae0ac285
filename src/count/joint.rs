//! All pieces of one photo told apart together.
//!
//! Three things are unknown and shared: how far each taught colour has shifted in this photo (lamp
//! and card differ in spectrum from what was taught; like colours shift alike), the gloss
//! that flat tops mirror at each place, and how much the light there differs from what the tray
//! says. Given them, each piece says how well each colour explains it; given that,
//! pieces of known colour say what the three are (expectation and maximisation in turn).

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use rayon::prelude::*;

mod regroup;
mod shift;

pub use regroup::Instead;
use regroup::TAUGHT_GLOSSES;
use shift::{Seen, covariance, factor, times, unforetold};

use super::even::{Even, distance, even, uneven};
use super::explain::{Explanation, GLOSS_FLOOR, Given, Look, explain, variance};
use super::field::{Field, by_the_others};
use super::shade::{shade_log, shade_of};
use crate::colour::lab::{lab_from_linear, linear_from_lab};
use crate::numbers::median;
use crate::pieces::paint::luminance;
use crate::units::Mm;

/// Reach and own variance of log gloss: best by leave-one-out over the sample photos (20 to
/// 120 mm; 0.02 to 0.2).
const GLOSS_REACH_MM: f64 = 90.0;
const GLOSS_OWN: f64 = 0.05;
/// Variance of log gloss about its mean is at least this.
const GLOSS_LEAST: f64 = 0.3;
/// The light at a place against what the tray says: standard deviation of its log, that of each
/// piece alone, and reach. Over the sample photos 0.02 to 0.04.
const LIGHT: f64 = 0.06;
const LIGHT_OWN: f64 = 0.025;
const LIGHT_REACH_MM: f64 = 120.0;
/// Least spread of the log of the shade in a piece's dark places. Over the sample photos 0.17 to 0.5.
const SHADE_LEAST: f64 = 0.45;
/// How many pieces of a colour are taken as seen before any is.
const UNSEEN: f64 = 0.5;
/// Probability of a colour that nobody taught, spread over the room of surface colours in even
/// units: 75 of lightness times a disk of radius 33, of which pigments fill some 60 %.
const NEW: f64 = 0.05;
const ROOM: f64 = 1.5e5;
/// Probability that a group's colour is one that nobody taught. Half of those may lie anywhere in that
/// room, the other half about a taught colour with this standard deviation, even units: makers
/// offer tints in pairs.
const NEW_COLOUR: f64 = 0.2;
const RELATIVE: f64 = 4.0;
/// Widths of the first looks; then as they are.
const WIDTHS: [f64; 6] = [3.0, 2.0, 1.4, 1.0, 1.0, 1.0];
/// Shares of probability below this are not refreshed in a polish.
const NEGLIGIBLE: f64 = 1e-3;
/// What is known of one photo's pieces at some stage.
#[derive(Clone)]
struct State {
    shift: Vec<Even>,
    given: Vec<Given>,
    /// Mean and spread of [`shade_of`].
    shade: Option<(f64, f64)>,
    /// For each piece, each colour's explanation.
    table: Vec<Vec<Explanation>>,
    /// For each piece, the probability of each colour, and last of a new one.
    share: Vec<Vec<f64>>,
    /// Log probability of each piece.
    log: Vec<f64>,
    /// Gloss that each taught piece is now taken to have had.
    taught_gloss: Vec<f64>,
}

/// A colour as it was taught.
#[derive(Clone, Copy, Debug)]
pub struct Body {
    /// Where it lies.
    pub even: Even,
    /// Mean of the gloss that may still be in it, share of a white's light.
    pub gloss: f64,
}

/// One photo's pieces and the colours that they may have.
pub struct Joint<'a> {
    looks: &'a [Look],
    places: Vec<Mm>,
    /// The taught colours, and after them those that nobody taught.
    bodies: Vec<Body>,
    taught: usize,
    /// Covariance of shifts, and its factor: lightness, chromatic.
    covariance: [DMatrix<f64>; 2],
    factor: [Cholesky<f64, Dyn>; 2],
    /// How many times the usual the photo's shifts are: lightness, chromatic.
    times: [f64; 2],
    state: State,
}

/// Who must have which colour while a group is tried.
type Forced = Vec<Option<usize>>;

impl<'a> Joint<'a> {
    /// Starts with no shift; `None` where the colours' numbers allow no answer.
    pub fn new(looks: &'a [Look], bodies: &[Body]) -> Option<Self> {
        let times = [1.0; 2];
        let covariance = covariance(bodies, bodies.len(), times);
        let factor = factor(&covariance)?;
        let n = looks.len();
        let given = Given {
            gloss: ((2.0 * GLOSS_FLOOR).ln(), 1.0),
            light: (0.0, LIGHT),
        };
        Some(Self {
            looks,
            places: looks.iter().map(|l| l.paint().at).collect(),
            covariance,
            factor,
            times,
            state: State {
                shift: vec![[0.0; 3]; bodies.len()],
                given: vec![given; n],
                shade: None,
                table: vec![vec![Explanation::default(); bodies.len()]; n],
                share: vec![vec![1.0 / bodies.len().max(1) as f64; bodies.len() + 1]; n],
                log: vec![0.0; n],
                taught_gloss: vec![0.0; bodies.len()],
            },
            bodies: bodies.to_vec(),
            taught: bodies.len(),
        })
    }

    /// Adds a colour that nobody taught; says whether that was possible.
    fn add_new(&mut self, even: Even) -> bool {
        let mut bodies = self.bodies.clone();
        bodies.push(Body { even, gloss: 1e-3 });
        let covariance = covariance(&bodies, self.taught, self.times);
        let Some(factor) = factor(&covariance) else {
            return false;
        };
        (self.bodies, self.covariance, self.factor) = (bodies, covariance, factor);
        self.state.shift.push([0.0; 3]);
        self.state.taught_gloss.push(0.0);
        for row in &mut self.state.table {
            row.push(Explanation::default());
        }
        for share in &mut self.state.share {
            let before_last = share.len().saturating_sub(1);
            share.insert(before_last, 0.0);
        }
        true
    }

    /// From nothing to the likeliest answer nearby.
    pub fn settle(&mut self) {
        for width in WIDTHS {
            self.explain_all(width);
            self.weigh(None, width == 1.0);
            if width == 1.0 {
                self.learn_times();
            }
            self.learn_shift(width);
            self.learn_places();
        }
        self.explain_all(1.0);
        self.weigh(None, true);
    }

    /// For each piece, the probability of each colour, and last of a new one.
    pub fn shares(&self) -> &[Vec<f64>] {
        &self.state.share
    }

    /// Distance between two colours as they were taught, even units, were the lighter one without the
    /// gloss that may have lain on its taught piece: whatever brings the two nearest.
    pub fn apart(&self, a: usize, b: usize) -> f64 {
        let [a, b] = [a, b].map(|k| linear_from_lab(uneven(self.bodies[k].even)));
        let (dark, light) = if luminance(a) < luminance(b) {
            (a, b)
        } else {
            (b, a)
        };
        let dark_even = even(lab_from_linear(dark));
        TAUGHT_GLOSSES
            .into_iter()
            .filter(|gloss| *gloss < 0.95 * luminance(light))
            .map(|gloss| distance(even(lab_from_linear(light.map(|v| v - gloss))), dark_even))
            .fold(f64::INFINITY, f64::min)
    }

    /// A colour as it was taught.
    pub fn taught_even(&self, colour: usize) -> Even {
        self.bodies[colour].even
    }

    /// How many times the usual the photo's chromatic shifts are.
    pub fn chromatic_times(&self) -> f64 {
        self.times[1]
    }

    /// Luminance of a piece as it looks.
    pub fn luminance(&self, piece: usize) -> f64 {
        self.looks[piece].luminance()
    }

    /// Share of a piece's light that would be its body's own if it had the colour.
    pub fn own_light(&self, piece: usize, colour: usize) -> f64 {
        self.state.table[piece][colour].hold
    }

    /// Log probability of all pieces and shifts.
    pub fn evidence(&self) -> f64 {
        let pieces: f64 = self.state.log.iter().sum();
        let unlikely: f64 = (0..3)
            .map(|c| {
                let shift = self.shift_of(c);
                shift.dot(&self.factor[usize::from(c > 0)].solve(&shift))
            })
            .sum();
        let gloss: f64 = (self.bodies.iter().zip(&self.state.taught_gloss))
            .map(|(body, gloss)| gloss / body.gloss)
            .sum();
        // Where a taught colour's shift has a density, a new one may lie anywhere.
        let usual: f64 = (0..3)
            .map(|c| {
                let kind = usize::from(c > 0);
                let variance = unforetold(kind) * self.times[kind].powi(2);
                0.5 * (2.0 * std::f64::consts::PI * variance).ln()
            })
            .sum();
        let new: f64 = (self.bodies[self.taught..].iter())
            .map(|body| self.new_density(body.even).ln() + usual)
            .sum();
        pieces - 0.5 * unlikely - gloss + new
    }

    /// Density of a group's colour that nobody taught.
    fn new_density(&self, at: Even) -> f64 {
        let near: f64 = (self.bodies[..self.taught].iter())
            .map(|body| (-0.5 * (distance(body.even, at) / RELATIVE).powi(2)).exp())
            .sum();
        let whole = (2.0 * std::f64::consts::PI * RELATIVE * RELATIVE).powf(1.5);
        let relatives = near / (self.taught.max(1) as f64 * whole);
        NEW_COLOUR * (0.5 / ROOM + 0.5 * relatives)
    }

    fn shift_of(&self, c: usize) -> DVector<f64> {
        DVector::from_iterator(self.bodies.len(), self.state.shift.iter().map(|s| s[c]))
    }

    /// Body of a colour in this photo, linear.
    fn body(&self, k: usize) -> [f64; 3] {
        let (shift, gloss) = (self.state.shift[k], self.state.taught_gloss[k]);
        let mut body = self.bodies[k].even;
        if gloss > 0.0 {
            let taught = linear_from_lab(uneven(body));
            body = even(lab_from_linear(taught.map(|v| v - gloss)));
        }
        linear_from_lab(uneven(std::array::from_fn(|c| body[c] + shift[c])))
    }

    fn explain_all(&mut self, width: f64) {
        self.explain_where(width, |_, _| true);
    }

    fn explain_where(&mut self, width: f64, wanted: impl Fn(usize, usize) -> bool + Sync) {
        let bodies: Vec<[f64; 3]> = (0..self.bodies.len()).map(|k| self.body(k)).collect();
        let (given, shade) = (&self.state.given, self.state.shade);
        let rows = self.state.table.par_iter_mut().zip(self.looks).enumerate();
        rows.for_each(|(i, (row, look))| {
            for (k, body) in bodies.iter().enumerate() {
                if !wanted(i, k) {
                    continue;
                }
                let mut found = explain(look, *body, &given[i], width);
                if let Some(shade) = shade {
                    let gloss = (found.gloss.0.exp() - GLOSS_FLOOR).max(0.0);
                    found.log += shade_log(look, *body, gloss, shade);
                }
                row[k] = found;
            }
        });
    }

    /// Probabilities of colours, from how they explain each piece and how many others have them.
    fn weigh(&mut self, forced: Option<&Forced>, new: bool) {
        let (n, colours) = (self.looks.len(), self.bodies.len());
        let mut seen = vec![0.0; colours];
        for share in &self.state.share {
            for (sum, p) in seen.iter_mut().zip(share) {
                *sum += p;
            }
        }
        let all = n as f64 + UNSEEN * colours as f64;
        // Relative to a perfect match, as explanations are.
        let peak: f64 = (0..3)
            .map(|c| 0.5 * (2.0 * std::f64::consts::PI * variance(c, 1.0)).ln())
            .sum();
        let log_new = if new {
            (NEW / ROOM).ln() + peak
        } else {
            f64::NEG_INFINITY
        };
        for i in 0..n {
            let must = forced.and_then(|f| f[i]);
            let mut logs: Vec<f64> = (0..colours)
                .map(|k| match must {
                    Some(only) if only != k => f64::NEG_INFINITY,
                    _ => {
                        let others = (seen[k] - self.state.share[i][k]).max(0.0);
                        self.state.table[i][k].log + ((others + UNSEEN) / all).ln()
                    }
                })
                .collect();
            // A new colour is taken as it looks, so that it must be as shaded as it is light.
            let look = &self.looks[i];
            let shaded = self.state.shade.map_or(0.0, |shade| {
                shade_log(look, look.paint().measured, 0.0, shade)
            });
            logs.push(log_new + shaded);
            let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let sum: f64 = logs.iter().map(|l| (l - top).exp()).sum();
            self.state.log[i] = top + sum.ln();
            self.state.share[i] = logs.iter().map(|l| (l - top).exp() / sum).collect();
        }
    }

    /// What the pieces say of their colours' shifts in a channel: weights, and weights times shifts.
    fn pulls(&self, c: usize, width: f64) -> (DVector<f64>, DVector<f64>) {
        let colours = self.bodies.len();
        let variance = variance(c, width);
        let mut weight = DVector::from_element(colours, 1e-9);
        let mut pull = DVector::zeros(colours);
        for (share, row) in self.state.share.iter().zip(&self.state.table) {
            for (k, e) in row.iter().enumerate() {
                weight[k] += share[k] * e.hold * e.hold / variance;
                let whole = e.residual[c] + e.hold * self.state.shift[k][c];
                pull[k] += share[k] * e.hold / variance * whole;
            }
        }
        (weight, pull)
    }

    /// How far this photo's shifts are from the usual. Only what half a piece at least shows counts.
    fn learn_times(&mut self) {
        let seen: [Vec<Seen>; 3] = std::array::from_fn(|c| {
            let (weight, pull) = self.pulls(c, 1.0);
            (0..self.taught)
                .filter(|k| weight[*k] * variance(c, 1.0) > 0.5)
                .map(|colour| Seen {
                    colour,
                    shift: pull[colour] / weight[colour],
                    variance: 1.0 / weight[colour],
                })
                .collect()
        });
        let times = times(&self.bodies[..self.taught], &seen);
        let covariance = covariance(&self.bodies, self.taught, times);
        if let Some(factor) = factor(&covariance) {
            (self.covariance, self.factor, self.times) = (covariance, factor, times);
        }
    }

    /// Shifts from the residuals of the pieces, each colour's own and its likes'.
    fn learn_shift(&mut self, width: f64) {
        for c in 0..3 {
            let (weight, pull) = self.pulls(c, width);
            let prior = &self.covariance[usize::from(c > 0)];
            let noisy = prior + DMatrix::from_diagonal(&weight.map(|w| 1.0 / w));
            let Some(factor) = noisy.cholesky() else {
                return;
            };
            let shift = prior * factor.solve(&pull.component_div(&weight));
            for (k, s) in self.state.shift.iter_mut().enumerate() {
                s[c] = shift[k];
            }
        }
    }

    /// Gloss, light and shade from the pieces.
    fn learn_places(&mut self) {
        let state = &self.state;
        let mean = |i: usize, of: fn(&Explanation) -> (f64, f64)| {
            let (mut all, mut first, mut second) = (1e-12, 0.0, 0.0);
            for (p, e) in state.share[i].iter().zip(&state.table[i]) {
                let (mean, variance) = of(e);
                all += p;
                first += p * mean;
                second += p * (variance + mean * mean);
            }
            (first / all, (second / all - (first / all).powi(2)).max(0.0))
        };
        let n = self.looks.len();
        let gloss: Vec<(f64, f64)> = (0..n)
            .map(|i| mean(i, |e| e.gloss))
            .map(|(h, v)| (h, v.max(0.02)))
            .collect();
        let weight = |v: f64| 1.0 / (v + GLOSS_LEAST);
        let all: f64 = gloss.iter().map(|g| weight(g.1)).sum();
        let middle = gloss.iter().map(|g| weight(g.1) * g.0).sum::<f64>() / all;
        let about = |g: &(f64, f64)| weight(g.1) * (g.0 - middle).powi(2);
        let field = Field {
            mean: middle,
            smooth: (gloss.iter().map(about).sum::<f64>() / all).max(GLOSS_LEAST),
            reach_mm: GLOSS_REACH_MM,
            own: GLOSS_OWN,
        };
        let gloss = by_the_others(&self.places, &gloss, &field);
        let light: Vec<(f64, f64)> = (0..n)
            .map(|i| {
                let (m, v) = mean(i, |e| e.light);
                let v = v.max(1e-4);
                let (before, spread) = state.given[i].light;
                // What the piece itself says, without what it was told.
                let own = (1.0 / v - 1.0 / (spread * spread)).max(1e-3 / (spread * spread));
                (
                    ((m / v - before / (spread * spread)) / own).clamp(-0.3, 0.3),
                    1.0 / own,
                )
            })
            .collect();
        let field = Field {
            mean: 0.0,
            smooth: LIGHT * LIGHT,
            reach_mm: LIGHT_REACH_MM,
            own: LIGHT_OWN * LIGHT_OWN,
        };
        let light = by_the_others(&self.places, &light, &field);
        let shades: Vec<f64> = (0..n)
            .filter_map(|i| Some(shade_of(&self.looks[i], self.body(self.best(i)?), 0.0)))
            .collect();
        let shade = median(shades.iter().copied()).map(|middle| {
            let off = shades.iter().map(|s| (s - middle).abs());
            // 1.4826: from median deviation to standard deviation.
            let spread = 1.4826 * median(off).unwrap_or(0.0);
            (middle, spread.max(SHADE_LEAST))
        });
        if let (Some(gloss), Some(light)) = (gloss, light) {
            for (given, (gloss, light)) in self
                .state
                .given
                .iter_mut()
                .zip(gloss.into_iter().zip(light))
            {
                *given = Given { gloss, light };
            }
        }
        self.state.shade = shade;
    }

    /// A few rounds with everything but the likely colours left as it is.
    fn polish(&mut self, forced: Option<&Forced>, rounds: usize) {
        for round in 0..=rounds {
            let share = std::mem::take(&mut self.state.share);
            self.explain_where(1.0, |i, k| match forced.and_then(|f| f[i]) {
                Some(only) => only == k,
                None => share[i][k] > NEGLIGIBLE,
            });
            self.state.share = share;
            self.weigh(forced, true);
            if round < rounds {
                self.learn_shift(1.0);
            }
        }
    }

    /// The likeliest taught colour of a piece.
    fn best(&self, i: usize) -> Option<usize> {
        let share = &self.state.share[i];
        (0..self.bodies.len()).max_by(|&a, &b| share[a].total_cmp(&share[b]))
    }
}
