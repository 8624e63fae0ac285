//! Which pieces of several photos are one, and what all photos tell of its form and size.

use super::colour::{clearest, colour_together};
use crate::count::doubt::HEAPED;
use crate::count::features::{ColourTogether, ShapeTogether};
use crate::count::{ShapeOdds, shape_odds};
use crate::pieces::polygon::inside;
use crate::pieces::{Face, Stance};
use crate::pipeline::{Seen, Shown};
use crate::sheet::SURE;
use crate::together::{Drift, Fused, Instance, Sighting, View, drift, fuse, matched};
use crate::units::Mm;

/// From this shift on, root mean square over the pieces, the tray or the card was moved between two photos, mm: heights
/// cannot be told from where pieces are seen then. Between the photos of `dumped-yard-100` and
/// `poured-mixed-attic-felt-60`, whose trays lay still, cameras that are a little off make it 0.4 and 0.8.
const MOVED_MM: f64 = 1.5;
/// A photo in which fewer than this share of the pieces lie where another has them, of those that both should show, is of
/// another tray. In those two sets 0.98 and more do.
const SAME_TRAY: f64 = 0.5;
/// Hidden by others up to this share a piece should still be found where it is in the photo.
const PLAIN: f64 = 0.3;

/// Photos of one tray, joined: which piece is which in each, and what all of them tell of it.
pub struct Joined<'a> {
    pub(super) kept: Vec<usize>,
    pub(super) shown: Vec<&'a Shown<'a>>,
    pub(super) views: Vec<View<'a>>,
    pub(super) pieces: Vec<(Instance, Fused)>,
    /// Which of the photos show another tray, by their place in the order given. They are left out.
    pub other_trays: Vec<usize>,
    pub(super) settled: Settled,
}

/// Joins what [`shown`](crate::pipeline::shown()) says of each photo; `odds` are those of form and size ([`shape_odds_of`]). A photo of another
/// tray than the first is left out. `None` of no photo.
pub fn join<'a>(shown: &'a [Shown<'a>], odds: &'a [Vec<ShapeOdds>]) -> Option<Joined<'a>> {
    let all: Vec<View<'_>> = (shown.iter().zip(odds))
        .map(|(one, odds)| view(one, odds))
        .collect();
    let other_trays: Vec<usize> = (1..all.len())
        .filter(|k| !is_same_tray(&all[0], &all[*k]))
        .collect();
    let of_tray = |k: &usize| !other_trays.contains(k);
    let kept: Vec<usize> = (0..all.len()).filter(of_tray).collect();
    let shown: Vec<&Shown<'_>> = kept.iter().filter_map(|k| shown.get(*k)).collect();
    let mut views: Vec<View<'_>> = kept.iter().filter_map(|k| all.get(*k)).cloned().collect();
    let settled = settle(&mut views);
    let heights = settled.moved.is_empty() && settled.untold.is_empty();
    shown.first()?;
    let mut pieces: Vec<(Instance, Fused)> = (matched(&views).into_iter())
        .filter_map(|instance| {
            let fused = fuse(&views, &instance, heights)?;
            Some((instance, fused))
        })
        .collect();
    without_twins(&mut pieces);
    Some(Joined {
        kept,
        shown,
        views,
        pieces,
        other_trays,
        settled,
    })
}

/// What each photo by itself says of the form and size of its pieces.
pub fn shape_odds_of(shown: &[Shown<'_>]) -> Vec<Vec<ShapeOdds>> {
    let of = |one: &Shown<'_>| -> Vec<ShapeOdds> {
        (one.seen.iter())
            .map(|seen| shape_odds(&seen.piece, &seen.paint, &one.quality))
            .collect()
    };
    shown.iter().map(of).collect()
}

/// What all photos tell of one piece, as the fitted maps take it.
#[derive(Clone, Debug)]
pub struct Evidence {
    /// What it is taken for.
    pub stance: Stance,
    /// Which of the photos given show it, and as which of their pieces.
    pub by: Vec<(usize, usize)>,
    /// What is told of form and size.
    pub shape: ShapeTogether,
    /// Of its colour; none where that is one that nobody taught.
    pub colour: Option<ColourTogether>,
    /// Name of its colour.
    pub named: String,
}

impl Joined<'_> {
    /// The evidence of every piece, with names as [`shown`](crate::pipeline::shown()) gave them first.
    pub fn evidence(&self) -> Vec<Evidence> {
        (0..self.pieces.len())
            .filter_map(|number| {
                let (instance, fused) = self.pieces.get(number)?;
                let by = sightings(instance);
                let at = clearest(&self.shown, &by)?;
                let named = self.shown.get(at.0)?.named.get(at.1)?;
                let given = |(k, i): &(usize, usize)| Some((*self.kept.get(*k)?, *i));
                Some(Evidence {
                    stance: fused.stance,
                    by: by.iter().filter_map(given).collect(),
                    shape: self.of_shape(number)?,
                    colour: colour_together(&self.shown, &by, at, |one| &one.named),
                    named: named.name.clone(),
                })
            })
            .collect()
    }

    /// What is told of a piece's form and size.
    pub(super) fn of_shape(&self, number: usize) -> Option<ShapeTogether> {
        let (instance, fused) = self.pieces.get(number)?;
        let shape = fused.stance.shape;
        let seen: Vec<(&Sighting<'_>, &Seen)> = (sightings(instance).iter())
            .filter_map(|(k, i)| {
                let sighting = self.views.get(*k)?.sightings.get(*i)?;
                Some((sighting, self.shown.get(*k)?.seen.get(*i)?))
            })
            .collect();
        let least = |of: &dyn Fn(&Sighting<'_>) -> f64| -> f64 {
            seen.iter()
                .map(|(s, _)| of(s))
                .fold(f64::INFINITY, f64::min)
        };
        Some(ShapeTogether {
            right: fused.odds.right,
            lowest: least(&|s| s.of_shape(shape)),
            highest: -least(&|s| -s.of_shape(shape)),
            photos: seen.len(),
            missed: self.missed(number)?,
            spread_mm: fused.spread_mm,
            covered: least(&|s| s.covered),
            heaped: seen.iter().any(|(s, _)| s.heaped),
            touched: seen.iter().any(|(_, seen)| seen.piece.touched),
            underside: fused.stance.face == Face::Down,
        })
    }

    /// Whether a photo that should show a piece does not.
    fn missed(&self, number: usize) -> Option<bool> {
        let (instance, fused) = self.pieces.get(number)?;
        Some((0..self.views.len()).any(|k| {
            instance.sightings.get(k) == Some(&None)
                && should_show(&self.views[k], fused, &self.pieces)
        }))
    }
}

/// The photos that show a piece, and as which of their pieces.
pub(super) fn sightings(instance: &Instance) -> Vec<(usize, usize)> {
    (instance.sightings.iter().enumerate())
        .filter_map(|(k, index)| Some((k, (*index)?)))
        .collect()
}

/// Two readings of one piece by two photos cover each other by more than this share of the smaller, where they were not
/// taken for one: the photos say different sizes of it. Pieces that lie on each other are seen so by one photo.
const TWINS: f64 = 0.4;

/// Takes out what is a second reading of a piece, of which one photo says this and another that; the likelier stays.
fn without_twins(joined: &mut Vec<(Instance, Fused)>) {
    let outlines: Vec<Vec<Mm>> = (joined.iter())
        .map(|(_, fused)| fused.stance.footprint())
        .collect();
    let places: Vec<Vec<Mm>> = outlines.iter().map(|outline| places_in(outline)).collect();
    let apart = |a: &Instance, b: &Instance| {
        let mut both = a.sightings.iter().zip(&b.sightings);
        both.all(|(a, b)| a.is_none() || b.is_none())
    };
    let common = |a: usize, b: usize| {
        let within = places[a].iter().filter(|at| inside(&outlines[b], **at));
        within.count() as f64 / places[a].len().max(1) as f64
    };
    let mut gone = vec![false; joined.len()];
    for a in 0..joined.len() {
        for b in a + 1..joined.len() {
            let ((one, its), (other, other_s)) = (&joined[a], &joined[b]);
            let near = its.stance.at.distance(other_s.stance.at) < REACH_MM;
            if gone[a] || gone[b] || !near || !apart(one, other) {
                continue;
            }
            if common(a, b).max(common(b, a)) > TWINS {
                let less = if its.odds.right < other_s.odds.right {
                    a
                } else {
                    b
                };
                gone[less] = true;
            }
        }
    }
    let mut number = 0..;
    joined.retain(|_| number.next().is_none_or(|k| !gone[k]));
}

/// A photo as [`crate::together`] takes it.
fn view<'a>(shown: &'a Shown<'_>, odds: &'a [ShapeOdds]) -> View<'a> {
    let sightings = shown.seen.iter().zip(odds).map(|(seen, odds)| Sighting {
        stance: seen.piece.stance,
        odds,
        covered: seen.piece.covered(),
        heaped: seen.piece.heaped > HEAPED,
    });
    let pixels = &shown.photo.pixels;
    View {
        camera: &shown.scene.pose.camera,
        size_px: [pixels.width(), pixels.height()].map(|side| side as f64),
        sightings: sightings.collect(),
        drift: Drift::NONE,
    }
}

/// Whether two photos show one tray: most of what both should show lies in the same places.
fn is_same_tray(first: &View<'_>, other: &View<'_>) -> bool {
    let pair = [first.clone(), other.clone()];
    let instances = matched(&pair);
    let common = instances
        .iter()
        .filter(|one| one.sightings.iter().all(Option::is_some));
    let plain = |view: &View<'_>, of: &View<'_>| {
        let shown = |s: &&Sighting<'_>| s.covered < PLAIN && of.shows(&s.stance);
        view.sightings.iter().filter(shown).count()
    };
    let fewest = plain(first, other).min(plain(other, first));
    let none = first.sightings.is_empty() && other.sightings.is_empty();
    none || common.count() as f64 >= SAME_TRAY * fewest.max(1) as f64
}

/// Tells how each photo's places lie against the first one's, by pieces of which every photo says the same, and takes that
/// out.
fn settle(views: &mut [View<'_>]) -> Settled {
    let mut settled = Settled::default();
    for k in 1..views.len() {
        let pair = [views[0].clone(), views[k].clone()];
        let places = matched(&pair).into_iter().filter_map(|one| {
            let [Some(a), Some(b)] = one.sightings[..] else {
                return None;
            };
            let (a, b) = (pair[0].sightings.get(a)?, pair[1].sightings.get(b)?);
            let agree = a.own() == b.own() && a.odds.right.min(b.odds.right) >= SURE;
            agree.then_some((a.stance.at, b.stance.at))
        });
        let pairs: Vec<(Mm, Mm)> = places.collect();
        match drift(&pairs) {
            Some(found) => {
                if found.moved_mm > MOVED_MM {
                    settled.moved.push((k, found.moved_mm));
                }
                views[k].drift = found;
            }
            None => settled.untold.push(k),
        }
    }
    settled
}

/// How photos lie against the first one.
#[derive(Default)]
pub(super) struct Settled {
    /// Those before which something was moved, and by how much, mm.
    pub moved: Vec<(usize, f64)>,
    /// Those of which too few pieces tell.
    pub untold: Vec<usize>,
}

/// Whether a photo should show a piece: it is in the photo, and none of the others stands before it.
fn should_show(view: &View<'_>, fused: &Fused, all: &[(Instance, Fused)]) -> bool {
    if !view.shows(&fused.stance) {
        return false;
    }
    let outline = |stance: &Stance| {
        let at = view.drift.done(stance.at);
        Stance { at, ..*stance }.silhouette(view.camera)
    };
    let own = outline(&fused.stance);
    let others: Vec<Vec<Mm>> = (all.iter())
        .filter(|(_, other)| other.stance != fused.stance)
        .filter(|(_, other)| other.stance.at.distance(fused.stance.at) < REACH_MM)
        .map(|(_, other)| outline(&other.stance))
        .collect();
    let places: Vec<Mm> = places_in(&own);
    let hidden = (places.iter()).filter(|at| others.iter().any(|other| inside(other, **at)));
    (hidden.count() as f64) < PLAIN * places.len() as f64
}

/// No two pieces whose middles lie further apart than this stand before each other, mm: the longest is 64 mm long.
const REACH_MM: f64 = 80.0;
/// Between places in a silhouette, mm.
const STEP_MM: f64 = 2.0;

fn places_in(outline: &[Mm]) -> Vec<Mm> {
    let steps = |value: &dyn Fn(&Mm) -> f64| {
        let low = outline.iter().map(value).fold(f64::MAX, f64::min);
        let high = outline.iter().map(value).fold(f64::MIN, f64::max);
        (low / STEP_MM).floor() as i32..=(high / STEP_MM).ceil() as i32
    };
    let (across, down) = (steps(&|p| p.x), steps(&|p| p.y));
    let place = |x: i32, y: i32| Mm::new(f64::from(x) * STEP_MM, f64::from(y) * STEP_MM);
    down.flat_map(|y| across.clone().map(move |x| place(x, y)))
        .filter(|at| inside(outline, *at))
        .collect()
}
