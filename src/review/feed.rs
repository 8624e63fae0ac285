//! Feeding what a sheet's corrections teach into the taught colours, and taking it back.

use std::path::Path;

use serde::Serialize;

use crate::colour::{Swatch, SwatchError};
use crate::sheet::Sheet;

use super::learn::{Learned, Lesson, LessonError};
use super::swatches::{self, SwatchFileError};
use super::witness::LeftOut;

/// Why nothing was learned or taken back.
#[derive(Debug, thiserror::Error)]
pub enum FeedError {
    /// The file.
    #[error(transparent)]
    File(#[from] SwatchFileError),
    /// The sheet.
    #[error(transparent)]
    Lesson(#[from] LessonError),
    /// What would stand in the file.
    #[error("the colours cannot be kept: {0}")]
    Swatch(#[from] SwatchError),
}

/// Learns from sheets, all or none; gives what each taught. One in which nobody spoke of a colour changes
/// nothing.
///
/// # Errors
/// When a sheet's names are none, or the taught colours cannot be read or written.
pub fn feed(home: &Path, sheets: &[Sheet], light: Option<&str>) -> Result<Vec<Lesson>, FeedError> {
    // Where there is nothing to learn nothing is touched, not even a lock.
    let book = swatches::read(home)?;
    let looked = sheets.iter().map(|sheet| Lesson::of(sheet, &book, light));
    let looked: Vec<Lesson> = looked.collect::<Result<_, _>>()?;
    if looked.iter().all(Lesson::is_empty) {
        return Ok(looked);
    }
    swatches::change(home, |book| {
        let learn = |sheet: &Sheet| {
            let lesson = Lesson::of(sheet, book, light)?;
            if !lesson.is_empty() {
                lesson.put_into(book)?;
            }
            Ok(lesson)
        };
        sheets.iter().map(learn).collect()
    })
}

/// Takes back what a photo taught; gives it.
///
/// # Errors
/// When the taught colours cannot be read or written.
pub fn forget(home: &Path, photo: &str) -> Result<Vec<Swatch>, FeedError> {
    if swatches::read(home)?.forget(photo).is_empty() {
        return Ok(Vec::new());
    }
    swatches::change(home, |book| Ok(book.forget(photo)))
}

/// What a sheet could teach, as the page offers it.
#[derive(Clone, Debug, Serialize)]
pub struct Offer {
    /// The colours.
    pub colours: Vec<Learned>,
    /// The pieces that teach nothing.
    pub left_out: Vec<LeftOut>,
    /// Whether something was learned from it already.
    pub learned: bool,
}

/// What a sheet could teach; `None` where nobody spoke of a colour and nothing was learned from it, or it
/// cannot teach at all: the end of a review does not wait for that.
pub fn offer(home: &Path, sheet: &Sheet) -> Option<Offer> {
    let book = swatches::read(home).ok()?;
    let lesson = Lesson::of(sheet, &book, None).ok()?;
    let learned = (book.origins().iter()).any(|origin| origin.photo == sheet.photos.first.hash);
    (learned || !lesson.is_empty()).then_some(Offer {
        colours: lesson.colours,
        left_out: lesson.left_out,
        learned,
    })
}

/// Does at the end of a review what the person said: learns, or takes back what was learned before. Says
/// what was done, if anything was.
///
/// # Errors
/// As [`feed`].
pub fn at_the_end(
    home: &Path,
    sheet: &Sheet,
    path: &Path,
    learn: bool,
) -> Result<Option<String>, FeedError> {
    if !learn {
        let gone = forget(home, &sheet.photos.first.hash)?;
        let back = "What this sheet had taught of colours was taken back.";
        return Ok((!gone.is_empty()).then(|| back.to_owned()));
    }
    let lessons = feed(home, std::slice::from_ref(sheet), None)?;
    let Some(lesson) = lessons.first().filter(|lesson| !lesson.colours.is_empty()) else {
        return Ok(Some("No colour was learned.".to_owned()));
    };
    Ok(Some(format!(
        "Learned {}; to take that back, say `cuptally teach --forget {}`.",
        lesson.in_words(),
        crate::stock::shell::quoted_path(path)
    )))
}
