//! What a piece is, by all photos that show it.
//!
//! Photos of one piece err alike where it looks like another: their words are averaged, not multiplied, but for those of a piece
//! that was turned over between them, as its two sides are two things to go by. What each adds of its own is geometry: under the right reading the piece stands in one place, under one of another height it stands
//! elsewhere in each photo, by the height's error times the angle between the two lines of sight. So
//!
//! log P(reading) = mean over photos of log p + sum over photos of log f(place - middle of the places)
//!
//! with f the spread of places of right readings (`PLACE_MM`), and a share of places that are off for another reason.

use super::{Hypothesis, Instance, Sighting, View};
use crate::count::{Doubt, ShapeOdds};
use crate::pieces::{Face, Shape, Stance};
use crate::units::Mm;

/// Standard deviation of a piece's place from photo to photo under the right reading, mm, in each direction: in two
/// sets of `sample-photos/tune` 0.43 where pieces lie in one layer (60) and 0.73 in a heap (91).
const PLACE_MM: f64 = 0.6;
/// Share of places that are off by more than that for another reason: a neighbour's edge, a hidden part. Set by hand, as
/// two sets show too few.
const ASTRAY: f64 = 0.02;
/// Probability that a piece lies on others and so higher than on the tray: in a heap, and elsewhere. Of the pieces of the
/// heaps in `sample-photos/tune` whose height is known 55 of 420 do, of those poured none of 426.
const RAISED: (f64, f64) = (0.15, 0.005);
/// No piece in a heap lies higher than this, mm: four bricks.
const HIGHEST_MM: f64 = 40.0;
/// Below this probability another reading is not worth telling.
const WORTH_TELLING: f64 = 0.02;
/// From this probability on a reading is told from the others.
const TOLD: f64 = 0.95;

/// A piece by all photos.
#[derive(Clone, Debug)]
pub struct Fused {
    /// How it stands, in the first photo's frame.
    pub stance: Stance,
    /// Where it would stand were it on the tray, by each photo that shows it, in the first photo's frame: there its outline
    /// is the one that the photo shows, however high it lies.
    pub places: Vec<Option<Mm>>,
    /// What form and size it is.
    pub odds: ShapeOdds,
    /// Height of its body by where the photos see it, mm; none where one photo alone shows it, or all from one direction.
    pub height_mm: Option<f64>,
    /// How far its places are from their middle, root mean square, mm.
    pub spread_mm: f64,
}

/// What an instance is; `None` where no photo shows it. `parallax`: whether places can be compared from photo to photo.
pub fn fuse(views: &[View<'_>], instance: &Instance, parallax: bool) -> Option<Fused> {
    let shown: Vec<(&View<'_>, &Sighting<'_>)> = (views.iter().zip(&instance.sightings))
        .filter_map(|(view, index)| Some((view, view.sightings.get((*index)?)?)))
        .collect();
    let mut hypotheses: Vec<Hypothesis> = Vec::new();
    for hypothesis in shown.iter().flat_map(|(_, s)| s.hypotheses()) {
        if !hypotheses.contains(&hypothesis) {
            hypotheses.push(hypothesis);
        }
    }
    let n = shown.len() as f64;
    // By the side that looks up: the mean over the photos that show it.
    let by_side = |of: &dyn Fn(&Sighting<'_>) -> f64| -> Vec<f64> {
        let sides = [Some(Face::Up), Some(Face::Down), None];
        let flat = |s: &Sighting<'_>| Some(s.stance.face).filter(|face| face.is_flat());
        let mean = |side: Option<Face>| {
            let own = shown.iter().filter(|(_, s)| flat(s) == side);
            let values: Vec<f64> = own.map(|(_, s)| of(s)).collect();
            (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
        };
        sides.into_iter().filter_map(mean).collect()
    };
    let words = |were: Hypothesis| -> f64 { by_side(&|s| s.probability(were).ln()).iter().sum() };
    let geometry = |were: &Hypothesis| match parallax {
        true => geometry(&shown, *were),
        false => 0.0,
    };
    let weighed: Vec<(Hypothesis, f64)> = (hypotheses.iter())
        .map(|were| (*were, words(*were) + geometry(were)))
        .collect();
    // Nothing of what was told may be of any height: it lies as well as the best of what was told.
    let nearest = hypotheses.iter().map(geometry).fold(f64::MIN, f64::max);
    let open: f64 = by_side(&|s| s.open())
        .iter()
        .map(|open| open.max(1e-6).ln())
        .sum();
    let open = open + nearest;
    let most = weighed.iter().map(|(_, log)| *log).fold(open, f64::max);
    let all: f64 = weighed.iter().map(|(_, log)| (log - most).exp()).sum();
    let all = all + (open - most).exp();
    let chances: Vec<(Hypothesis, f64)> = (weighed.into_iter())
        .map(|(were, log)| (were, (log - most).exp() / all))
        .collect();
    let (best, _) = (chances.iter()).max_by(|a, b| a.1.total_cmp(&b.1))?;
    let place = |view: &View<'_>, index: &Option<usize>| {
        let sighting = view.sightings.get((*index)?)?;
        view.place(sighting, *best, 0.0)
    };
    let places: Vec<Option<Mm>> = (views.iter().zip(&instance.sightings))
        .map(|(view, index)| place(view, index))
        .collect();
    let known: Vec<Mm> = places.iter().flatten().copied().collect();
    let stance = stance(&shown, *best, middle(&known))?;
    let raised_mm = if parallax {
        raised_mm(&shown, *best)
    } else {
        0.0
    };
    let spread_mm = off(&shown, *best, raised_mm).map_or(0.0, |off| {
        (off.iter().map(|mm| mm * mm).sum::<f64>() / n).sqrt()
    });
    Some(Fused {
        stance,
        places,
        odds: odds(&chances, *best, &shown),
        height_mm: middle_height(&shown)
            .map(|mm| 2.0 * mm)
            .filter(|_| parallax),
        spread_mm,
    })
}

/// How far the places are from their middle, mm, were it this and lay so much higher than on the tray.
fn off(shown: &[(&View<'_>, &Sighting<'_>)], were: Hypothesis, raised_mm: f64) -> Option<Vec<f64>> {
    let places: Vec<Mm> = (shown.iter())
        .map(|(view, sighting)| view.place(sighting, were, raised_mm))
        .collect::<Option<_>>()?;
    let middle = middle(&places);
    Some(places.iter().map(|at| at.distance(middle)).collect())
}

/// Middle of some places.
pub(super) fn middle(places: &[Mm]) -> Mm {
    let n = places.len().max(1) as f64;
    Mm::new(
        places.iter().map(|at| at.x).sum::<f64>() / n,
        places.iter().map(|at| at.y).sum::<f64>() / n,
    )
}

/// Log likelihood of the places, 0 where they are one: on the tray, or raised by as much as brings them together.
fn geometry(shown: &[(&View<'_>, &Sighting<'_>)], were: Hypothesis) -> f64 {
    let heaped = shown.iter().any(|(_, s)| s.heaped);
    let raised = if heaped { RAISED.0 } else { RAISED.1 };
    let likely = |raised_mm: f64| {
        let Some(off) = off(shown, were, raised_mm) else {
            return ASTRAY.ln() * shown.len() as f64;
        };
        let one = |mm: &f64| {
            let here = (-mm * mm / (2.0 * PLACE_MM * PLACE_MM)).exp();
            ((1.0 - ASTRAY) * here + ASTRAY).ln()
        };
        off.iter().map(one).sum()
    };
    let flat = (1.0 - raised) * likely(0.0).exp();
    let high = raised * likely(raised_mm(shown, were)).exp();
    (flat + high).ln()
}

/// By how much a piece would have to lie higher than on the tray for its places to come together, mm.
pub(super) fn raised_mm(shown: &[(&View<'_>, &Sighting<'_>)], were: Hypothesis) -> f64 {
    let own = were.lies().map_or(0.0, |lies| lies.middle_mm());
    middle_height(shown).map_or(0.0, |mm| (mm - own).clamp(0.0, HIGHEST_MM))
}

/// Height of a piece's middle, mm, under which its places come nearest to each other, least squares: a raised middle is
/// seen away from the lens' foot. None where all photos see it from one direction.
fn middle_height(shown: &[(&View<'_>, &Sighting<'_>)]) -> Option<f64> {
    /// With less than this between the lines of sight (tangent) a height says nothing.
    const LEAST_BASE: f64 = 0.15;
    let flat: Vec<(Mm, Mm)> = (shown.iter())
        .map(|(view, sighting)| {
            let lies = sighting.own().lies()?;
            let seen = lies.seen(sighting.stance.at, view.camera);
            let (foot, high) = (view.camera.foot(), view.camera.height_mm());
            let lean = Mm::new((foot.x - seen.x) / high, (foot.y - seen.y) / high);
            Some((view.drift.undone(seen), lean))
        })
        .collect::<Option<_>>()?;
    let seen: Vec<Mm> = flat.iter().map(|(seen, _)| *seen).collect();
    let leans: Vec<Mm> = flat.iter().map(|(_, lean)| *lean).collect();
    let (seen_middle, lean_middle) = (middle(&seen), middle(&leans));
    let (mut product, mut square) = (0.0, 0.0);
    for (seen, lean) in &flat {
        let (sx, sy) = (seen.x - seen_middle.x, seen.y - seen_middle.y);
        let (lx, ly) = (lean.x - lean_middle.x, lean.y - lean_middle.y);
        product += sx * lx + sy * ly;
        square += lx * lx + ly * ly;
    }
    (square > LEAST_BASE * LEAST_BASE / 2.0).then(|| -product / square)
}

/// How it stands, were it this: turned as the photo says that speaks best of it.
fn stance(shown: &[(&View<'_>, &Sighting<'_>)], were: Hypothesis, at: Mm) -> Option<Stance> {
    let speaks = |s: &Sighting<'_>| s.probability(were) * (1.0 - s.covered);
    let (_, best) = (shown.iter()).max_by(|a, b| speaks(a.1).total_cmp(&speaks(b.1)))?;
    Some(Stance {
        shape: were.shape,
        face: were.face,
        at,
        turn: best.stance.turn,
    })
}

/// What is told of form and size, and the doubts that are left.
fn odds(
    chances: &[(Hypothesis, f64)],
    best: Hypothesis,
    shown: &[(&View<'_>, &Sighting<'_>)],
) -> ShapeOdds {
    let of_shape = |shape: Shape| -> f64 {
        let alike = chances.iter().filter(|(were, _)| were.shape == shape);
        alike.map(|(_, p)| p).sum()
    };
    let mut others: Vec<(Shape, f64)> = Vec::new();
    for (were, _) in chances {
        let known = others.iter().any(|(shape, _)| *shape == were.shape);
        if were.shape != best.shape && !known {
            others.push((were.shape, of_shape(were.shape)));
        }
    }
    others.retain(|(_, p)| *p >= WORTH_TELLING);
    others.sort_by(|a, b| b.1.total_cmp(&a.1));
    let right = of_shape(best.shape);
    let mut doubts: Vec<Doubt> = Vec::new();
    if right < TOLD {
        doubts.extend(others.iter().take(1).map(|(other, _)| {
            if other.has_footprint_of(best.shape) {
                Doubt::Form(other.form())
            } else {
                Doubt::Shape(*other)
            }
        }));
    }
    // What every photo holds against it, but for what it may be instead.
    let is_reading = |doubt: &Doubt| matches!(doubt, Doubt::Form(_) | Doubt::Shape(_));
    if let Some((_, first)) = shown.first() {
        let everywhere = (first.odds.doubts.iter())
            .filter(|doubt| shown.iter().all(|(_, s)| s.odds.doubts.contains(doubt)));
        doubts.extend(everywhere.filter(|doubt| !is_reading(doubt)).cloned());
    }
    ShapeOdds {
        right,
        others,
        doubts,
    }
}

#[cfg(test)]
#[path = "fuse_tests.rs"]
#[allow(clippy::unwrap_used)]
mod tests;
