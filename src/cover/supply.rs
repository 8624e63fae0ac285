//! What the stock lets a plan draw on.

use crate::stock::kind::{Kind, Name, Size};
use crate::stock::model::Contents;
use crate::stock::tally::{Tally, TallyError};
use serde::Serialize;
use std::collections::BTreeMap;

/// How a stock's ranges are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reading {
    /// The lowest counts of checked pieces, without those that were taken as counted.
    Certain,
    /// The best counts, of pending pieces too.
    Likely,
}

/// The form that a count gives a piece whose form it cannot tell. Such pieces are
/// in no answer: nobody knows which line they would serve.
pub const UNDECIDED: &str = "any";

/// Pieces of each kind that a plan may draw on.
pub type Supply = BTreeMap<Kind, u64>;

/// Reads a stock.
///
/// # Errors
/// When there are too many pieces of one kind to add up.
pub fn supply(contents: &Contents, reading: Reading) -> Result<Supply, TallyError> {
    let totals = contents.totals(reading == Reading::Likely)?;
    let number = |tally: Tally| match reading {
        Reading::Certain => tally.certain(),
        Reading::Likely => tally.count(),
    };
    Ok(totals
        .iter()
        .filter(|(kind, _)| kind.form.as_str() != UNDECIDED)
        .map(|(kind, tally)| (kind.clone(), number(tally)))
        .filter(|&(_, number)| number > 0)
        .collect())
}

/// Pieces whose form is not known, by size and colour, pending ones too.
///
/// # Errors
/// When there are too many to add up.
pub fn undecided(contents: &Contents) -> Result<BTreeMap<(Size, Name), Tally>, TallyError> {
    Ok(contents
        .totals(true)?
        .iter()
        .filter(|(kind, _)| kind.form.as_str() == UNDECIDED)
        .map(|(kind, tally)| ((kind.size, kind.colour.clone()), tally))
        .collect())
}

/// What is left when some pieces are taken away.
pub fn less(supply: &Supply, taken: &Supply) -> Supply {
    supply
        .iter()
        .map(|(kind, &number)| {
            let gone = taken.get(kind).copied().unwrap_or(0);
            (kind.clone(), number.saturating_sub(gone))
        })
        .filter(|&(_, number)| number > 0)
        .collect()
}
