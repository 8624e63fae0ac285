//! All pieces of one photo told apart together.
//!
//! Three things are unknown and shared: how far each taught colour has shifted in this photo (lamp
//! and card differ in spectrum from what was taught; like colours shift alike), the gloss
//! that flat tops mirror at each place, and how much the light there differs from what the tray
//! says. Given them, each piece says how well each colour explains it; given that,
//! pieces of known colour say what the three are (expectation and maximisation in turn).

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::even::{Even, distance, uneven};
use super::explain::{Explanation, GLOSS_FLOOR, Given, Look, explain, variance};
use super::field::{Field, by_the_others};
use crate::colour::lab::linear_from_lab;
use crate::pieces::paint::luminance;
use crate::units::Mm;

/// Shift of colours in a photo, standard deviations in even units for lightness and for each
/// chromatic direction: of all alike, of like colours alike, of each by itself. Over the sample
/// photos shifts spread by 0.6 and 0.4 to 2.2, with means up to 0.8 and 3.3.
const SHIFT_ALL: [f64; 2] = [0.8, 1.3];
const SHIFT_LIKE: [f64; 2] = [0.6, 2.0];
const SHIFT_OWN: [f64; 2] = [0.6, 0.8];
/// Distance over which colours are alike, even units.
const LIKE: f64 = 15.0;
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
/// Typical gloss of dark places, share of a white's light; see [`shade_of`].
const DARK_GLOSS: f64 = 0.02;
/// Least spread of the log of the shade in a piece's dark places. Over the sample photos 0.17 to 0.5.
const SHADE_LEAST: f64 = 0.35;
/// Degrees of freedom of Student's t for shade.
const SHADE_TAILS: f64 = 4.0;
/// How many pieces of a colour are taken as seen before any is.
const UNSEEN: f64 = 0.5;
/// Probability of a colour that nobody taught, spread over the room of surface colours in even
/// units: 75 of lightness times a disk of radius 33, of which pigments fill some 60 %.
const NEW: f64 = 0.05;
const ROOM: f64 = 1.5e5;
/// Widths of the first looks; then as they are.
const WIDTHS: [f64; 6] = [3.0, 2.0, 1.4, 1.0, 1.0, 1.0];
/// Shares of probability below this are not refreshed in a polish.
const NEGLIGIBLE: f64 = 1e-3;
/// Colours further apart than this are not mistaken for each other as a group, even units.
const NEAR: f64 = 14.0;

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
}

/// One photo's pieces and the colours that they may have.
pub struct Joint<'a> {
    looks: &'a [Look],
    places: Vec<Mm>,
    bodies: Vec<Even>,
    /// Covariance of shifts, and its factor: lightness, chromatic.
    covariance: [DMatrix<f64>; 2],
    factor: [Cholesky<f64, Dyn>; 2],
    state: State,
}

/// What would be if all pieces of a colour had another one.
#[derive(Clone, Copy, Debug)]
pub struct Instead {
    /// Their colour.
    pub colour: usize,
    /// The other one.
    pub other: usize,
    /// Log of how much likelier that is.
    pub gain: f64,
}

/// Who must have which colour while a group is tried.
type Forced = Vec<Option<usize>>;

impl<'a> Joint<'a> {
    /// Starts with no shift; `None` where the colours' numbers allow no answer.
    pub fn new(looks: &'a [Look], bodies: &[Even]) -> Option<Self> {
        let covariance = [0, 1].map(|kind| {
            DMatrix::from_fn(bodies.len(), bodies.len(), |i, j| {
                let apart = distance(bodies[i], bodies[j]) / LIKE;
                let own = if i == j { SHIFT_OWN[kind].powi(2) } else { 0.0 };
                SHIFT_ALL[kind].powi(2)
                    + SHIFT_LIKE[kind].powi(2) * (-0.5 * apart * apart).exp()
                    + own
            })
        });
        let [lightness, chromatic] = &covariance;
        let factor = [lightness.clone().cholesky()?, chromatic.clone().cholesky()?];
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
            state: State {
                shift: vec![[0.0; 3]; bodies.len()],
                given: vec![given; n],
                shade: None,
                table: vec![vec![Explanation::default(); bodies.len()]; n],
                share: vec![vec![1.0 / bodies.len().max(1) as f64; bodies.len() + 1]; n],
                log: vec![0.0; n],
            },
            bodies: bodies.to_vec(),
        })
    }

    /// From nothing to the likeliest answer nearby.
    pub fn settle(&mut self) {
        for width in WIDTHS {
            self.explain_all(width);
            self.weigh(None, width == 1.0);
            self.learn_shift(width);
            self.learn_places();
        }
        self.explain_all(1.0);
        self.weigh(None, true);
    }

    /// Tries other colours for whole groups, takes what is likelier, and says what was not.
    pub fn regroup(&mut self) -> Vec<Instead> {
        for _ in 0..4 {
            let (found, better) = self.try_groups();
            let Some(state) = better else {
                return found;
            };
            self.state = state;
            self.learn_places();
            self.polish(None, 1);
            self.explain_all(1.0);
            self.weigh(None, true);
        }
        self.try_groups().0
    }

    /// For each piece, the probability of each colour, and last of a new one.
    pub fn shares(&self) -> &[Vec<f64>] {
        &self.state.share
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
        pieces - 0.5 * unlikely
    }

    /// Log of how much likelier it is that a colour's pieces have one that nobody taught than
    /// that it shifted so far from where the others let it be expected.
    pub fn gain_if_new(&self, colour: usize) -> f64 {
        let expected: f64 = (0..3)
            .map(|c| {
                let factor = &self.factor[usize::from(c > 0)];
                let precision = factor.inverse()[(colour, colour)];
                let pull = factor.solve(&self.shift_of(c))[colour];
                -0.5 * pull * pull / precision - 0.5 * (2.0 * std::f64::consts::PI / precision).ln()
            })
            .sum();
        (NEW / ROOM).ln() - expected
    }

    fn shift_of(&self, c: usize) -> DVector<f64> {
        DVector::from_iterator(self.bodies.len(), self.state.shift.iter().map(|s| s[c]))
    }

    /// Body of a colour in this photo, linear.
    fn body(&self, k: usize) -> [f64; 3] {
        let shift = self.state.shift[k];
        linear_from_lab(uneven(std::array::from_fn(|c| {
            self.bodies[k][c] + shift[c]
        })))
    }

    fn explain_all(&mut self, width: f64) {
        self.explain_where(width, |_, _| true);
    }

    fn explain_where(&mut self, width: f64, wanted: impl Fn(usize, usize) -> bool) {
        let bodies: Vec<[f64; 3]> = (0..self.bodies.len()).map(|k| self.body(k)).collect();
        for (i, look) in self.looks.iter().enumerate() {
            for (k, body) in bodies.iter().enumerate() {
                if !wanted(i, k) {
                    continue;
                }
                let mut found = explain(look, *body, &self.state.given[i], width);
                if let Some(shade) = self.state.shade {
                    found.log += shade_log(look, *body, &found, shade);
                }
                self.state.table[i][k] = found;
            }
        }
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
            logs.push(log_new);
            let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let sum: f64 = logs.iter().map(|l| (l - top).exp()).sum();
            self.state.log[i] = top + sum.ln();
            self.state.share[i] = logs.iter().map(|l| (l - top).exp() / sum).collect();
        }
    }

    /// Shifts from the residuals of the pieces, each colour's own and its likes'.
    fn learn_shift(&mut self, width: f64) {
        let colours = self.bodies.len();
        for c in 0..3 {
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
        let mut shades: Vec<f64> = (0..n)
            .filter_map(|i| Some(shade_of(&self.looks[i], self.body(self.best(i)?), 0.0)))
            .collect();
        let shade = median(&mut shades).map(|middle| {
            let mut off: Vec<f64> = shades.iter().map(|s| (s - middle).abs()).collect();
            // 1.4826: from median deviation to standard deviation.
            let spread = 1.4826 * median(&mut off).unwrap_or(0.0);
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

    /// Each group with each near colour in its place, alone or in exchange.
    fn try_groups(&mut self) -> (Vec<Instead>, Option<State>) {
        let start = self.state.clone();
        let before = self.evidence();
        let best: Vec<Option<usize>> = (0..self.looks.len()).map(|i| self.best(i)).collect();
        let used = |k: usize| best.contains(&Some(k));
        let mut found = Vec::new();
        let mut better: Option<(f64, State)> = None;
        let colours = self.bodies.len();
        for colour in (0..colours).filter(|k| used(*k)) {
            for other in (0..colours).filter(|k| *k != colour) {
                if distance(self.bodies[colour], self.bodies[other]) > NEAR {
                    continue;
                }
                for exchange in [false, true] {
                    if exchange && !used(other) {
                        continue;
                    }
                    let forced: Forced = best
                        .iter()
                        .map(|b| match b {
                            Some(k) if *k == colour => Some(other),
                            Some(k) if exchange && *k == other => Some(colour),
                            _ => None,
                        })
                        .collect();
                    self.state = start.clone();
                    for (i, must) in forced.iter().enumerate() {
                        if let Some(k) = must {
                            self.state.share[i] = vec![0.0; colours + 1];
                            self.state.share[i][*k] = 1.0;
                        }
                    }
                    self.polish(Some(&forced), 2);
                    let gain = self.evidence() - before;
                    found.push(Instead {
                        colour,
                        other,
                        gain,
                    });
                    // 0.1: no walking about among equals.
                    if gain > 0.1 && better.as_ref().is_none_or(|(most, _)| gain > *most) {
                        better = Some((gain, self.state.clone()));
                    }
                }
            }
        }
        self.state = start;
        (found, better.map(|(_, state)| state))
    }
}

/// Log of how dark a piece's dark places are against its body. Gloss that they mirror
/// goes with the body, or dark bodies would seem less shaded than light ones.
fn shade_of(look: &Look, body: [f64; 3], gloss: f64) -> f64 {
    let own = luminance(body).max(1e-3);
    (look.paint().dark.max(1e-3) / (own + DARK_GLOSS + gloss)).ln()
}

/// Log probability of a piece's dark places under a colour.
fn shade_log(
    look: &Look,
    body: [f64; 3],
    found: &Explanation,
    (middle, spread): (f64, f64),
) -> f64 {
    let gloss = (found.gloss.0.exp() - GLOSS_FLOOR).max(0.0);
    // The dark places may mirror as much as the top does, or less.
    let (least, most) = (shade_of(look, body, gloss), shade_of(look, body, 0.0));
    let off = if most < middle {
        most - middle
    } else {
        (least - middle).max(0.0)
    };
    let z = off / spread;
    -0.5 * (SHADE_TAILS + 1.0) * (z * z / SHADE_TAILS).ln_1p()
}

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}
