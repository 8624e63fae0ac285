//! Steps too large for one piece at a time: whole groups, and neighbours under one lamp.

use super::super::even::distance;
use super::super::shade::shade_of;
use super::{Forced, Joint, State};

/// Colours further apart than this are not mistaken for each other as a group, even units.
const NEAR: f64 = 14.0;

/// Dark places this many standard deviations too dark make a piece suspect.
const TOO_DARK: f64 = 2.5;
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
