//! What a stock is: places with their pieces, pending sheets, and the history.

use super::history::{Entry, HistoryError, Ledger, SheetRef, What};
use super::identity::EntryId;
use super::kind::{Kind, Label, Name, PhotoHash};
use super::lots::Lots;
use super::rename::Renamed;
use super::stamp::Stamp;
use super::tally::{Tally, TallyError};
use super::{Change, change};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Pieces of one sheet that no person has looked at yet. They lie in their place
/// all the same, so totals may count them in.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PendingSheet {
    /// The history entry that brought it.
    pub entry: u64,
    /// Where the pieces lie.
    pub place: Name,
    /// The photo's file name (or the table's, when imported).
    pub file: Label,
    /// The photo's pixel hash; none when it came from a table.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hash: Option<PhotoHash>,
    /// Its pieces.
    pub lots: Lots,
}

/// What is in stock at one moment.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Contents {
    /// Checked pieces by place; no place without pieces.
    pub places: BTreeMap<Name, Lots>,
    /// Sheets that wait for a person, by history entry.
    pub pending: BTreeSet<PendingSheet>,
}

impl Contents {
    /// Checked pieces of one kind in one place.
    pub fn get(&self, place: &Name, kind: &Kind) -> Tally {
        self.places
            .get(place)
            .map_or(Tally::ZERO, |lots| lots.get(kind))
    }

    /// Puts the number of checked pieces of one kind in one place.
    pub fn set(&mut self, place: &Name, kind: Kind, tally: Tally) {
        let lots = self.places.entry(place.clone()).or_default();
        lots.set(kind, tally);
        if lots.is_empty() {
            self.places.remove(place);
        }
    }

    /// Adds checked pieces to a place.
    ///
    /// # Errors
    /// When there would be too many of one kind.
    pub fn add(&mut self, place: &Name, lots: &Lots) -> Result<(), TallyError> {
        for (kind, tally) in lots.iter() {
            self.set(place, kind.clone(), self.get(place, kind).plus(tally)?);
        }
        Ok(())
    }

    /// Makes a sheet pending. Two of one entry, place and photo (or table) are one
    /// sheet: so nothing is lost when places or colours become one.
    ///
    /// # Errors
    /// When there would be too many of one kind.
    pub fn pend(&mut self, mut sheet: PendingSheet) -> Result<(), TallyError> {
        let key = |sheet: &PendingSheet| {
            let PendingSheet {
                entry,
                place,
                file,
                hash,
                ..
            } = sheet.clone();
            (entry, place, file, hash)
        };
        let alike = self.pending.iter().find(|other| key(other) == key(&sheet));
        if let Some(other) = alike.cloned() {
            self.pending.remove(&other);
            sheet.lots.add_all(&other.lots)?;
        }
        self.pending.insert(sheet);
        Ok(())
    }

    /// Takes everything out of a place, checked and pending.
    pub fn clear(&mut self, place: &Name) {
        self.places.remove(place);
        self.pending.retain(|sheet| sheet.place != *place);
    }

    /// Whether a place holds anything, checked or pending.
    pub fn holds_anything(&self, place: &Name) -> bool {
        self.places.contains_key(place) || self.pending.iter().any(|sheet| sheet.place == *place)
    }

    /// Every place that holds anything, checked or pending.
    pub fn place_names(&self) -> BTreeSet<&Name> {
        let pending = self.pending.iter().map(|sheet| &sheet.place);
        self.places.keys().chain(pending).collect()
    }

    /// One place alone.
    pub fn only(&self, place: &Name) -> Self {
        Self {
            places: self
                .places
                .get_key_value(place)
                .map(|(place, lots)| (place.clone(), lots.clone()))
                .into_iter()
                .collect(),
            pending: self
                .pending
                .iter()
                .filter(|sheet| sheet.place == *place)
                .cloned()
                .collect(),
        }
    }

    /// Every kind over all places, checked pieces and, if asked, pending ones.
    ///
    /// # Errors
    /// When there are too many of one kind to add up.
    pub fn totals(&self, with_pending: bool) -> Result<Lots, TallyError> {
        let mut totals = Lots::default();
        for lots in self.places.values() {
            totals.add_all(lots)?;
        }
        if with_pending {
            for sheet in &self.pending {
                totals.add_all(&sheet.lots)?;
            }
        }
        Ok(totals)
    }

    /// Every name in use: places, forms and colours.
    pub fn names(&self) -> BTreeSet<&Name> {
        let pending = self.pending.iter().map(|sheet| (&sheet.place, &sheet.lots));
        self.places
            .iter()
            .chain(pending)
            .flat_map(|(place, lots)| {
                let kinds = lots.iter().flat_map(|(kind, _)| [&kind.form, &kind.colour]);
                kinds.chain([place])
            })
            .collect()
    }
}

/// The stock: what is there now, and every change that led to it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Stock {
    /// What is there now.
    pub contents: Contents,
    /// Every change, oldest first, numbered from 1. Never shortened or edited:
    /// undoing adds an entry.
    pub history: Vec<Entry>,
}

/// What a new history entry says besides its changes.
#[derive(Clone, Debug, Default)]
pub struct Note {
    /// The entry that is undone.
    pub undoes: Option<u64>,
    /// The table that was imported.
    pub from: Option<Label>,
    /// What the user said about it.
    pub remark: Option<Label>,
    /// What got another name.
    pub renamed: Option<Renamed>,
    /// The entry's identity in the stock that it comes from.
    pub origin: Option<EntryId>,
    /// Places whose steps were left out.
    pub left_out: BTreeSet<Name>,
    /// Places of which this entry says all there is.
    pub recounts: BTreeSet<Name>,
    /// Photos that were posted.
    pub sheets: Vec<SheetRef>,
}

/// What [`Stock::record`] wrote down.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recorded {
    /// The new entry's number.
    pub entry: u64,
    /// Names that are new and differ from one in use only in upper and lower case.
    pub lookalikes: Vec<(Name, Name)>,
}

impl Stock {
    /// The number that the next history entry will have.
    pub fn next_number(&self) -> u64 {
        self.history.len() as u64 + 1
    }

    /// The history entry of that number.
    pub fn entry(&self, number: u64) -> Option<&Entry> {
        let index = usize::try_from(number.checked_sub(1)?).ok()?;
        self.history.get(index)
    }

    /// Which entries are undone.
    ///
    /// # Errors
    /// When the history's own references do not agree.
    pub fn ledger(&self) -> Result<Ledger, HistoryError> {
        Ledger::of(&self.history)
    }

    /// Makes `contents` the present ones and writes down how they came about.
    pub fn record(
        &mut self,
        stamp: &Stamp,
        what: What,
        contents: Contents,
        note: Note,
    ) -> Recorded {
        let number = self.next_number();
        let lookalikes = lookalikes(&self.contents, &contents);
        self.history.push(Entry {
            number,
            time: stamp.time,
            who: stamp.who.clone(),
            what,
            undoes: note.undoes,
            from: note.from,
            remark: note.remark,
            renamed: note.renamed,
            origin: note.origin,
            left_out: note.left_out,
            recounts: note.recounts,
            sheets: note.sheets,
            changes: change::between(&self.contents, &contents),
        });
        self.contents = contents;
        Recorded {
            entry: number,
            lookalikes,
        }
    }

    /// The changes of the entry of that number; none when there is no such entry.
    pub fn changes(&self, number: u64) -> &[Change] {
        self.entry(number).map_or(&[], |entry| &entry.changes)
    }
}

/// New names beside those they are easily mistaken for.
fn lookalikes(before: &Contents, after: &Contents) -> Vec<(Name, Name)> {
    let old = before.names();
    let all = after.names();
    let mut by_lower_case: BTreeMap<String, Vec<&Name>> = BTreeMap::new();
    for &name in old.union(&all) {
        let alike = by_lower_case
            .entry(name.as_str().to_lowercase())
            .or_default();
        alike.push(name);
    }
    all.difference(&old)
        .filter_map(|new| {
            let alike = by_lower_case.get(&new.as_str().to_lowercase())?;
            // Of two that are both new, the pair is told once.
            let other = alike.iter().find(|name| {
                new.differs_only_in_case(name) && (old.contains(**name) || **name < *new)
            })?;
            Some(((*new).clone(), (*other).clone()))
        })
        .collect()
}
