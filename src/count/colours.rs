//! Which colour each piece of a photo is.

use super::explain::Look;
use super::joint::{Instead, Joint};
use super::taught::Taught;
use crate::colour::lab::de00;
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
    if let (Some(taught), Some(book)) = (&taught, book) {
        for (slot, found) in named.iter_mut().zip(taught_names(paints, taught, book)) {
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
fn taught_names(paints: &[Paint], taught: &Taught, book: &SwatchBook) -> Vec<Option<Named>> {
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
        for (share, i) in joint.shares().iter().zip(fit) {
            let found = decide(share, &instead, &joint, &taught.names);
            named[i] = found.map(|found| less_sure_if_inferred(found, paints[i].lab, book));
        }
    }
    named
}

/// A piece that gloss or shade has taken more than this many times as far from
/// its colour as the nearest other taught colour lies is named by inference:
/// what is left after so large a subtraction does not tell neighbours apart.
const INFERRED: f64 = 1.5;
/// Such a name is right more often than not, and never sure.
const INFERRED_MOST: f64 = 0.85;

/// Caps the probability of a name that was inferred from under gloss or shade.
fn less_sure_if_inferred(mut named: Named, lab: [f64; 3], book: &SwatchBook) -> Named {
    let distance = |from: [f64; 3], wanted: &dyn Fn(&str) -> bool| {
        book.swatches()
            .iter()
            .filter(|swatch| wanted(&swatch.name))
            .flat_map(|swatch| {
                swatch
                    .samples
                    .iter()
                    .map(|s| (de00(from, *s), &swatch.name))
            })
            .min_by(|a, b| a.0.total_cmp(&b.0))
    };
    let Some((away, _)) = distance(lab, &|name| name == named.name) else {
        return named;
    };
    let own = book.swatches().iter().filter(|s| s.name == named.name);
    let neighbour = own
        .flat_map(|swatch| &swatch.samples)
        .filter_map(|sample| distance(*sample, &|name| name != named.name))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    if let Some((_, other)) = neighbour.filter(|(near, _)| away > INFERRED * near) {
        named.probability = named.probability.min(INFERRED_MOST);
        named.runner_up.get_or_insert_with(|| other.clone());
    }
    named
}

/// One piece's name from its own probabilities and its group's.
fn decide(
    share: &[f64],
    instead: &[Instead],
    joint: &Joint<'_>,
    names: &[String],
) -> Option<Named> {
    let mut ranked: Vec<usize> = (0..names.len()).collect();
    ranked.sort_by(|a, b| share[*b].total_cmp(&share[*a]));
    let (&best, second) = (ranked.first()?, ranked.get(1));
    let group: Vec<&Instead> = instead.iter().filter(|t| t.colour == best).collect();
    let new = joint.gain_if_new(best).min(50.0).exp();
    let others: f64 = group.iter().map(|t| t.gain.min(50.0).exp()).sum();
    let right = 1.0 / (1.0 + others + new);
    let probability = share[best] * right;
    let share_new = share.get(names.len()).copied().unwrap_or(0.0);
    if share_new + share[best] * right * new > 0.5 {
        return None;
    }
    let likeliest = group.iter().max_by(|a, b| a.gain.total_cmp(&b.gain));
    let by_group = likeliest.map(|t| (share[best] * right * t.gain.min(50.0).exp(), t.other));
    let by_itself = second.map(|k| (share[*k], *k));
    let runner_up = by_group
        .into_iter()
        .chain(by_itself)
        .max_by(|a, b| a.0.total_cmp(&b.0));
    Some(Named {
        name: names[best].clone(),
        probability,
        runner_up: runner_up
            .filter(|_| probability < CLEAR)
            .map(|(_, k)| names[k].clone()),
        new: false,
    })
}
