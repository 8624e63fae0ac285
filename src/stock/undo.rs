//! Undo: takes back the steps of an entry from what is there now.
//!
//! Counts move by the difference that the entry made, so additions before and
//! after it stay. A recount says all there is in a place: nothing before it can
//! be undone under it, and it can be brought back only on what it was made on.

use super::change::{Change, ReverseError};
use super::check;
use super::history::{Entry, HistoryError, Ledger, What};
use super::kind::{Kind, Name};
use super::model::{Contents, Note, PendingSheet, Recorded, Stock};
use super::stamp::Stamp;

/// What was undone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Undone {
    /// The entry whose steps were taken back.
    pub entry: u64,
    /// The first entry of its chain: the change that now stands, or does not.
    pub root: u64,
    /// Whether that change stands now (an undo was undone).
    pub stands: bool,
    /// The new entry.
    pub recorded: Recorded,
}

/// Undoes entry `number`, or the last one that stands. Undoing an undo brings the
/// change back.
///
/// # Errors
/// When there is nothing to undo, or later entries stand on it. The stock is then
/// as before.
pub fn undo(stock: &mut Stock, number: Option<u64>, stamp: &Stamp) -> Result<Undone, UndoError> {
    let ledger = stock.ledger()?;
    let target = match number {
        None => ledger.latest().ok_or(UndoError::Nothing)?,
        Some(number) => target(&ledger, number, stock.history.len() as u64)?,
    };
    let missing = || UndoError::NoSuchEntry {
        number: target,
        last: stock.history.len() as u64,
    };
    let root = ledger.root(target).ok_or_else(missing)?;
    let stands = !ledger.stands(target);
    let entry = stock.entry(target).ok_or_else(missing)?;
    let first = stock.entry(root).ok_or_else(missing)?;

    refuse_under_a_recount(stock, &ledger, entry)?;
    if stands && !first.recounts.is_empty() {
        refuse_recount_on_other_ground(stock, first, target)?;
    }

    refuse_under_a_clipped_take(stock, entry, first)?;

    let mut contents = stock.contents.clone();
    for change in entry.changes.iter().rev() {
        change
            .reverse(&mut contents)
            .map_err(|error| explain(stock, &ledger, target, error))?;
    }
    let note = Note {
        undoes: Some(target),
        ..Note::default()
    };
    let recorded = stock.record(stamp, What::Undo, contents, note);
    Ok(Undone {
        entry: target,
        root,
        stands,
        recorded,
    })
}

/// The end of the chain that a person means by `number`. An entry that was undone
/// and brought back is in force again, by the chain's end.
fn target(ledger: &Ledger, number: u64, last: u64) -> Result<u64, UndoError> {
    match (ledger.end(number), ledger.in_force(number)) {
        (Some(end), true) => Ok(end),
        (Some(by), false) => Err(UndoError::Already { number, by }),
        (None, _) => Err(UndoError::NoSuchEntry { number, last }),
    }
}

fn refuse_under_a_recount(stock: &Stock, ledger: &Ledger, entry: &Entry) -> Result<(), UndoError> {
    let places = entry.places();
    let later = stock
        .history
        .iter()
        .filter(|later| later.number > entry.number && !later.recounts.is_empty())
        .filter(|later| ledger.stands(later.number));
    for recount in later {
        if let Some(place) = recount.recounts.iter().find(|place| places.contains(place)) {
            return Err(UndoError::Recounted {
                number: entry.number,
                place: place.clone(),
                by: recount.number,
            });
        }
    }
    Ok(())
}

fn refuse_recount_on_other_ground(
    stock: &Stock,
    recount: &Entry,
    undo: u64,
) -> Result<(), UndoError> {
    let steps = usize::try_from(undo).unwrap_or(usize::MAX);
    let then = check::replay(stock.history.iter().take(steps)).contents;
    for place in &recount.recounts {
        if then.only(place) != stock.contents.only(place) {
            return Err(UndoError::Moved {
                number: recount.number,
                place: place.clone(),
                since: undo,
            });
        }
    }
    Ok(())
}

/// More was taken than was sure to be there, so the lower end of the range stopped at
/// none; or more than somebody had looked at, so that the mark shrank. What became of that kind since would come out too sure, were the take undone
/// by its difference.
fn refuse_under_a_clipped_take(
    stock: &Stock,
    entry: &Entry,
    first: &Entry,
) -> Result<(), UndoError> {
    if !matches!(first.what, What::Take | What::Move) {
        return Ok(());
    }
    for change in &entry.changes {
        if let Change::Count(step) = change
            && step.is_clipped()
            && stock.contents.get(&step.place, &step.kind()) != step.now
        {
            return Err(UndoError::Clipped {
                number: entry.number,
                kind: Box::new(step.kind()),
                place: step.place.clone(),
            });
        }
    }
    Ok(())
}

fn explain(stock: &Stock, ledger: &Ledger, number: u64, error: ReverseError) -> UndoError {
    if let ReverseError::NotPending(sheet) = &error
        && let Some(by) = taken_off_by(stock, ledger, number, sheet)
    {
        return UndoError::LookedAt {
            number,
            sheet: Box::new(sheet.clone()),
            by,
        };
    }
    UndoError::Reverse {
        number,
        cause: Box::new(error),
    }
}

/// The standing entry after `number` that took the sheet off the pending list.
fn taken_off_by(stock: &Stock, ledger: &Ledger, number: u64, sheet: &PendingSheet) -> Option<u64> {
    let mut present = Contents::default();
    let mut by = None;
    for entry in &stock.history {
        let before = present.pending.contains(sheet);
        for change in &entry.changes {
            change.replay(&mut present);
        }
        if before && !present.pending.contains(sheet) && entry.number > number {
            by = Some(entry.number);
        }
    }
    by.filter(|&by| ledger.undone_by(by).is_none())
}

/// Why an entry cannot be undone.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum UndoError {
    /// Nothing stands.
    #[error("there is nothing left to undo")]
    Nothing,
    /// No such number.
    #[error("there is no entry {number} to undo; the history ends at {last}")]
    NoSuchEntry {
        /// What was asked for.
        number: u64,
        /// The last there is.
        last: u64,
    },
    /// It does not stand.
    #[error("entry {number} is undone already, by entry {by}; to bring it back, undo {by}")]
    Already {
        /// What was asked for.
        number: u64,
        /// The undo.
        by: u64,
    },
    /// A later entry said all there is.
    #[error(
        "entry {number} cannot be undone: {place} was recounted since, by entry {by}; undo {by} first"
    )]
    Recounted {
        /// What was asked for.
        number: u64,
        /// Where.
        place: Name,
        /// The recount.
        by: u64,
    },
    /// A recount would be brought back on other ground.
    #[error(
        "the recount of entry {number} cannot be brought back: {place} has changed since entry {since}; recount it anew"
    )]
    Moved {
        /// The recount.
        number: u64,
        /// Where.
        place: Name,
        /// The undo that took the recount away.
        since: u64,
    },
    /// A pending sheet was looked at.
    #[error("entry {number} cannot be undone: {} in {} was taken off the pending list by entry {by}; undo {by} first", .sheet.file, .sheet.place)]
    LookedAt {
        /// What was asked for.
        number: u64,
        /// The sheet.
        sheet: Box<PendingSheet>,
        /// The entry that took it off the list.
        by: u64,
    },
    /// More was taken than was sure to be there, and that number has changed since.
    #[error(
        "entry {number} cannot be undone: it moved more {kind} than were sure to be in {place}, and their number has changed since; undo later entries first, or recount {place}"
    )]
    Clipped {
        /// What was asked for.
        number: u64,
        /// Of what.
        kind: Box<Kind>,
        /// Where.
        place: Name,
    },
    /// What is there now does not allow it.
    #[error("entry {number} cannot be undone: {cause}; undo later entries first")]
    Reverse {
        /// What was asked for.
        number: u64,
        /// Why.
        cause: Box<ReverseError>,
    },
    /// The history contradicts itself.
    #[error("nothing can be undone: {0}")]
    History(#[from] HistoryError),
}
