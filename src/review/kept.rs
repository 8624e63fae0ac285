//! A file of the calibration folder that several processes may change: one after the other, each in one step.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use crate::stock::durable;
use crate::stock::lock::{Lock, LockError};
use crate::stock::reader::{self, CALIBRATION, ReadError};

/// Why such a file was not read or changed.
#[derive(Debug, thiserror::Error)]
pub enum KeptError {
    /// It cannot be read, or is no ordinary file.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The system does not let it be written.
    #[error("cannot write {}: {cause}; free the space, change the folder's rights, or name another --home", .path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
    /// Another program keeps it.
    #[error(transparent)]
    Lock(#[from] LockError),
}

/// What is in it; none where there is no such file.
///
/// # Errors
/// When it is there but cannot be read.
pub fn read(path: &Path) -> Result<Option<String>, KeptError> {
    Ok(reader::text_if_there(path, CALIBRATION)?)
}

/// Changes what is in it by now, alone, and writes it in one step; nothing is written where the change gives no text.
/// When it fails the file is as it was. `or` makes a caller's error of one of the file's.
///
/// # Errors
/// When it cannot be read or written, or the change says so.
pub fn change<T, E>(
    path: &Path,
    or: impl Fn(KeptError) -> E,
    change: impl FnOnce(Option<String>) -> Result<(Option<String>, T), E>,
) -> Result<T, E> {
    let fault = |cause| {
        or(KeptError::Write {
            path: path.to_owned(),
            cause,
        })
    };
    fs::create_dir_all(durable::folder_of(path)).map_err(fault)?;
    let _lock = lock(path).map_err(&or)?;
    let (text, done) = change(read(path).map_err(&or)?)?;
    if let Some(mut text) = text {
        text.push('\n');
        let target = durable::resolve(path).map_err(fault)?;
        durable::sweep(&target).map_err(fault)?;
        durable::replace(&target, text.as_bytes()).map_err(fault)?;
    }
    Ok(done)
}

/// Takes it away, alone; says whether it was there.
///
/// # Errors
/// When the system does not allow it.
pub fn remove(path: &Path) -> Result<bool, KeptError> {
    if !path.exists() {
        return Ok(false);
    }
    let _lock = lock(path)?;
    let removed = fs::remove_file(path).and_then(|()| durable::flush_folder(path));
    match removed {
        Err(cause) if cause.kind() == io::ErrorKind::NotFound => Ok(false),
        Err(cause) => Err(KeptError::Write {
            path: path.to_owned(),
            cause,
        }),
        Ok(()) => Ok(true),
    }
}

fn lock(path: &Path) -> Result<Lock, KeptError> {
    Ok(Lock::take(&path.with_extension("json.lock"), &mut || {})?)
}
