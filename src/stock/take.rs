//! Take and put: pieces that leave for a build, and pieces that come by count.
//!
//! Both move counts by a whole number without doubt, so a range keeps its width:
//! 8 taken from 41 (40-42) leave 33 (32-34).

use super::history::What;
use super::kind::{Kind, Label, Name};
use super::model::{Contents, Note, Recorded, Stock};
use super::near::{self, PlaceError};
use super::portion::{Portion, Wanted};
use super::stamp::Stamp;
use super::tally::{Tally, TallyError};
use std::collections::BTreeMap;

/// Takes pieces out of their places, as one history entry. A portion that names the
/// same kind and place as another adds to it. `remark` is what they are for.
///
/// Only checked pieces can be taken, and no more than a place's best number: what
/// nobody has looked at yet is not taken on trust.
///
/// # Errors
/// When a place does not hold that many, or nothing is asked for. The stock is then
/// as before; everything that is missing is told at once.
pub fn take(
    stock: &mut Stock,
    portions: &[Portion],
    remark: Option<Label>,
    stamp: &Stamp,
) -> Result<Recorded, TakeError> {
    let mut contents = stock.contents.clone();
    let mut missing = Vec::new();
    for ((place, kind), count) in together(portions)? {
        let there = contents.get(place, kind);
        match there.less(count) {
            Some(left) => contents.set(place, kind.clone(), left),
            None => missing.push(Missing {
                place: Some(place.clone()),
                wanted: Wanted {
                    kind: kind.clone(),
                    count,
                },
                there,
                pending: pending(&contents, Some(place), kind)?,
                meant: near::meant(&contents, kind),
            }),
        }
    }
    if !missing.is_empty() {
        return Err(TakeError::Missing(missing));
    }
    Ok(stock.record(stamp, What::Take, contents, remarked(remark)))
}

/// Puts pieces into places, as one history entry: bought, or found, by count.
///
/// # Errors
/// When nothing is asked for or there would be too many. The stock is then as before.
pub fn put(
    stock: &mut Stock,
    portions: &[Portion],
    remark: Option<Label>,
    stamp: &Stamp,
) -> Result<Recorded, TakeError> {
    let mut contents = stock.contents.clone();
    for ((place, kind), count) in together(portions)? {
        let more = contents.get(place, kind).plus(Tally::exact(count)?)?;
        contents.set(place, kind.clone(), more);
    }
    Ok(stock.record(stamp, What::Put, contents, remarked(remark)))
}

fn remarked(remark: Option<Label>) -> Note {
    Note {
        remark,
        ..Note::default()
    }
}

/// One number for each kind in each place.
fn together(portions: &[Portion]) -> Result<BTreeMap<(&Name, &Kind), u64>, TakeError> {
    let mut counts: BTreeMap<(&Name, &Kind), u64> = BTreeMap::new();
    for portion in portions.iter().filter(|portion| portion.count > 0) {
        let count = counts.entry((&portion.place, &portion.kind)).or_default();
        // Checked before it is added, so nothing wraps.
        Tally::exact(portion.count)?;
        *count = Tally::exact(*count + portion.count)?.count();
    }
    if counts.is_empty() {
        return Err(TakeError::Nothing);
    }
    Ok(counts)
}

fn pending(contents: &Contents, place: Option<&Name>, kind: &Kind) -> Result<Tally, TallyError> {
    let sheets = contents.pending.iter();
    Tally::sum(
        sheets
            .filter(|sheet| place.is_none_or(|place| *place == sheet.place))
            .map(|sheet| sheet.lots.get(kind)),
    )
}

/// Where to take pieces from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// Wherever they are, if that is one place; else somebody has to say.
    OnlyPlace,
    /// These places, emptying the first before the next.
    Places(Vec<Name>),
    /// All places, in the order of their names (`cup 2` before `cup 10`).
    Anywhere,
}

/// Finds the places for a list of pieces, to be handed to [`take`].
///
/// # Errors
/// When there are not that many, or nobody said which place. All are told at once.
pub fn find(
    contents: &Contents,
    wanted: &[Wanted],
    source: &Source,
) -> Result<Vec<Portion>, TakeError> {
    let named = match source {
        Source::Places(places) => places
            .iter()
            .map(|said| near::place(contents, said))
            .collect::<Result<_, _>>()?,
        _ => Vec::new(),
    };
    let places: Vec<&Name> = match source {
        Source::Places(_) => named.iter().collect(),
        _ => {
            let mut all: Vec<&Name> = contents.places.keys().collect();
            all.sort_by_cached_key(|place| super::natural::natural_order(place.as_str()));
            all
        }
    };
    let mut left = contents.clone();
    let (mut portions, mut missing, mut unclear) = (Vec::new(), Vec::new(), Vec::new());
    for want in wanted {
        let holds = |place: &&&Name| left.get(place, &want.kind).count() > 0;
        let holding: Vec<&Name> = places.iter().filter(holds).copied().collect();
        if *source == Source::OnlyPlace && holding.len() > 1 {
            unclear.push(Unclear {
                wanted: want.clone(),
                places: holding
                    .iter()
                    .map(|&place| (place.clone(), left.get(place, &want.kind)))
                    .collect(),
            });
            continue;
        }
        let mut still = want.count;
        for place in holding {
            let there = left.get(place, &want.kind);
            let count = still.min(there.count());
            let Some(rest) = there.less(count).filter(|_| count > 0) else {
                continue;
            };
            left.set(place, want.kind.clone(), rest);
            still -= count;
            portions.push(Portion {
                place: place.clone(),
                kind: want.kind.clone(),
                count,
            });
        }
        if still > 0 {
            let tallies = places.iter().map(|place| contents.get(place, &want.kind));
            let one = match places.as_slice() {
                [one] if *source != Source::OnlyPlace => Some(*one),
                _ => None,
            };
            missing.push(Missing {
                place: one.cloned(),
                wanted: want.clone(),
                there: Tally::sum(tallies)?,
                pending: pending(contents, one, &want.kind)?,
                meant: near::meant(contents, &want.kind),
            });
        }
    }
    if !missing.is_empty() {
        return Err(TakeError::Missing(missing));
    }
    if !unclear.is_empty() {
        return Err(TakeError::Unclear(unclear));
    }
    Ok(portions)
}

/// Pieces of one kind that are not there.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{wanted} wanted, but {} {}{}", .place.as_ref().map_or_else(|| "there".to_owned(), |place| format!("{place} holds")), held(.place.is_none(), .there), also(.pending, .meant.as_ref()))]
pub struct Missing {
    /// Where, if one place was meant.
    pub place: Option<Name>,
    /// What was asked for.
    pub wanted: Wanted,
    /// Checked pieces there.
    pub there: Tally,
    /// Pending pieces there.
    pub pending: Tally,
    /// A form or colour that may have been meant.
    pub meant: Option<Name>,
}

fn held(anywhere: bool, there: &Tally) -> String {
    let number = if there.is_zero() {
        "none".to_owned()
    } else {
        there.to_string()
    };
    match (anywhere, there.is_zero() || there.high() != 1) {
        (false, _) => number,
        (true, true) => format!("are {number}"),
        (true, false) => format!("is {number}"),
    }
}

fn also(pending: &Tally, meant: Option<&Name>) -> String {
    if let Some(meant) = meant {
        return format!("; did you mean '{meant}'?");
    }
    if pending.is_zero() {
        String::new()
    } else {
        let pending = pending.unmarked();
        format!(
            " and {pending} pending: look at them with `cuptally review`, or take them as counted with `cuptally stock confirm`"
        )
    }
}

/// Pieces of one kind that lie in several places.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{wanted}: {}", .places.iter().map(|(place, tally)| format!("{tally} in {place}")).collect::<Vec<_>>().join(", "))]
pub struct Unclear {
    /// What was asked for.
    pub wanted: Wanted,
    /// Where such pieces lie.
    pub places: Vec<(Name, Tally)>,
}

/// Why nothing was taken or put.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TakeError {
    /// No pieces were named.
    #[error(
        "no pieces were named, so nothing was changed; name some, such as \"8 plate 2x4 rose\""
    )]
    Nothing,
    /// Not that many are there.
    #[error("nothing was taken:{}", lines(.0))]
    Missing(Vec<Missing>),
    /// Nobody said which place.
    #[error("nothing was taken, as these lie in more than one place; name it with --from PLACE, or say --anywhere:{}", lines(.0))]
    Unclear(Vec<Unclear>),
    /// It is not known which place is meant.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// Numbers grow too large.
    #[error("nothing was changed: {0}")]
    Tally(#[from] TallyError),
}

impl TakeError {
    /// Whether the command was called wrongly, rather than the work failed.
    pub fn is_wrong_use(&self) -> bool {
        matches!(self, Self::Nothing | Self::Unclear(_))
    }
}

/// One stands on the line, more below each other.
pub(super) fn lines<T: ToString>(items: &[T]) -> String {
    match items {
        [one] => format!(" {}", one.to_string()),
        all => {
            let lines = all.iter().map(|one| format!("\n  {}", one.to_string()));
            lines.collect()
        }
    }
}
