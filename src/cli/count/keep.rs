//! Under which names a count is kept, so that none takes the place of another photo's or of a person's work.
//!
//! Phones number photos anew in each folder, so that two trays may well be called alike. The sheet of another
//! photo stays where it is, and this one is called by the photo's hash too.

use std::path::Path;

use super::together::MOST_PHOTOS;
use crate::cli::Failure;
use crate::cli::atomic::{write_files, write_new};
use crate::sheet::Sheet;
use crate::stock::inbox::{self, InboxError};
use crate::stock::lock::Lock;

/// Letters of the photo's hash in a name: with eight, two of a thousand photos are alike once in ten thousand
/// such collections; then the whole hash is taken.
const HASH_LETTERS: usize = 8;
/// Another program may take a name between looking and writing, once or twice; not again and again.
const TRIES: u32 = 8;

/// The files of a count, and what is to be said of their names.
pub struct Kept {
    /// Begins `NAME.sheet.json` and `NAME.marked.jpg`.
    pub name: String,
    /// Why they are not called as usual, or where a corrected sheet went.
    pub note: Option<String>,
}

/// A count's files, yet to be written.
pub struct Files<'a> {
    /// The folder that they go to.
    pub out: &'a Path,
    /// The photo's name without its ending.
    pub stem: &'a str,
    /// The photo's hash.
    pub hash: &'a str,
    /// Whether to count anew what a person put right.
    pub again: bool,
}

/// What lies under a name.
#[derive(Clone, Copy, PartialEq)]
enum There {
    Nothing,
    /// A sheet of the same photo that nobody touched.
    Counted,
    /// A sheet of the same photo that a person put right or checked.
    Corrected,
    /// Of another photo, or a file that cannot be read as a sheet: not ours to replace.
    Other,
}

impl Files<'_> {
    fn sheet_name(name: &str) -> String {
        format!("{name}{}", inbox::SHEET_ENDING)
    }

    fn there(&self, name: &str) -> There {
        match inbox::read_sheet(&self.out.join(Self::sheet_name(name))) {
            Ok(sheet) if sheet.photos.first.hash != self.hash => There::Other,
            Ok(sheet) if is_corrected(&sheet) => There::Corrected,
            Ok(_) => There::Counted,
            Err(InboxError::Read(error)) if error.is_absent() => There::Nothing,
            Err(_) => There::Other,
        }
    }

    /// The name to write under, and what lies there. A sheet of this very photo goes before a free name.
    fn choose(&self) -> Result<(String, There), Failure> {
        let short = self.hash.get(..HASH_LETTERS).unwrap_or(self.hash);
        let names = [
            self.stem.to_owned(),
            format!("{}-{short}", self.stem),
            format!("{}-{}", self.stem, self.hash),
        ];
        let mut found: Vec<(String, There)> = (names.into_iter())
            .map(|name| {
                let there = self.there(&name);
                (name, there)
            })
            .filter(|(_, there)| *there != There::Other)
            .collect();
        found.sort_by_key(|(_, there)| *there == There::Nothing);
        found.into_iter().next().ok_or_else(|| {
            Failure::failed(format!(
                "sheets of other photos have all names that this one could get in {}; name another folder with --out",
                self.out.display()
            ))
        })
    }

    /// Refuses, before time goes into counting, where a person put that photo's sheet right.
    ///
    /// # Errors
    /// When there is a corrected sheet, unless it is to be counted again.
    pub fn refuse_corrected(&self) -> Result<(), Failure> {
        match self.choose()? {
            (name, There::Corrected) if !self.again => Err(Failure::failed(format!(
                "{} holds what a person put right; to count the photo anew and put that sheet aside, say --again",
                self.out.join(Self::sheet_name(&name)).display()
            ))),
            _ => Ok(()),
        }
    }

    /// Writes sheet and pictures, one for each photo.
    ///
    /// # Errors
    /// When a person put the photo's sheet right meanwhile, or the files cannot be written.
    pub fn write(&self, sheet: &[u8], pictures: &[Vec<u8>]) -> Result<Kept, Failure> {
        for _ in 0..TRIES {
            self.refuse_corrected()?;
            let (name, there) = self.choose()?;
            let sheet_name = Self::sheet_name(&name);
            let names: Vec<String> = (1..=pictures.len())
                .map(|number| picture_name(&name, number))
                .collect();
            let mut files: Vec<(&str, &[u8])> = vec![(&sheet_name, sheet)];
            let drawn = names.iter().zip(pictures);
            files.extend(drawn.map(|(name, picture)| (name.as_str(), picture.as_slice())));
            let mut note = (name != self.stem && there == There::Nothing).then(|| {
                format!(
                    "{} is of another photo and stays; this one's sheet is {sheet_name}",
                    Self::sheet_name(self.stem)
                )
            });
            if there == There::Nothing {
                if write_new(self.out, &files)?.is_none() {
                    continue;
                }
            } else {
                // The review page changes a sheet under the same lock.
                let _lock = Lock::take(&self.out.join(&sheet_name), &mut || {})?;
                match self.there(&name) {
                    There::Counted => {}
                    There::Corrected if self.again => note = Some(self.put_aside(&sheet_name)?),
                    _ => continue,
                }
                write_files(self.out, &files)?;
            }
            // Of a set that was counted there before: only drawings, so that what cannot be taken away does no harm.
            for number in pictures.len() + 1..=MOST_PHOTOS {
                let _ = std::fs::remove_file(self.out.join(picture_name(&name, number)));
            }
            return Ok(Kept { name, note });
        }
        Err(Failure::failed(format!(
            "another program keeps writing {} in {}; wait for it, or name another folder with --out",
            Self::sheet_name(self.stem),
            self.out.display()
        )))
    }

    /// Keeps a corrected sheet under another name; says which.
    fn put_aside(&self, sheet_name: &str) -> Result<String, Failure> {
        let bytes = inbox::read_bytes(&self.out.join(sheet_name))?;
        let kept = (1..).find_map(|number: u32| {
            let aside = format!("{sheet_name}.corrected-{number}");
            match write_new(self.out, &[(&aside, &bytes)]) {
                Ok(None) => None,
                Ok(Some(_)) => Some(Ok(aside)),
                Err(error) => Some(Err(error)),
            }
        });
        let aside = kept.transpose()?.unwrap_or_default();
        Ok(format!(
            "the sheet that a person put right is kept as {}",
            self.out.join(aside).display()
        ))
    }
}

/// What the marked picture of the photo with that number, from 1, is called. None is called as the picture of another photo
/// may be, whatever that photo's name.
pub fn picture_name(name: &str, number: usize) -> String {
    match number {
        1 => format!("{name}.marked.jpg"),
        _ => format!("{name}.marked-{number}.jpg"),
    }
}

/// Whether a file is called as a marked picture is.
pub fn is_picture_name(file: &str) -> bool {
    let Some((_, number)) = file.rsplit_once(".marked") else {
        return false;
    };
    let further = |number: &str| {
        number
            .strip_prefix('-')
            .is_some_and(|n| n.parse::<u8>().is_ok())
    };
    number
        .strip_suffix(".jpg")
        .is_some_and(|number| number.is_empty() || further(number))
}

/// Whether a person's work is in it.
fn is_corrected(sheet: &Sheet) -> bool {
    let review = sheet.review.as_deref();
    sheet.checked
        || review.is_some_and(|review| !review.steps.is_empty() || !review.undone.is_empty())
}
