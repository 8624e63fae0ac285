//! Rename: a place or a colour gets another name, or two become one.

use super::history::What;
use super::kind::{Kind, Name};
use super::lots::Lots;
use super::model::{Contents, Note, PendingSheet, Recorded, Stock};
use super::moving::move_all;
use super::stamp::Stamp;
use super::tally::TallyError;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt;

/// What was called otherwise.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Renamed {
    /// A place or a colour.
    pub what: Subject,
    /// The name before.
    pub from: Name,
    /// The name after.
    pub to: Name,
}

/// What has a name of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Subject {
    /// Where pieces lie.
    Place,
    /// A colour of pieces.
    Colour,
}

impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Place => "place",
            Self::Colour => "colour",
        })
    }
}

/// Gives a place or a colour another name, everywhere, as one history entry. Where
/// the new name is in use already the two become one, if `merge` allows it.
///
/// # Errors
/// When nothing has the old name, or the new one is in use and `merge` is off. The
/// stock is then as before.
pub fn rename(
    stock: &mut Stock,
    renamed: Renamed,
    merge: bool,
    stamp: &Stamp,
) -> Result<Recorded, RenameError> {
    if renamed.from == renamed.to {
        return Err(RenameError::Same(renamed));
    }
    if !in_use(&stock.contents, renamed.what, &renamed.from) {
        return Err(RenameError::Unknown(renamed));
    }
    if !merge && in_use(&stock.contents, renamed.what, &renamed.to) {
        return Err(RenameError::InUse(renamed));
    }
    let mut contents = stock.contents.clone();
    match renamed.what {
        Subject::Place => move_all(&mut contents, &renamed.from, &renamed.to)?,
        Subject::Colour => recolour(&mut contents, &renamed)?,
    }
    let note = Note {
        renamed: Some(renamed),
        ..Note::default()
    };
    Ok(stock.record(stamp, What::Rename, contents, note))
}

pub(super) fn in_use(contents: &Contents, what: Subject, name: &Name) -> bool {
    let has = |lots: &Lots| lots.iter().any(|(kind, _)| kind.colour == *name);
    match what {
        Subject::Place => contents.holds_anything(name),
        Subject::Colour => {
            contents.places.values().any(has)
                || contents.pending.iter().any(|sheet| has(&sheet.lots))
        }
    }
}

fn recolour(contents: &mut Contents, renamed: &Renamed) -> Result<(), TallyError> {
    let changed = |lots: &Lots| -> Result<Lots, TallyError> {
        let mut new = Lots::default();
        for (kind, tally) in lots.iter() {
            let colour = if kind.colour == renamed.from {
                renamed.to.clone()
            } else {
                kind.colour.clone()
            };
            let kind = Kind {
                colour,
                ..kind.clone()
            };
            new.add(&kind, tally)?;
        }
        Ok(new)
    };
    let mut places = BTreeMap::new();
    for (place, lots) in &contents.places {
        places.insert(place.clone(), changed(lots)?);
    }
    contents.places = places;
    for sheet in std::mem::take(&mut contents.pending) {
        let lots = changed(&sheet.lots)?;
        contents.pend(PendingSheet { lots, ..sheet })?;
    }
    Ok(())
}

/// Why nothing was renamed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RenameError {
    /// Old and new are one.
    #[error("nothing was renamed: the {} is called {} already", .0.what, .0.to)]
    Same(Renamed),
    /// Nothing is called so.
    #[error("nothing was renamed: no {} in stock is called {}; `cuptally stock --by {}` lists them", .0.what, .0.from, .0.what)]
    Unknown(Renamed),
    /// The new name is in use.
    #[error("nothing was renamed: there is a {} {} already; say --merge if the two are one", .0.what, .0.to)]
    InUse(Renamed),
    /// Numbers grow too large.
    #[error("nothing was renamed: {0}")]
    Tally(#[from] TallyError),
}

impl RenameError {
    /// Whether the command was called wrongly, rather than the work failed.
    pub fn is_wrong_use(&self) -> bool {
        matches!(self, Self::Same(_) | Self::InUse(_))
    }
}
