//! Which colour each piece of a photo is.

use std::collections::BTreeMap;

use super::explain::Look;
use super::joint::{Instead, Joint};
use super::taught::Taught;
use crate::colour::names::name_of;
use crate::colour::{SwatchBook, cluster};
use crate::pieces::paint::Paint;

/// A piece's colour by name.
#[derive(Clone, Debug, PartialEq)]
pub struct Named {
    /// A taught name, or an ISCC-NBS name where it was not taught.
    pub name: String,
    /// Probability that the name is right.
    pub probability: f64,
    /// The next likeliest name, where it is worth saying.
    pub runner_up: Option<String>,
    /// Whether the colour is none of those taught.
    pub new: bool,
}

/// Below this probability the runner-up is worth saying.
const CLEAR: f64 = 0.95;
/// Probability of a cluster's name: it only says which pieces look alike.
const CLUSTERED: f64 = 0.97;
/// Where colours were taught, one that fits none is for a person to name.
const NEW: f64 = 0.5;

/// Names the colours of one photo's pieces. Without swatches, or with none that
/// fits, alike pieces are clustered and named by ISCC-NBS.
pub fn name_colours(paints: &[Paint], book: Option<&SwatchBook>) -> Vec<Named> {
    let taught = book.map(Taught::of).filter(|t| !t.names.is_empty());
    let mut named: Vec<Option<Named>> = vec![None; paints.len()];
    if let Some(taught) = &taught {
        for (slot, found) in named.iter_mut().zip(taught_names(paints, taught)) {
            *slot = found;
        }
    }
    let open: Vec<usize> = (0..paints.len()).filter(|i| named[*i].is_none()).collect();
    let colours: Vec<[f64; 3]> = open.iter().map(|i| paints[*i].lab).collect();
    let clusters = cluster(&colours);
    for (k, i) in open.iter().enumerate() {
        let index = clusters.assignment.get(k).copied().unwrap_or(0);
        let name = clusters
            .names
            .get(index)
            .cloned()
            .unwrap_or_else(|| name_of(paints[*i].lab).to_owned());
        named[*i] = Some(Named {
            name,
            probability: if taught.is_some() { NEW } else { CLUSTERED },
            runner_up: None,
            new: taught.is_some(),
        });
    }
    named.into_iter().flatten().collect()
}

/// Taught names; `None` for a colour that was not taught.
fn taught_names(paints: &[Paint], taught: &Taught) -> Vec<Option<Named>> {
    let finite =
        |p: &Paint| p.measured.iter().chain(&p.lab).all(|v| v.is_finite()) && p.dark.is_finite();
    let fit: Vec<usize> = (0..paints.len()).filter(|i| finite(&paints[*i])).collect();
    let looks: Vec<Look> = fit.iter().map(|i| Look::of(&paints[*i])).collect();
    let mut best: Option<Joint<'_>> = None;
    for bodies in &taught.bodies {
        let Some(mut joint) = Joint::new(&looks, bodies) else {
            continue;
        };
        joint.settle();
        if best
            .as_ref()
            .is_none_or(|b| joint.evidence() > b.evidence())
        {
            best = Some(joint);
        }
    }
    let mut named = vec![None; paints.len()];
    if let Some(mut joint) = best {
        let instead = joint.regroup();
        let new: Vec<f64> = (0..taught.names.len())
            .map(|colour| joint.gain_if_new(colour))
            .collect();
        for (k, i) in fit.into_iter().enumerate() {
            named[i] = decide(k, &instead, &new, &joint, taught);
        }
    }
    named
}

/// What the pieces of a group say together counts this much: they share errors that the model
/// takes for independent. On the sample photos, taught in one light or two, no group was sure and
/// wrong from 0.45 down.
const GROUP_TRUST: f64 = 0.4;
/// What one piece says of its colour counts this much, for the same reason: odds are taken to this power.
const OWN_TRUST: f64 = 0.8;
/// A group loses its taught name only where a new colour is likelier by this, log of odds; below it the
/// name is kept and doubted. Leaving out each colour of the sample photos to tune on in turn, 312 of 443
/// pieces of it are called new and 30 others; from 0 it would be 365 and 71.
const NEW_GAIN: f64 = 4.0;
/// Of two colours nearer to each other than this (even units), of which one was taught in one light only, neither is
/// ever sure: how another lamp shifts the two, and how much gloss lay on each taught piece, is not known. Teaching
/// them in a second light lifts this.
const HARD_NEIGHBOUR: f64 = 8.0;
/// Where less than this share of a piece's light is its body's own and the rest mirrored, the
/// name is inferred from small differences of large numbers.
const OWN_LEAST: f64 = 0.35;
/// From this probability on a piece may well be of another colour.
const MAY_BE: f64 = 0.02;
/// Such a name is right more often than not, and never sure.
const INFERRED_MOST: f64 = 0.85;

/// One piece's name from its own probabilities and its group's.
fn decide(
    piece: usize,
    instead: &[Instead],
    new: &[f64],
    joint: &Joint<'_>,
    taught: &Taught,
) -> Option<Named> {
    let names = &taught.names;
    let share = tempered(joint.shares().get(piece)?);
    let mut ranked: Vec<usize> = (0..share.len().saturating_sub(1)).collect();
    ranked.sort_by(|a, b| share[*b].total_cmp(&share[*a]));
    let (&best, second) = (ranked.first()?, ranked.get(1));
    let name = names.get(best)?;
    let mut group: BTreeMap<usize, f64> = BTreeMap::new();
    for t in instead {
        if t.colour == best && joint.luminance(piece) >= t.least {
            let odds = (GROUP_TRUST * t.gain.min(50.0)).exp();
            let most = group.entry(t.other).or_default();
            *most = most.max(odds);
        }
    }
    let gain = new[best];
    let new = (GROUP_TRUST * gain.min(50.0)).exp();
    let others: f64 = group.values().sum();
    let right = 1.0 / (1.0 + others + new);
    let mut probability = share[best] * right;
    // As it is named, or as what else it may well be.
    let mirrored = (0..names.len())
        .any(|k| (k == best || share[k] > MAY_BE) && joint.own_light(piece, k) < OWN_LEAST);
    if mirrored {
        probability = probability.min(INFERRED_MOST);
    }
    let neighbour = (0..taught.names.len())
        .filter(|k| *k != best && (taught.once(best) || taught.once(*k)))
        .map(|k| (joint.apart(best, k), k))
        .filter(|(apart, _)| *apart < HARD_NEIGHBOUR)
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let hidden = taught.hidden_near(joint.taught_even(best), HARD_NEIGHBOUR);
    if neighbour.is_some() || hidden.is_some() {
        probability = probability.min(INFERRED_MOST);
    }
    let share_new: f64 = share.iter().skip(names.len()).sum();
    let by_group = if gain > NEW_GAIN { right * new } else { 0.0 };
    if share_new + share[best] * by_group > 0.5 {
        return None;
    }
    let by_group = (group.iter())
        .map(|(other, odds)| (share[best] * right * odds, *other))
        .max_by(|a, b| a.0.total_cmp(&b.0));
    let by_itself = second.map(|k| (share[*k], *k));
    let neighbour = neighbour.map(|(_, k)| (share[k].max(1e-9), k));
    let runner_up = by_group
        .into_iter()
        .chain(by_itself)
        .chain(neighbour)
        .max_by(|a, b| a.0.total_cmp(&b.0));
    Some(Named {
        name: name.clone(),
        probability,
        runner_up: runner_up
            .filter(|_| probability < CLEAR)
            .and_then(|(_, k)| names.get(k).cloned())
            .or_else(|| hidden.map(str::to_owned)),
        new: false,
    })
}

/// Probabilities to the power of [`OWN_TRUST`], summing to 1 again.
fn tempered(share: &[f64]) -> Vec<f64> {
    let powers: Vec<f64> = share.iter().map(|p| p.max(0.0).powf(OWN_TRUST)).collect();
    let all: f64 = powers.iter().sum::<f64>().max(f64::MIN_POSITIVE);
    powers.iter().map(|p| p / all).collect()
}
