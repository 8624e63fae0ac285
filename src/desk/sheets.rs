//! The sheets of the home folder, in short.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};
use std::time::SystemTime;

use serde::Serialize;

use super::state::{PHOTOS, SHEETS};
use crate::review::finish::{Standing, standing};
use crate::review::totals::left;
use crate::sheet::Sheet;
use crate::sheet::file::{PhotoRef, SURE, SecondPhoto, Total, Warning};
use crate::stock::Stock;
use crate::stock::inbox;

/// What a sheet says, in short.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Short {
    /// The sheet's file name.
    pub sheet: String,
    /// The file names of its photos.
    pub photos: Vec<String>,
    /// Those of them that lie in the home folder's own folder of photos: another may have the same name.
    pub own_photos: Vec<String>,
    /// Where the pieces live.
    pub place: Option<String>,
    /// How many pieces were seen.
    pub pieces: usize,
    /// How many of them are sure.
    pub sure: usize,
    /// How much is left to look at.
    pub left: usize,
    /// How many lie there in all.
    pub total: Option<Total>,
    /// What a second photo would settle.
    pub second_photo: Option<SecondPhoto>,
    /// What to know before trusting it.
    pub warnings: Vec<Warning>,
    /// Whether a person has put anything right in it.
    pub corrected: bool,
    /// Whether a person has finished with it.
    pub checked: bool,
    /// Where it stands towards the stock.
    pub standing: Standing,
    #[serde(skip)]
    hash: String,
}

impl Short {
    fn of(path: &Path, sheet: &Sheet, photos_folder: &Path) -> Self {
        let (pieces, spots) = left(sheet);
        let photos = || std::iter::once(&sheet.photos.first).chain(&sheet.photos.others);
        let folder = path.parent().unwrap_or(Path::new(""));
        let own = photos_folder.canonicalize().ok();
        let is_own = |photo: &&PhotoRef| {
            let there = photo.path.as_ref().map(|path| folder.join(path));
            let within = there.and_then(|there| there.parent()?.canonicalize().ok());
            within.is_some() && within == own
        };
        Self {
            sheet: path
                .file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned(),
            photos: photos().map(|photo| photo.file.clone()).collect(),
            own_photos: photos()
                .filter(is_own)
                .map(|photo| photo.file.clone())
                .collect(),
            place: sheet.place.clone(),
            pieces: sheet.pieces.len(),
            sure: sheet
                .pieces
                .iter()
                .filter(|piece| piece.sure >= SURE)
                .count(),
            left: pieces + spots,
            total: sheet.total,
            second_photo: sheet.second_photo,
            warnings: sheet.warnings.clone(),
            corrected: sheet.review.is_some(),
            checked: sheet.checked,
            standing: Standing::New,
            hash: sheet.photos.first.hash.clone(),
        }
    }
}

type Stamp = (Option<SystemTime>, u64);

/// What was read of a sheet, or why it was not.
type Found = Result<Short, String>;

/// What was read of each sheet, and of which state of its file; a sentence where it cannot be read.
#[derive(Debug, Default)]
pub struct Sheets {
    read: Mutex<HashMap<PathBuf, (Stamp, Found)>>,
}

impl Sheets {
    /// The sheets of a home folder, by name, and sentences on those that cannot be read.
    pub fn in_folder(&self, home: &Path, stock: &Stock) -> (Vec<Short>, Vec<String>) {
        let photos = home.join(PHOTOS);
        let paths = inbox::sheets_in(&home.join(SHEETS)).unwrap_or_default();
        let mut read = self.read.lock().unwrap_or_else(PoisonError::into_inner);
        read.retain(|path, _| paths.contains(path));
        let (mut shorts, mut faults) = (Vec::new(), Vec::new());
        for path in paths {
            // One that went meanwhile is none any more.
            let Ok(about) = std::fs::metadata(&path) else {
                continue;
            };
            let stamp = (about.modified().ok(), about.len());
            let known = read.get(&path).filter(|(known, _)| *known == stamp);
            let short = match known {
                Some((_, short)) => short.clone(),
                None => {
                    let sheet = inbox::read_sheet(&path).map_err(|error| error.to_string());
                    let short = sheet.map(|sheet| Short::of(&path, &sheet, &photos));
                    read.insert(path, (stamp, short.clone()));
                    short
                }
            };
            match short {
                Ok(mut short) => {
                    // A history that contradicts itself is told where the stock is shown.
                    short.standing = standing(stock, &short.hash).unwrap_or(Standing::New);
                    shorts.push(short);
                }
                Err(fault) => faults.push(fault),
            }
        }
        (shorts, faults)
    }
}
