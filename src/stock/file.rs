//! The stock file on disk: `HOME/stock.json`.
//!
//! | file | what |
//! |---|---|
//! | `stock.json` | the stock; may be a symbolic link, which stays one |
//! | `stock.json.last` | the copy before the last change, always a good one |
//! | `stock.json.v1`, `stock.json.v2` | the file before it was brought to a newer version; may be removed |
//! | `stock.json.damaged-1` | a damaged file that was put aside; may be removed |
//! | `stock.json.lock` | locked while a process reads, changes and writes |
//! | `.stock.json.*.tmp` | unfinished; swept by the next writer |
//!
//! Reading takes no lock: the file is replaced in one step, so it is always whole.

use super::check::{self, Difference};
use super::durable;
use super::format::{self, FormatError, Version};
use super::lock::{Lock, LockError};
use super::model::{Contents, Stock};
use super::reader::{self, ReadError};
use super::restore;
use super::why::why;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Where a stock lies.
#[derive(Clone, Debug)]
pub struct StockFile {
    path: PathBuf,
}

/// The file as it was read.
struct Old {
    bytes: Vec<u8>,
    version: Version,
}

/// The stock as it was read.
struct Before {
    contents: Contents,
    entries: usize,
}

/// The new file. Nothing replaces a good file that could not be read back.
fn text(old: Option<&Old>, before: Option<Before>, stock: &Stock) -> Result<Vec<u8>, FormatError> {
    let old = old.filter(|old| old.version == Version::NEWEST);
    if let (Some(old), Some(Before { contents, entries })) = (old, before)
        && let Some(new) = format::append(&old.bytes, &contents, entries, stock)?
    {
        return Ok(new);
    }
    let new = format::write(stock)?;
    if format::parse(&new)? != *stock {
        return Err(FormatError::Write("it would not read back the same".into()));
    }
    Ok(new)
}

/// What a change needs of the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// Brings pieces: makes folder and file if there are none.
    Bring,
    /// Amends what is there: there must be a file.
    Amend,
    /// As `Amend`, and contents that do not follow from the history are let pass.
    Repair,
    /// As `Bring`, and the history may be another one afterwards. For all others it
    /// is the old one, perhaps with new entries after it.
    Replace,
}

impl StockFile {
    /// The file's name in its folder.
    pub const NAME: &str = "stock.json";

    /// The stock file of a home folder.
    pub fn in_home(home: &Path) -> Self {
        Self {
            path: home.join(Self::NAME),
        }
    }

    /// A stock file of any name; a folder stands for the file of the usual name in it.
    pub fn at(path: &Path) -> Self {
        if path.is_dir() {
            return Self::in_home(path);
        }
        Self {
            path: path.to_owned(),
        }
    }

    /// The file, as the user named it.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether `path` is the stock file or one of those beside it, which nothing
    /// else may write.
    pub fn owns(&self, path: &Path) -> bool {
        let real = |path: &Path| {
            let path = durable::resolve(path).unwrap_or_else(|_| path.to_owned());
            let folder = fs::canonicalize(durable::folder_of(&path)).ok();
            folder.zip(path.file_name().map(ToOwned::to_owned))
        };
        let Ok(target) = durable::resolve(&self.path) else {
            return false;
        };
        let path = real(path);
        path.is_some()
            && [
                target.clone(),
                beside(&target, "last"),
                beside(&target, "lock"),
                beside(&target, Version::V1.as_str()),
                beside(&target, Version::V2.as_str()),
            ]
            .iter()
            .any(|own| real(own) == path)
    }

    /// Reads the stock; none when there is no file yet.
    ///
    /// # Errors
    /// When the file cannot be read or is no good.
    pub fn read(&self) -> Result<Option<Stock>, FileError> {
        let target = self.target()?;
        Ok(self.load(&target)?.map(|(stock, _)| stock))
    }

    /// Reads the stock, lets `change` work on it, and writes it if that changed it:
    /// all under the lock, so that two processes never lose each other's changes.
    /// `waiting` is called once if another process takes long. When `change` fails
    /// nothing is written.
    ///
    /// # Errors
    /// When the file cannot be locked, read or written, or `change` says so.
    pub fn update<T, E: From<FileError>>(
        &self,
        purpose: Purpose,
        waiting: &mut dyn FnMut(),
        change: impl FnOnce(&mut Stock) -> Result<T, E>,
    ) -> Result<T, E> {
        let target = self.target()?;
        let folder = durable::folder_of(&target);
        let makes = matches!(purpose, Purpose::Bring | Purpose::Replace);
        if makes {
            fs::create_dir_all(folder).map_err(|cause| FileError::Folder {
                path: folder.to_owned(),
                cause,
            })?;
        } else if !folder.is_dir() {
            return Err(self.absent().into());
        }
        let _lock = Lock::take(&beside(&target, "lock"), waiting).map_err(FileError::from)?;
        durable::sweep(&target).map_err(|cause| self.unwritable(cause))?;
        let (mut stock, old) = match self.load(&target)? {
            Some((stock, old)) => (stock, Some(old)),
            None if makes => (Stock::default(), None),
            None => return Err(self.absent().into()),
        };
        if purpose != Purpose::Repair {
            self.require_agreement(&stock)?;
        }
        let before = Before {
            contents: stock.contents.clone(),
            entries: stock.history.len(),
        };
        let result = change(&mut stock)?;
        let before = Some(before).filter(|_| purpose != Purpose::Replace);
        self.save(&target, old.as_ref(), before, &stock)?;
        Ok(result)
    }

    pub(super) fn target(&self) -> Result<PathBuf, FileError> {
        durable::resolve(&self.path).map_err(|cause| FileError::Read {
            path: self.path.clone(),
            cause,
        })
    }

    fn load(&self, target: &Path) -> Result<Option<(Stock, Old)>, FileError> {
        let unreadable = |cause| FileError::Read {
            path: self.path.clone(),
            cause,
        };
        match fs::metadata(target) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                let last = beside(target, "last");
                // We never remove the file, so somebody else did.
                return if last.exists() {
                    Err(FileError::Lost {
                        path: self.path.clone(),
                        last,
                    })
                } else {
                    Ok(None)
                };
            }
            Err(error) => return Err(unreadable(error)),
            Ok(found) if !found.is_file() => {
                return Err(FileError::NotAFile {
                    path: self.path.clone(),
                });
            }
            Ok(_) => {}
        }
        let bytes = reader::bytes(target, reader::STOCK)?;
        match format::parse_versioned(&bytes) {
            Ok((stock, version)) => Ok(Some((stock, Old { bytes, version }))),
            Err(cause) => Err(self.no_good(target, cause)),
        }
    }

    fn no_good(&self, target: &Path, cause: FormatError) -> FileError {
        let path = self.path.clone();
        if matches!(cause, FormatError::Version { .. }) {
            return FileError::Version { path, cause };
        }
        FileError::Damaged {
            remedy: match restore::last_good(target) {
                Some((copy, _)) => format!(
                    "the last good copy, {}, has {} of history: `cuptally stock restore` goes back to it",
                    copy.path.display(),
                    match copy.entries {
                        1 => "1 entry".to_owned(),
                        many => format!("{many} entries"),
                    }
                ),
                None => {
                    "there is no good copy beside it: put it right by hand, or move it away".into()
                }
            },
            path,
            cause,
        }
    }

    fn require_agreement(&self, stock: &Stock) -> Result<(), FileError> {
        if check::agree(stock) {
            return Ok(());
        }
        let differences = check::differences(stock);
        match differences.first() {
            None => Ok(()),
            Some(first) => Err(FileError::Differs {
                path: self.path.clone(),
                first: Box::new(first.clone()),
                more: differences.len() - 1,
            }),
        }
    }

    fn save(
        &self,
        target: &Path,
        old: Option<&Old>,
        before: Option<Before>,
        stock: &Stock,
    ) -> Result<(), FileError> {
        let garbled = |cause| FileError::Garbled {
            path: self.path.clone(),
            cause,
        };
        let new = text(old, before, stock).map_err(garbled)?;
        if old.is_some_and(|old| old.bytes == new) {
            return Ok(());
        }
        let unwritable = |cause| self.unwritable(cause);
        let mut copies = Vec::new();
        if let Some(old) = old {
            let found = fs::metadata(target).map_err(unwritable)?;
            if found.permissions().readonly() {
                return Err(FileError::Protected {
                    path: self.path.clone(),
                });
            }
            // As private as the file itself.
            let mut endings = vec!["last"];
            if old.version < Version::NEWEST {
                endings.push(old.version.as_str());
            }
            for ending in endings {
                let copy = beside(target, ending);
                let prepared = durable::prepare_copy(&copy, target, &old.bytes);
                copies.extend(prepared.map_err(unwritable)?);
            }
        }
        // All are on the disk before any takes its place: a full disk leaves the
        // file and its copies as they were.
        let new = durable::prepare(target, &new, target).map_err(unwritable)?;
        for copy in copies {
            copy.commit().map_err(unwritable)?;
        }
        new.commit().map_err(unwritable)?;
        durable::flush_folder(target).map_err(|cause| FileError::Unflushed {
            path: self.path.clone(),
            cause,
        })
    }

    pub(super) fn absent(&self) -> FileError {
        FileError::Absent {
            path: self.path.clone(),
        }
    }

    pub(super) fn unwritable(&self, cause: io::Error) -> FileError {
        FileError::Write {
            path: self.path.clone(),
            cause,
        }
    }
}

/// The file beside `path` with one more ending.
pub(super) fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".");
    name.push(ending);
    PathBuf::from(name)
}

/// Why the stock file was not read or written.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// The system does not let it be read.
    #[error("cannot read the stock file {}: {}; check its name and that you may read it, or name another folder with --home", .path.display(), why(.cause))]
    Read {
        /// The file.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
    /// A folder, a pipe or the like.
    #[error("the stock file {} is no ordinary file; move it away, or name another folder with --home", .path.display())]
    NotAFile {
        /// The file.
        path: PathBuf,
    },
    /// Not what this program wrote.
    #[error("the stock file {} cannot be used: {cause}; nothing was changed; {remedy}", .path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        cause: FormatError,
        /// What to do.
        remedy: String,
    },
    /// Written by a newer program.
    #[error("the stock file {} cannot be used: {cause}; nothing was changed", .path.display())]
    Version {
        /// The file.
        path: PathBuf,
        /// Which version.
        cause: FormatError,
    },
    /// Gone, though its copy is there.
    #[error("the stock file {} is gone, but its last copy {} is there; `cuptally stock restore` puts that back; or move it away to begin anew", .path.display(), .last.display())]
    Lost {
        /// The file.
        path: PathBuf,
        /// The copy.
        last: PathBuf,
    },
    /// Never there.
    #[error("there is no stock file {} yet; post a sheet first, or name another folder with --home", .path.display())]
    Absent {
        /// The file.
        path: PathBuf,
    },
    /// Its folder cannot be made.
    #[error("cannot make the folder {}: {}; name another with --home", .path.display(), why(.cause))]
    Folder {
        /// The folder.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
    /// Somebody took the right to write away.
    #[error("the stock file {} is write-protected; nothing was changed: allow writing first", .path.display())]
    Protected {
        /// The file.
        path: PathBuf,
    },
    /// The system does not let it be written.
    #[error("cannot write the stock file {}: {}; it is as it was", .path.display(), why(.cause))]
    Write {
        /// The file.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
    /// Written, but perhaps not for good.
    #[error("the stock file {} was written, but the disk did not confirm it: {}; look after the disk", .path.display(), why(.cause))]
    Unflushed {
        /// The file.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
    /// It would not be readable.
    #[error("the stock file {} was not written: {cause}; it is as it was", .path.display())]
    Garbled {
        /// The file.
        path: PathBuf,
        /// Why.
        cause: FormatError,
    },
    /// Changed by hand.
    #[error("the stock file {} was changed outside cuptally: {first}{}; nothing was changed: see `cuptally stock check`", .path.display(), others(*.more))]
    Differs {
        /// The file.
        path: PathBuf,
        /// The first difference.
        first: Box<Difference>,
        /// How many others.
        more: usize,
    },
    /// It was there, and then not, or is larger than any stock.
    #[error(transparent)]
    Unread(#[from] ReadError),
    /// Another process has it.
    #[error(transparent)]
    Lock(#[from] LockError),
}

fn others(more: usize) -> String {
    match more {
        0 => String::new(),
        more => format!(" (and {more} more)"),
    }
}
