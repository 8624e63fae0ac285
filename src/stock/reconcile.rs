//! Reconcile: two stock files that grew apart on two machines become one.
//!
//! Entries are known by [`EntryId`], so what both have is told from what is new.
//! Theirs that are new here are added after ours, each as its own entry, with its
//! time, author and photos; counts move by the difference that they made there.
//! That is right for pieces that came or went. Where one side said *all there is in a
//! place* and the other changed that place too, nobody can know which holds: such
//! places are conflicts, and a person decides whose word counts.

mod conflict;
mod rebase;

pub use conflict::{Conflict, Row, Why};

use super::check;
use super::history::{Entry, HistoryError, What};
use super::identity::EntryId;
use super::kind::{Kind, Label, Name};
use super::model::{Contents, Note, Stock};
use super::rename::{Renamed, Subject};
use super::scene::Common;
use super::stamp::Stamp;
use super::tally::{Tally, TallyError};
use conflict::Conflicts;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Whose word counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// This stock's.
    Mine,
    /// The other stock's.
    Theirs,
}

/// What a person decided about conflicts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Decisions {
    /// For places that are not named.
    pub others: Option<Side>,
    /// Place by place.
    pub places: BTreeMap<Name, Side>,
}

/// How two stocks became one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum How {
    /// The other stock has nothing that this one has not.
    NothingNew,
    /// This stock had nothing that the other has not, so it is the other now, entry
    /// numbers and all.
    TookOver,
    /// The other's new entries were added.
    Merged,
}

/// What came of it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Reconciled {
    /// How.
    pub how: How,
    /// Entries that are new here.
    pub entries: usize,
    /// Places that were in conflict, and whose word counts there now.
    pub settled: BTreeMap<Name, Side>,
    /// Kinds that both sides changed in one place: both differences count.
    pub both: Vec<Both>,
    /// Photos of both sides that most likely show one tray.
    pub alike: Vec<Pair>,
    /// Names that one side gave up and that are in use again by what the other did.
    pub still_used: Vec<Renamed>,
}

impl Reconciled {
    fn plain(how: How, entries: usize) -> Self {
        Self {
            how,
            entries,
            settled: BTreeMap::new(),
            both: Vec::new(),
            alike: Vec::new(),
            still_used: Vec::new(),
        }
    }

    /// Whether a person should look at the outcome.
    pub fn needs_a_look(&self) -> bool {
        !(self.both.is_empty() && self.alike.is_empty() && self.still_used.is_empty())
    }
}

/// A kind that both sides changed in one place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Both {
    /// Where.
    pub place: Name,
    /// Of what, as text.
    pub kind: String,
    /// How many are there now.
    pub now: Tally,
}

/// A photo of each side that most likely show one tray.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Pair {
    /// This stock's photo.
    pub mine: Label,
    /// The other's.
    pub theirs: Label,
    /// Where the other's pieces went.
    pub place: Name,
    /// What they have in common.
    #[serde(flatten)]
    pub common: Common,
}

/// Takes what is new in `theirs` into `mine`. `from` names the other file in the
/// history where conflicts are settled.
///
/// # Errors
/// When places are in conflict and `decisions` does not say whose word counts, or the
/// other stock contradicts itself. `mine` is then as before.
pub fn reconcile(
    mine: &mut Stock,
    theirs: &Stock,
    decisions: &Decisions,
    from: &Label,
    stamp: &Stamp,
) -> Result<Reconciled, ReconcileError> {
    if !check::differences(theirs).is_empty() {
        return Err(ReconcileError::TheirsDiffers);
    }
    let sides = Sides::of(mine, theirs)?;
    if sides.new_theirs.is_empty() {
        return named_in_vain(decisions, &Conflicts::default())
            .map(|()| Reconciled::plain(How::NothingNew, 0));
    }
    if sides.new_mine.is_empty() {
        named_in_vain(decisions, &Conflicts::default())?;
        let entries = sides.new_theirs.len();
        *mine = theirs.clone();
        return Ok(Reconciled::plain(How::TookOver, entries));
    }
    let mut conflicts = Conflicts::find(mine, theirs, &sides)?;
    let rebased = rebase::rebase(mine, theirs, &sides, &mut conflicts)?;
    named_in_vain(decisions, &conflicts)?;

    let mut merged = rebased.stock;
    let theirs_here = rebase::renumbered(&theirs.contents, &rebased.numbers);
    let mut settled = BTreeMap::new();
    let mut open = Vec::new();
    for (place, why) in conflicts.places() {
        // That the numbers agree does not say that the same pieces went.
        let same =
            !why.contains(&Why::NotEnough) && mine.contents.only(place) == theirs_here.only(place);
        let decided = decisions.places.get(place).copied().or(decisions.others);
        match if same { Some(Side::Mine) } else { decided } {
            Some(side) => {
                settled.insert(place.clone(), side);
            }
            None => open.push(Conflict::of(place, why, &mine.contents, &theirs_here)?),
        }
    }
    if !open.is_empty() {
        return Err(ReconcileError::Conflicts(open));
    }
    let mut outcome = Reconciled::plain(How::Merged, sides.new_theirs.len());
    outcome.both = both_changed(&sides, &conflicts, &merged.contents);
    outcome.alike = alike(&sides);
    if !settled.is_empty() {
        settle(&mut merged, &theirs_here, &settled, from, stamp);
    }
    if !check::differences(&merged).is_empty() {
        return Err(ReconcileError::Astray);
    }
    outcome.still_used = still_used(&sides, &merged.contents);
    outcome.settled = settled;
    *mine = merged;
    Ok(outcome)
}

/// What each side has that the other has not.
struct Sides<'a> {
    new_mine: Vec<&'a Entry>,
    /// With their identities.
    new_theirs: Vec<(&'a Entry, EntryId)>,
    /// For entries that both have: their number there, and here.
    common: BTreeMap<u64, u64>,
}

impl<'a> Sides<'a> {
    fn of(mine: &'a Stock, theirs: &'a Stock) -> Result<Self, ReconcileError> {
        // Two copies of one file are alike from the beginning, so most identities
        // need not be worked out.
        let alike = mine.history.iter().zip(&theirs.history);
        let alike = alike.take_while(|(here, there)| here == there).count();
        let mut common: BTreeMap<u64, u64> = (1..=alike as u64).map(|n| (n, n)).collect();
        let rest = |stock: &'a Stock| stock.history.iter().skip(alike);
        let mut here: BTreeMap<EntryId, &Entry> = BTreeMap::new();
        for entry in rest(mine) {
            here.insert(EntryId::of(entry)?, entry);
        }
        let mut new_theirs = Vec::new();
        for entry in rest(theirs) {
            let id = EntryId::of(entry)?;
            match here.remove(&id) {
                Some(known) => {
                    common.insert(entry.number, known.number);
                }
                None => new_theirs.push((entry, id)),
            }
        }
        let mut new_mine: Vec<&Entry> = here.into_values().collect();
        new_mine.sort_by_key(|entry| entry.number);
        Ok(Self {
            new_mine,
            new_theirs,
            common,
        })
    }
}

/// A decision about a place that needs none is a typing error.
fn named_in_vain(decisions: &Decisions, conflicts: &Conflicts) -> Result<(), ReconcileError> {
    let named = decisions.places.keys();
    match named.into_iter().find(|place| !conflicts.has(place)) {
        Some(place) => Err(ReconcileError::NoConflict(place.clone())),
        None => Ok(()),
    }
}

fn settle(
    merged: &mut Stock,
    theirs: &Contents,
    settled: &BTreeMap<Name, Side>,
    from: &Label,
    stamp: &Stamp,
) {
    let mut contents = merged.contents.clone();
    for (place, side) in settled {
        if *side == Side::Theirs {
            contents.clear(place);
            let there = theirs.only(place);
            contents.places.extend(there.places);
            contents.pending.extend(there.pending);
        }
    }
    let note = Note {
        from: Some(from.clone()),
        recounts: settled.keys().cloned().collect(),
        ..Note::default()
    };
    merged.record(stamp, What::Settle, contents, note);
}

fn counted<'a>(entries: impl Iterator<Item = &'a Entry>) -> BTreeSet<(&'a Name, Kind)> {
    entries
        .flat_map(|entry| &entry.changes)
        .filter_map(|change| match change {
            super::Change::Count(step) => Some((&step.place, step.kind())),
            _ => None,
        })
        .collect()
}

fn both_changed(sides: &Sides, conflicts: &Conflicts, now: &Contents) -> Vec<Both> {
    let theirs = counted(sides.new_theirs.iter().map(|(entry, _)| *entry));
    let mine = counted(sides.new_mine.iter().copied());
    mine.intersection(&theirs)
        .filter(|(place, _)| !conflicts.has(place))
        .map(|(place, kind)| Both {
            place: (*place).clone(),
            kind: kind.to_string(),
            now: now.get(place, kind),
        })
        .collect()
}

fn alike(sides: &Sides) -> Vec<Pair> {
    let mut pairs = Vec::new();
    for theirs in sides.new_theirs.iter().flat_map(|(entry, _)| &entry.sheets) {
        for mine in sides.new_mine.iter().flat_map(|entry| &entry.sheets) {
            if let (Some(there), Some(here)) = (&theirs.scene, &mine.scene)
                && theirs.hash != mine.hash
                && let Some(common) = there.common(here)
            {
                pairs.push(Pair {
                    mine: mine.file.clone(),
                    theirs: theirs.file.clone(),
                    place: theirs.place.clone(),
                    common,
                });
            }
        }
    }
    pairs
}

fn still_used(sides: &Sides, now: &Contents) -> Vec<Renamed> {
    let theirs = sides.new_theirs.iter().map(|(entry, _)| *entry);
    let all = theirs.chain(sides.new_mine.iter().copied());
    let mut found: Vec<Renamed> = Vec::new();
    for renamed in all.filter_map(|entry| entry.renamed.as_ref()) {
        let used = match renamed.what {
            Subject::Place => now.holds_anything(&renamed.from),
            Subject::Colour => super::rename::in_use(now, Subject::Colour, &renamed.from),
        };
        if used && !found.contains(renamed) {
            found.push(renamed.clone());
        }
    }
    found
}

/// Why nothing was merged.
#[derive(Debug, thiserror::Error)]
pub enum ReconcileError {
    /// Both sides changed what one of them counted anew.
    #[error("nothing was merged: {} your word, as both stocks changed what is there; say --mine PLACE or --theirs PLACE for each, or --keep mine or --keep theirs for all", places(.0.len()))]
    Conflicts(Vec<Conflict>),
    /// Something was decided that is not open.
    #[error("nothing was merged: {0} is not in conflict; leave it out of --mine and --theirs")]
    NoConflict(Name),
    /// Hand-edited.
    #[error(
        "nothing was merged: the contents of the other stock do not follow from its history; put that right first, with `cuptally stock check` where it is from"
    )]
    TheirsDiffers,
    /// What would come out contradicts itself.
    #[error(
        "nothing was merged: the two histories do not fit together; go on with one of the files, and export and import what the other has"
    )]
    Astray,
    /// The history contradicts itself.
    #[error("nothing was merged: {0}")]
    History(#[from] HistoryError),
    /// Numbers grow too large.
    #[error("nothing was merged: {0}")]
    Tally(#[from] TallyError),
    /// An entry could not be made text.
    #[error("nothing was merged: {0}")]
    Text(#[from] serde_json::Error),
}

fn places(count: usize) -> String {
    match count {
        1 => "1 place needs".to_owned(),
        many => format!("{many} places need"),
    }
}
