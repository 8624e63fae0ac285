//! Photos on their way into the home folder: under one name each, whole or not at all.
//!
//! A page says first which files it is about to send, in order, and gets a name for each: so their order is kept and none
//! takes another's name. What arrives goes into a file that nobody sees until it is whole and on the disk.

use std::collections::BTreeSet;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use tempfile::NamedTempFile;

use crate::legible::is_invisible;
use crate::photo::Limits;
use crate::stock::durable::flush_folder;
use crate::stock::natural::natural_order;
use crate::stock::why::why;

/// How files begin that have not arrived yet.
const ARRIVING: &str = ".arriving-";
/// The longest name, letters: room for the endings of sheets and pictures beside it.
const LONGEST: usize = 80;
/// The most photos that are announced at once.
const MOST: usize = 1000;

/// Why a photo did not arrive.
#[derive(Debug, thiserror::Error)]
pub enum NotArrived {
    /// Nobody said that it would come.
    #[error("no photo of that name was announced; drop it on the page again")]
    Unknown,
    /// It is there.
    #[error("there is a photo of that name already")]
    There,
    /// Larger than any photo.
    #[error("{0} is larger than any photo; send the photo itself")]
    TooLarge(String),
    /// Nothing came.
    #[error("{0} is empty; take the photo again")]
    Empty(String),
    /// Too many.
    #[error("{0} photos at once are too many; send at most {MOST}")]
    TooMany(usize),
    /// The disk.
    #[error("cannot keep {name} in {}: {}; free the space or change the folder's rights", .folder.display(), why(.cause))]
    Disk {
        /// The photo.
        name: String,
        /// Where.
        folder: PathBuf,
        /// Why.
        cause: io::Error,
    },
}

/// One photo, there or on its way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Arrival {
    /// Its file name.
    pub name: String,
    /// Whether it is there.
    pub there: bool,
}

/// The folder of the photos.
#[derive(Debug)]
pub struct Arrivals {
    folder: PathBuf,
    /// Those that were announced, in order, and whether they came.
    announced: Mutex<Vec<(String, bool)>>,
}

/// A photo that is arriving.
#[derive(Debug)]
pub struct Arriving {
    file: NamedTempFile,
    name: String,
    path: PathBuf,
    bytes: u64,
}

impl Arrivals {
    /// In this folder, which need not be there. What a process that was killed left half is taken away.
    pub fn in_folder(folder: &Path) -> Self {
        for item in fs::read_dir(folder).into_iter().flatten().flatten() {
            if item.file_name().to_string_lossy().starts_with(ARRIVING) {
                // A file that stays is never shown.
                let _ = fs::remove_file(item.path());
            }
        }
        Self {
            folder: folder.to_owned(),
            announced: Mutex::default(),
        }
    }

    /// Photos that are there, by their names.
    fn there(&self) -> BTreeSet<String> {
        let items = fs::read_dir(&self.folder).into_iter().flatten().flatten();
        items
            .filter(|item| item.file_type().is_ok_and(|kind| kind.is_file()))
            .filter_map(|item| item.file_name().into_string().ok())
            .filter(|name| !name.starts_with('.'))
            .collect()
    }

    /// All photos: those that lay there before by name, then those announced, in order. One that came and was taken away
    /// from outside is none any more.
    pub fn list(&self) -> Vec<Arrival> {
        let there = self.there();
        let mut announced = self
            .announced
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        announced.retain(|(name, came)| !came || there.contains(name));
        for (name, came) in announced.iter_mut() {
            *came |= there.contains(name);
        }
        let is_announced = |name: &String| announced.iter().any(|(known, _)| known == name);
        let mut before: Vec<&String> = there.iter().filter(|name| !is_announced(name)).collect();
        before.sort_by_key(|name| natural_order(name));
        (before
            .into_iter()
            .chain(announced.iter().map(|(name, _)| name)))
        .map(|name| Arrival {
            name: name.clone(),
            there: there.contains(name),
        })
        .collect()
    }

    /// The file of a photo that is there.
    pub fn path(&self, name: &str) -> Option<PathBuf> {
        self.there().contains(name).then(|| self.folder.join(name))
    }

    /// Gives each file that is about to be sent a name.
    ///
    /// # Errors
    /// When they are too many.
    pub fn announce(&self, names: &[String]) -> Result<Vec<String>, NotArrived> {
        if names.len() > MOST {
            return Err(NotArrived::TooMany(names.len()));
        }
        let mut announced = self
            .announced
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        let mut taken: BTreeSet<String> = (self.there().into_iter())
            .chain(announced.iter().map(|(name, _)| name.clone()))
            .map(|name| stem_and_ending(&name).0.to_lowercase())
            .collect();
        let given: Vec<String> = (names.iter())
            .map(|name| {
                let name = free_name(&fit(name), &taken);
                taken.insert(stem_and_ending(&name).0.to_lowercase());
                name
            })
            .collect();
        announced.extend(given.iter().map(|name| (name.clone(), false)));
        Ok(given)
    }

    /// Begins with a photo that was announced.
    ///
    /// # Errors
    /// When it was not, is there already, or the disk does not take it.
    pub fn begin(&self, name: &str) -> Result<Arriving, NotArrived> {
        let announced = self
            .announced
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        if !announced.iter().any(|(known, _)| known == name) {
            return Err(NotArrived::Unknown);
        }
        let path = self.folder.join(name);
        if path.exists() {
            return Err(NotArrived::There);
        }
        let disk = |cause| self.disk(name, cause);
        fs::create_dir_all(&self.folder).map_err(disk)?;
        let mut builder = tempfile::Builder::new();
        builder.prefix(ARRIVING);
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let file = builder.tempfile_in(&self.folder).map_err(disk)?;
        Ok(Arriving {
            file,
            name: name.to_owned(),
            path,
            bytes: 0,
        })
    }

    fn disk(&self, name: &str, cause: io::Error) -> NotArrived {
        NotArrived::Disk {
            name: name.to_owned(),
            folder: self.folder.clone(),
            cause,
        }
    }

    /// Takes a photo away, or what was announced of it.
    ///
    /// # Errors
    /// When there is none, or the disk keeps it.
    pub fn remove(&self, name: &str) -> Result<(), NotArrived> {
        let mut announced = self
            .announced
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        let path = self.path(name);
        let was_announced = announced.iter().any(|(known, _)| known == name);
        if path.is_none() && !was_announced {
            return Err(NotArrived::Unknown);
        }
        if let Some(path) = path {
            fs::remove_file(path).map_err(|cause| self.disk(name, cause))?;
        }
        announced.retain(|(known, _)| known != name);
        Ok(())
    }
}

impl Arriving {
    /// Takes more of it.
    ///
    /// # Errors
    /// When it is larger than any photo, or the disk does not take it.
    pub fn write(&mut self, bytes: &[u8]) -> Result<(), NotArrived> {
        self.bytes += bytes.len() as u64;
        if self.bytes > Limits::default().max_file_bytes {
            return Err(NotArrived::TooLarge(self.name.clone()));
        }
        let written = self.file.as_file_mut().write_all(bytes);
        written.map_err(|cause| self.disk(cause))
    }

    /// It is whole: when this returns, it is on the disk under its name.
    ///
    /// # Errors
    /// When nothing came, or the disk does not take it.
    pub fn finish(self) -> Result<(), NotArrived> {
        if self.bytes == 0 {
            return Err(NotArrived::Empty(self.name));
        }
        let Self {
            file, name, path, ..
        } = self;
        let folder = path.parent().unwrap_or(Path::new("")).to_owned();
        let disk = |cause| NotArrived::Disk {
            name: name.clone(),
            folder: folder.clone(),
            cause,
        };
        file.as_file().sync_all().map_err(disk)?;
        match file.persist_noclobber(&path) {
            Ok(_) => flush_folder(&path).map_err(disk),
            Err(error) if error.error.kind() == io::ErrorKind::AlreadyExists => {
                Err(NotArrived::There)
            }
            Err(error) => Err(disk(error.error)),
        }
    }

    fn disk(&self, cause: io::Error) -> NotArrived {
        NotArrived::Disk {
            name: self.name.clone(),
            folder: self.path.parent().unwrap_or(Path::new("")).to_owned(),
            cause,
        }
    }
}

/// A name without its ending, and the ending with its dot.
pub fn stem_and_ending(name: &str) -> (&str, &str) {
    match name.rfind('.') {
        Some(at) if at > 0 => name.split_at(at),
        _ => (name, ""),
    }
}

/// A file name that every system takes, from what a page calls a file.
fn fit(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or(name);
    let fit: String = (last.chars())
        .map(|c| match c {
            '<' | '>' | ':' | '"' | '|' | '?' | '*' => '-',
            c if is_invisible(c) => ' ',
            c => c,
        })
        .collect();
    let fit = fit.trim_matches(|c: char| c == '.' || c.is_whitespace());
    let (stem, ending) = stem_and_ending(fit);
    let stem: String = stem.chars().take(LONGEST).collect();
    let ending: String = ending.chars().take(8).collect();
    match stem.trim() {
        "" => format!("photo{ending}"),
        stem => format!("{stem}{ending}"),
    }
}

/// The name, or one with a number, whose stem is not taken: sheets are called by it.
fn free_name(name: &str, taken: &BTreeSet<String>) -> String {
    let (stem, ending) = stem_and_ending(name);
    let mut number = 1;
    let mut free = stem.to_owned();
    while taken.contains(&free.to_lowercase()) {
        number += 1;
        free = format!("{stem}-{number}");
    }
    format!("{free}{ending}")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn names_are_made_fit_and_never_given_twice() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("Tray.JPG"), b"x").unwrap();
        let arrivals = Arrivals::in_folder(folder.path());
        let asked = [
            "tray.jpg",
            "../../stock.json",
            "..",
            "a:b\u{202e}c.jpg",
            "tray.png",
            "pics\\quay.heic",
        ];
        let asked: Vec<String> = asked.map(str::to_owned).into();
        let given = arrivals.announce(&asked).unwrap();
        let wanted = [
            "tray-2.jpg",
            "stock.json",
            "photo",
            "a-b c.jpg",
            "tray-3.png",
            "quay.heic",
        ];
        assert_eq!(given, wanted);
        let listed: Vec<(String, bool)> = (arrivals.list().into_iter())
            .map(|arrival| (arrival.name, arrival.there))
            .collect();
        let mut all = vec![("Tray.JPG".to_owned(), true)];
        all.extend(wanted.map(|name| (name.to_owned(), false)));
        assert_eq!(listed, all);
        let long = vec!["y".repeat(300) + ".jpg"];
        assert_eq!(arrivals.announce(&long).unwrap()[0].len(), LONGEST + 4);
    }

    #[test]
    fn a_photo_is_there_whole_or_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let arrivals = Arrivals::in_folder(&folder.path().join("photos"));
        assert!(matches!(
            arrivals.begin("tray.jpg"),
            Err(NotArrived::Unknown)
        ));
        let names = arrivals.announce(&["tray.jpg".to_owned()]).unwrap();
        let mut arriving = arrivals.begin(&names[0]).unwrap();
        arriving.write(b"half").unwrap();
        assert!(!arrivals.list()[0].there && arrivals.path("tray.jpg").is_none());
        // Broken off.
        drop(arriving);
        assert_eq!(fs::read_dir(&arrivals.folder).unwrap().count(), 0);
        let empty = arrivals.begin(&names[0]).unwrap();
        assert!(matches!(empty.finish(), Err(NotArrived::Empty(_))));
        let mut arriving = arrivals.begin(&names[0]).unwrap();
        arriving.write(b"half").unwrap();
        arriving.write(b" and half").unwrap();
        arriving.finish().unwrap();
        let path = arrivals.path("tray.jpg").unwrap();
        assert_eq!(fs::read(path).unwrap(), b"half and half");
        assert!(matches!(arrivals.begin("tray.jpg"), Err(NotArrived::There)));
        // Left by a process that was killed.
        fs::write(arrivals.folder.join(".arriving-x"), b"half").unwrap();
        let again = Arrivals::in_folder(&arrivals.folder);
        assert_eq!(again.list().len(), 1);
        assert_eq!(fs::read_dir(&arrivals.folder).unwrap().count(), 1);
        again.remove("tray.jpg").unwrap();
        assert!(again.list().is_empty() && again.remove("tray.jpg").is_err());
    }
}
