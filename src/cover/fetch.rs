//! The fetch list: from which places the pieces for the finished modules come.

use super::answer::{Purpose, Use};
use super::network::LineRef;
use super::supply::Reading;
use crate::stock::Contents;
use crate::stock::kind::{Kind, Name, Size};
use crate::stock::tally::{Tally, TallyError};
use crate::stock::view::{By, view};
use std::collections::{BTreeMap, BTreeSet};

/// Pieces of one kind to be taken from one place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fetch {
    /// Where.
    pub place: Name,
    /// Which.
    pub kind: Kind,
    /// How many.
    pub take: u64,
    /// How many of those are certain to be there: lowest counts of what a person has
    /// looked at.
    pub certain: u64,
    /// How many of those come from pending sheets.
    pub pending: u64,
    /// What for: line, size that is joined from them, pieces.
    pub purposes: Vec<(LineRef, Option<Size>, u64)>,
}

/// One kind in one place.
struct Spot {
    place: usize,
    checked: Tally,
    pending: Tally,
    /// What is still to be taken from it.
    checked_left: u64,
    pending_left: u64,
}

/// Chooses places, those first that hold most of the kinds that are needed (few
/// stops, though not provably the fewest), checked pieces before pending ones. The
/// list is in the order of the places' names.
///
/// # Errors
/// When there are too many pieces to add up.
pub fn fetch_list(
    contents: &Contents,
    uses: &[Use],
    reading: Reading,
) -> Result<Vec<Fetch>, TallyError> {
    let needed: BTreeSet<&Kind> = now(uses).map(|(used, ..)| &used.kind).collect();
    let by_place = view(contents, By::Place, "")?;
    let mut places: Vec<Name> = Vec::new();
    let mut spots: BTreeMap<Kind, Vec<Spot>> = BTreeMap::new();
    let mut helpful: Vec<usize> = Vec::new();
    for group in by_place.groups {
        let mut kinds = 0;
        let mut name = None;
        for row in group.rows {
            name = row.places.first().map(|held| held.place.clone()).or(name);
            let kind = Kind {
                form: row.form,
                size: row.size,
                colour: row.colour,
            };
            if !needed.contains(&kind) {
                continue;
            }
            kinds += 1;
            let (checked, pending) = (row.numbers.checked, row.numbers.pending);
            let (checked_left, pending_left) = match reading {
                Reading::Certain => (checked.certain(), 0),
                Reading::Likely => (checked.count(), pending.count()),
            };
            spots.entry(kind).or_default().push(Spot {
                place: places.len(),
                checked,
                pending,
                checked_left,
                pending_left,
            });
        }
        if let Some(name) = name {
            places.push(name);
            helpful.push(kinds);
        }
    }
    for spots in spots.values_mut() {
        let help = |spot: &Spot| helpful.get(spot.place).copied().unwrap_or(0);
        spots.sort_by_key(|spot| (std::cmp::Reverse(help(spot)), spot.place));
    }
    let mut list: BTreeMap<(usize, Kind), Fetch> = BTreeMap::new();
    for (used, line, joined) in now(uses) {
        let mut open = used.pieces;
        for from_pending in [false, true] {
            for spot in spots.get_mut(&used.kind).into_iter().flatten() {
                let left = if from_pending {
                    &mut spot.pending_left
                } else {
                    &mut spot.checked_left
                };
                let take = open.min(*left);
                let Some(place) = places.get(spot.place).filter(|_| take > 0) else {
                    continue;
                };
                *left -= take;
                open -= take;
                let fetch = list
                    .entry((spot.place, used.kind.clone()))
                    .or_insert_with(|| Fetch {
                        place: place.clone(),
                        kind: used.kind.clone(),
                        take: 0,
                        certain: 0,
                        pending: 0,
                        purposes: Vec::new(),
                    });
                fetch.take += take;
                if from_pending {
                    fetch.pending += take;
                    debug_assert!(fetch.pending <= spot.pending.count());
                }
                fetch.certain = (fetch.take - fetch.pending).min(spot.checked.certain());
                match fetch.purposes.last_mut() {
                    Some((other, other_joined, pieces))
                        if *other == line && *other_joined == joined =>
                    {
                        *pieces += take;
                    }
                    _ => fetch.purposes.push((line, joined, take)),
                }
            }
        }
    }
    Ok(list.into_values().collect())
}

fn now(uses: &[Use]) -> impl Iterator<Item = (&Use, LineRef, Option<Size>)> {
    uses.iter().filter_map(|used| match used.purpose {
        Purpose::Now(line, joined) => Some((used, line, joined)),
        Purpose::Later(_) | Purpose::Kept(_) => None,
    })
}
