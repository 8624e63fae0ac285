//! Which colour each piece of a photo is.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::explain::Look;
use super::joint::{Instead, Joint};
use super::level::level;
use super::taught::Taught;
use crate::colour::names::name_of;
use crate::colour::{CardLook, SwatchBook, cluster};
use crate::pieces::paint::Paint;
use crate::sheet::SURE;

/// A piece's colour by name.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Named {
    /// A taught name, or an ISCC-NBS name where it was not taught.
    pub name: String,
    /// Probability that the name is right.
    pub probability: f64,
    /// Which taught colours it may be instead, and how probably, likeliest first; only those worth saying.
    pub others: Vec<(String, f64)>,
    /// Probability that it is rather one that nobody taught.
    pub untaught: f64,
    /// Whether the colour is none of those taught.
    pub new: bool,
    /// What bears on the name beside its probability.
    pub against: Against,
}

/// What speaks against a taught colour beside what its likeness says. How much each counts is fitted, as the model of
/// likeness takes lights and colours for known that nobody taught.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Against {
    /// Share of the piece's light that a lamp or the room mirrors in it, were it of this colour or of another that it may
    /// well be.
    pub mirrored: f64,
    /// How near another taught colour lies, 0 for [`HARD_NEIGHBOUR`] and further off, 1 for the same: where both were
    /// taught in one light only, and not in the photo's own.
    pub beside_once: f64,
    /// The same where one of the two was taught in a second light.
    pub beside_half: f64,
    /// The same where both were, or both were taught in the photo's own light.
    pub beside: f64,
    /// Whether a colour that only a lamp's image was seen of may lie as near.
    pub beside_hidden: bool,
    /// By how much worse than well the colour explains the piece, log density.
    pub ill_explained: f64,
    /// Share of the photo's pieces whose colours nobody taught.
    pub new_share: f64,
    /// Whether colours that nobody taught were ruled out, so that a piece of one must be taken for another.
    pub ruled_out: bool,
}

/// More of a piece's light than this that is mirrored leaves its name inferred from small differences of large numbers.
/// Of names from 0.9 on, over `sample-photos/tune`, 5.5 % are wrong beyond, 1.3 % below 0.2; with one light taught 24 and 2 %.
const MOST_MIRRORED: f64 = 0.55;
/// Colours nearer than this, one of which was taught in a second light, are too near (3.5 even units of 8).
const HALF_NEAR: f64 = 0.5625;
/// From this probability on a name beside a near neighbour is sure, as what shifts the two is shared by all their pieces in
/// a photo.
const SURE_BESIDE: f64 = 0.92;

impl Named {
    /// Whether the name is sure as far as colours tell, in a photo that is `unlike` the teaching or not. Over
    /// `sample-photos/tune` 0.5 % of 4,246 such names are wrong, with one light taught 0.3 % of 2,408, where it is 1.9 and
    /// 4.4 % of all names of as high a probability: 8 % beside a neighbour when both were taught once, 10 % in photos unlike
    /// the teaching.
    pub fn is_sure(&self, unlike: bool) -> bool {
        let against = &self.against;
        let beside = against.beside > 0.0 || against.beside_half > 0.0;
        let least = if beside { SURE_BESIDE } else { SURE };
        let may_be_new = against.ruled_out || against.new_share > SOME_NEW;
        !self.new
            && !unlike
            && self.probability >= least
            && against.mirrored <= MOST_MIRRORED
            && against.beside_once == 0.0
            && against.beside_half <= HALF_NEAR
            && !against.beside_hidden
            && !(may_be_new && against.ill_explained > 0.0)
    }
}

/// The colours of one photo's pieces.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Colours {
    /// Of each piece, in the order of the pieces.
    pub named: Vec<Named>,
    /// Whether the photo is unlike what was taught, so that no taught colour in it is sure.
    pub unlike: bool,
    /// The same if the taught colours are all there are.
    pub only_taught: Vec<Named>,
    /// Whether it is unlike them even so.
    pub only_taught_unlike: bool,
}

/// Less likely than this another colour is not worth saying.
const WORTH_SAYING: f64 = 0.02;
/// Probability of a cluster's name: it only says which pieces look alike.
const CLUSTERED: f64 = 0.97;
/// Where colours were taught, one that fits none is for a person to name: the general name it has until then is
/// hardly ever the one that they use.
const NEW: f64 = 0.1;
/// As well as new it may be a taught one in a light unlike that of its teaching, as all 51 so called
/// in `sample-photos/tune` are, where every colour was taught; how many are left untaught elsewhere nobody knows.
const NEW_IS_TAUGHT: f64 = 0.5;

/// What one piece's colour may be, of those taught.
#[derive(Clone, Debug)]
struct Odds {
    /// The likeliest and its probability; none where it is rather one that nobody taught.
    best: Option<(String, f64)>,
    /// The others, likeliest first.
    others: Vec<(String, f64)>,
    /// Probability of one that nobody taught.
    untaught: f64,
    /// What else bears on it.
    against: Against,
}

/// Names the colours of one photo's pieces, beside a card that looked so. Without swatches, or with none that
/// fits, alike pieces are clustered and named by ISCC-NBS.
pub fn name_colours(paints: &[Paint], book: Option<&SwatchBook>, card: &CardLook) -> Colours {
    let taught = book.map(|book| Taught::of(book, card));
    let taught = taught.filter(|t| !t.names.is_empty());
    let none = || Judged {
        odds: vec![None; paints.len()],
        unlike: false,
    };
    let [open, only_taught] = match &taught {
        Some(taught) => taught_odds(paints, taught),
        None => [none(), none()],
    };
    Colours {
        named: name_all(paints, open.odds, taught.is_some()),
        unlike: open.unlike,
        only_taught: name_all(paints, only_taught.odds, taught.is_some()),
        only_taught_unlike: only_taught.unlike,
    }
}

/// Names by what was taught, and general ones for the rest.
fn name_all(paints: &[Paint], odds: Vec<Option<Odds>>, taught: bool) -> Vec<Named> {
    let is_open = |odds: &Option<Odds>| odds.as_ref().is_none_or(|odds| odds.best.is_none());
    let open: Vec<usize> = (0..paints.len()).filter(|i| is_open(&odds[*i])).collect();
    let colours: Vec<[f64; 3]> = open.iter().map(|i| paints[*i].lab).collect();
    let clusters = cluster(&colours);
    let clustered = |i: usize| {
        let place = open.binary_search(&i).ok();
        let index = place.and_then(|k| clusters.assignment.get(k));
        (index.and_then(|index| clusters.names.get(*index)).cloned())
            .unwrap_or_else(|| name_of(paints[i].lab).to_owned())
    };
    (odds.into_iter().enumerate())
        .map(|(i, odds)| match odds {
            Some(Odds {
                best: Some((name, probability)),
                others,
                untaught,
                against,
            }) => Named {
                name,
                probability,
                others: worth_saying(others, 1.0),
                untaught,
                new: false,
                against,
            },
            odds => {
                let name = clustered(i);
                let mut others = odds.map_or_else(Vec::new, |odds| odds.others);
                // A general name may be a taught one too.
                others.retain(|(other, _)| *other != name);
                let mut others = worth_saying(all_of(others), NEW_IS_TAUGHT);
                let mut probability = if taught { NEW } else { CLUSTERED };
                level(&mut probability, &mut others);
                Named {
                    name,
                    probability,
                    others,
                    untaught: 0.0,
                    new: taught,
                    against: Against::default(),
                }
            }
        })
        .collect()
}

/// Probabilities made to sum to 1.
fn all_of(mut others: Vec<(String, f64)>) -> Vec<(String, f64)> {
    let all: f64 = others
        .iter()
        .map(|(_, p)| p)
        .sum::<f64>()
        .max(f64::MIN_POSITIVE);
    for (_, p) in &mut others {
        *p /= all;
    }
    others
}

/// Those worth saying, this share of each.
fn worth_saying(others: Vec<(String, f64)>, share: f64) -> Vec<(String, f64)> {
    (others.into_iter())
        .map(|(name, p)| (name, share * p))
        .filter(|(_, p)| *p >= WORTH_SAYING)
        .collect()
}

/// What a photo's pieces are taken for.
struct Judged {
    /// Which taught colour each has, `None` where it cannot be asked.
    odds: Vec<Option<Odds>>,
    /// Whether the photo is unlike the teaching.
    unlike: bool,
}

/// Which taught colour each piece has: where others may lie there too, and where none does.
fn taught_odds(paints: &[Paint], taught: &Taught) -> [Judged; 2] {
    let finite =
        |p: &Paint| p.measured.iter().chain(&p.lab).all(|v| v.is_finite()) && p.dark.is_finite();
    let fit: Vec<usize> = (0..paints.len()).filter(|i| finite(&paints[*i])).collect();
    let looks: Vec<Look> = fit.iter().map(|i| Look::of(&paints[*i])).collect();
    let mut best: Option<(usize, Joint<'_>)> = None;
    for (way, bodies) in taught.bodies.iter().enumerate() {
        let Some(mut joint) = Joint::new(&looks, bodies) else {
            continue;
        };
        joint.settle();
        if best
            .as_ref()
            .is_none_or(|(_, b)| joint.evidence() > b.evidence())
        {
            best = Some((way, joint));
        }
    }
    let none = vec![None; paints.len()];
    let Some((way, mut joint)) = best else {
        return [none.clone(), none].map(|odds| Judged {
            odds,
            unlike: false,
        });
    };
    let instead = joint.regroup();
    let gains: Vec<f64> = (0..taught.names.len())
        .map(|colour| joint.gain_if_new(colour))
        .collect();
    let decide_all = |way: Option<usize>, only_taught: bool| -> Vec<Option<Odds>> {
        let known = Known {
            taught,
            way,
            only_taught,
        };
        (0..fit.len())
            .map(|k| decide(k, &instead, &gains, &joint, &known))
            .collect()
    };
    [false, true].map(|only_taught| {
        let mut decided = decide_all(Some(way), only_taught);
        if new_among(&decided) > SOME_NEW {
            decided = decide_all(None, only_taught);
        }
        let new_share = new_among(&decided);
        for odds in decided.iter_mut().flatten() {
            odds.against.new_share = new_share;
            odds.against.ruled_out = only_taught;
        }
        let unlike = joint.chromatic_times() > UNLIKE || new_share > MANY_NEW;
        let mut odds = none.clone();
        for (i, decided) in fit.iter().zip(decided) {
            odds[*i] = decided;
        }
        Judged { odds, unlike }
    })
}

/// Share of the pieces that have a colour that nobody taught, of those that can be asked.
fn new_among(odds: &[Option<Odds>]) -> f64 {
    let asked = odds.iter().flatten().count() as f64;
    let new = (odds.iter().flatten()).filter(|odds| odds.best.is_none());
    new.count() as f64 / asked.max(1.0)
}

/// A photo whose colours shift more than so many times the usual is hardly one of the colours that were taught:
/// those fit it only as what they are not. Where all were taught it is 0.9 at most over `sample-photos/tune`.
const UNLIKE: f64 = 0.9;
/// The same where more than this share of its pieces have colours that nobody taught. Where a quarter to half of all colours
/// are left out, 44 of 1,916 sure names are wrong at 30 % of new ones, and 17 of 1,105 at most here
/// (`many_colours_that_nobody_taught` in `tests/colour`).
const MANY_NEW: f64 = 0.15;
/// Where more than this share has, the photo's light is not relied on to be that of the teaching.
const SOME_NEW: f64 = 0.05;
/// A colour that explains a piece better than this (log density) explains it well.
const WELL_EXPLAINED: f64 = -4.5;

/// What the pieces of a group say together counts this much: they share errors that the model
/// takes for independent. On the sample photos, taught in one light or two, no group was sure and
/// wrong from 0.45 down.
const GROUP_TRUST: f64 = 0.4;
/// What one piece says of its colour counts this much, for the same reason: odds are taken to this power.
const OWN_TRUST: f64 = 0.8;
/// A group loses its taught name only where a new colour is likelier by this, log of odds; below it the
/// name is kept and doubted. Leaving out each colour of the sample photos to tune on in turn, 388 of 487
/// pieces of it are called new, and 2 of 487 that were taught under a warm lamp alone.
const NEW_GAIN: f64 = 5.5;
/// Colours nearer to each other than this (even units) are told apart worse: another lamp shifts the two, and gloss on
/// what was taught moves them.
pub const HARD_NEIGHBOUR: f64 = 8.0;
/// Worse explained than this much beyond well tells no more.
const MOST_ILL: f64 = 6.0;
/// From this probability on a piece may well be of another colour.
const MAY_BE: f64 = 0.02;

/// What is known of the colours.
struct Known<'a> {
    taught: &'a Taught,
    /// The way of seeing them that explains the photo best; none where it is not to be relied on.
    way: Option<usize>,
    /// Whether they are all that there are.
    only_taught: bool,
}

impl Known<'_> {
    /// Whether a colour was taught in this very light.
    fn here(&self, colour: usize) -> bool {
        (self.way).is_some_and(|way| self.taught.here(way, colour))
    }
}

/// One piece's colour from its own probabilities and its group's.
fn decide(
    piece: usize,
    instead: &[Instead],
    new: &[f64],
    joint: &Joint<'_>,
    known: &Known<'_>,
) -> Option<Odds> {
    let names = &known.taught.names;
    let all = joint.shares().get(piece)?;
    let share = if known.only_taught {
        // Colours that nobody taught are none: what is left is shared by those that were.
        tempered(all.get(..names.len())?)
    } else {
        tempered(all)
    };
    let seen_as = likeliest(&share[..names.len()], None)?;
    let group = by_group(piece, seen_as, instead, joint);
    let gain = if known.only_taught {
        f64::NEG_INFINITY
    } else {
        new[seen_as]
    };
    let new = (GROUP_TRUST * gain.min(50.0)).exp();
    let right = 1.0 / (1.0 + group.values().sum::<f64>() + new);
    // Of each colour as the piece itself says, and its likeliest as the group says.
    let mut odds: Vec<f64> = share[..names.len()].to_vec();
    odds[seen_as] *= right;
    for (other, by_group) in group {
        if let Some(p) = odds.get_mut(other) {
            *p += share[seen_as] * right * by_group;
        }
    }
    let share_new: f64 = share.iter().skip(names.len()).sum();
    let by_group = if gain > NEW_GAIN { right * new } else { 0.0 };
    let is_new = share_new + share[seen_as] * by_group > 0.5;
    // By all that is known, which may be another than by the piece itself.
    let best = likeliest(&odds, None)?;
    let (against, beside) = against(piece, best, &share, joint, known);
    let mut others: Vec<(String, f64)> = (names.iter().zip(&odds).enumerate())
        .filter(|(k, _)| is_new || *k != best)
        .map(|(_, (name, p))| (name.clone(), *p))
        .collect();
    if let Some(beside) = beside {
        match others.iter_mut().find(|(name, _)| *name == beside) {
            Some((_, p)) => *p = p.max(WORTH_SAYING),
            None => others.push((beside, WORTH_SAYING)),
        }
    }
    others.sort_by(|a, b| b.1.total_cmp(&a.1));
    let name = names.get(best)?;
    Some(Odds {
        best: (!is_new).then(|| (name.clone(), odds[best])),
        others,
        untaught: share_new + share[seen_as] * right * new,
        against,
    })
}

/// The colour with the most, but for one.
fn likeliest(odds: &[f64], but: Option<usize>) -> Option<usize> {
    (0..odds.len())
        .filter(|k| Some(*k) != but)
        .max_by(|a, b| odds[*a].total_cmp(&odds[*b]))
}

/// Odds that the pieces that look as this one are all of another colour than their likeliest, by colour.
fn by_group(
    piece: usize,
    best: usize,
    instead: &[Instead],
    joint: &Joint<'_>,
) -> BTreeMap<usize, f64> {
    let mut group: BTreeMap<usize, f64> = BTreeMap::new();
    for t in instead {
        if t.colour == best && joint.luminance(piece) >= t.least {
            let odds = (GROUP_TRUST * t.gain.min(50.0)).exp();
            let most = group.entry(t.other).or_default();
            *most = most.max(odds);
        }
    }
    group
}

/// What bears on a piece's likeliest colour beside its likeness, and the name of a colour that lies near.
fn against(
    piece: usize,
    best: usize,
    share: &[f64],
    joint: &Joint<'_>,
    known: &Known<'_>,
) -> (Against, Option<String>) {
    let taught = known.taught;
    let names = &taught.names;
    // As it is named, or as what else it may well be.
    let mirrored = (0..names.len())
        .filter(|k| *k == best || share[*k] > MAY_BE)
        .map(|k| 1.0 - joint.own_light(piece, k))
        .fold(0.0, f64::max);
    let mut found = Against {
        mirrored,
        ill_explained: (WELL_EXPLAINED - joint.explained(piece, best)).clamp(0.0, MOST_ILL),
        ..Against::default()
    };
    let mut nearest: (f64, Option<&String>) = (0.0, None);
    for k in (0..names.len()).filter(|k| *k != best) {
        let near = 1.0 - joint.apart(best, k) / HARD_NEIGHBOUR;
        if near <= 0.0 {
            continue;
        }
        let here = known.here(best) && known.here(k);
        let place = match (taught.once(best), taught.once(k)) {
            (false, false) => &mut found.beside,
            _ if here => &mut found.beside,
            (true, true) => &mut found.beside_once,
            _ => &mut found.beside_half,
        };
        *place = place.max(near);
        if near > nearest.0 {
            nearest = (near, names.get(k));
        }
    }
    let hidden = taught.hidden_near(joint.taught_even(best), HARD_NEIGHBOUR);
    found.beside_hidden = hidden.is_some();
    let name = hidden
        .map(str::to_owned)
        .or_else(|| nearest.1.cloned().filter(|_| found.beside < nearest.0));
    (found, name)
}

/// Probabilities to the power of [`OWN_TRUST`], summing to 1 again.
fn tempered(share: &[f64]) -> Vec<f64> {
    let powers: Vec<f64> = share.iter().map(|p| p.max(0.0).powf(OWN_TRUST)).collect();
    let all: f64 = powers.iter().sum::<f64>().max(f64::MIN_POSITIVE);
    powers.iter().map(|p| p / all).collect()
}
