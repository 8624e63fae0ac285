//! How many there are of each kind, and how a file lists them.

use super::kind::{Kind, Name, Size};
use super::tally::{self, Tally, TallyError};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

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

    /// The same, every piece taken as counted.
    #[must_use]
    pub fn taken_as_counted(&self) -> Self {
        let taken = |(kind, tally): (&Kind, Tally)| (kind.clone(), tally.taken_as_counted());
        Self(self.iter().map(taken).collect())
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
    #[serde(default, skip_serializing_if = "tally::is_none")]
    as_counted: u64,
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
            as_counted: tally.as_counted(),
        };
        lots.0.into_iter().map(line).collect()
    }
}

impl TryFrom<Vec<Lot>> for Lots {
    type Error = LotError;

    fn try_from(list: Vec<Lot>) -> Result<Self, LotError> {
        let mut lots = Self::default();
        for lot in list {
            let tally = Tally::new(lot.count, lot.low, lot.high)?.marked(lot.as_counted)?;
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
