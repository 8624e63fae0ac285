//! The end of a review: the sheet goes into the stock as checked, or stays pending.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::count::record::evidence;
use crate::pieces::Shapes;
use crate::sheet::Sheet;
use crate::stock::alike::Alike;
use crate::stock::file::{FileError, Purpose, StockFile};
use crate::stock::history::HistoryError;
use crate::stock::incoming::{IncomingError, from_sheet};
use crate::stock::kind::{KindError, Label, Name};
use crate::stock::merge::{self, Mode, PostError};
use crate::stock::shell::quoted_path;
use crate::stock::{Stamp, Stock};

use super::correction::{Correction, Refused};
use super::feed::{self, Offer};
use super::record;
use super::slots::{Slot, SlotError, carry_out};
use super::spot_check::SpotCheck;
use super::totals::left;
use super::tray::Tray;

/// Where a sheet stands towards the stock.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "is", rename_all = "kebab-case")]
pub enum Standing {
    /// Its photo was never posted, or that was undone.
    New,
    /// It waits there for a person.
    Pending {
        /// The entry that brought it.
        entry: u64,
        /// Where.
        place: Name,
    },
    /// It counts there as checked.
    Checked {
        /// The entry that brought it.
        entry: u64,
        /// Where.
        place: Name,
    },
}

/// What the page needs to offer an end.
#[derive(Clone, Debug, Serialize)]
pub struct Ending {
    /// Where this sheet stands.
    pub standing: Standing,
    /// Places that hold something already.
    pub places: Vec<Name>,
    /// What its corrections could teach of colours.
    pub learn: Option<Offer>,
    /// Sure pieces to look at before, where that is worth a key.
    pub spot_check: Option<SpotCheck>,
}

/// How the person ends a sheet.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wish {
    /// The version that the page shows.
    pub version: String,
    /// As checked, or pending.
    pub checked: bool,
    /// Where the pieces live; empty for what the sheet says.
    #[serde(default)]
    pub place: String,
    /// What happens to what lies there: `add`, `recount`, or not said.
    #[serde(default)]
    pub mode: Option<WishedMode>,
    /// Whether the corrected colours are learned, or what was learned is taken back; not said where
    /// nothing was offered.
    #[serde(default)]
    pub learn: Option<bool>,
}

/// What happens to what a place holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WishedMode {
    /// It stays.
    Add,
    /// It is replaced.
    Recount,
}

impl From<WishedMode> for Mode {
    fn from(mode: WishedMode) -> Self {
        match mode {
            WishedMode::Add => Self::Add,
            WishedMode::Recount => Self::Recount,
        }
    }
}

/// Why a sheet was not posted.
#[derive(Debug, thiserror::Error)]
pub enum FinishError {
    /// The sheet.
    #[error(transparent)]
    Slot(#[from] SlotError),
    /// The stock file.
    #[error(transparent)]
    File(#[from] FileError),
    /// The merge.
    #[error("{}", for_the_page(.0))]
    Post(#[from] PostError),
    /// What the sheet says.
    #[error(transparent)]
    Incoming(#[from] IncomingError),
    /// The place's name.
    #[error(transparent)]
    Name(#[from] KindError),
    /// The history contradicts itself.
    #[error("the stock cannot be used: {0}")]
    History(#[from] HistoryError),
    /// In the stock, but the sheet does not say so.
    #[error("it is in the stock, as entry {entry}, but the sheet could not be written: {cause}")]
    SheetBehind {
        /// The entry, which stands.
        entry: u64,
        /// Why.
        cause: String,
    },
    /// Not everything was looked at.
    #[error(
        "{0} still to look at; look at them, accept them as they are, or leave the sheet pending"
    )]
    Left(String),
}

/// The merge's sentences speak of options of `cuptally post`; the page has fields.
fn for_the_page(error: &PostError) -> String {
    match error {
        PostError::NoPlace { .. } => "say where these pieces live".to_owned(),
        PostError::NeedsMode { places } => format!(
            "{places} already holds pieces; say whether these come on top or replace what is there"
        ),
        other => other.to_string(),
    }
}

impl From<Refused> for FinishError {
    fn from(refused: Refused) -> Self {
        Self::Slot(refused.into())
    }
}

/// Where a sheet stands, and which places there are. What it says is kept with the
/// sheet: one that is in the stock as checked is not changed any more.
///
/// # Errors
/// When the stock cannot be read.
pub fn ending(slot: &mut Slot, home: &Path) -> Result<Ending, FinishError> {
    let stock = StockFile::in_home(home).read()?.unwrap_or_default();
    let standing = standing(&stock, &slot.sheet.photos.first.hash)?;
    slot.posted = match standing {
        Standing::Checked { entry, .. } => Some(entry),
        _ => None,
    };
    let places = stock.contents.place_names();
    Ok(Ending {
        standing,
        places: places.into_iter().cloned().collect(),
        learn: None,
        spot_check: None,
    })
}

/// Where a photo of this hash stands.
///
/// # Errors
/// When the history contradicts itself.
pub fn standing(stock: &Stock, hash: &str) -> Result<Standing, HistoryError> {
    let pending = stock.contents.pending.iter().find(|pending| {
        let own = pending.hash.clone().map(String::from);
        own.as_deref() == Some(hash)
    });
    if let Some(pending) = pending {
        return Ok(Standing::Pending {
            entry: pending.entry,
            place: pending.place.clone(),
        });
    }
    let ledger = stock.ledger()?;
    let posted = stock.history.iter().rev().find_map(|entry| {
        let own =
            |sheet: &&crate::stock::history::SheetRef| String::from(sheet.hash.clone()) == hash;
        let sheet = entry.sheets.iter().find(own)?;
        ledger.stands(entry.number).then(|| Standing::Checked {
            entry: entry.number,
            place: sheet.place.clone(),
        })
    });
    Ok(posted.unwrap_or(Standing::New))
}

/// Ends a sheet: posts it as checked, or as pending where it is not in the stock yet, and learns its
/// colours where the person said so. What a checked one shows of how sure its pieces were goes into the record. Gives
/// sentences that say what was done.
///
/// # Errors
/// When something is left to look at, or it cannot be posted. Then neither the stock
/// nor whether the sheet is checked has changed, and nothing was learned.
pub fn finish(
    slot: &mut Slot,
    home: &Path,
    wish: &Wish,
    stamp: &Stamp,
) -> Result<String, FinishError> {
    let mut posted = post(slot, home, wish, stamp)?;
    if let Some(entry) = evidence(&slot.sheet, stamp.time).filter(|_| wish.checked)
        && let Err(error) = record::add(home, entry)
    {
        posted.push_str(&format!(
            " But what it shows of how sure its pieces were was not kept: {error}."
        ));
    }
    let learn = (wish.learn).map(|learn| feed::at_the_end(home, &slot.sheet, &slot.path, learn));
    Ok(match learn {
        None | Some(Ok(None)) => posted,
        Some(Ok(Some(learned))) => format!("{posted} {learned}"),
        // Posted is posted: the person is told what is left to do.
        Some(Err(error)) => format!(
            "{posted} But its colours stay as they were: {error}. Then say `cuptally teach --from {}`.",
            quoted_path(&slot.path)
        ),
    })
}

/// What a finish did, told once the sheet is written too.
enum Posted {
    /// It waits in the stock already, and goes on waiting.
    Waits { entry: u64, place: Name },
    /// It is in the stock now.
    Entry {
        entry: u64,
        place: Option<Name>,
        alike: Vec<Alike>,
    },
}

/// Under one lock of the sheet from the look at its version to its writing: what the stock takes is
/// what the page showed and what the sheet says afterwards.
fn post(slot: &mut Slot, home: &Path, wish: &Wish, stamp: &Stamp) -> Result<String, FinishError> {
    let shapes = slot.shapes();
    let from = Label::new(&slot.path.to_string_lossy());
    let mut posted = None;
    let written = slot.change::<FinishError>(&wish.version, |sheet, tray| {
        let done = into_the_stock(sheet, tray, shapes, &from, home, wish, stamp)?;
        // Posted first: were the program stopped between the two, the stock would say so when the
        // sheet is opened again.
        if let Posted::Entry { .. } = done {
            sheet.checked = wish.checked;
        }
        posted = Some(done);
        Ok(())
    });
    match posted {
        None => written.map(|()| String::new()),
        Some(Posted::Waits { entry, place }) => written.map(|()| {
            format!(
                "It stays pending in {place}, as entry {entry} brought it; what you put right so far is kept in the sheet."
            )
        }),
        Some(Posted::Entry {
            entry,
            place,
            alike,
        }) => {
            if wish.checked {
                slot.posted = Some(entry);
            }
            written.map_err(|error| FinishError::SheetBehind {
                entry,
                cause: error.to_string(),
            })?;
            Ok(told(entry, place.as_ref(), wish.checked, &alike))
        }
    }
}

fn into_the_stock(
    sheet: &mut Sheet,
    tray: Option<&Tray>,
    shapes: Shapes,
    from: &Label,
    home: &Path,
    wish: &Wish,
    stamp: &Stamp,
) -> Result<Posted, FinishError> {
    let (pieces, spots) = left(sheet);
    if wish.checked && pieces + spots > 0 {
        return Err(FinishError::Left(still_open(pieces, spots)));
    }
    let stock = StockFile::in_home(home).read()?.unwrap_or_default();
    match standing(&stock, &sheet.photos.first.hash)? {
        Standing::Checked { entry, .. } => return Err(Refused::Posted(entry).into()),
        Standing::Pending { entry, place } if !wish.checked => {
            return Ok(Posted::Waits { entry, place });
        }
        _ => {}
    }
    let place = wish.place.trim();
    if !place.is_empty() && sheet.place.as_deref() != Some(place) {
        let name = Name::new(place)?.to_string();
        carry_out(sheet, tray, shapes, &Correction::Place { name }, stamp)?;
    }
    let mut taken = sheet.clone();
    taken.checked = wish.checked;
    let incoming = from_sheet(&taken, from, None)?;
    let mode = wish.mode.map(Mode::from);
    StockFile::in_home(home).update(Purpose::Bring, &mut || {}, |stock| {
        let done = merge::post(stock, std::slice::from_ref(&incoming), mode, stamp)?;
        let entry = done.recorded.map_or(0, |recorded| recorded.entry);
        let place = stock.entry(entry).and_then(|entry| entry.sheets.first());
        Ok(Posted::Entry {
            entry,
            place: place.map(|sheet| sheet.place.clone()),
            alike: done.alike,
        })
    })
}

fn still_open(pieces: usize, spots: usize) -> String {
    let places = if spots == 1 { "place" } else { "places" };
    match (pieces, spots) {
        (0, spots) => format!("{spots} unexplained {places}"),
        (1, 0) => "1 piece".to_owned(),
        (pieces, 0) => format!("{pieces} pieces"),
        (pieces, spots) => format!("{pieces} pieces and {spots} unexplained {places}"),
    }
}

fn told(entry: u64, place: Option<&Name>, checked: bool, alike: &[Alike]) -> String {
    let place = place.map_or_else(String::new, |place| format!(" to {place}"));
    let state = if checked {
        format!("Posted{place} as checked: entry {entry} of the stock.")
    } else {
        format!(
            "Posted{place} as pending: entry {entry} of the stock. It waits there until you finish looking."
        )
    };
    let twice = alike.iter().map(|alike| {
        format!(
            " Look: this photo seems to show the same tray as {} ({}), since {} of {} pieces lie in the same spots. If these are the same pieces they now count twice; take it back with `cuptally stock undo {entry}`.",
            alike.photo, alike.place, alike.common.same, alike.common.of
        )
    });
    std::iter::once(state).chain(twice).collect()
}
