//! What a stock is: places with their pieces, pending sheets, and the history.

use super::history::{Entry, HistoryError, Ledger, SheetRef, What};
use super::kind::{Kind, Label, Name, PhotoHash, Size};
use super::stamp::Stamp;
use super::tally::{Tally, TallyError};
use super::{Change, change};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// How many there are of each kind. Holds no kind of which there are none.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "Vec<Lot>", into = "Vec<Lot>")]
pub struct Lots(BTreeMap<Kind, Tally>);

impl Lots {
    /// How many there are of `kind`.
    pub fn get(&self, kind: &Kind) -> Tally {
        self.0.get(kind).copied().unwrap_or(Tally::ZERO)
    }

    /// Puts the number of `kind`; none takes it off the list.
    pub fn set(&mut self, kind: Kind, tally: Tally) {
        if tally.is_zero() {
            self.0.remove(&kind);
        } else {
            self.0.insert(kind, tally);
        }
    }

    /// Adds pieces of one kind.
    ///
    /// # Errors
    /// When there would be too many.
    pub fn add(&mut self, kind: &Kind, more: Tally) -> Result<(), TallyError> {
        self.set(kind.clone(), self.get(kind).plus(more)?);
        Ok(())
    }

    /// Adds all of `other`.
    ///
    /// # Errors
    /// When there would be too many of one kind.
    pub fn add_all(&mut self, other: &Self) -> Result<(), TallyError> {
        other
            .iter()
            .try_for_each(|(kind, tally)| self.add(kind, tally))
    }

    /// Every kind with its number, by form, size and colour.
    pub fn iter(&self) -> impl Iterator<Item = (&Kind, Tally)> {
        self.0.iter().map(|(kind, &tally)| (kind, tally))
    }

    /// Pieces of all kinds together.
    ///
    /// # Errors
    /// When there are too many to add up.
    pub fn total(&self) -> Result<Tally, TallyError> {
        Tally::sum(self.0.values().copied())
    }

    /// Whether there is nothing.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

/// One line of a list of pieces, as files hold it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lot {
    form: Name,
    size: Size,
    colour: Name,
    count: u64,
    low: u64,
    high: u64,
}

impl From<Lots> for Vec<Lot> {
    fn from(lots: Lots) -> Self {
        let line = |(kind, tally): (Kind, Tally)| Lot {
            form: kind.form,
            size: kind.size,
            colour: kind.colour,
            count: tally.count(),
            low: tally.low(),
            high: tally.high(),
        };
        lots.0.into_iter().map(line).collect()
    }
}

impl TryFrom<Vec<Lot>> for Lots {
    type Error = LotError;

    fn try_from(list: Vec<Lot>) -> Result<Self, LotError> {
        let mut lots = Self::default();
        for lot in list {
            let tally = Tally::new(lot.count, lot.low, lot.high)?;
            let kind = Kind {
                form: lot.form,
                size: lot.size,
                colour: lot.colour,
            };
            if tally.is_zero() {
                return Err(LotError::Nothing(kind));
            }
            if lots.0.insert(kind.clone(), tally).is_some() {
                return Err(LotError::Twice(kind));
            }
        }
        Ok(lots)
    }
}

/// Why a list of pieces cannot be.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LotError {
    /// A kind stands there twice.
    #[error("{0} is listed twice in one place; add the two lines up")]
    Twice(Kind),
    /// A kind of which there are none.
    #[error("{0} is listed with no pieces; leave the line out")]
    Nothing(Kind),
    /// An impossible number.
    #[error(transparent)]
    Tally(#[from] TallyError),
}

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
