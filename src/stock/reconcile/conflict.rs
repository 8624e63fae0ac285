//! Places of which two stocks say what cannot both hold.

use super::Sides;
use crate::stock::history::{Entry, HistoryError, Ledger, What};
use crate::stock::kind::{Kind, Name, PhotoHash, Size};
use crate::stock::model::{Contents, PendingSheet, Stock};
use crate::stock::tally::TallyError;
use crate::stock::view::Numbers;
use crate::stock::{Change, Lots};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

/// Why a place is in conflict.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// The two files have no entry in common, and both know the place.
    NoCommonPast,
    /// One side said all there is, the other changed it too.
    Recounted,
    /// Both posted one photo.
    SamePhoto,
    /// Both looked at one pending sheet, or moved it.
    BothLooked,
    /// Both undid one entry.
    BothUndid,
    /// Together more went than there was.
    NotEnough,
    /// Pieces moved between here and a place that is in conflict.
    MovedWith(Name),
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoCommonPast => f.write_str("both have it, and the files have no common past"),
            Self::Recounted => f.write_str("counted anew on one side, changed on the other"),
            Self::SamePhoto => f.write_str("both posted the same photo"),
            Self::BothLooked => f.write_str("both dealt with the same pending sheet"),
            Self::BothUndid => f.write_str("both undid the same entry"),
            Self::NotEnough => f.write_str("together more went than was there"),
            Self::MovedWith(place) => write!(f, "pieces moved between here and {place}"),
        }
    }
}

/// A place in conflict, as a person decides about it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Conflict {
    /// Where.
    pub place: Name,
    /// Why.
    pub why: BTreeSet<Why>,
    /// Kinds of which the two hold different numbers.
    pub rows: Vec<Row>,
}

/// A kind of which the two hold different numbers.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Row {
    /// As in [`Kind`].
    pub form: Name,
    /// As in [`Kind`].
    pub size: Size,
    /// As in [`Kind`].
    pub colour: Name,
    /// In this stock.
    pub mine: Numbers,
    /// In the other.
    pub theirs: Numbers,
}

impl Conflict {
    pub(super) fn of(
        place: &Name,
        why: &BTreeSet<Why>,
        mine: &Contents,
        theirs: &Contents,
    ) -> Result<Self, TallyError> {
        let (mine, theirs) = (numbers(mine, place)?, numbers(theirs, place)?);
        let kinds: BTreeSet<&Kind> = mine.keys().chain(theirs.keys()).collect();
        let of = |side: &BTreeMap<Kind, Numbers>, kind: &Kind| {
            side.get(kind).copied().unwrap_or_default()
        };
        let rows = kinds.into_iter().map(|kind| Row {
            form: kind.form.clone(),
            size: kind.size,
            colour: kind.colour.clone(),
            mine: of(&mine, kind),
            theirs: of(&theirs, kind),
        });
        Ok(Self {
            place: place.clone(),
            why: why.clone(),
            rows: rows.filter(|row| row.mine != row.theirs).collect(),
        })
    }
}

fn numbers(contents: &Contents, place: &Name) -> Result<BTreeMap<Kind, Numbers>, TallyError> {
    let mut all: BTreeMap<Kind, Numbers> = BTreeMap::new();
    for (kind, tally) in contents
        .places
        .get(place)
        .iter()
        .flat_map(|lots| lots.iter())
    {
        all.entry(kind.clone()).or_default().checked = tally;
    }
    let mut pending = Lots::default();
    for sheet in contents.pending.iter().filter(|s| s.place == *place) {
        pending.add_all(&sheet.lots)?;
    }
    for (kind, tally) in pending.iter() {
        all.entry(kind.clone()).or_default().pending = tally;
    }
    Ok(all)
}

/// All places in conflict.
#[derive(Clone, Debug, Default)]
pub(super) struct Conflicts {
    places: BTreeMap<Name, BTreeSet<Why>>,
    /// First entries, by their number in the other stock, of chains of undoing that
    /// both sides made longer.
    pub(super) forked: BTreeSet<u64>,
}

impl Conflicts {
    pub(super) fn has(&self, place: &Name) -> bool {
        self.places.contains_key(place)
    }

    pub(super) fn places(&self) -> impl Iterator<Item = (&Name, &BTreeSet<Why>)> {
        self.places.iter()
    }

    /// Returns whether the place was in none before.
    pub(super) fn add(&mut self, place: &Name, why: Why) -> bool {
        let is_new = !self.has(place);
        self.places.entry(place.clone()).or_default().insert(why);
        is_new
    }

    /// What can be told before anything is put together.
    pub(super) fn find(mine: &Stock, theirs: &Stock, sides: &Sides) -> Result<Self, HistoryError> {
        let mut conflicts = Self::default();
        let (my_ledger, their_ledger) = (mine.ledger()?, theirs.ledger()?);
        let new_theirs: Vec<&Entry> = sides.new_theirs.iter().map(|(entry, _)| *entry).collect();
        let here = Touched::by(&sides.new_mine, mine, &my_ledger);
        let there = Touched::by(&new_theirs, theirs, &their_ledger);
        for (place, &absolute) in &here.places {
            let Some(&other) = there.places.get(place) else {
                continue;
            };
            if sides.common.is_empty() {
                conflicts.add(place, Why::NoCommonPast);
            }
            if absolute || other {
                conflicts.add(place, Why::Recounted);
            }
        }
        for (hash, places) in &here.photos {
            for place in there.photos.get(hash).iter().flat_map(|other| other.iter()) {
                conflicts.add(place, Why::SamePhoto);
                for place in places {
                    conflicts.add(place, Why::SamePhoto);
                }
            }
        }
        for sheet in &there.unpended {
            let number = sides.common.get(&sheet.entry);
            let known = number.map(|&entry| PendingSheet {
                entry,
                ..(*sheet).clone()
            });
            if known.is_some_and(|known| here.unpended.contains(&known)) {
                conflicts.add(&sheet.place, Why::BothLooked);
            }
        }
        conflicts.find_forks(theirs, sides, &there, &here);
        conflicts.follow_moves(sides);
        Ok(conflicts)
    }

    fn find_forks(&mut self, theirs: &Stock, sides: &Sides, there: &Touched, here: &Touched) {
        for root in &there.undone {
            let forked = sides
                .common
                .get(root)
                .is_some_and(|n| here.undone.contains(n));
            if let Some(entry) = theirs.entry(*root).filter(|_| forked) {
                self.forked.insert(*root);
                for place in entry.places() {
                    self.add(place, Why::BothUndid);
                }
            }
        }
    }

    /// A place is settled together with those that pieces came from or went to.
    /// Returns whether there are more places now.
    pub(super) fn follow_moves(&mut self, sides: &Sides) -> bool {
        let theirs = sides.new_theirs.iter().map(|(entry, _)| *entry);
        let moves: Vec<BTreeSet<&Name>> = theirs
            .chain(sides.new_mine.iter().copied())
            .filter(|entry| is_move(entry))
            .map(Entry::places)
            .collect();
        let mut grew = false;
        loop {
            let mut more = false;
            for places in &moves {
                let Some(first) = places.iter().find(|place| self.has(place)) else {
                    continue;
                };
                let first = (*first).clone();
                for place in places.iter().filter(|&&place| *place != first) {
                    if !self.has(place) {
                        more |= self.add(place, Why::MovedWith(first.clone()));
                    }
                }
            }
            grew |= more;
            if !more {
                return grew;
            }
        }
    }
}

/// Whether an entry carried pieces from place to place.
fn is_move(entry: &Entry) -> bool {
    use crate::stock::rename::Subject;
    let renamed = entry.renamed.as_ref();
    entry.what == What::Move || renamed.is_some_and(|renamed| renamed.what == Subject::Place)
}

/// What the new entries of one side touch.
#[derive(Default)]
struct Touched<'a> {
    /// Places, and whether all there is in them was said.
    places: BTreeMap<&'a Name, bool>,
    photos: BTreeMap<&'a PhotoHash, BTreeSet<&'a Name>>,
    unpended: BTreeSet<&'a PendingSheet>,
    /// First entries of chains that an undo made longer.
    undone: BTreeSet<u64>,
}

impl<'a> Touched<'a> {
    fn by(entries: &[&'a Entry], stock: &'a Stock, ledger: &Ledger) -> Self {
        let mut touched = Self::default();
        for &entry in entries {
            let root = ledger.root(entry.number).and_then(|n| stock.entry(n));
            let first = root.unwrap_or(entry);
            for place in entry.places() {
                let absolute = first.what == What::Adopt
                    || first.recounts.contains(place)
                    || entry.left_out.contains(place);
                *touched.places.entry(place).or_default() |= absolute;
            }
            for sheet in &entry.sheets {
                touched
                    .photos
                    .entry(&sheet.hash)
                    .or_default()
                    .insert(&sheet.place);
            }
            for change in &entry.changes {
                if let Change::Unpend(sheet) = change {
                    touched.unpended.insert(sheet);
                }
            }
            if entry.undoes.is_some() {
                touched.undone.insert(first.number);
            }
        }
        touched
    }
}
