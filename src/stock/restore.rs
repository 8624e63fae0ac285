//! Going back to the last good copy when the stock file is damaged or gone.

use super::check::{self, Difference};
use super::durable;
use super::file::{FileError, StockFile, beside};
use super::format::{self, FormatError};
use super::lock::Lock;
use super::model::Stock;
use super::reader;
use jiff::Timestamp;
use std::fs;
use std::path::{Path, PathBuf};

/// Damaged files that are kept beside the stock; more than that is a fault of its own.
const MOST_KEPT: u32 = 99;

/// A good copy beside a stock file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Copy {
    /// The file.
    pub path: PathBuf,
    /// How many entries its history has.
    pub entries: usize,
    /// When the last of them was made.
    pub time: Option<Timestamp>,
}

/// What was put back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Restored {
    /// The copy that is the stock now.
    pub copy: Copy,
    /// Where the damaged file is kept; none when there was none.
    pub damaged: Option<PathBuf>,
}

/// The last good copy of a stock file, if there is one. Good means that it can be
/// read and follows from its history.
pub(super) fn last_good(target: &Path) -> Option<(Copy, Vec<u8>)> {
    let path = beside(target, "last");
    let bytes = reader::bytes(&path, reader::STOCK).ok()?;
    let stock = format::parse(&bytes).ok()?;
    if !check::differences(&stock).is_empty() {
        return None;
    }
    let copy = Copy {
        path,
        entries: stock.history.len(),
        time: stock.history.last().map(|entry| entry.time),
    };
    Some((copy, bytes))
}

impl StockFile {
    /// Puts the last good copy in place of a stock file that is damaged or gone. The
    /// damaged file is kept beside it under another name.
    ///
    /// # Errors
    /// When the file is good after all, there is no good copy, or the folder cannot
    /// be written; nothing has changed then.
    pub fn restore(&self, waiting: &mut dyn FnMut()) -> Result<Restored, RestoreError> {
        let target = self.target()?;
        if !durable::folder_of(&target).is_dir() {
            return Err(self.absent().into());
        }
        let _lock = Lock::take(&beside(&target, "lock"), waiting).map_err(FileError::from)?;
        let unwritable = |cause| RestoreError::from(self.unwritable(cause));
        durable::sweep(&target).map_err(unwritable)?;
        let path = || self.path().to_owned();
        let damaged = match reader::bytes(&target, reader::STOCK) {
            Err(error) if error.is_absent() => None,
            Err(error) => return Err(FileError::from(error).into()),
            Ok(bytes) => match format::parse(&bytes) {
                Ok(stock) if is_usable(&stock) => return Err(RestoreError::Good(path())),
                Err(cause @ FormatError::Version { .. }) => {
                    return Err(FileError::Version {
                        path: path(),
                        cause,
                    }
                    .into());
                }
                _ => Some(bytes),
            },
        };
        let Some((copy, good)) = last_good(&target) else {
            return Err(RestoreError::NoCopy {
                path: path(),
                last: beside(&target, "last"),
            });
        };
        let kept = match &damaged {
            None => None,
            Some(bytes) => {
                let name = free_name(&target).ok_or_else(|| RestoreError::TooMany(path()))?;
                let prepared = durable::prepare(&name, bytes, &target).map_err(unwritable)?;
                Some((name, prepared))
            }
        };
        let new = durable::prepare(&target, &good, &copy.path).map_err(unwritable)?;
        let mut damaged = None;
        if let Some((name, prepared)) = kept {
            prepared.commit().map_err(unwritable)?;
            damaged = Some(name);
        }
        new.commit().map_err(unwritable)?;
        durable::flush_folder(&target).map_err(|cause| FileError::Unflushed {
            path: path(),
            cause,
        })?;
        Ok(Restored { copy, damaged })
    }
}

/// Numbers changed by hand can be put right by either side; a broken history cannot.
fn is_usable(stock: &Stock) -> bool {
    let differences = check::differences(stock);
    !differences
        .iter()
        .any(|difference| matches!(difference, Difference::History(..)))
}

fn free_name(target: &Path) -> Option<PathBuf> {
    (1..=MOST_KEPT)
        .map(|number| beside(target, &format!("damaged-{number}")))
        .find(|path| fs::symlink_metadata(path).is_err())
}

/// Why no copy was put back.
#[derive(Debug, thiserror::Error)]
pub enum RestoreError {
    /// Nothing to mend.
    #[error("the stock file {} can be read, so nothing was changed; to go back a step use `cuptally stock undo`, and see `cuptally stock check`", .0.display())]
    Good(PathBuf),
    /// Nothing to go back to.
    #[error("there is no good copy {} of the stock file {}; put the file right by hand, or move it away to begin anew", .last.display(), .path.display())]
    NoCopy {
        /// The stock file.
        path: PathBuf,
        /// Where the copy would be.
        last: PathBuf,
    },
    /// Too many damaged files beside it.
    #[error("beside the stock file {} lie {MOST_KEPT} damaged ones already; move them away first", .0.display())]
    TooMany(PathBuf),
    /// The file itself.
    #[error(transparent)]
    File(#[from] FileError),
}
