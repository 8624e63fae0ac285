//! Confirm: a person takes pending sheets as they were counted.

use super::history::What;
use super::kind::Name;
use super::model::{Note, PendingSheet, Recorded, Stock};
use super::near::{self, PlaceError};
use super::stamp::Stamp;
use super::tally::TallyError;
use std::collections::BTreeSet;

/// Which pending sheets are meant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Which {
    /// A history number, or the beginning of a photo's hash.
    Mark(String),
    /// All in one place.
    Place(Name),
    /// The only one there is.
    Only,
}

/// The fewest hex digits that name a photo: shorter ones are typing errors.
pub const SHORTEST_HASH: usize = 6;

/// Brings the pending pieces into their places, taken as counted: nobody looked at a piece of them,
/// so each kind keeps its range, and the mark. Looking takes the review page.
///
/// # Errors
/// When one of `which` names no pending sheet, or numbers grow too large. The
/// stock is then as before.
pub fn confirm(
    stock: &mut Stock,
    which: &[Which],
    stamp: &Stamp,
) -> Result<(BTreeSet<PendingSheet>, Recorded), ConfirmError> {
    let mut taken = BTreeSet::new();
    for which in which {
        taken.extend(pick(stock, which)?.into_iter().cloned());
    }
    let mut contents = stock.contents.clone();
    for sheet in &taken {
        contents.pending.remove(sheet);
        // A sheet that somebody began to look at says what is left.
        let says = sheet.lots.iter().any(|(_, tally)| tally.as_counted() > 0);
        let lots = if says {
            sheet.lots.clone()
        } else {
            sheet.lots.taken_as_counted()
        };
        contents.add(&sheet.place, &lots)?;
    }
    let recorded = stock.record(stamp, What::Confirm, contents, Note::default());
    Ok((taken, recorded))
}

fn pick<'a>(stock: &'a Stock, which: &Which) -> Result<Vec<&'a PendingSheet>, ConfirmError> {
    let matching = |test: &dyn Fn(&PendingSheet) -> bool| -> Vec<&'a PendingSheet> {
        stock
            .contents
            .pending
            .iter()
            .filter(|sheet| test(sheet))
            .collect()
    };
    match which {
        Which::Place(place) => {
            let place = &near::place(&stock.contents, place)?;
            let found = matching(&|sheet| sheet.place == *place);
            if found.is_empty() {
                return Err(ConfirmError::NothingInPlace(place.clone()));
            }
            Ok(found)
        }
        Which::Only => match matching(&|_| true) {
            found if found.len() == 1 => Ok(found),
            found if found.is_empty() => Err(ConfirmError::Nothing),
            found => Err(ConfirmError::Several(found.into_iter().cloned().collect())),
        },
        Which::Mark(mark) => {
            let number: Option<u64> = mark.parse().ok();
            let by_number = matching(&|sheet| Some(sheet.entry) == number);
            if !by_number.is_empty() {
                return Ok(by_number);
            }
            let lower = mark.to_ascii_lowercase();
            let by_hash = matching(&|sheet| {
                let hash = sheet.hash.as_ref().map_or("", |hash| hash.as_str());
                lower.len() >= SHORTEST_HASH && hash.starts_with(&lower)
            });
            match by_hash.len() {
                0 => Err(ConfirmError::NoSuchSheet(mark.clone())),
                1 => Ok(by_hash),
                _ => Err(ConfirmError::Ambiguous(mark.clone())),
            }
        }
    }
}

/// `2 (pier.jpg, cup 3), 4 (quay.jpg, cup 1)`, each number once.
fn listed(sheets: &BTreeSet<PendingSheet>) -> String {
    /// More than these are not named.
    const NAMED: usize = 6;
    let named = |sheet: &PendingSheet| format!("{} ({}, {})", sheet.entry, sheet.file, sheet.place);
    let mut list: Vec<String> = sheets.iter().take(NAMED).map(named).collect();
    if sheets.len() > NAMED {
        list.push(format!("and {} more", sheets.len() - NAMED));
    }
    list.join(", ")
}

/// Why nothing was confirmed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ConfirmError {
    /// Nothing waits.
    #[error("nothing is pending")]
    Nothing,
    /// More than one waits, and nobody said which.
    #[error("more than one sheet is pending; say which: {}", listed(.0))]
    Several(BTreeSet<PendingSheet>),
    /// Nothing waits in that place.
    #[error("nothing is pending in {0}; `cuptally stock` lists what is")]
    NothingInPlace(Name),
    /// Nothing of that number or hash waits.
    #[error(
        "no pending sheet has the number or photo hash '{0}' (a hash needs {SHORTEST_HASH} digits or more); `cuptally stock` lists what is pending"
    )]
    NoSuchSheet(String),
    /// More than one photo begins like that.
    #[error("more than one pending photo has a hash that begins with '{0}'; give more of it")]
    Ambiguous(String),
    /// It is not known which place is meant.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// Numbers grow too large.
    #[error("the pending pieces cannot be added: {0}")]
    Tally(#[from] TallyError),
}
