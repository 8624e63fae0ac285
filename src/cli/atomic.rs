//! Writing files so that a reader sees the old one or the new one, never a half.

use crate::stock::why::why;
use std::fs::{self, File, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use tempfile::TempPath;

/// Why a file could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The folder does not exist and cannot be made.
    #[error("cannot make the folder {}: {}; name another folder", path.display(), why(cause))]
    Folder {
        /// The folder that was wanted.
        path: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
    /// The file cannot be written there.
    #[error(
        "cannot write {}: {}; free the space, change the folder's rights, or name another folder",
        path.display(),
        why(cause)
    )]
    File {
        /// The file that was wanted.
        path: PathBuf,
        /// What the system said.
        cause: io::Error,
    },
}

/// Writes several files into a folder, making the folder if need be. All are
/// written in full beside their places before the first is put there, so a full
/// disk or a folder that cannot be written leaves everything as it was.
///
/// Gives the files' paths, in order.
///
/// # Errors
/// [`WriteError`]; the folders that this call made are taken away again.
pub fn write_files(folder: &Path, files: &[(&str, &[u8])]) -> Result<Vec<PathBuf>, WriteError> {
    let written = write(folder, files, Put::Replacing)?;
    Ok(written.unwrap_or_default())
}

/// As [`write_files`], but only where there is no file of the first one's name; gives none where there is.
///
/// # Errors
/// As [`write_files`].
pub fn write_new(
    folder: &Path,
    files: &[(&str, &[u8])],
) -> Result<Option<Vec<PathBuf>>, WriteError> {
    write(folder, files, Put::New)
}

/// How the first file is put in its place.
#[derive(Clone, Copy, PartialEq)]
enum Put {
    Replacing,
    New,
}

fn write(
    folder: &Path,
    files: &[(&str, &[u8])],
    put: Put,
) -> Result<Option<Vec<PathBuf>>, WriteError> {
    let made = make_folder(folder)?;
    sweep(folder);
    let written = stage_all(folder, files).and_then(|staged| put_all(staged, put));
    if written.is_err() {
        // Only what is empty goes, so nobody else's file is at risk.
        for folder in &made {
            let _ = fs::remove_dir(folder);
        }
    }
    written
}

/// Makes a folder and those above it; gives the ones that were missing, innermost
/// first.
fn make_folder(folder: &Path) -> Result<Vec<PathBuf>, WriteError> {
    let above = folder
        .ancestors()
        .filter(|path| !path.as_os_str().is_empty());
    let missing: Vec<PathBuf> = above
        .take_while(|path| !path.exists())
        .map(Path::to_path_buf)
        .collect();
    fs::create_dir_all(folder).map_err(|cause| {
        for path in &missing {
            let _ = fs::remove_dir(path);
        }
        WriteError::Folder {
            path: folder.to_path_buf(),
            cause,
        }
    })?;
    Ok(missing)
}

/// A file written in full, not yet in its place.
struct Staged {
    /// Locked until it has its name.
    _file: File,
    temporary: TempPath,
    path: PathBuf,
}

fn stage_all(folder: &Path, files: &[(&str, &[u8])]) -> Result<Vec<Staged>, WriteError> {
    let stage = |(name, bytes): &(&str, &[u8])| {
        let path = folder.join(name);
        match stage(folder, &path, bytes) {
            Ok((file, temporary)) => Ok(Staged {
                _file: file,
                temporary,
                path,
            }),
            Err(cause) => Err(WriteError::File { path, cause }),
        }
    };
    files.iter().map(stage).collect()
}

fn stage(folder: &Path, path: &Path, bytes: &[u8]) -> io::Result<(File, TempPath)> {
    // Found out now, before any file has changed.
    if path.is_dir() {
        return Err(io::ErrorKind::IsADirectory.into());
    }
    let (mut file, temporary) = temporary_in(folder)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    Ok((file, temporary))
}

/// How the names of unfinished files begin and end: no other program's do.
const UNFINISHED: (&str, &str) = (".cuptally-", ".tmp");

/// A temporary file, locked for as long as it is being written: so [`sweep`] knows it from one that
/// a killed process left.
fn temporary_in(folder: &Path) -> io::Result<(File, TempPath)> {
    /// Another process may sweep it before it is locked, once; not again and again.
    const TRIES: u32 = 8;
    let mut builder = tempfile::Builder::new();
    builder.prefix(UNFINISHED.0).suffix(UNFINISHED.1);
    // As an ordinary new file: everybody, less the user's umask. A temporary file
    // would otherwise be for its owner only.
    #[cfg(unix)]
    let ordinary = std::os::unix::fs::PermissionsExt::from_mode(0o666);
    #[cfg(unix)]
    builder.permissions(ordinary);
    for _ in 0..TRIES {
        // `tempfile` adds the temporary file's random name to its errors, which would
        // tell the user nothing: only the kind is kept, and the rest goes past it.
        let made = builder.tempfile_in(folder);
        let (file, temporary) = made
            .map_err(|error| io::Error::from(error.kind()))?
            .into_parts();
        // Locked by another: it is being swept. Where the file system knows no locks nothing is swept.
        let is_swept = matches!(file.try_lock(), Err(TryLockError::WouldBlock));
        if !is_swept && temporary.exists() {
            return Ok((file, temporary));
        }
    }
    Err(io::Error::other(
        "another program takes away what is written",
    ))
}

/// Takes away what killed processes left unfinished in the folder. What cannot be looked at or
/// removed stays: the work itself does not hang on it.
fn sweep(folder: &Path) {
    for item in fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = item.file_name();
        let is_ours = name
            .to_str()
            .is_some_and(|name| name.starts_with(UNFINISHED.0) && name.ends_with(UNFINISHED.1));
        if !is_ours || !item.file_type().is_ok_and(|kind| kind.is_file()) {
            continue;
        }
        let left = File::open(item.path()).is_ok_and(|file| file.try_lock().is_ok());
        if left {
            let _ = fs::remove_file(item.path());
        }
    }
}

/// Puts all in their places; none where the first should be new and is not.
fn put_all(staged: Vec<Staged>, mut put: Put) -> Result<Option<Vec<PathBuf>>, WriteError> {
    let mut paths = Vec::with_capacity(staged.len());
    for Staged {
        temporary,
        path,
        _file,
    } in staged
    {
        let done = match put {
            Put::New => persist_new(temporary, &path),
            Put::Replacing => temporary.persist(&path).map_err(|error| error.error),
        };
        match done {
            Ok(()) => {}
            Err(cause) if put == Put::New && cause.kind() == io::ErrorKind::AlreadyExists => {
                return Ok(None);
            }
            Err(cause) => return Err(WriteError::File { path, cause }),
        }
        put = Put::Replacing;
        paths.push(path);
    }
    Ok(Some(paths))
}

/// Gives a file its name in one step, where there is none of that name.
fn persist_new(temporary: TempPath, path: &Path) -> io::Result<()> {
    match temporary.persist_noclobber(path) {
        // Some file systems cannot do both in one step: the next best is to look first.
        Err(error) if error.error.kind() != io::ErrorKind::AlreadyExists => {
            if path.symlink_metadata().is_ok() {
                return Err(io::ErrorKind::AlreadyExists.into());
            }
            error.path.persist(path).map_err(|error| error.error)
        }
        done => done.map_err(|error| error.error),
    }
}
