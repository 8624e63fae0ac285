//! The page's questions and their answers, without the sockets.

use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};

use serde::{Deserialize, Serialize};

use crate::colour::SwatchBook;
use crate::sheet::Piece;
use crate::stock::stamp::StampError;
use crate::stock::{Stamp, kind::fit_to_show};

use super::copies::{NoCopies, Thing, copies};
use super::correction::{Correction, Draft, Refused};
use super::daylight::Cut;
use super::feed;
use super::finish::{self, Ending, FinishError, Wish};
use super::own_shapes::{self, OwnShapesError};
use super::parts::{cuts, outlines};
use super::photos::{Album, AlbumError, Upright};
use super::record;
use super::shown::shown;
use super::side::look_of;
use super::slots::{Slot, SlotError, Slots};
use super::snap::{Drag, read_colour, snap};
use super::spot_check::spot_check;
use super::swatches;
use super::totals::left;
use super::tray::{Stand, Tray};
use super::vocabulary::{Vocabulary, vocabulary};

/// Everything that a review works on.
#[derive(Debug)]
pub struct Work {
    /// The sheets.
    pub slots: Slots,
    /// Their photos.
    pub album: Album,
    /// Folder of the stock.
    pub home: PathBuf,
    /// The taught colours.
    pub book: Mutex<SwatchBook>,
    /// Whether the page is a room of the desk, to which it then leads back.
    pub desk: bool,
}

/// Why a question has no answer.
#[derive(Debug, thiserror::Error)]
pub enum ApiError {
    /// A sheet.
    #[error(transparent)]
    Slot(#[from] SlotError),
    /// A photo.
    #[error(transparent)]
    Album(#[from] AlbumError),
    /// The stock.
    #[error(transparent)]
    Finish(#[from] FinishError),
    /// A thing that is to be named.
    #[error(transparent)]
    Copies(#[from] NoCopies),
    /// The user's list of shapes.
    #[error(transparent)]
    Shapes(#[from] OwnShapesError),
    /// The clock.
    #[error(transparent)]
    Stamp(#[from] StampError),
    /// No question of this page.
    #[error("the page asked something that this program does not know ({0}); load the page again")]
    Question(String),
}

impl From<Refused> for ApiError {
    fn from(refused: Refused) -> Self {
        Self::Slot(refused.into())
    }
}

impl From<serde_json::Error> for ApiError {
    fn from(error: serde_json::Error) -> Self {
        Self::Question(fit_to_show(&error.to_string()))
    }
}

impl ApiError {
    /// Whether the page shows an older state of the sheet.
    pub fn is_stale(&self) -> bool {
        matches!(
            self,
            Self::Slot(SlotError::Stale) | Self::Finish(FinishError::Slot(SlotError::Stale))
        )
    }
}

/// What the page begins with.
#[derive(Debug, Serialize)]
struct Start {
    program: &'static str,
    vocabulary: Vocabulary,
    sheets: Vec<Line>,
    desk: bool,
}

/// One sheet in the list of all.
#[derive(Debug, Serialize)]
pub struct Line {
    /// The photo's file name.
    pub file: String,
    /// Where the pieces live.
    pub place: Option<String>,
    /// How much is left to look at, unexplained places with it.
    pub left: usize,
    /// Whether a person has finished with it.
    pub checked: bool,
    /// Where it stands towards the stock.
    pub standing: finish::Standing,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Change {
    version: String,
    correction: Correction,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct At {
    version: String,
}

/// What the page asks to write.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verb {
    /// A correction.
    Correct,
    /// Back one.
    Undo,
    /// Forward one.
    Redo,
}

impl Work {
    /// What the page begins with, as JSON.
    ///
    /// # Errors
    /// When a sheet or the stock cannot be read.
    pub fn start(&self) -> Result<Vec<u8>, ApiError> {
        Ok(serde_json::to_vec(&Start {
            program: concat!("cuptally ", env!("CARGO_PKG_VERSION")),
            vocabulary: vocabulary(self.slots.shapes()),
            sheets: self.lines()?,
            desk: self.desk,
        })?)
    }

    /// Every sheet on a line.
    ///
    /// # Errors
    /// When a sheet or the stock cannot be read.
    pub fn lines(&self) -> Result<Vec<Line>, ApiError> {
        let line = |index: usize| {
            self.slots.with(index, |slot| {
                slot.refresh()?;
                let Ending { standing, .. } = finish::ending(slot, &self.home)?;
                let (pieces, spots) = left(&slot.sheet);
                Ok(Line {
                    file: slot.sheet.photos.first.file.clone(),
                    place: slot.sheet.place.clone(),
                    left: pieces + spots,
                    checked: slot.sheet.checked,
                    standing,
                })
            })
        };
        (0..self.slots.len()).map(line).collect()
    }

    /// A sheet, as JSON.
    ///
    /// # Errors
    /// When it or the stock cannot be read.
    pub fn sheet(&self, index: usize) -> Result<Vec<u8>, ApiError> {
        self.slots.with(index, |slot| {
            slot.refresh()?;
            finish::ending(slot, &self.home)?;
            self.tell(slot)
        })
    }

    /// Which state of a sheet lies on the disk, as JSON.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn version(&self, index: usize) -> Result<Vec<u8>, ApiError> {
        self.slots.with(index, |slot| {
            slot.refresh()?;
            Ok(serde_json::to_vec(
                &serde_json::json!({ "version": slot.version() }),
            )?)
        })
    }

    /// Changes a sheet and gives it as it then lies on the disk.
    ///
    /// # Errors
    /// When it cannot be done or written; nothing has changed then.
    pub fn write(&self, index: usize, verb: Verb, body: &[u8]) -> Result<Vec<u8>, ApiError> {
        self.slots.with(index, |slot| {
            match verb {
                Verb::Correct => {
                    let change: Change = serde_json::from_slice(body)?;
                    let stamp = Stamp::in_home(&self.home)?;
                    slot.correct(&change.version, &change.correction, &stamp)?;
                }
                Verb::Undo => slot.undo(&serde_json::from_slice::<At>(body)?.version)?,
                Verb::Redo => slot.redo(&serde_json::from_slice::<At>(body)?.version)?,
            }
            self.tell(slot)
        })
    }

    fn tell(&self, slot: &Slot) -> Result<Vec<u8>, ApiError> {
        // A panic while it was held changed nothing.
        let book = self.book.lock().unwrap_or_else(PoisonError::into_inner);
        Ok(serde_json::to_vec(&shown(slot, &book))?)
    }

    /// What can be said at the end of a sheet, as JSON.
    ///
    /// # Errors
    /// When the stock cannot be read.
    pub fn ending(&self, index: usize) -> Result<Vec<u8>, ApiError> {
        self.slots.with(index, |slot| {
            let mut ending = finish::ending(slot, &self.home)?;
            ending.learn = feed::offer(&self.home, &slot.sheet);
            // A record that cannot be used is told of where it is used; without one nothing is asked.
            if let (None, Ok(record)) = (slot.posted, record::read(&self.home)) {
                ending.spot_check = spot_check(&slot.sheet, &record);
            }
            Ok(serde_json::to_vec(&ending)?)
        })
    }

    /// Ends a sheet; gives what was done, and every sheet's line.
    ///
    /// # Errors
    /// As [`finish::finish`].
    pub fn finish(&self, index: usize, body: &[u8]) -> Result<Vec<u8>, ApiError> {
        let wish: Wish = serde_json::from_slice(body)?;
        let stamp = Stamp::in_home(&self.home)?;
        let done = self.slots.with(index, |slot| {
            finish::finish(slot, &self.home, &wish, &stamp).map_err(ApiError::from)
        })?;
        // What was learned is offered as a name at once; what cannot be read is told where it is used.
        if let (Some(_), Ok(book)) = (wish.learn, swatches::read(&self.home)) {
            *self.book.lock().unwrap_or_else(PoisonError::into_inner) = book;
        }
        let answer = serde_json::json!({ "done": done, "sheets": self.lines()? });
        Ok(serde_json::to_vec(&answer)?)
    }

    /// Proposes the piece that a dragged rectangle means, with its outline.
    ///
    /// # Errors
    /// When it is off the tray, or the sheet has none.
    pub fn snap(&self, index: usize, body: &[u8]) -> Result<Vec<u8>, ApiError> {
        let drag: Drag = serde_json::from_slice(body)?;
        self.slots.with(index, |slot| {
            // Without the photo the rectangle alone speaks.
            let photo = self
                .album
                .photo((index, 1), &slot.path, &slot.sheet.photos.first)
                .ok();
            let tray = slot.tray.as_ref().ok_or(Refused::NoTray)?;
            let pixels = photo.as_ref().map(|photo| &photo.pixels);
            let draft = snap(&slot.sheet, tray, pixels, drag).ok_or(Refused::Outside)?;
            outlined(slot, &draft)
        })
    }

    /// A thing that fits no listed shape: without a name, what was traced of it and its copies; with one, its shape is put into
    /// the user's list, its copies onto the sheet, and the sheet told as it then lies on the disk.
    ///
    /// # Errors
    /// When it cannot be traced or listed, or nothing can be written; the sheet is then as before.
    pub fn thing(&self, index: usize, body: &[u8]) -> Result<Vec<u8>, ApiError> {
        let thing: Thing = serde_json::from_slice(body)?;
        let (path, photo, targets) = self.slots.with(index, |slot| {
            slot.require_open()?;
            let sheet = &slot.sheet;
            let targets = self.album.targets(sheet);
            Ok::<_, ApiError>((slot.path.clone(), sheet.photos.first.clone(), targets))
        })?;
        let photo = self.album.photo((index, 1), &path, &photo)?;
        let scene = photo.scene(&targets)?;
        self.slots.with(index, |slot| {
            slot.refresh()?;
            if slot.version() != thing.version {
                return Err(SlotError::Stale.into());
            }
            let found = copies(&slot.sheet, &scene, &thing)?;
            let shapes = match &thing.name {
                Some(_) => own_shapes::with(&self.home, &found.entry)?,
                // While it has no name no shape of the user's is in its way.
                None => own_shapes::alone(&found.entry)?,
            };
            let tray = Tray::of(&slot.sheet, shapes).ok_or(Refused::NoTray)?;
            if thing.name.is_none() {
                return Ok(serde_json::to_vec(&found.shown(&slot.sheet, &tray)?)?);
            }
            let colour =
                |piece: &Piece| read_colour(&slot.sheet, &tray, &photo.pixels, &Stand::of(piece));
            let step = found.step(&slot.sheet, &tray, &colour)?;
            let stamp = Stamp::in_home(&self.home)?;
            // First the list: pieces of a shape that it lacks could not be drawn.
            let (shapes, _) = own_shapes::keep(&self.home, &found.entry)?;
            self.slots.take_shapes(shapes);
            slot.take_shapes(shapes);
            slot.take_step(&thing.version, step, &stamp)?;
            self.tell(slot)
        })
    }

    /// The outline of a piece that is being placed.
    ///
    /// # Errors
    /// When there is no such piece, or it is off the tray.
    pub fn outline(&self, index: usize, body: &[u8]) -> Result<Vec<u8>, ApiError> {
        let draft: Draft = serde_json::from_slice(body)?;
        self.slots.with(index, |slot| outlined(slot, &draft))
    }

    /// The ways to cut a piece, as JSON.
    ///
    /// # Errors
    /// When there is no such piece.
    pub fn cuts(&self, index: usize, id: u32) -> Result<Vec<u8>, ApiError> {
        self.slots.with(index, |slot| {
            let piece = slot.sheet.pieces.iter().find(|piece| piece.id == id);
            let piece = piece.ok_or(Refused::NoPiece(id))?;
            let told = cuts(piece, self.slots.shapes()).into_iter().map(|cut| {
                let drawn = slot.tray.as_ref().map(|tray| outlines(tray, piece, &cut));
                let sizes = cut.parts.map(|part| part.size);
                serde_json::json!({ "sizes": sizes, "outlines": drawn })
            });
            Ok(serde_json::to_vec(&told.collect::<Vec<_>>())?)
        })
    }

    /// A photo of a sheet, by its number from 1, as JPEG, its longer side at most `long_side` px.
    ///
    /// # Errors
    /// When the sheet has no such photo, or it is not there, is another, or cannot be packed.
    pub fn photo(&self, of: (usize, u32), long_side: u32) -> Result<Vec<u8>, ApiError> {
        Ok(self.upright_photo(of)?.jpeg(long_side)?.to_vec())
    }

    /// A part of a photo as JPEG: left, top, width, height in px.
    ///
    /// # Errors
    /// As [`Work::photo`].
    pub fn crop(&self, of: (usize, u32), area: [u32; 4]) -> Result<Vec<u8>, ApiError> {
        Ok(self.upright_photo(of)?.crop(area)?)
    }

    fn upright_photo(&self, (index, number): (usize, u32)) -> Result<Arc<Upright>, ApiError> {
        let (path, photo) = self.slots.with(index, |slot| {
            let photo = slot.sheet.photos.by_number(number).cloned();
            Ok::<_, SlotError>((slot.path.clone(), photo))
        })?;
        let photo = photo.ok_or_else(|| ApiError::Question(format!("for photo {number}")))?;
        Ok(self.album.photo((index, number), &path, &photo)?)
    }

    /// A piece cut out upright, its colours as in daylight, as JPEG; `look` is that of the piece as the page shows it.
    ///
    /// # Errors
    /// As [`Work::photo`], when there is no such piece that could be laid beside others, or its card cannot be read.
    pub fn upright(&self, index: usize, id: u32, look: &str) -> Result<Vec<u8>, ApiError> {
        let (path, photo, targets, camera, cut) = self.slots.with(index, |slot| {
            let sheet = &slot.sheet;
            let tray = slot.tray.as_ref().ok_or(Refused::NoTray)?;
            let as_shown = |piece: &&Piece| piece.id == id && look_of(piece) == look;
            let cut = sheet.pieces.iter().find(as_shown);
            let cut = cut.and_then(|piece| Cut::of(piece, tray.camera()));
            let cut = cut.ok_or(Refused::NoPiece(id))?;
            let targets = self.album.targets(sheet);
            let camera = tray.camera().clone();
            Ok::<_, SlotError>((
                slot.path.clone(),
                sheet.photos.first.clone(),
                targets,
                camera,
                cut,
            ))
        })?;
        let photo = self.album.photo((index, 1), &path, &photo)?;
        let bytes = photo.piece(look, &targets, &camera, &cut)?;
        Ok(bytes.to_vec())
    }
}

fn outlined(slot: &Slot, draft: &Draft) -> Result<Vec<u8>, ApiError> {
    let tray = slot.tray.as_ref().ok_or(Refused::NoTray)?;
    let outline = tray
        .outline(&draft.stand())
        .ok_or_else(|| Refused::NoShape {
            form: draft.form.clone(),
            size: draft.size.clone(),
        })?;
    let answer = serde_json::json!({ "piece": draft, "outline_px": outline });
    Ok(serde_json::to_vec(&answer)?)
}
