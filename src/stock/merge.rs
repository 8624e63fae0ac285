//! Merge: sheets and tables into the stock.

use super::alike::{Alike, alike};
use super::history::{HistoryError, Ledger, SheetRef, What};
use super::kind::{Label, Name, PhotoHash};
use super::lots::Lots;
use super::model::{Contents, Note, PendingSheet, Recorded, Stock};
use super::scene::Scene;
use super::stamp::Stamp;
use super::tally::TallyError;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// One sheet on its way into the stock.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Incoming {
    /// The sheet file, for messages.
    pub from: Label,
    /// The photo's file name.
    pub file: Label,
    /// The photo's pixel hash.
    pub hash: PhotoHash,
    /// Where its pieces lie, if anybody said.
    pub place: Option<Name>,
    /// Whether a person has looked.
    pub checked: bool,
    /// Where its pieces lay on the tray, if there were enough to know it again.
    pub scene: Option<Scene>,
    /// Its pieces.
    pub lots: Lots,
    /// Whether it is left out where its photo was posted before, instead of refused.
    pub may_be_posted: bool,
}

/// What happens to what a place already holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mode {
    /// It stays; the new pieces come on top.
    Add,
    /// It is replaced, checked and pending alike.
    Recount,
}

/// What a post did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Posted {
    /// The new entry; none when every photo had been posted before.
    pub recorded: Option<Recorded>,
    /// Sheets left out because their photo had been posted before, and by which entry.
    pub skipped: Vec<(Label, u64)>,
    /// Sheets that most likely show a tray which another posted photo shows: they
    /// were posted, and the user should see whether their pieces count twice.
    pub alike: Vec<Alike>,
}

/// A sheet with its questions answered.
struct Settled<'a> {
    sheet: &'a Incoming,
    place: Name,
    /// The pending sheet that this one, now looked at, takes the place of.
    replaces: Option<PendingSheet>,
}

/// Posts sheets as one history entry. Sheets that nobody has looked at become
/// pending; a sheet that has been looked at takes the place of its pending self.
/// `mode` may be left out while each place is empty.
///
/// # Errors
/// When a sheet cannot be posted; the stock is then as before.
pub fn post(
    stock: &mut Stock,
    sheets: &[Incoming],
    mode: Option<Mode>,
    stamp: &Stamp,
) -> Result<Posted, PostError> {
    let mut skipped = Vec::new();
    let mut settled: Vec<Settled> = Vec::new();
    let mut seen: HashMap<&PhotoHash, &Label> = HashMap::new();
    let ledger = stock.ledger()?;
    let posted = posted_photos(stock, &ledger);
    for sheet in sheets {
        if let Some(other) = seen.insert(&sheet.hash, &sheet.from) {
            return Err(PostError::SamePhoto {
                first: other.clone(),
                second: sheet.from.clone(),
            });
        }
        let before = posted.get(&sheet.hash).copied();
        match settle(&stock.contents, sheet, before)? {
            Ok(sheet) => settled.push(sheet),
            Err(entry) if sheet.may_be_posted => skipped.push((sheet.from.clone(), entry)),
            Err(entry) => {
                return Err(PostError::Already {
                    from: sheet.from.clone(),
                    entry,
                });
            }
        }
    }
    if settled.is_empty() {
        return Ok(Posted {
            recorded: None,
            skipped,
            alike: Vec::new(),
        });
    }
    let fresh = settled.iter().filter(|sheet| sheet.replaces.is_none());
    require_mode(&stock.contents, fresh.map(|sheet| &sheet.place), mode)?;

    let recounts: BTreeSet<Name> = match mode {
        Some(Mode::Recount) => settled.iter().map(|sheet| sheet.place.clone()).collect(),
        _ => BTreeSet::new(),
    };
    let mut contents = stock.contents.clone();
    recounts.iter().for_each(|place| contents.clear(place));
    for Settled {
        sheet,
        place,
        replaces,
    } in &settled
    {
        if let Some(pending) = replaces {
            contents.pending.remove(pending);
        }
        if sheet.checked {
            contents
                .add(place, &sheet.lots)
                .map_err(|cause| PostError::Tally {
                    from: sheet.from.clone(),
                    cause,
                })?;
        } else {
            contents.pending.insert(PendingSheet {
                entry: stock.next_number(),
                place: place.clone(),
                file: sheet.file.clone(),
                hash: Some(sheet.hash.clone()),
                lots: sheet.lots.clone(),
            });
        }
    }
    let what = if mode == Some(Mode::Recount) {
        What::Recount
    } else if settled.iter().all(|sheet| sheet.replaces.is_some()) {
        What::Check
    } else {
        What::Add
    };
    let fresh = settled.iter().filter(|sheet| sheet.replaces.is_none());
    let fresh: Vec<_> = fresh.map(|sheet| (sheet.sheet, &sheet.place)).collect();
    let alike = alike(stock, &ledger, &fresh, &recounts);
    let note = Note {
        recounts,
        sheets: settled.iter().map(Settled::reference).collect(),
        ..Note::default()
    };
    let recorded = stock.record(stamp, what, contents, note);
    Ok(Posted {
        recorded: Some(recorded),
        skipped,
        alike,
    })
}

impl Settled<'_> {
    fn reference(&self) -> SheetRef {
        SheetRef {
            hash: self.sheet.hash.clone(),
            file: self.sheet.file.clone(),
            place: self.place.clone(),
            checked: self.sheet.checked,
            scene: self.sheet.scene.clone(),
        }
    }
}

/// Photos whose post stands, each with the entry that posted it last.
fn posted_photos(stock: &Stock, ledger: &Ledger) -> HashMap<PhotoHash, u64> {
    let standing = stock
        .history
        .iter()
        .filter(|entry| ledger.stands(entry.number));
    standing
        .flat_map(|entry| entry.sheets.iter().map(|s| (s.hash.clone(), entry.number)))
        .collect()
}

/// Finds where a sheet goes; the inner error is the entry that posted its photo.
fn settle<'a>(
    contents: &Contents,
    sheet: &'a Incoming,
    posted_by: Option<u64>,
) -> Result<Result<Settled<'a>, u64>, PostError> {
    let pending = contents
        .pending
        .iter()
        .find(|pending| pending.hash.as_ref() == Some(&sheet.hash));
    match (posted_by, pending) {
        (Some(_), Some(pending)) if sheet.checked => {
            if let Some(place) = sheet
                .place
                .as_ref()
                .filter(|&place| *place != pending.place)
            {
                return Err(PostError::PendingElsewhere {
                    from: sheet.from.clone(),
                    place: place.clone(),
                    pending: Box::new(pending.clone()),
                });
            }
            Ok(Ok(Settled {
                sheet,
                place: pending.place.clone(),
                replaces: Some(pending.clone()),
            }))
        }
        (Some(entry), _) => Ok(Err(entry)),
        (None, _) => {
            let place = sheet.place.clone().ok_or_else(|| PostError::NoPlace {
                from: sheet.from.clone(),
            })?;
            Ok(Ok(Settled {
                sheet,
                place,
                replaces: None,
            }))
        }
    }
}

/// A place that holds something is neither added to nor replaced by guess.
fn require_mode<'a>(
    contents: &Contents,
    places: impl Iterator<Item = &'a Name>,
    mode: Option<Mode>,
) -> Result<(), PostError> {
    let full: BTreeSet<&Name> = places
        .filter(|place| contents.holds_anything(place))
        .collect();
    if mode.is_some() || full.is_empty() {
        return Ok(());
    }
    Err(PostError::NeedsMode {
        places: told_apart(&full.into_iter().collect::<Vec<_>>()),
    })
}

/// Names of places in a row: in quotes where there are several, as many a name has a comma.
fn told_apart(places: &[&Name]) -> String {
    match places {
        [one] => one.to_string(),
        [most @ .., last] => {
            let most: Vec<String> = most.iter().map(|name| format!("'{name}'")).collect();
            format!("each of {} and '{last}'", most.join(", "))
        }
        [] => String::new(),
    }
}

/// What a table says, place by place.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Listing {
    /// Every place that is named, also with no pieces.
    pub places: BTreeSet<Name>,
    /// Checked pieces.
    pub checked: BTreeMap<Name, Lots>,
    /// Pending pieces.
    pub pending: BTreeMap<Name, Lots>,
}

/// Merges a table as one history entry; `mode` as in [`post`].
///
/// # Errors
/// When it cannot be merged; the stock is then as before.
pub fn import(
    stock: &mut Stock,
    listing: &Listing,
    file: &Label,
    mode: Option<Mode>,
    stamp: &Stamp,
) -> Result<Recorded, PostError> {
    require_mode(&stock.contents, listing.places.iter(), mode)?;
    let recounts = match mode {
        Some(Mode::Recount) => listing.places.clone(),
        _ => BTreeSet::new(),
    };
    let mut contents = stock.contents.clone();
    recounts.iter().for_each(|place| contents.clear(place));
    for (place, lots) in &listing.checked {
        contents
            .add(place, lots)
            .map_err(|cause| PostError::Tally {
                from: file.clone(),
                cause,
            })?;
    }
    for (place, lots) in &listing.pending {
        contents.pending.insert(PendingSheet {
            entry: stock.next_number(),
            place: place.clone(),
            file: file.clone(),
            hash: None,
            lots: lots.clone(),
        });
    }
    let note = Note {
        from: Some(file.clone()),
        recounts,
        ..Note::default()
    };
    Ok(stock.record(stamp, What::Import, contents, note))
}

/// Why nothing was posted.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PostError {
    /// Nobody said where the pieces lie.
    #[error("{from} does not say where its pieces lie; name the place with --place NAME")]
    NoPlace {
        /// The sheet.
        from: Label,
    },
    /// A place holds something, and nobody said what to do with it.
    #[error(
        "{places} already holds pieces; say --add if these come on top, or --recount if they replace what is there"
    )]
    NeedsMode {
        /// The places.
        places: String,
    },
    /// One photo twice in one call.
    #[error("{first} and {second} come from the same photo; post one of them")]
    SamePhoto {
        /// One sheet.
        first: Label,
        /// The other.
        second: Label,
    },
    /// Posted before.
    #[error(
        "the photo of {from} was already posted, by entry {entry}, and a photo posts once; nothing was posted: leave it out (or say --skip-posted), or undo {entry} first"
    )]
    Already {
        /// The sheet.
        from: Label,
        /// The entry that posted it.
        entry: u64,
    },
    /// It waits in another place.
    #[error("the photo of {from} is pending in {}, not in {place}; post it there, or undo {} first", .pending.place, .pending.entry)]
    PendingElsewhere {
        /// The sheet.
        from: Label,
        /// Where it should go.
        place: Name,
        /// Where it waits.
        pending: Box<PendingSheet>,
    },
    /// Numbers grow too large.
    #[error("{from} cannot be added: {cause}")]
    Tally {
        /// The sheet or table.
        from: Label,
        /// Why.
        cause: TallyError,
    },
    /// The history contradicts itself.
    #[error("nothing was posted: {0}")]
    History(#[from] HistoryError),
}

impl PostError {
    /// Whether the command was called wrongly, rather than the work failed.
    pub fn is_wrong_use(&self) -> bool {
        matches!(self, Self::NoPlace { .. } | Self::NeedsMode { .. })
    }
}
