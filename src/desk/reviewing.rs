//! The review page within the desk: its sheets are those of the home folder.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use crate::pieces::Shapes;
use crate::pipeline::Targets;
use crate::review::api::Work;
use crate::review::photos::Album;
use crate::review::routes::Review;
use crate::review::slots::{Slot, SlotError, Slots};
use crate::review::swatches;

/// What the home folder says that a review needs, read anew each time.
#[derive(Clone, Copy, Debug)]
pub struct Home {
    /// The shapes that pieces may have.
    pub shapes: fn(&Path) -> Result<Shapes, String>,
    /// The measured copy of the card, where there is one.
    pub printed: fn(&Path) -> Option<Targets>,
}

/// Why a sheet cannot be looked at.
#[derive(Debug, thiserror::Error)]
pub enum NoReview {
    /// The home folder.
    #[error("{0}")]
    Home(String),
    /// The sheet.
    #[error(transparent)]
    Sheet(#[from] SlotError),
    /// The taught colours.
    #[error(transparent)]
    Swatches(#[from] swatches::SwatchFileError),
}

/// The sheets that are being looked at. A number once given stays, as a second window may show it, for as long as the
/// sheets before it can be read.
pub struct Reviewing {
    review: Arc<Review>,
    paths: Mutex<Vec<PathBuf>>,
    home: Home,
    folder: PathBuf,
}

impl Reviewing {
    /// None yet, in this home folder.
    ///
    /// # Errors
    /// When the home folder cannot be used.
    pub fn new(folder: &Path, home: Home) -> Result<Self, NoReview> {
        let work = work(folder, home, &[])?;
        Ok(Self {
            // Its end leads back to the desk, which ends for itself.
            review: Arc::new(Review::new(work, || {})),
            paths: Mutex::default(),
            home,
            folder: folder.to_owned(),
        })
    }

    /// The review, for its routes.
    pub fn review(&self) -> Arc<Review> {
        Arc::clone(&self.review)
    }

    /// Takes sheets up, and gives the number of the first.
    ///
    /// # Errors
    /// When one cannot be read; then nothing has changed.
    pub fn take_up(&self, sheets: &[PathBuf]) -> Result<usize, NoReview> {
        let mut paths = self.paths.lock().unwrap_or_else(PoisonError::into_inner);
        let mut all = paths.clone();
        all.extend(sheets.iter().filter(|path| !paths.contains(path)).cloned());
        // One that went meanwhile is left out.
        let shapes = (self.home.shapes)(&self.folder).map_err(NoReview::Home)?;
        all.retain(|path| sheets.contains(path) || Slot::open(path, shapes).is_ok());
        self.review.go_on_with(work(&self.folder, self.home, &all)?);
        *paths = all;
        let first = sheets
            .first()
            .and_then(|first| paths.iter().position(|path| path == first));
        Ok(first.unwrap_or(0))
    }
}

fn work(folder: &Path, home: Home, paths: &[PathBuf]) -> Result<Work, NoReview> {
    let shapes = (home.shapes)(folder).map_err(NoReview::Home)?;
    Ok(Work {
        slots: Slots::open(paths, shapes)?,
        album: Album::new(
            Some(folder.join(super::state::PHOTOS)),
            (home.printed)(folder),
        ),
        home: folder.to_owned(),
        book: Mutex::new(swatches::read(folder)?),
        desk: true,
    })
}
