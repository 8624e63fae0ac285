//! The demo's folder: made anew by each demo, but never over what somebody did in it since.
//!
//! Its mark says how far the demo came and, as a hash, what it had put there by then. Where the folder holds just that,
//! it is the demo's own and may go; where it holds anything else, somebody went on in it, and it is put aside.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use crate::cli::atomic::write_files;
use crate::cli::{Failure, say};
use crate::stock::why::why;

/// Marks a folder as made by the demo, so that it may be made anew.
pub const MARK: &str = "made-by-cuptally-demo";

/// How far a demo came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// It is still at work, or was stopped.
    Begun,
    /// It came to its end.
    Done,
}

impl State {
    fn word(self) -> &'static str {
        match self {
            Self::Begun => "begun",
            Self::Done => "done",
        }
    }
}

/// Notes how far the demo came, with all that lies in its folder by now.
///
/// # Errors
/// When the folder cannot be read or the mark not be written.
pub fn seal(folder: &Path, state: State) -> Result<(), Failure> {
    let held = contents(folder).map_err(|e| unusable(folder, &e))?;
    let mark = format!(
        "This folder is made anew by `cuptally demo`.\nstate: {}\ncontents: {held}\n",
        state.word()
    );
    write_files(folder, &[(MARK, mark.as_bytes())])?;
    Ok(())
}

/// Makes the folder for a demo that begins. A former demo's goes, or is put aside where somebody went on in it; one
/// that the demo did not make is left alone. What was found is said.
///
/// # Errors
/// When the folder is somebody else's, or cannot be made.
pub fn begin(folder: &Path) -> Result<(), Failure> {
    let failed = |e: io::Error| unusable(folder, &e);
    if !is_empty_or_missing(folder).map_err(failed)? {
        let mark = folder.join(MARK);
        if !mark.is_file() {
            return Err(Failure::failed(format!(
                "{} exists and was not made by the demo; name another folder with --out",
                folder.display()
            )));
        }
        let mark = fs::read_to_string(&mark).map_err(failed)?;
        let says = |key: &str| mark.lines().find_map(|line| line.strip_prefix(key));
        let found = match says("state: ") {
            Some("begun") => "a demo that was stopped before its end",
            _ => "a former demo",
        };
        let shown = folder.display();
        if says("contents: ") == Some(&contents(folder).map_err(failed)?) {
            say::note(&format!(
                "{shown} holds {found} and nothing else; it is made anew"
            ));
            empty(folder).map_err(failed)?;
        } else {
            let aside = put_aside(folder)?;
            say::note(&format!(
                "{shown} holds {found} and what came to it since; all of it was put aside as {}, and the demo begins anew",
                aside.display()
            ));
        }
    }
    fs::create_dir_all(folder).map_err(failed)?;
    seal(folder, State::Begun)
}

fn unusable(folder: &Path, error: &io::Error) -> Failure {
    Failure::failed(format!(
        "cannot make the folder {}: {}; name another with --out",
        folder.display(),
        why(error)
    ))
}

fn is_empty_or_missing(folder: &Path) -> io::Result<bool> {
    match fs::read_dir(folder) {
        Ok(mut entries) => Ok(entries.next().is_none()),
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(true),
        Err(e) => Err(e),
    }
}

/// Takes away all but the mark, so that whatever stops this leaves a folder that is still known as the demo's.
fn empty(folder: &Path) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if entry.file_name() == MARK {
            continue;
        }
        if entry.file_type()?.is_dir() {
            fs::remove_dir_all(entry.path())?;
        } else {
            fs::remove_file(entry.path())?;
        }
    }
    Ok(())
}

/// Gives the folder another name beside its place.
fn put_aside(folder: &Path) -> Result<PathBuf, Failure> {
    let failed = |e: io::Error| {
        Failure::failed(format!(
            "{} holds a demo and what came to it since, and cannot be put aside: {}; name another folder with --out",
            folder.display(),
            why(&e)
        ))
    };
    let whole = folder.canonicalize().map_err(failed)?;
    let name = whole.file_name().unwrap_or_default().to_owned();
    let mut aside = PathBuf::new();
    // Numbers are not run out of: a folder holds fewer names.
    for number in 1_u32.. {
        let mut name = name.clone();
        name.push(format!(".kept-{number}"));
        aside = folder.with_file_name(&name);
        if folder.file_name().is_none() {
            aside = whole.with_file_name(&name);
        }
        if !aside.exists() {
            break;
        }
    }
    fs::rename(folder, &aside).map_err(failed)?;
    Ok(aside)
}

/// A hash of all files in a folder with their paths. Left out are the mark and the files by which processes wait for
/// each other, which looking alone makes.
fn contents(folder: &Path) -> io::Result<String> {
    let mut hash = Sha256::new();
    add(folder, Path::new(""), &mut hash)?;
    Ok(format!("{:x}", hash.finalize()))
}

fn add(folder: &Path, below: &Path, hash: &mut Sha256) -> io::Result<()> {
    let mut entries = fs::read_dir(folder.join(below))?.collect::<io::Result<Vec<_>>>()?;
    entries.sort_by_key(fs::DirEntry::file_name);
    for entry in entries {
        let path = below.join(entry.file_name());
        if path == Path::new(MARK) || path.extension().is_some_and(|end| end == "lock") {
            continue;
        }
        let kind = entry.file_type()?;
        if kind.is_dir() {
            add(folder, &path, hash)?;
            continue;
        }
        hash.update(path.as_os_str().as_encoded_bytes());
        hash.update([0]);
        // A link or a pipe counts by its name: nothing is read through it.
        if kind.is_file() {
            hash.update(Sha256::digest(fs::read(entry.path())?));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn what_lies_in_a_folder_tells_by_every_name_and_byte() {
        let folder = tempfile::TempDir::new().unwrap();
        let path = folder.path();
        fs::create_dir(path.join("sheets")).unwrap();
        fs::write(path.join("sheets/a.json"), "1").unwrap();
        let before = contents(path).unwrap();
        // Neither the mark nor a lock is anybody's work.
        seal(path, State::Begun).unwrap();
        fs::write(path.join("stock.json.lock"), "").unwrap();
        assert_eq!(contents(path).unwrap(), before);
        fs::write(path.join("sheets/a.json"), "2").unwrap();
        assert_ne!(contents(path).unwrap(), before);
        fs::write(path.join("sheets/a.json"), "1").unwrap();
        fs::rename(path.join("sheets/a.json"), path.join("sheets/b.json")).unwrap();
        assert_ne!(contents(path).unwrap(), before);
    }

    #[test]
    fn what_is_emptied_keeps_its_mark() {
        let folder = tempfile::TempDir::new().unwrap();
        let path = folder.path();
        fs::create_dir_all(path.join("sheets/more")).unwrap();
        fs::write(path.join("stock.json"), "").unwrap();
        seal(path, State::Done).unwrap();
        empty(path).unwrap();
        let left: Vec<_> = fs::read_dir(path).unwrap().collect();
        assert_eq!(left.len(), 1);
        assert!(path.join(MARK).is_file());
    }
}
