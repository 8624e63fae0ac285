//! Which colour each piece of a photo is.

use std::collections::BTreeMap;

use super::explain::Look;
use super::joint::{Instead, Joint};
use super::level::level;
use super::taught::Taught;
use crate::colour::names::name_of;
use crate::colour::{CardLook, SwatchBook, cluster};
use crate::pieces::paint::Paint;

/// A piece's colour by name.
#[derive(Clone, Debug, PartialEq)]
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
    /// How well the likeliest explains the piece, log density.
    explained: f64,
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
                ..
            }) => Named {
                name,
                probability,
                others: worth_saying(others, 1.0),
                untaught,
                new: false,
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
        let unlike = doubt_all(&mut decided, joint.chromatic_times(), only_taught);
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
/// Where more than this share of a photo's pieces have colours that nobody taught, so may any other.
const MANY_NEW: f64 = 0.15;
/// Where more than this share has, so may those that their colour explains worse than this (log density).
const SOME_NEW: f64 = 0.05;
const WELL_EXPLAINED: f64 = -4.5;

/// In a photo that is unlike what was taught no taught colour is sure, and where some are new none that explains its
/// piece badly. With every second to fourth colour of `sample-photos/tune` left out of the teaching, or another palette
/// taught, 20 of 1,111 sure pieces are wrong; without this it was 416 of 3,754. Gives whether the photo is so unlike.
///
/// Where the taught colours are all there are, a piece that its colour explains badly is doubted in any photo: what
/// else would it be taken for?
fn doubt_all(odds: &mut [Option<Odds>], times: f64, only_taught: bool) -> bool {
    let new = new_among(odds);
    let unlike = times > UNLIKE || new > MANY_NEW;
    for odds in odds.iter_mut().flatten() {
        let open = unlike || (only_taught || new > SOME_NEW) && odds.explained < WELL_EXPLAINED;
        if let Some((_, probability)) = &mut odds.best
            && open
            && *probability > INFERRED_MOST
        {
            let taken = *probability - INFERRED_MOST;
            *probability = INFERRED_MOST;
            if !only_taught {
                odds.untaught += taken;
            } else if let Some((_, next)) = odds.others.first_mut() {
                *next += taken;
            }
        }
    }
    unlike
}

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
/// Two colours nearer to each other than this (even units) are never sure where each was taught in one light
/// only: how another lamp shifts the two, and how much gloss lay on each taught piece, is not known. Teaching
/// them in a second light lifts this, and so does a photo in the very light of their teaching, by the card: of 500 such
/// pieces, hard neighbours among them, 341 are sure then and none of these wrong, where it was 96. But not where some
/// colours are new: others may then be so too.
const HARD_NEIGHBOUR: f64 = 8.0;
/// The same where one of the two was taught in a second light, which tells what lamps do hereabouts. Over
/// `sample-photos/tune`, with half of the colours taught in a second light by turns, 11 of 1,324 sure pieces
/// below this were wrong, and 2 of 2,084 from here to [`HARD_NEIGHBOUR`].
const HALF_KNOWN: f64 = 3.5;
/// One that has a neighbour nearer than [`HARD_NEIGHBOUR`] at all is sure from here on only, as what shifts the two is
/// shared by all their pieces in a photo. Over `sample-photos/tune` and all photos with hard neighbours, taught in each
/// two of five lights or in all, 9 of 4,721 sure pieces are wrong; without this, with the next at 0.35 and with
/// swatches of lamps' images counting, 33 of 5,662 were.
const SURE_BESIDE: f64 = 0.92;
/// Where less than this share of a piece's light is its body's own and the rest mirrored, the
/// name is inferred from small differences of large numbers.
const OWN_LEAST: f64 = 0.45;
/// From this probability on a piece may well be of another colour.
const MAY_BE: f64 = 0.02;
/// Such a name is right more often than not, and never sure.
const INFERRED_MOST: f64 = 0.85;

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
    let hidden = limit(&mut odds, piece, best, &share, joint, known);
    let mut others: Vec<(String, f64)> = (names.iter().zip(&odds).enumerate())
        .filter(|(k, _)| is_new || *k != best)
        .map(|(_, (name, p))| (name.clone(), *p))
        .collect();
    others.extend(hidden);
    others.sort_by(|a, b| b.1.total_cmp(&a.1));
    let name = names.get(best)?;
    Some(Odds {
        best: (!is_new).then(|| (name.clone(), odds[best])),
        others,
        untaught: share_new + share[seen_as] * right * new,
        explained: joint.explained(piece, best),
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

/// Takes from a piece's likeliest colour what is more than it may have: where little of its light is its own, or where
/// another colour lies near. What a limit takes is for the neighbour that gave cause for it, or for the next
/// likeliest; where that is one that only a lamp's image was seen of, its name and share are given.
fn limit(
    odds: &mut [f64],
    piece: usize,
    best: usize,
    share: &[f64],
    joint: &Joint<'_>,
    known: &Known<'_>,
) -> Option<(String, f64)> {
    let mut probability = odds[best];
    // As it is named, or as what else it may well be.
    let mirrored = (0..odds.len())
        .any(|k| (k == best || share[k] > MAY_BE) && joint.own_light(piece, k) < OWN_LEAST);
    if mirrored {
        probability = probability.min(INFERRED_MOST);
    }
    let neighbour = neighbour(best, probability, joint, known);
    let hidden = known
        .taught
        .hidden_near(joint.taught_even(best), HARD_NEIGHBOUR);
    if neighbour.is_some() || hidden.is_some() {
        probability = probability.min(INFERRED_MOST);
    }
    let taken = odds[best] - probability;
    odds[best] = probability;
    let next = likeliest(odds, Some(best)).filter(|_| hidden.is_none());
    if let Some(p) = neighbour.or(next).and_then(|k| odds.get_mut(k)) {
        *p += taken;
    }
    let hidden = hidden.filter(|_| neighbour.is_none())?;
    Some((hidden.to_owned(), taken.max(WORTH_SAYING)))
}

/// The taught colour that lies nearest to one, where it is too near for the one to be sure with this probability.
fn neighbour(best: usize, probability: f64, joint: &Joint<'_>, known: &Known<'_>) -> Option<usize> {
    let taught = known.taught;
    (0..taught.names.len())
        .filter(|k| *k != best)
        .filter_map(|k| {
            let here = known.here(best) && known.here(k);
            let near = match (taught.once(best), taught.once(k)) {
                _ if probability < SURE_BESIDE => HARD_NEIGHBOUR,
                (false, false) => return None,
                _ if here => return None,
                (true, true) => HARD_NEIGHBOUR,
                (true, false) | (false, true) => HALF_KNOWN,
            };
            Some((joint.apart(best, k), k)).filter(|(apart, _)| *apart < near)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}

/// Probabilities to the power of [`OWN_TRUST`], summing to 1 again.
fn tempered(share: &[f64]) -> Vec<f64> {
    let powers: Vec<f64> = share.iter().map(|p| p.max(0.0).powf(OWN_TRUST)).collect();
    let all: f64 = powers.iter().sum::<f64>().max(f64::MIN_POSITIVE);
    powers.iter().map(|p| p / all).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// One that is almost certainly fog, or almost certainly none of those taught.
    fn odds(new: bool) -> Option<Odds> {
        Some(Odds {
            best: (!new).then(|| ("fog".to_owned(), 0.97)),
            others: Vec::new(),
            untaught: if new { 0.97 } else { 0.03 },
            explained: 0.0,
        })
    }

    /// Ten pieces of which so many are new, in a photo with such shifts: whether it is unlike the teaching, and what is
    /// left to the others, which must be alike.
    fn doubted(new: usize, times: f64) -> (bool, f64) {
        let mut all: Vec<_> = (0..10).map(|k| odds(k < new)).collect();
        // A piece that cannot be asked counts for nothing.
        all.push(None);
        let unlike = doubt_all(&mut all, times, false);
        let left: Vec<f64> = (all.iter().flatten())
            .filter_map(|odds| odds.best.as_ref())
            .map(|(_, probability)| *probability)
            .collect();
        assert!(left.iter().all(|p| *p == left[0]), "{left:?}");
        (unlike, left[0])
    }

    #[test]
    fn a_photo_unlike_the_teaching_says_so_and_is_sure_of_no_colour() {
        assert_eq!(doubted(0, 0.5), (false, 0.97));
        assert_eq!(doubted(1, 0.9), (false, 0.97));
        assert_eq!(doubted(0, 1.0), (true, INFERRED_MOST));
        assert_eq!(doubted(2, 0.5), (true, INFERRED_MOST));
    }

    #[test]
    fn what_is_taken_goes_to_colours_that_nobody_taught() {
        let mut all = vec![odds(false)];
        doubt_all(&mut all, 1.0, false);
        let untaught = all[0].as_ref().unwrap().untaught;
        assert!(
            (untaught - (0.03 + 0.97 - INFERRED_MOST)).abs() < 1e-12,
            "{untaught}"
        );
    }
}
