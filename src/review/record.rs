//! The record of reviews, as it lies in the home folder (`calibration/record.json`).

use std::path::{Path, PathBuf};

use super::kept::{self, KeptError};
use crate::count::record::{Entry, Record, RecordError};

/// Why the record was not read or kept.
#[derive(Debug, thiserror::Error)]
pub enum RecordFileError {
    /// The file cannot be read or written.
    #[error(transparent)]
    Kept(#[from] KeptError),
    /// It is damaged, or a later program's.
    #[error("cannot use {}: {cause}", .path.display())]
    Unusable {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        cause: RecordError,
    },
}

/// Where it lies.
pub fn path(home: &Path) -> PathBuf {
    home.join("calibration").join("record.json")
}

/// The record; an empty one where no review was finished yet.
///
/// # Errors
/// When the file is there but cannot be read or is damaged.
pub fn read(home: &Path) -> Result<Record, RecordFileError> {
    let path = path(home);
    let text = kept::read(&path)?;
    record(&path, text.as_deref())
}

fn record(path: &Path, text: Option<&str>) -> Result<Record, RecordFileError> {
    text.map_or_else(
        || Ok(Record::default()),
        |text| Record::from_json(text).map_err(unusable(path)),
    )
}

fn unusable(path: &Path) -> impl Fn(RecordError) -> RecordFileError {
    move |cause| RecordFileError::Unusable {
        path: path.to_owned(),
        cause,
    }
}

/// Counts what a finished sheet shows; a photo counts once.
///
/// # Errors
/// When the record cannot be read or written; it is then as it was.
pub fn add(home: &Path, entry: Entry) -> Result<(), RecordFileError> {
    let path = path(home);
    kept::change(&path, RecordFileError::from, |text| {
        let mut record = record(&path, text.as_deref())?;
        let is_new = record.add(entry);
        let text = is_new.then(|| record.to_json()).transpose();
        Ok((text.map_err(unusable(&path))?, ()))
    })
}

/// Takes the record away, whatever is in it; says whether there was one.
///
/// # Errors
/// When the system does not allow it.
pub fn forget(home: &Path) -> Result<bool, RecordFileError> {
    Ok(kept::remove(&path(home))?)
}
