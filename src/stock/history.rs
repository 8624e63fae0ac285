//! The history: every change, who made it, when, and whether it still stands.

use super::change::Change;
use super::identity::EntryId;
use super::kind::{Label, Name, PhotoHash};
use super::rename::Renamed;
use super::scene::Scene;
use super::tally::{Tally, TallyError};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// One change of the stock.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// Running number, from 1.
    pub number: u64,
    /// When, UTC.
    pub time: Timestamp,
    /// Who, as the system calls them; `-` when unknown.
    pub who: Label,
    /// What was done.
    pub what: What,
    /// The entry that this one undoes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub undoes: Option<u64>,
    /// The table that was imported.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Label>,
    /// What the user said about it, such as what pieces were taken for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remark: Option<Label>,
    /// What got another name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub renamed: Option<Renamed>,
    /// The entry's identity in the stock that it was merged from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub origin: Option<EntryId>,
    /// Places whose steps were left out when the entry was merged, because both
    /// stocks had changed there; the entry after all merged ones settles them.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub left_out: BTreeSet<Name>,
    /// Places of which this entry says all there is, whatever lay there before.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub recounts: BTreeSet<Name>,
    /// Photos that were posted.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sheets: Vec<SheetRef>,
    /// The steps, exact enough to go back and forth.
    pub changes: Vec<Change>,
}

/// What an entry did. Its changes say all that matters for the contents, so a
/// word that this program does not know yet is kept and shown as it is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum What {
    /// Sheets were added to what was there.
    Add,
    /// Sheets replaced what was there.
    Recount,
    /// Sheets that a person had looked at took the place of pending ones.
    Check,
    /// Pending sheets were taken as they were counted.
    Confirm,
    /// An earlier entry was undone.
    Undo,
    /// A table was read.
    Import,
    /// Pieces were taken out, for a build.
    Take,
    /// Pieces were put in by count.
    Put,
    /// Pieces changed their place.
    Move,
    /// A place or a colour got another name.
    Rename,
    /// Where two stocks disagreed, a person decided.
    Settle,
    /// Numbers that were changed outside the program were taken over.
    Adopt,
    /// Something a later version of this program did.
    #[serde(untagged)]
    Other(Label),
}

/// A photo that an entry posted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SheetRef {
    /// The photo's pixel hash.
    pub hash: PhotoHash,
    /// The photo's file name.
    pub file: Label,
    /// Where its pieces went.
    pub place: Name,
    /// Whether a person had looked.
    pub checked: bool,
    /// Where its pieces lay, to know the tray again in another photo.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scene: Option<Scene>,
}

/// What an entry did to one place, all kinds that it changed together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Turnover {
    /// Checked pieces of the kinds that changed, before.
    pub was: Tally,
    /// The same kinds after.
    pub now: Tally,
    /// Pieces that began to be pending.
    pub pended: Tally,
    /// Pieces that stopped being pending.
    pub unpended: Tally,
}

impl Entry {
    /// Every place that this entry touched.
    pub fn places(&self) -> BTreeSet<&Name> {
        let changed = self.changes.iter().map(Change::place);
        let posted = self.sheets.iter().map(|sheet| &sheet.place);
        changed
            .chain(posted)
            .chain(&self.recounts)
            .chain(&self.left_out)
            .collect()
    }

    /// What it did to each place.
    ///
    /// # Errors
    /// When there are too many pieces to add up.
    pub fn turnover(&self) -> Result<BTreeMap<&Name, Turnover>, TallyError> {
        let mut places: BTreeMap<&Name, Turnover> = self
            .places()
            .into_iter()
            .map(|place| (place, Turnover::default()))
            .collect();
        for change in &self.changes {
            let turnover = places.entry(change.place()).or_default();
            match change {
                Change::Count(step) => {
                    turnover.was = turnover.was.plus(step.was)?;
                    turnover.now = turnover.now.plus(step.now)?;
                }
                Change::Pend(sheet) => {
                    turnover.pended = turnover.pended.plus(sheet.lots.total()?)?;
                }
                Change::Unpend(sheet) => {
                    turnover.unpended = turnover.unpended.plus(sheet.lots.total()?)?;
                }
            }
        }
        Ok(places)
    }
}

/// Which entries stand.
///
/// An entry and the undos that go back to it form a chain: the entry (it stands),
/// the undo (it does not), the undo of the undo (it stands again) and so on. Only
/// a chain's end can be undone, so a chain never forks and nothing is undone twice.
#[derive(Clone, Debug)]
pub struct Ledger {
    /// For each entry the chain's first entry. Numbers, from 1; index 0 is entry 1.
    root: Vec<u64>,
    /// For each chain of more than its first entry, that entry and all of them.
    chains: BTreeMap<u64, Vec<u64>>,
}

impl Ledger {
    /// Reads the chains.
    ///
    /// # Errors
    /// When numbers are not 1, 2, 3 ... or an undo goes to what it cannot undo.
    pub fn of(history: &[Entry]) -> Result<Self, HistoryError> {
        let mut ledger = Self {
            root: Vec::with_capacity(history.len()),
            chains: BTreeMap::new(),
        };
        for (entry, number) in history.iter().zip(1u64..) {
            if entry.number != number {
                return Err(HistoryError::Number {
                    found: entry.number,
                    expected: number,
                });
            }
            if (entry.what == What::Undo) != entry.undoes.is_some() {
                return Err(HistoryError::UndoWithout(number));
            }
            let Some(undone) = entry.undoes else {
                ledger.root.push(number);
                continue;
            };
            let root = ledger.root(undone);
            let Some(root) = root.filter(|_| ledger.end(undone) == Some(undone)) else {
                return Err(HistoryError::Undo { number, undone });
            };
            let chain = ledger.chains.entry(root).or_insert_with(|| vec![root]);
            chain.push(number);
            ledger.root.push(root);
        }
        Ok(ledger)
    }

    /// The first entry of the chain that `number` belongs to.
    pub fn root(&self, number: u64) -> Option<u64> {
        self.place(number).map(|index| self.root[index])
    }

    /// The last entry of the chain that `number` belongs to.
    pub fn end(&self, number: u64) -> Option<u64> {
        self.chain(number).last().copied()
    }

    /// The entry that undid `number`, if any.
    pub fn undone_by(&self, number: u64) -> Option<u64> {
        let chain = self.chain(number);
        let at = chain.iter().position(|&n| n == number)?;
        chain.get(at + 1).copied()
    }

    /// Whether the stock is as `number` made it: an undo is in force while what it
    /// undid does not stand.
    pub fn in_force(&self, number: u64) -> bool {
        let chain = self.chain(number);
        let at = chain.iter().position(|&n| n == number);
        at.is_some_and(|at| (chain.len() - 1 - at).is_multiple_of(2))
    }

    /// Whether what the chain of `number` began with still has its effect.
    pub fn stands(&self, number: u64) -> bool {
        self.chain(number).len() % 2 == 1
    }

    /// The chain's end that was made last among the chains that stand: what a
    /// person means by 'undo' without more.
    pub fn latest(&self) -> Option<u64> {
        let last = self.root.len() as u64;
        (1..=last)
            .rev()
            .find(|&number| self.end(number) == Some(number) && self.stands(number))
    }

    /// The chain of an entry; none where there is no such entry.
    fn chain(&self, number: u64) -> &[u64] {
        let Some(root) = self.place(number) else {
            return &[];
        };
        match self.chains.get(&self.root[root]) {
            Some(chain) => chain,
            None => &self.root[root..=root],
        }
    }

    fn place(&self, number: u64) -> Option<usize> {
        let index = usize::try_from(number.checked_sub(1)?).ok()?;
        (index < self.root.len()).then_some(index)
    }
}

/// A history that contradicts itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum HistoryError {
    /// Not 1, 2, 3 ...
    #[error("its history has entry {found} where entry {expected} belongs")]
    Number {
        /// The number there.
        found: u64,
        /// The number that belongs there.
        expected: u64,
    },
    /// `undo` and `undoes` go together.
    #[error("history entry {0} is an undo that names no entry, or names one and is no undo")]
    UndoWithout(u64),
    /// Undoes what is not there or already undone.
    #[error("history entry {number} undoes entry {undone}, which it cannot")]
    Undo {
        /// The undo.
        number: u64,
        /// What it goes to.
        undone: u64,
    },
}
