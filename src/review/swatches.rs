//! The taught colours, as they lie in the home folder (`calibration/swatches.json`).

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use crate::colour::{SwatchBook, SwatchError};
use crate::stock::durable;
use crate::stock::lock::{Lock, LockError};
use crate::stock::reader::{self, CALIBRATION, ReadError};

/// Why taught colours were not read or kept.
#[derive(Debug, thiserror::Error)]
pub enum SwatchFileError {
    /// They cannot be read, or are no ordinary file.
    #[error(transparent)]
    Read(#[from] ReadError),
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
    /// The system does not let them be written.
    #[error("cannot write {}: {cause}; free the space, change the folder's rights, or name another --home", .path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
    /// Another program keeps them.
    #[error(transparent)]
    Lock(#[from] LockError),
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
    match reader::text_if_there(&path, CALIBRATION)? {
        Some(text) => {
            SwatchBook::from_json(&text).map_err(|cause| SwatchFileError::Unusable { path, cause })
        }
        None => Ok(SwatchBook::default()),
    }
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
    let fault = |cause| SwatchFileError::Write {
        path: path.clone(),
        cause,
    };
    fs::create_dir_all(durable::folder_of(&path)).map_err(fault)?;
    let lock = path.with_extension("json.lock");
    let _lock = Lock::take(&lock, &mut || {}).map_err(SwatchFileError::from)?;
    let before = read(home)?;
    let mut book = before.clone();
    let done = change(&mut book)?;
    if book != before {
        let mut text = book.to_json().map_err(SwatchFileError::from)?;
        text.push('\n');
        let target = durable::resolve(&path).map_err(fault)?;
        durable::sweep(&target).map_err(fault)?;
        durable::replace(&target, text.as_bytes()).map_err(fault)?;
    }
    Ok(done)
}
