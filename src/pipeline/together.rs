//! Several photos of one tray, counted into one sheet.

use super::piece::{Told, counted_as, in_reading_order, placed};
use super::{
    Known, Scene, Seen, Shown, Targets, card_report, photo_ref, sheet_of, unexplained, warnings_of,
};
use crate::colour::lab::de00;
use crate::count::doubt::{self, HEAPED, ToldBy, colour_probability, shape_together};
use crate::count::fitted::{ColourTogether, ShapeTogether};
use crate::count::{Doubt, Named, ShapeOdds, shape_odds, spoils};
use crate::numbers::{round1, round2};
use crate::pieces::polygon::inside;
use crate::pieces::{Face, Stance};
use crate::sheet::advice;
use crate::sheet::file::{InView, PhotoRef, Spoilt};
use crate::sheet::{Piece, SURE, Sheet, Warning};
use crate::together::{Drift, Fused, Instance, Sighting, View, drift, fuse, matched};
use crate::units::Mm;

/// From this shift on, root mean square over the pieces, the tray or the card was moved between two photos, mm: heights
/// cannot be told from where pieces are seen then. Between the photos of the two sets in `sample-photos/tune`, whose trays lay
/// still, cameras that are a little off make it 0.4 and 0.8.
const MOVED_MM: f64 = 1.5;
/// A photo in which fewer than this share of the pieces lie where another has them, of those that both should show, is of
/// another tray. In the sets of `sample-photos/tune` 0.98 and more do.
const SAME_TRAY: f64 = 0.5;
/// Hidden by others up to this share a piece should still be found where it is in the photo.
const PLAIN: f64 = 0.3;

/// The photos of one tray, counted together.
pub struct Set {
    /// One sheet for all; its places are those of the first photo.
    pub sheet: Sheet,
    /// Which of the photos show another tray, by their place in the order given. They are left out.
    pub other_trays: Vec<usize>,
}

/// Photos of one tray, joined: which piece is which in each, and what all of them tell of it.
pub struct Joined<'a> {
    kept: Vec<usize>,
    shown: Vec<&'a Shown<'a>>,
    views: Vec<View<'a>>,
    pieces: Vec<(Instance, Fused)>,
    /// Which of the photos show another tray, by their place in the order given. They are left out.
    pub other_trays: Vec<usize>,
    settled: Settled,
}

/// Joins what [`super::shown`] says of each photo; `odds` are those of form and size ([`shape_odds_of`]). A photo of another
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
    /// The evidence of every piece, with names as [`super::shown`] gave them first.
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
    fn of_shape(&self, number: usize) -> Option<ShapeTogether> {
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
fn sightings(instance: &Instance) -> Vec<(usize, usize)> {
    (instance.sightings.iter().enumerate())
        .filter_map(|(k, index)| Some((k, (*index)?)))
        .collect()
}

/// Counts photos of one tray at rest into one sheet. What [`super::shown`] says of each is joined; a photo of another tray
/// than the first is left out. `None` of no photo.
pub fn count_together(shown: &[Shown<'_>], targets: &Targets, known: &Known) -> Option<Set> {
    let odds = shape_odds_of(shown);
    let joined = join(shown, &odds)?;
    let Joined { shown, settled, .. } = &joined;
    let first = *shown.first()?;
    let mut pieces: Vec<Piece> = (0..joined.pieces.len())
        .filter_map(|number| piece(&joined, number, known))
        .collect();
    let moved_pieces = without_moved(&mut pieces);
    let pieces = in_reading_order(pieces, first.photo.full_px[1]);
    let left: Vec<_> = (first.leftovers.iter())
        .filter(|spot| {
            let holds = |fused: &Fused| inside(&fused.stance.footprint(), spot.at);
            !joined.pieces.iter().any(|(_, fused)| holds(fused))
        })
        .cloned()
        .collect();
    let unexplained = unexplained(first.scene, &left);
    let mut warnings = warnings_of(first, &pieces, &unexplained, known);
    // A colour is taken from the photo that shows it best: one that is unlike the teaching takes no piece's sureness.
    if !shown.iter().all(|one| one.quality.unlike) {
        warnings.retain(|warning| warning.code != advice::UNLIKE);
    }
    for other in &shown[1..] {
        for warning in super::card_warnings(other.photo, other.scene) {
            let text = format!("{} (in {})", warning.text, other.photo.file);
            warnings.push(Warning { text, ..warning });
        }
    }
    for (k, mm) in &settled.moved {
        warnings.push(Warning {
            code: "tray-moved".to_owned(),
            text: format!(
                "between {} and {} the tray or the card was moved by some {mm:.0} mm, so that heights tell nothing; take the photos again without touching either",
                first.photo.file, shown[*k].photo.file
            ),
        });
    }
    if let Some(k) = settled.untold.first() {
        warnings.push(Warning {
            code: "heights-untold".to_owned(),
            text: format!(
                "too few pieces are plain in both {} and {} to tell whether the tray lay still between them, so that heights are not used",
                first.photo.file, shown[*k].photo.file
            ),
        });
    }
    warnings.extend(moved_pieces);
    let mut sheet = sheet_of(first, targets, known, pieces, unexplained, warnings);
    let others = shown[1..].iter().map(|one| PhotoRef {
        card: Some(Box::new(card_report(one.scene))),
        ..photo_ref(one.photo)
    });
    sheet.photos.others = others.collect();
    Some(Set {
        sheet,
        other_trays: joined.other_trays,
    })
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
struct Settled {
    /// Those before which something was moved, and by how much, mm.
    moved: Vec<(usize, f64)>,
    /// Those of which too few pieces tell.
    untold: Vec<usize>,
}

/// A joined piece as the sheet has it.
fn piece(joined: &Joined<'_>, number: usize, known: &Known) -> Option<Piece> {
    let Joined { shown, views, .. } = joined;
    let (instance, fused) = joined.pieces.get(number)?;
    let by = sightings(instance);
    let (k, i) = clearest(shown, &by)?;
    let one = shown.get(k)?;
    let mut seen: Seen = one.seen.get(i)?.clone();
    seen.piece.stance = fused.stance;
    // The photo's own place has the outline that it shows.
    let in_first = fused.places.first().copied().flatten();
    seen.piece.stance.at = in_first.unwrap_or(fused.stance.at);
    // Form and size are told by all photos together.
    (seen.piece.form_p, seen.piece.other_form) = (1.0, None);
    let told = joined.of_shape(number)?;
    let mut odds = fused.odds.clone().with(shape_together(&told));
    if told.missed {
        odds.doubts.push(Doubt::OnePhoto);
    }
    let names = (one.named.get(i)?, one.otherwise.get(i)?);
    let named = joined_name(shown, &by, (k, i), |one| &one.named, names.0);
    let otherwise = joined_name(shown, &by, (k, i), |one| &one.otherwise, names.1);
    let names = (
        told_by_all(shown, &by, (k, i), |one| &one.named, &named),
        told_by_all(shown, &by, (k, i), |one| &one.otherwise, &otherwise),
    );
    let flaw = one.flaws.get(i).copied().flatten();
    let whole = one.whole(known);
    let first = shown.first()?;
    let by_all = (ToldBy::Several, flaw);
    let mut piece = counted_as(first.scene, &seen, &odds, names, by_all, whole)?;
    if views.len() > 1 {
        piece.seen_in = by.iter().map(|(k, _)| *k as u32 + 1).collect();
    }
    piece.height_mm = fused.height_mm.map(round1);
    piece.views = (1..shown.len())
        .filter(|k| views[*k].shows(&fused.stance))
        .filter_map(|k| {
            let mut there = seen.clone();
            let own = fused.places.get(k).copied().flatten();
            there.piece.stance.at = views[k].drift.done(own.unwrap_or(fused.stance.at));
            in_view(shown[k].scene, &there, k)
        })
        .collect();
    (piece.x_mm, piece.y_mm) = (round2(fused.stance.at.x), round2(fused.stance.at.y));
    Some(piece)
}

/// How likely a sighting's colour is, as its photo alone names it, and whether it is named surely.
fn colour_of<'a>(
    one: &'a Shown<'_>,
    i: usize,
    names: &impl Fn(&'a Shown<'_>) -> &'a Vec<Named>,
) -> Option<(&'a Named, f64, bool)> {
    let (seen, named) = (one.seen.get(i)?, names(one).get(i)?);
    let flaw = one.flaws.get(i).copied().flatten();
    let lamp = spoils(&seen.paint, &seen.piece.stance, flaw).contains(&Spoilt::Lamp);
    let p = colour_probability(named, &seen.paint, lamp, &seen.piece, &one.quality);
    Some((named, p, named.is_sure(one.quality.unlike)))
}

/// The sighting whose colour is told best: at first where nothing spoils it, then where it is likeliest.
fn clearest(shown: &[&Shown<'_>], by: &[(usize, usize)]) -> Option<(usize, usize)> {
    let worth = |(k, i): &(usize, usize)| {
        let (_, p, surely) = colour_of(shown.get(*k)?, *i, &|one| &one.named)?;
        Some((surely, p))
    };
    let rated = by.iter().filter_map(|at| Some((*at, worth(at)?)));
    rated
        .max_by(|a, b| a.1.0.cmp(&b.1.0).then(a.1.1.total_cmp(&b.1.1)))
        .map(|(at, _)| at)
}

/// What the photos tell of the name that is taken from one of them; none where nobody taught that colour.
fn colour_together<'a>(
    shown: &'a [&'a Shown<'a>],
    by: &[(usize, usize)],
    taken_from: (usize, usize),
    names: impl Fn(&'a Shown<'_>) -> &'a Vec<Named>,
) -> Option<ColourTogether> {
    let (named, own, surely) = colour_of(shown.get(taken_from.0)?, taken_from.1, &names)?;
    if named.new {
        return None;
    }
    let mut told = ColourTogether {
        own,
        surely,
        alike: None,
        otherwise: None,
        surely_otherwise: false,
        photos: by.len(),
    };
    for (k, i) in by.iter().filter(|at| **at != taken_from) {
        let Some((other, p, sure)) = shown.get(*k).and_then(|one| colour_of(one, *i, &names))
        else {
            continue;
        };
        let most = |so_far: Option<f64>| Some(so_far.map_or(p, |so_far| so_far.max(p)));
        if other.name == named.name {
            told.alike = most(told.alike);
        } else {
            told.otherwise = most(told.otherwise);
            told.surely_otherwise |= sure && !other.new;
        }
    }
    Some(told)
}

/// The name that the clearest photo gives, less sure where another names the piece surely otherwise.
fn joined_name<'a>(
    shown: &'a [&'a Shown<'_>],
    by: &[(usize, usize)],
    clearest: (usize, usize),
    names: impl Fn(&'a Shown<'_>) -> &'a Vec<Named>,
    own: &Named,
) -> Named {
    let mut own = own.clone();
    for (k, i) in by.iter().filter(|at| **at != clearest) {
        let Some(one) = shown.get(*k) else { continue };
        let Some(other) = names(one).get(*i) else {
            continue;
        };
        if other.name != own.name && !other.new && other.is_sure(one.quality.unlike) {
            own.probability = own.probability.min(0.5);
            if !own.others.iter().any(|(name, _)| *name == other.name) {
                own.others.insert(0, (other.name.clone(), 0.5));
            }
        }
    }
    own
}

/// How sure the name is that all photos give.
fn told_by_all<'a, 'b>(
    shown: &'a [&'a Shown<'a>],
    by: &[(usize, usize)],
    taken_from: (usize, usize),
    names: impl Fn(&'a Shown<'_>) -> &'a Vec<Named>,
    named: &'b Named,
) -> Told<'b> {
    match colour_together(shown, by, taken_from, names) {
        Some(told) => Told {
            named,
            right: doubt::colour_together(&told),
            surely: told.surely,
        },
        None => Told {
            named,
            right: named.probability,
            surely: false,
        },
    }
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

/// Where a piece lies in another photo.
fn in_view(scene: &Scene, there: &Seen, k: usize) -> Option<InView> {
    let placed = placed(scene, there)?;
    Some(InView {
        photo: k as u32 + 1,
        x_px: placed.x_px,
        y_px: placed.y_px,
        outline_px: placed.outline_px,
    })
}

/// A piece's colour by two photos is no further apart than this, in nineteen of twenty pieces of the poured set in
/// `sample-photos/tune` (17.6, where one of the photos is too bright); general names may differ though.
const ONE_COLOUR_DE00: f64 = 20.0;

/// Takes pieces out that seem to have been moved between the photos, where they lay in the later one, and says so. The one
/// that stays is doubtful.
fn without_moved(pieces: &mut Vec<Piece>) -> Option<Warning> {
    let one_photo = Doubt::OnePhoto.text();
    let lone = |piece: &Piece| piece.doubts.contains(&one_photo);
    let alike = |a: &Piece, b: &Piece| {
        (&a.form, &a.size) == (&b.form, &b.size)
            && (a.colour == b.colour || de00(a.lab, b.lab) < ONE_COLOUR_DE00)
            && a.seen_in.iter().max() < b.seen_in.iter().min()
    };
    let mut gone: Vec<usize> = Vec::new();
    for k in 0..pieces.len() {
        let twin = (0..pieces.len()).find(|other| {
            let both = lone(&pieces[k]) && lone(&pieces[*other]);
            both && !gone.contains(other) && alike(&pieces[k], &pieces[*other])
        });
        if let Some(twin) = twin.filter(|_| !gone.contains(&k)) {
            gone.push(twin);
            for doubt in pieces[k]
                .doubts
                .iter_mut()
                .filter(|doubt| **doubt == one_photo)
            {
                *doubt = Doubt::Moved.text();
            }
        }
    }
    let mut number = 0..;
    pieces.retain(|_| number.next().is_none_or(|k| !gone.contains(&k)));
    let (count, are, each) = match gone.len() {
        0 => return None,
        1 => ("a piece".to_owned(), "lies", "it is"),
        n => (format!("{n} pieces"), "lie", "each is"),
    };
    Some(Warning {
        code: "piece-moved".to_owned(),
        text: format!(
            "{count} {are} elsewhere in another photo; {each} counted once and doubtful, so look there, or take the photos again without touching a piece"
        ),
    })
}
