//! One writer at a time: an exclusive lock on a file of its own.
//!
//! Its own, because the stock file is replaced at each writing and a lock on it
//! would stay with the old one. The file stays when the lock goes: removing it
//! would let two processes each lock one of the same name.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, Instant};

/// How long to wait for another process. A writing takes some tens of
/// milliseconds, so by then it is stuck rather than busy.
const PATIENCE: Duration = Duration::from_secs(60);

/// Between two tries.
const PAUSE: Duration = Duration::from_millis(10);

/// Waits shorter than this are not worth a word.
const QUIET: Duration = Duration::from_secs(2);

/// The lock; it goes when this is dropped or the process ends, however it ends.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

impl Lock {
    /// Takes the lock, waiting for another process if need be. `waiting` is called
    /// once when that takes long.
    ///
    /// # Errors
    /// When the lock file cannot be made or locked, or another process keeps it.
    pub fn take(path: &Path, waiting: &mut dyn FnMut()) -> Result<Self, LockError> {
        let fault = |cause| LockError::Io {
            path: path.to_owned(),
            cause,
        };
        let start = Instant::now();
        let mut said = false;
        loop {
            let file = OpenOptions::new()
                .read(true)
                .write(true)
                .create(true)
                .truncate(false)
                .open(path)
                .map_err(fault)?;
            match file.try_lock() {
                Ok(()) if is_still_there(&file, path) => return Ok(Self { _file: file }),
                Ok(()) | Err(TryLockError::WouldBlock) => {}
                Err(TryLockError::Error(cause)) => return Err(fault(cause)),
            }
            let waited = start.elapsed();
            if waited > PATIENCE {
                return Err(LockError::Busy {
                    path: path.to_owned(),
                });
            }
            if waited > QUIET && !said {
                said = true;
                waiting();
            }
            thread::sleep(PAUSE);
        }
    }
}

/// Whether the file that was locked is still the one of that name: somebody may
/// have tidied it away between opening and locking.
#[cfg(unix)]
fn is_still_there(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    match (file.metadata(), fs::metadata(path)) {
        (Ok(held), Ok(named)) => (held.dev(), held.ino()) == (named.dev(), named.ino()),
        _ => false,
    }
}

#[cfg(not(unix))]
fn is_still_there(_file: &File, path: &Path) -> bool {
    fs::metadata(path).is_ok()
}

/// Why the lock was not had.
#[derive(Debug, thiserror::Error)]
pub enum LockError {
    /// The lock file cannot be made or locked.
    #[error("cannot lock {}: {cause}; see that the folder can be written to", .path.display())]
    Io {
        /// The lock file.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
    /// Another process keeps it.
    #[error("another cuptally has been writing for {} seconds (it holds {}); see whether it hangs, then try again", PATIENCE.as_secs(), .path.display())]
    Busy {
        /// The lock file.
        path: PathBuf,
    },
}
