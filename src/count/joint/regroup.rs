//! Steps too large for one piece at a time: whole groups, and neighbours under one lamp.

use super::super::even::{distance, even, uneven};
use super::super::explain::GLOSS_FLOOR;
use super::super::shade::shade_of;
use super::{Forced, Joint, State};
use crate::colour::cluster;
use crate::colour::lab::{lab_from_linear, linear_from_lab};
use crate::pieces::paint::luminance;

/// Colours further apart than this are not mistaken for each other as a group, even units.
const NEAR: f64 = 14.0;

/// Dark places this many standard deviations too dark make a piece suspect.
const TOO_DARK: f64 = 2.5;
/// Gloss that a taught piece may have had, in steps, share of a white's light.
pub const TAUGHT_GLOSSES: [f64; 12] = [
    0.0, 0.005, 0.01, 0.015, 0.02, 0.03, 0.04, 0.05, 0.065, 0.08, 0.1, 0.13,
];
/// Most of a piece's darkest channel that is taken for gloss where a new colour is tried.
const BARE_MOST: f64 = 0.7;
/// Pieces less well explained than this (log density) are asked whether they are of a new
/// colour; those of a taught one stay above -5 unless they are bleached.
const ILL_EXPLAINED: f64 = -5.5;

/// So many times at most shifts and shares are brought nearer to each other, and no more once that gains less
/// than this, log of probability.
const RESTS: usize = 10;
const RESTED: f64 = 0.02;

/// What would be if the pieces of a colour had another one.
#[derive(Clone, Copy, Debug)]
pub struct Instead {
    /// Their colour.
    pub colour: usize,
    /// The other one.
    pub other: usize,
    /// Only those of at least this luminance; 0 for all.
    pub least: f64,
    /// Log of how much likelier that is.
    pub gain: f64,
}

impl Joint<'_> {
    /// Looks again at pieces whose dark places are far too dark for the colour they were given:
    /// a lamp may bleach several neighbours, and each alone is not believed.
    fn unbleach(&mut self) {
        let Some((middle, spread)) = self.state.shade else {
            return;
        };
        let too_dark = |joint: &Self, i: usize, k: usize| {
            let off = shade_of(&joint.looks[i], joint.body(k), 0.0) - middle;
            off < -TOO_DARK * spread
        };
        let forced: Forced = (0..self.looks.len())
            .map(|i| {
                let best = self.best(i)?;
                if !too_dark(self, i, best) {
                    return None;
                }
                (0..self.bodies.len())
                    .filter(|k| !too_dark(self, i, *k))
                    .max_by(|a, b| {
                        let row = &self.state.table[i];
                        row[*a].log.total_cmp(&row[*b].log)
                    })
            })
            .collect();
        if forced.iter().all(Option::is_none) {
            return;
        }
        let (before, start) = (self.evidence(), self.state.clone());
        for round in 0..3 {
            self.weigh(Some(&forced), true);
            self.learn_shift(1.0);
            self.learn_places();
            self.explain_all(1.0);
            if round == 2 {
                self.weigh(None, true);
            }
        }
        self.learn_places();
        self.explain_all(1.0);
        self.weigh(None, true);
        if self.evidence() < before {
            self.state = start;
        }
    }

    /// Tries other colours for whole groups, takes what is likelier, and says what was not.
    pub fn regroup(&mut self) -> Vec<Instead> {
        self.unbleach();
        self.walk();
        self.admit_new();
        self.walk()
    }

    /// Takes what is likelier as long as there is such a step, and says what was not.
    fn walk(&mut self) -> Vec<Instead> {
        for _ in 0..4 {
            self.rest();
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
        self.rest();
        self.try_groups().0
    }

    /// Shifts and shares brought to where neither changes the other, so that what is tried is not better for
    /// that alone.
    fn rest(&mut self) {
        for _ in 0..RESTS {
            let (before, start) = (self.evidence(), self.state.clone());
            self.polish(None, 2);
            let gain = self.evidence() - before;
            if gain < 0.0 {
                self.state = start;
            }
            if gain < RESTED {
                return;
            }
        }
    }

    /// How well a colour explains a piece: log density, 0 for a perfect match.
    pub fn explained(&self, piece: usize, colour: usize) -> f64 {
        self.state.table[piece][colour].log
    }

    /// Adds colours that nobody taught where they explain ill-explained pieces better.
    fn admit_new(&mut self) {
        let is_ill = |i: usize| {
            self.best(i)
                .is_none_or(|k| self.explained(i, k) < ILL_EXPLAINED)
        };
        let ill: Vec<usize> = (0..self.looks.len()).filter(|i| is_ill(*i)).collect();
        let labs: Vec<[f64; 3]> = ill.iter().map(|i| self.looks[*i].paint().lab).collect();
        let clusters = cluster(&labs);
        for group in 0..clusters.centres.len() {
            let members: Vec<usize> = (ill.iter().zip(&clusters.assignment))
                .filter(|(_, g)| **g == group)
                .map(|(i, _)| *i)
                .collect();
            let bright = |i: &&usize| self.looks[**i].luminance();
            let darkest = (members.iter()).min_by(|a, b| bright(a).total_cmp(&bright(b)));
            let Some(darkest) = darkest else {
                continue;
            };
            let start = (
                self.state.clone(),
                self.bodies.clone(),
                self.covariance.clone(),
                self.factor.clone(),
            );
            let before = self.evidence();
            let new = self.bodies.len();
            if !self.add_new(even(self.looks[*darkest].paint().lab)) {
                continue;
            }
            for i in &members {
                self.state.share[*i] = vec![0.0; new + 2];
                self.state.share[*i][new] = 1.0;
            }
            for _ in 0..3 {
                self.learn_shift(1.0);
                self.learn_places();
                self.explain_all(1.0);
                self.weigh(None, true);
            }
            if self.evidence() <= before {
                (self.state, self.bodies, self.covariance, self.factor) = start;
            }
        }
    }

    /// Log of how much likelier it is that a colour's pieces have one that nobody taught.
    pub fn gain_if_new(&mut self, colour: usize) -> f64 {
        let forced: Forced = (0..self.looks.len())
            .map(|i| (self.best(i) == Some(colour)).then_some(self.bodies.len()))
            .collect();
        let members = (0..self.looks.len()).filter(|i| forced[*i].is_some());
        let mut bare: Vec<[f64; 3]> = members.filter_map(|i| self.bare(i)).collect();
        // Under a lamp a piece is lighter than its neighbours say.
        bare.sort_by(|a, b| luminance(*a).total_cmp(&luminance(*b)));
        let Some(body) = bare.get(bare.len() / 3).copied() else {
            return f64::NEG_INFINITY;
        };
        let start = (
            self.state.clone(),
            self.bodies.clone(),
            self.covariance.clone(),
            self.factor.clone(),
        );
        let (before, new) = (self.evidence(), self.bodies.len());
        let mut gain = f64::NEG_INFINITY;
        if self.add_new(even(lab_from_linear(body))) {
            for (share, must) in self.state.share.iter_mut().zip(&forced) {
                if must.is_some() {
                    *share = vec![0.0; new + 2];
                    share[new] = 1.0;
                }
            }
            self.explain_where(1.0, |_, k| k == new);
            self.polish(Some(&forced), 2);
            gain = self.evidence() - before;
        }
        (self.state, self.bodies, self.covariance, self.factor) = start;
        gain
    }

    /// A piece's body, linear, were its gloss and light as its neighbours let them be expected.
    fn bare(&self, piece: usize) -> Option<[f64; 3]> {
        let (paint, given) = (self.looks[piece].paint(), &self.state.given[piece]);
        if paint.clipped.contains(&true) {
            return None;
        }
        // However dark, a body has some light of its own in each channel.
        let least = paint.measured.iter().copied().fold(f64::INFINITY, f64::min);
        let gloss = (given.gloss.0.exp() - GLOSS_FLOOR).clamp(0.0, BARE_MOST * least.max(0.0));
        Some(paint.measured.map(|v| (v - gloss) / given.light.0.exp()))
    }

    /// Each group with each near colour in its place, alone or in exchange, or its lighter part
    /// alone; each as it was taught or without the gloss that the taught piece may have had.
    fn try_groups(&mut self) -> (Vec<Instead>, Option<State>) {
        let start = self.state.clone();
        let before = self.evidence();
        let best: Vec<Option<usize>> = (0..self.looks.len()).map(|i| self.best(i)).collect();
        let used = |k: usize| best.contains(&Some(k));
        let mut found = Vec::new();
        let mut better: Option<(f64, State)> = None;
        let colours = self.bodies.len();
        for colour in (0..colours).filter(|k| used(*k)) {
            let lights = self.lightness_of(&best, colour);
            for other in 0..colours {
                if distance(self.bodies[colour].even, self.bodies[other].even) > NEAR {
                    continue;
                }
                for (from, gloss, exchange) in self.ways(&lights, other, used(other)) {
                    let whole = from == 0;
                    if other == colour && (!whole || exchange || gloss == start.taught_gloss[other])
                    {
                        continue;
                    }
                    let least = lights.get(from).copied().unwrap_or(0.0);
                    let forced: Forced = (best.iter().zip(self.looks))
                        .map(|(b, look)| match b {
                            Some(k) if *k == colour => {
                                let lit = look.luminance() >= least;
                                lit.then_some(other)
                            }
                            Some(k) if exchange && *k == other => Some(colour),
                            _ => None,
                        })
                        .collect();
                    self.state = start.clone();
                    self.state.taught_gloss[other] = gloss;
                    for (i, must) in forced.iter().enumerate() {
                        if let Some(k) = must {
                            self.state.share[i] = vec![0.0; colours + 1];
                            self.state.share[i][*k] = 1.0;
                        }
                    }
                    self.polish(Some(&forced), 2);
                    let gain = self.evidence() - before;
                    if other != colour {
                        found.push(Instead {
                            colour,
                            other,
                            least: if whole { 0.0 } else { least },
                            gain,
                        });
                    }
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

    /// Luminances of a group's pieces, in order.
    fn lightness_of(&self, best: &[Option<usize>], colour: usize) -> Vec<f64> {
        let members = (self.looks.iter().zip(best)).filter(|(_, b)| **b == Some(colour));
        let mut lights: Vec<f64> = members.map(|(look, _)| look.luminance()).collect();
        lights.sort_by(f64::total_cmp);
        lights
    }

    /// From which piece of a group on, in order of luminance, to try another colour; with what
    /// gloss on the taught piece; and whether in exchange.
    fn ways(&self, lights: &[f64], other: usize, used: bool) -> Vec<(usize, f64, bool)> {
        let now = self.state.taught_gloss[other];
        let over = |from: usize| self.gloss_over(other, lights.get(from).copied().unwrap_or(0.0));
        let mut ways = vec![(0, now, false)];
        if used {
            ways.push((0, now, true));
        }
        let whole = over(0);
        if whole != now {
            ways.push((0, whole, false));
        }
        if !used {
            // A colour that seems absent may hide among the lighter pieces of a darker one.
            let parts = (1..lights.len()).map(|from| (from, over(from), false));
            ways.extend(parts.filter(|(_, gloss, _)| *gloss > now));
        }
        ways
    }

    /// The gloss that the taught piece must have had for its body to be as dark as a piece.
    fn gloss_over(&self, colour: usize, darkest: f64) -> f64 {
        let taught = luminance(linear_from_lab(uneven(self.bodies[colour].even)));
        let over = taught - darkest;
        let off = |g: &f64| (g - over).abs();
        TAUGHT_GLOSSES
            .into_iter()
            .filter(|g| *g < 0.95 * taught)
            .min_by(|a, b| off(a).total_cmp(&off(b)))
            .unwrap_or(0.0)
    }
}
