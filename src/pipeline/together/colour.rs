//! What several photos tell of one piece's colour: the photo that shows it best names it.

use crate::count::doubt::{self, colour_probability};
use crate::count::features::ColourTogether;
use crate::count::{Named, spoils};
use crate::pipeline::Shown;
use crate::pipeline::piece::Told;
use crate::sheet::file::Spoilt;

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
pub(super) fn clearest(shown: &[&Shown<'_>], by: &[(usize, usize)]) -> Option<(usize, usize)> {
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
pub(super) fn colour_together<'a>(
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
pub(super) fn joined_name<'a>(
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
pub(super) fn told_by_all<'a, 'b>(
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
