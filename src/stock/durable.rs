//! Replacing a file so that it is at every moment whole: before or after, never between.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use tempfile::TempPath;

/// How unfinished files end. They begin with a dot and the name of the file they
/// were to become, so that [`sweep`] finds those of a process that was killed.
const UNFINISHED: &str = ".tmp";

/// A file that is written and on the disk, but not yet under its name. Dropped, it
/// goes away again.
#[derive(Debug)]
pub struct Prepared {
    file: TempPath,
    path: PathBuf,
}

/// Writes `bytes` to a temporary file beside `path` and flushes it to the disk: all
/// that may fail for want of room. It gets the permissions of `like` (often `path`
/// itself), or the user's usual ones when there is no such file.
///
/// `path` must be no symbolic link (it would be replaced): see [`resolve`].
///
/// # Errors
/// When the system does not allow one of these steps; nothing has changed then.
pub fn prepare(path: &Path, bytes: &[u8], like: &Path) -> io::Result<Prepared> {
    let prefix = unfinished_prefix(path)?;
    let mut builder = tempfile::Builder::new();
    builder.prefix(&prefix).suffix(UNFINISHED);
    // tempfile's own default, 600, would lock a family or club out of a shared file.
    // The system takes the user's mask off these.
    #[cfg(unix)]
    let usual = std::os::unix::fs::PermissionsExt::from_mode(0o666);
    #[cfg(unix)]
    builder.permissions(usual);
    let file = builder.tempfile_in(folder_of(path))?;
    // Not through tempfile's own `Write`, which names the temporary file in errors.
    file.as_file().write_all(bytes)?;
    match fs::metadata(like) {
        Ok(old) => keep_owner_and_mode(file.as_file(), &old)?,
        Err(error) if error.kind() == io::ErrorKind::NotFound => {}
        Err(error) => return Err(error),
    }
    file.as_file().sync_all()?;
    Ok(Prepared {
        file: file.into_temp_path(),
        path: path.to_owned(),
    })
}

/// The file `of`, which holds `bytes`, under one more name once it is committed; none where it
/// has that name already. Where the file system knows no links it is a copy as [`prepare`] makes
/// one. A link costs neither room nor time, and keeps what the file held, as our files are never
/// written in place: a new one takes the name of the old.
///
/// # Errors
/// As [`prepare`].
pub fn prepare_copy(path: &Path, of: &Path, bytes: &[u8]) -> io::Result<Option<Prepared>> {
    // Renaming a link over another link to the same file would do nothing at all, and leave the
    // first one behind.
    if is_same_file(path, of)? {
        return Ok(None);
    }
    let prefix = unfinished_prefix(path)?;
    let mut builder = tempfile::Builder::new();
    builder.prefix(&prefix).suffix(UNFINISHED);
    match builder.make_in(folder_of(path), |link| fs::hard_link(of, link)) {
        Ok(link) => {
            // Whoever wrote it may not have flushed it.
            File::open(of)?.sync_all()?;
            Ok(Some(Prepared {
                file: link.into_temp_path(),
                path: path.to_owned(),
            }))
        }
        Err(_) => prepare(path, bytes, of).map(Some),
    }
}

#[cfg(unix)]
fn is_same_file(one: &Path, other: &Path) -> io::Result<bool> {
    use std::os::unix::fs::MetadataExt;
    let id = |path: &Path| match fs::symlink_metadata(path) {
        Ok(found) => Ok(Some((found.dev(), found.ino()))),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error),
    };
    let one = id(one)?;
    Ok(one.is_some() && one == id(other)?)
}

/// Elsewhere a rename replaces whatever has the name.
#[cfg(not(unix))]
fn is_same_file(_: &Path, _: &Path) -> io::Result<bool> {
    Ok(false)
}

impl Prepared {
    /// Puts the file under its name, in one step, in place of what was there. Then
    /// call [`flush_folder`].
    ///
    /// # Errors
    /// When the system does not allow it; what was there is then still there.
    pub fn commit(self) -> io::Result<()> {
        self.file.persist(&self.path).map_err(|error| error.error)?;
        Ok(())
    }
}

/// Replaces `path`, or makes it, with `bytes`, and keeps its permissions.
///
/// # Errors
/// As [`prepare`], [`Prepared::commit`] and [`flush_folder`].
pub fn replace(path: &Path, bytes: &[u8]) -> io::Result<()> {
    prepare(path, bytes, path)?.commit()?;
    flush_folder(path)
}

#[cfg(unix)]
fn keep_owner_and_mode(file: &File, old: &fs::Metadata) -> io::Result<()> {
    use std::os::unix::fs::{MetadataExt, fchown};
    let new = file.metadata()?;
    if (new.uid(), new.gid()) != (old.uid(), old.gid()) {
        // Only an administrator may give a file away; for anybody else it becomes
        // theirs, which is what saving a shared file means anyway.
        let _ = fchown(file, Some(old.uid()), Some(old.gid()));
    }
    // After the owner: changing that takes special bits off.
    file.set_permissions(old.permissions())
}

#[cfg(not(unix))]
fn keep_owner_and_mode(file: &File, old: &fs::Metadata) -> io::Result<()> {
    file.set_permissions(old.permissions())
}

/// Flushes the folder of `path`: without this a power cut may forget a rename,
/// though not the file.
///
/// # Errors
/// When the disk fails. File systems that know no such flush are no failure.
pub fn flush_folder(path: &Path) -> io::Result<()> {
    if cfg!(not(unix)) {
        // Elsewhere a folder cannot be opened like a file.
        return Ok(());
    }
    match File::open(folder_of(path))?.sync_all() {
        Err(error)
            if !matches!(
                error.kind(),
                io::ErrorKind::InvalidInput | io::ErrorKind::Unsupported
            ) =>
        {
            Err(error)
        }
        _ => Ok(()),
    }
}

/// Takes away what killed processes left unfinished beside `path`. Only while
/// nobody else can be writing it.
///
/// # Errors
/// When the folder cannot be read or a file in it not removed.
pub fn sweep(path: &Path) -> io::Result<()> {
    let prefix = unfinished_prefix(path)?;
    for item in fs::read_dir(folder_of(path))? {
        let item = item?;
        let name = item.file_name();
        let Some(name) = name.to_str() else { continue };
        if name.starts_with(&prefix) && name.ends_with(UNFINISHED) && item.file_type()?.is_file() {
            fs::remove_file(item.path())?;
        }
    }
    Ok(())
}

fn unfinished_prefix(path: &Path) -> io::Result<String> {
    let name = path.file_name().and_then(|name| name.to_str());
    let name = name.ok_or_else(|| {
        io::Error::new(
            io::ErrorKind::InvalidInput,
            "its name is no text that can be written",
        )
    })?;
    Ok(format!(".{name}."))
}

/// The folder that holds `path`.
pub fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// Follows symbolic links to the file itself, which need not exist yet.
///
/// # Errors
/// When links go round in a circle or a folder on the way cannot be read.
pub fn resolve(path: &Path) -> io::Result<PathBuf> {
    // As many as the system follows itself.
    const LINKS: usize = 40;
    let mut path = path.to_owned();
    for _ in 0..LINKS {
        match fs::symlink_metadata(&path) {
            Ok(found) if found.is_symlink() => {
                let target = fs::read_link(&path)?;
                path = folder_of(&path).join(target);
            }
            Ok(_) => return Ok(path),
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(path),
            Err(error) => return Err(error),
        }
    }
    Err(io::Error::other("its links go round in a circle"))
}
