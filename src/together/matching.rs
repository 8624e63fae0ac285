//! Which sightings of several photos are of one piece.
//!
//! What a match costs is in mm, and set by hand: between the photos of a set right matches are 0.6 mm apart in the median, and
//! the nearest wrong ones 8.

use super::fuse::raised_mm;
use super::{Hypothesis, Sighting, View};
use crate::units::Mm;

/// One piece: which sighting of each photo shows it, by the photos' order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Instance {
    /// `None` for a photo that does not show it.
    pub sightings: Vec<Option<usize>>,
}

/// Two sightings whose places lie further apart than this, mm, whatever they may be, are of two pieces: the smallest pieces'
/// middles lie 8 mm apart, and a tray that slipped by as much as 3 mm still has its pieces found.
const APART_MM: f64 = 5.0;
/// What it costs to take a sighting for what it was not told to be, mm.
const UNTOLD_MM: f64 = 2.0;
/// What each studs' pitch costs by which the two sightings' sides differ as they were taken first, mm.
const SIZE_MM: f64 = 0.5;

/// What it costs to take a sighting in a heap for one that lies on others, mm.
const RAISED_MM: f64 = 1.0;

/// Instances over all photos, in the order of the first photo that shows them: the nearest sightings first, each once.
pub fn matched(views: &[View<'_>]) -> Vec<Instance> {
    let mut instances: Vec<Instance> = Vec::new();
    for (number, view) in views.iter().enumerate() {
        let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
        for (i, instance) in instances.iter().enumerate() {
            for (k, sighting) in view.sightings.iter().enumerate() {
                if let Some(cost) = from_instance(views, instance, view, sighting)
                    && cost < APART_MM
                {
                    pairs.push((cost, i, k));
                }
            }
        }
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2))));
        let mut is_used = vec![false; view.sightings.len()];
        for (_, i, k) in pairs {
            let free = |used: Option<&bool>| used == Some(&false);
            if let Some(place) =
                (instances.get_mut(i)).and_then(|one| one.sightings.get_mut(number))
                && place.is_none()
                && free(is_used.get(k))
            {
                *place = Some(k);
                is_used[k] = true;
            }
        }
        for (k, _) in is_used.iter().enumerate().filter(|(_, used)| !**used) {
            let mut sightings = vec![None; views.len()];
            sightings[number] = Some(k);
            instances.push(Instance { sightings });
        }
    }
    instances
}

/// How far a sighting is from the instance's own, mm, in the mean; none where it cannot be told.
fn from_instance(
    views: &[View<'_>],
    instance: &Instance,
    view: &View<'_>,
    sighting: &Sighting<'_>,
) -> Option<f64> {
    let own = views.iter().zip(&instance.sightings);
    let costs: Vec<f64> = own
        .filter_map(|(other, index)| Some((other, other.sightings.get((*index)?)?)))
        .filter_map(|(other, its)| between((other, its), (view, sighting)))
        .collect();
    (!costs.is_empty()).then(|| costs.iter().sum::<f64>() / costs.len() as f64)
}

/// How far two sightings of two photos are from being one piece, by the reading under which they are nearest.
fn between(a: (&View<'_>, &Sighting<'_>), b: (&View<'_>, &Sighting<'_>)) -> Option<f64> {
    let own = |sighting: &Sighting<'_>| sighting.hypotheses();
    let (of_a, of_b) = (own(a.1), own(b.1));
    let untold = |told: &[Hypothesis], were: &Hypothesis| {
        let turned = were
            .turned_over()
            .is_some_and(|other| told.contains(&other));
        if turned || told.contains(were) {
            0.0
        } else {
            UNTOLD_MM
        }
    };
    let sides = |s: &Sighting<'_>| {
        let body = s.stance.body();
        (body.along.max(body.across), body.along.min(body.across))
    };
    let (sa, sb) = (sides(a.1), sides(b.1));
    let size = ((sa.0 - sb.0).abs() + (sa.1 - sb.1).abs()) / crate::pieces::shape::PITCH_MM;
    let lying = |were: &Hypothesis, raised_mm: f64| -> Option<f64> {
        let (one, other): (Mm, Mm) = (
            a.0.place(a.1, *were, raised_mm)?,
            b.0.place(b.1, *were, raised_mm)?,
        );
        Some(one.distance(other))
    };
    let apart = |were: &Hypothesis| -> Option<f64> {
        let mut apart = lying(were, 0.0)?;
        if a.1.heaped && b.1.heaped {
            let raised_mm = raised_mm(&[a, b], *were);
            apart = apart.min(lying(were, raised_mm)? + RAISED_MM);
        }
        Some(apart + untold(&of_a, were) + untold(&of_b, were))
    };
    let nearest = of_a.iter().chain(&of_b).filter_map(apart);
    nearest.min_by(f64::total_cmp).map(|mm| mm + SIZE_MM * size)
}
