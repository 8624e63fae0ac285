//! The smallest steps a stock takes, each with all that is needed to go back.

use super::kind::{Kind, Name, Size};
use super::model::{Contents, PendingSheet};
use super::tally::{self, Tally, TallyError};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// One step.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// The checked pieces of one kind in one place became more or fewer.
    Count(CountChange),
    /// A sheet began to wait for a person.
    Pend(PendingSheet),
    /// A sheet stopped waiting.
    Unpend(PendingSheet),
}

/// How many there were and are of one kind in one place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CountChange {
    /// Where.
    pub place: Name,
    /// As in [`Kind`].
    pub form: Name,
    /// As in [`Kind`].
    pub size: Size,
    /// As in [`Kind`].
    pub colour: Name,
    /// Before; left out of the file when there were none.
    #[serde(default, skip_serializing_if = "is_zero", with = "tally::short")]
    pub was: Tally,
    /// After; left out of the file when there are none.
    #[serde(default, skip_serializing_if = "is_zero", with = "tally::short")]
    pub now: Tally,
}

impl CountChange {
    /// Whether more went than was sure to be there, with some left that may be none, or more
    /// than somebody had looked at; or that was undone.
    pub fn is_clipped(&self) -> bool {
        let clipped = |was: Tally, now: Tally| {
            let gone = was.count().saturating_sub(now.count());
            let low = !now.is_zero() && now.low() == 0 && gone > was.low();
            low || !now.is_zero() && now.as_counted() < was.as_counted()
        };
        clipped(self.was, self.now) || clipped(self.now, self.was)
    }

    /// The kind of piece.
    pub fn kind(&self) -> Kind {
        Kind {
            form: self.form.clone(),
            size: self.size,
            colour: self.colour.clone(),
        }
    }
}

/// serde's `skip_serializing_if` hands over a reference.
fn is_zero(tally: &Tally) -> bool {
    tally.is_zero()
}

impl Change {
    /// The place where it happened.
    pub fn place(&self) -> &Name {
        match self {
            Self::Count(change) => &change.place,
            Self::Pend(sheet) | Self::Unpend(sheet) => &sheet.place,
        }
    }

    /// Takes the step exactly as it was taken: what it says was there must be.
    /// Takes it in any case, so that one fault does not hide the rest.
    ///
    /// Returns what did not fit, if anything.
    pub fn replay(&self, contents: &mut Contents) -> Option<Misfit> {
        match self {
            Self::Count(change) => {
                let kind = change.kind();
                let there = contents.get(&change.place, &kind);
                contents.set(&change.place, kind.clone(), change.now);
                (there != change.was).then(|| Misfit::Count {
                    place: change.place.clone(),
                    kind,
                    said: change.was,
                    there,
                })
            }
            Self::Pend(sheet) => (!contents.pending.insert(sheet.clone()))
                .then(|| Misfit::AlreadyPending(sheet.clone())),
            Self::Unpend(sheet) => {
                (!contents.pending.remove(sheet)).then(|| Misfit::NotPending(sheet.clone()))
            }
        }
    }

    /// Takes the step back from what is there now, which may have moved on since.
    ///
    /// # Errors
    /// When that cannot be; `contents` is then only partly changed.
    pub fn reverse(&self, contents: &mut Contents) -> Result<(), ReverseError> {
        match self {
            Self::Count(change) => {
                let kind = change.kind();
                let there = contents.get(&change.place, &kind);
                match there.moved(change.now, change.was) {
                    Ok(tally) => contents.set(&change.place, kind, tally),
                    Err(cause) => {
                        return Err(ReverseError::Count {
                            place: change.place.clone(),
                            kind: Box::new(kind),
                            cause,
                        });
                    }
                }
            }
            Self::Pend(sheet) => {
                if !contents.pending.remove(sheet) {
                    return Err(ReverseError::NotPending(sheet.clone()));
                }
            }
            Self::Unpend(sheet) => {
                if !contents.pending.insert(sheet.clone()) {
                    return Err(ReverseError::AlreadyPending(sheet.clone()));
                }
            }
        }
        Ok(())
    }
}

/// A step that does not fit on what was there before it.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Misfit {
    /// Another number was there.
    #[error(
        "it says that {place} held {said} {kind}, but by the entries before it there were {there}"
    )]
    Count {
        /// Where.
        place: Name,
        /// Of what.
        kind: Kind,
        /// By this entry.
        said: Tally,
        /// By those before it.
        there: Tally,
    },
    /// A sheet that already waited began to wait.
    #[error("it makes {} in {} pending, which it already was", .0.file, .0.place)]
    AlreadyPending(PendingSheet),
    /// A sheet that did not wait stopped waiting.
    #[error("it says that {} in {} was pending, which it was not", .0.file, .0.place)]
    NotPending(PendingSheet),
}

/// Why a step cannot be taken back.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReverseError {
    /// The number would become impossible.
    #[error("of {kind} in {place}, {cause}")]
    Count {
        /// Where.
        place: Name,
        /// Of what.
        kind: Box<Kind>,
        /// Why.
        cause: TallyError,
    },
    /// The sheet does not wait any more.
    #[error("{} in {} is not pending any more", .0.file, .0.place)]
    NotPending(PendingSheet),
    /// The sheet waits again.
    #[error("{} in {} is already pending", .0.file, .0.place)]
    AlreadyPending(PendingSheet),
}

/// The steps from one state to another: sheets first, then counts, each in the
/// order of the file. At most one step for each sheet and each kind in a place.
pub fn between(before: &Contents, after: &Contents) -> Vec<Change> {
    let gone = before.pending.difference(&after.pending);
    let new = after.pending.difference(&before.pending);
    let mut changes: Vec<Change> = gone
        .cloned()
        .map(Change::Unpend)
        .chain(new.cloned().map(Change::Pend))
        .collect();
    let places: BTreeSet<&Name> = before.places.keys().chain(after.places.keys()).collect();
    for place in places {
        let kinds: BTreeSet<&Kind> = [before, after]
            .into_iter()
            .filter_map(|contents| contents.places.get(place))
            .flat_map(|lots| lots.iter().map(|(kind, _)| kind))
            .collect();
        for kind in kinds {
            let (was, now) = (before.get(place, kind), after.get(place, kind));
            if was != now {
                changes.push(Change::Count(CountChange {
                    place: place.clone(),
                    form: kind.form.clone(),
                    size: kind.size,
                    colour: kind.colour.clone(),
                    was,
                    now,
                }));
            }
        }
    }
    changes
}
