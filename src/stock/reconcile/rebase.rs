//! The other stock's new entries, made anew on what is here.

use super::Sides;
use super::conflict::{Conflicts, Why};
use crate::stock::Change;
use crate::stock::change::CountChange;
use crate::stock::history::{Entry, HistoryError, What};
use crate::stock::identity::EntryId;
use crate::stock::kind::{Label, Name};
use crate::stock::model::{Contents, PendingSheet, Stock};
use std::collections::BTreeMap;

/// What an undo is called here that undid what was undone here too.
const UNDONE_ELSEWHERE: &str = "undone on the other machine as well";

/// This stock with the other's new entries after its own.
pub(super) struct Rebased {
    pub(super) stock: Stock,
    /// For each entry of the other stock its number here.
    pub(super) numbers: BTreeMap<u64, u64>,
}

/// Adds the new entries. Steps in places that are in conflict are left out; where a
/// step does not fit, its place becomes one of them and all begins anew.
pub(super) fn rebase(
    mine: &Stock,
    theirs: &Stock,
    sides: &Sides,
    conflicts: &mut Conflicts,
) -> Result<Rebased, HistoryError> {
    let ledger = theirs.ledger()?;
    'anew: loop {
        let mut stock = mine.clone();
        let mut numbers = sides.common.clone();
        for (entry, id) in &sides.new_theirs {
            let number = stock.next_number();
            numbers.insert(entry.number, number);
            let mut changes = Vec::new();
            for change in &entry.changes {
                if conflicts.has(change.place()) {
                    continue;
                }
                match step(&mut stock.contents, change, &numbers) {
                    Ok(change) => changes.push(change),
                    Err(why) => {
                        // One more place each time, so this comes to an end.
                        conflicts.add(change.place(), why);
                        conflicts.follow_moves(sides);
                        continue 'anew;
                    }
                }
            }
            let forked = ledger
                .root(entry.number)
                .is_some_and(|r| conflicts.forked.contains(&r));
            let entry = anew(entry, id, number, changes, conflicts, &numbers, forked);
            stock.history.push(entry);
        }
        return Ok(Rebased { stock, numbers });
    }
}

fn anew(
    entry: &Entry,
    id: &EntryId,
    number: u64,
    changes: Vec<Change>,
    conflicts: &Conflicts,
    numbers: &BTreeMap<u64, u64>,
    forked: bool,
) -> Entry {
    let is_open = |place: &&Name| conflicts.has(place);
    let left_out = entry.places().into_iter().filter(is_open).cloned();
    let undoes = entry.undoes.filter(|_| !forked);
    Entry {
        number,
        what: if forked && entry.what == What::Undo {
            What::Other(Label::new(UNDONE_ELSEWHERE))
        } else {
            entry.what.clone()
        },
        undoes: undoes.and_then(|undone| numbers.get(&undone).copied()),
        origin: Some(id.clone()),
        left_out: left_out.chain(entry.left_out.iter().cloned()).collect(),
        recounts: entry
            .recounts
            .iter()
            .filter(|p| !conflicts.has(p))
            .cloned()
            .collect(),
        changes,
        ..entry.clone()
    }
}

/// Takes one step by its difference.
fn step(
    contents: &mut Contents,
    change: &Change,
    numbers: &BTreeMap<u64, u64>,
) -> Result<Change, Why> {
    match change {
        Change::Count(count) => {
            let kind = count.kind();
            let was = contents.get(&count.place, &kind);
            let now = was
                .moved(count.was, count.now)
                .map_err(|_| Why::NotEnough)?;
            contents.set(&count.place, kind, now);
            Ok(Change::Count(CountChange {
                was,
                now,
                ..count.clone()
            }))
        }
        Change::Pend(sheet) => {
            let sheet = renumber(sheet, numbers);
            if !contents.pending.insert(sheet.clone()) {
                return Err(Why::BothLooked);
            }
            Ok(Change::Pend(sheet))
        }
        Change::Unpend(sheet) => {
            let sheet = renumber(sheet, numbers);
            if !contents.pending.remove(&sheet) {
                return Err(Why::BothLooked);
            }
            Ok(Change::Unpend(sheet))
        }
    }
}

fn renumber(sheet: &PendingSheet, numbers: &BTreeMap<u64, u64>) -> PendingSheet {
    PendingSheet {
        entry: numbers.get(&sheet.entry).copied().unwrap_or(sheet.entry),
        ..sheet.clone()
    }
}

/// The other stock's contents with its pending sheets numbered as here.
pub(super) fn renumbered(contents: &Contents, numbers: &BTreeMap<u64, u64>) -> Contents {
    Contents {
        places: contents.places.clone(),
        pending: contents
            .pending
            .iter()
            .map(|sheet| renumber(sheet, numbers))
            .collect(),
    }
}
