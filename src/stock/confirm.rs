//! Confirm: a person has looked at pending sheets and says that the numbers hold.

use super::history::What;
use super::kind::Name;
use super::model::{Note, PendingSheet, Recorded, Stock};
use super::stamp::Stamp;
use super::tally::TallyError;
use std::collections::BTreeSet;

/// Which pending sheets a person has looked at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Which {
    /// A history number, or the beginning of a photo's hash.
    Mark(String),
    /// All in one place.
    Place(Name),
}

/// The fewest hex digits that name a photo: shorter ones are typing errors.
pub const SHORTEST_HASH: usize = 6;

/// Makes the pending pieces checked ones, in their places. Whoever looked says that
/// the numbers hold, so of each kind the best number stays and its range goes; of a
/// kind whose best number is none, nothing is left.
///
/// # Errors
/// When one of `which` names no pending sheet, or numbers grow too large. The
/// stock is then as before.
pub fn confirm(
    stock: &mut Stock,
    which: &[Which],
    stamp: &Stamp,
) -> Result<(BTreeSet<PendingSheet>, Recorded), ConfirmError> {
    let mut looked_at = BTreeSet::new();
    for which in which {
        looked_at.extend(pick(stock, which)?.into_iter().cloned());
    }
    let mut contents = stock.contents.clone();
    for sheet in &looked_at {
        contents.pending.remove(sheet);
        contents.add(&sheet.place, &sheet.lots.exact()?)?;
    }
    let recorded = stock.record(stamp, What::Confirm, contents, Note::default());
    Ok((looked_at, recorded))
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
            let found = matching(&|sheet| sheet.place == *place);
            if found.is_empty() {
                return Err(ConfirmError::NothingInPlace(place.clone()));
            }
            Ok(found)
        }
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

/// Why nothing was confirmed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ConfirmError {
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
    /// Numbers grow too large.
    #[error("the pending pieces cannot be added: {0}")]
    Tally(#[from] TallyError),
}
