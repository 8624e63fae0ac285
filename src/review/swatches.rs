//! The taught colours, as they lie in the home folder (`calibration/swatches.json`).

use std::path::{Path, PathBuf};

use super::kept::{self, KeptError};
use crate::colour::{SwatchBook, SwatchError};

/// Why taught colours were not read or kept.
#[derive(Debug, thiserror::Error)]
pub enum SwatchFileError {
    /// The file cannot be read or written.
    #[error(transparent)]
    Kept(#[from] KeptError),
    /// They are damaged.
    #[error("cannot use {}: {cause}", .path.display())]
    Unusable {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        cause: SwatchError,
    },
    /// They would be.
    #[error("the colours cannot be kept: {0}")]
    Refused(#[from] SwatchError),
}

/// Where they lie.
pub fn path(home: &Path) -> PathBuf {
    home.join("calibration").join("swatches.json")
}

/// The taught colours; an empty book where none were taught yet.
///
/// # Errors
/// When the file is there but cannot be read or is damaged.
pub fn read(home: &Path) -> Result<SwatchBook, SwatchFileError> {
    let path = path(home);
    let text = kept::read(&path)?;
    book(&path, text.as_deref())
}

fn book(path: &Path, text: Option<&str>) -> Result<SwatchBook, SwatchFileError> {
    let unusable = |cause| SwatchFileError::Unusable {
        path: path.to_owned(),
        cause,
    };
    text.map_or_else(
        || Ok(SwatchBook::default()),
        |text| SwatchBook::from_json(text).map_err(unusable),
    )
}

/// Changes the taught colours as they are on the disk by now, alone, and writes them in one step; nothing
/// is written where they stay the same. When it fails they are as they were.
///
/// # Errors
/// When they cannot be read or written, or the change says so.
pub fn change<T, E: From<SwatchFileError>>(
    home: &Path,
    change: impl FnOnce(&mut SwatchBook) -> Result<T, E>,
) -> Result<T, E> {
    let path = path(home);
    let or = |error| SwatchFileError::from(error).into();
    kept::change(&path, or, |text| {
        let before = book(&path, text.as_deref())?;
        let mut after = before.clone();
        let done = change(&mut after)?;
        let text = (after != before).then(|| after.to_json()).transpose();
        Ok((text.map_err(SwatchFileError::from)?, done))
    })
}
