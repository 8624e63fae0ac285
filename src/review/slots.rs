//! The sheets in work, as they lie on the disk.
//!
//! The file is the truth. Each change reads it, sees that it is still the one that
//! the page shows, and replaces it in one step, all under a lock on the file: so
//! neither a second window nor a second program loses anything.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError, RwLock};

use sha2::{Digest, Sha256};

use crate::pieces::Shapes;
use crate::sheet::Sheet;
use crate::sheet::review::Step;
use crate::stock::Stamp;
use crate::stock::durable;
use crate::stock::inbox::{self, InboxError};
use crate::stock::lock::{Lock, LockError};
use crate::stock::reader::ReadError;

use super::correction::{Correction, Refused};
use super::history;
use super::lines;
use super::resolve::{Unsigned, resolve};
use super::tray::Tray;

/// Why a sheet was not read or changed.
#[derive(Debug, thiserror::Error)]
pub enum SlotError {
    /// It cannot be read.
    #[error(transparent)]
    Read(#[from] InboxError),
    /// It is not as the page shows it.
    #[error(
        "the sheet was changed elsewhere meanwhile; it is shown anew, and your last step was not taken"
    )]
    Stale,
    /// It cannot be done.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// There is nothing to undo or redo.
    #[error("there is nothing to {0}")]
    NoStep(&'static str),
    /// The system does not let it be written.
    #[error("cannot write {}: {cause}; nothing was changed: free the space or change the folder's rights", .path.display())]
    Write {
        /// The sheet.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
    /// Another program keeps it.
    #[error(transparent)]
    Lock(#[from] LockError),
    /// It would not be readable.
    #[error("the sheet could not be put into words ({0}); nothing was changed")]
    Garbled(#[from] serde_json::Error),
    /// No such sheet.
    #[error("there is no sheet of that number here; load the page again")]
    NoSheet,
}

/// One sheet in work.
#[derive(Debug)]
pub struct Slot {
    /// The file, as the user named it.
    pub path: PathBuf,
    /// The file itself, past symbolic links.
    target: PathBuf,
    /// What is in it.
    pub sheet: Sheet,
    /// Its camera, where its card tells one.
    pub tray: Option<Tray>,
    shapes: Shapes,
    /// The stock entry that holds it as checked; then it is not changed any more.
    pub posted: Option<u64>,
    bytes: Vec<u8>,
    version: String,
}

impl Slot {
    /// Opens a sheet file.
    ///
    /// # Errors
    /// When it cannot be read or is no sheet.
    pub fn open(path: &Path, shapes: Shapes) -> Result<Self, SlotError> {
        let target = durable::resolve(path)
            .map_err(|cause| InboxError::from(ReadError::unreadable(path, cause)))?;
        let sheet = inbox::read_sheet(path)?;
        let mut slot = Self {
            path: path.to_owned(),
            target,
            tray: Tray::of(&sheet, shapes),
            shapes,
            sheet,
            posted: None,
            bytes: Vec::new(),
            version: String::new(),
        };
        slot.refresh()?;
        Ok(slot)
    }

    /// The shapes that its pieces may have.
    pub fn shapes(&self) -> Shapes {
        self.shapes
    }

    /// Goes on with a list that has grown.
    pub fn take_shapes(&mut self, shapes: Shapes) {
        if !self.shapes.is(shapes) {
            self.shapes = shapes;
            self.tray = Tray::of(&self.sheet, shapes);
        }
    }

    /// Which state of the file this is: the beginning of its SHA-256.
    pub fn version(&self) -> &str {
        &self.version
    }

    /// Reads the file again where another program changed it.
    ///
    /// # Errors
    /// When it can no longer be read; what was read last stays.
    pub fn refresh(&mut self) -> Result<(), SlotError> {
        let bytes = inbox::read_bytes(&self.path)?;
        if bytes != self.bytes {
            self.sheet = inbox::read_sheet(&self.path)?;
            self.tray = Tray::of(&self.sheet, self.shapes);
            self.take(bytes);
        }
        Ok(())
    }

    fn take(&mut self, bytes: Vec<u8>) {
        let digest = Sha256::digest(&bytes);
        self.version = digest.iter().take(8).map(|b| format!("{b:02x}")).collect();
        self.bytes = bytes;
    }

    /// Changes the sheet, if it is still of that version, and writes it: when this
    /// returns, the change is on the disk. When it fails the file is as it was.
    ///
    /// # Errors
    /// When the sheet is another by now, the change is refused, or it cannot be written.
    pub fn change<E: From<SlotError>>(
        &mut self,
        version: &str,
        change: impl FnOnce(&mut Sheet, Option<&Tray>) -> Result<(), E>,
    ) -> Result<(), E> {
        // Else the lock would make an empty file where the sheet was.
        inbox::read_bytes(&self.path).map_err(SlotError::from)?;
        let _lock = Lock::take(&self.target, &mut || {}).map_err(SlotError::from)?;
        self.refresh()?;
        if self.version != version {
            return Err(SlotError::Stale.into());
        }
        let mut sheet = self.sheet.clone();
        change(&mut sheet, self.tray.as_ref())?;
        let bytes = lines::to_vec(&sheet).map_err(SlotError::from)?;
        if bytes == self.bytes {
            return Ok(());
        }
        let written =
            durable::sweep(&self.target).and_then(|()| durable::replace(&self.target, &bytes));
        written.map_err(|cause| SlotError::Write {
            path: self.path.clone(),
            cause,
        })?;
        self.sheet = sheet;
        self.take(bytes);
        Ok(())
    }

    /// Carries a correction out.
    ///
    /// # Errors
    /// As [`Slot::change`].
    pub fn correct(
        &mut self,
        version: &str,
        correction: &Correction,
        stamp: &Stamp,
    ) -> Result<(), SlotError> {
        self.require_open()?;
        let shapes = self.shapes;
        self.change(version, |sheet, tray| {
            Ok(carry_out(sheet, tray, shapes, correction, stamp)?)
        })
    }

    /// Carries a step out.
    ///
    /// # Errors
    /// As [`Slot::change`].
    pub fn take_step(
        &mut self,
        version: &str,
        step: Unsigned,
        stamp: &Stamp,
    ) -> Result<(), SlotError> {
        self.require_open()?;
        self.change(version, |sheet, _| {
            sign(sheet, step, stamp);
            Ok(())
        })
    }

    /// Takes the last correction back.
    ///
    /// # Errors
    /// As [`Slot::change`], or when there is none.
    pub fn undo(&mut self, version: &str) -> Result<(), SlotError> {
        self.require_open()?;
        self.change(version, |sheet, _| match history::undo(sheet) {
            true => Ok(()),
            false => Err(SlotError::NoStep("undo")),
        })
    }

    /// Carries the correction out again that was taken back last.
    ///
    /// # Errors
    /// As [`Slot::change`], or when there is none.
    pub fn redo(&mut self, version: &str) -> Result<(), SlotError> {
        self.require_open()?;
        self.change(version, |sheet, _| match history::redo(sheet) {
            true => Ok(()),
            false => Err(SlotError::NoStep("redo")),
        })
    }

    /// Whether it can still be changed.
    ///
    /// # Errors
    /// When it is posted as checked.
    pub fn require_open(&self) -> Result<(), Refused> {
        match self.posted {
            Some(entry) => Err(Refused::Posted(entry)),
            None => Ok(()),
        }
    }
}

/// Carries a correction out on a sheet in memory.
///
/// # Errors
/// When it is refused; the sheet is then as before.
pub fn carry_out(
    sheet: &mut Sheet,
    tray: Option<&Tray>,
    shapes: Shapes,
    correction: &Correction,
    stamp: &Stamp,
) -> Result<(), Refused> {
    sign(sheet, resolve(sheet, tray, shapes, correction)?, stamp);
    Ok(())
}

/// Carries a step out that a person said.
fn sign(sheet: &mut Sheet, step: Unsigned, stamp: &Stamp) {
    history::record(
        sheet,
        Step {
            what: step.what,
            who: stamp.who.to_string(),
            time: stamp.time,
            from: step.from,
            to: step.to,
            settled: step.settled,
            count: step.count,
            place: step.place,
        },
    );
}

/// All sheets of one review.
#[derive(Debug)]
pub struct Slots {
    slots: Vec<Mutex<Slot>>,
    shapes: RwLock<Shapes>,
}

impl Slots {
    /// Opens the sheets, in order.
    ///
    /// # Errors
    /// When one of them cannot be read.
    pub fn open(paths: &[PathBuf], shapes: Shapes) -> Result<Self, SlotError> {
        let slots = (paths.iter()).map(|path| Slot::open(path, shapes).map(Mutex::new));
        Ok(Self {
            slots: slots.collect::<Result<_, _>>()?,
            shapes: RwLock::new(shapes),
        })
    }

    /// The shapes that pieces may have.
    pub fn shapes(&self) -> Shapes {
        *self.shapes.read().unwrap_or_else(PoisonError::into_inner)
    }

    /// Goes on with a list that has grown.
    pub fn take_shapes(&self, shapes: Shapes) {
        *self.shapes.write().unwrap_or_else(PoisonError::into_inner) = shapes;
    }

    /// How many sheets there are.
    pub fn len(&self) -> usize {
        self.slots.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.slots.is_empty()
    }

    /// Works on one sheet, alone.
    ///
    /// # Errors
    /// When there is no such sheet, or the work says so.
    pub fn with<T, E: From<SlotError>>(
        &self,
        index: usize,
        work: impl FnOnce(&mut Slot) -> Result<T, E>,
    ) -> Result<T, E> {
        let slot = self.slots.get(index).ok_or(SlotError::NoSheet)?;
        // A panic while it was held changed nothing: a slot changes after the disk.
        let mut slot = slot.lock().unwrap_or_else(PoisonError::into_inner);
        slot.take_shapes(self.shapes());
        work(&mut slot)
    }
}
