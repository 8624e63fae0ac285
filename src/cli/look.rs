//! Opening photos for commands.

use std::path::Path;

use super::Failure;
use crate::photo::{self, Limits, Photo};
use crate::pipeline::Trouble;

/// Opens a photo with the usual limits.
///
/// # Errors
/// As [`photo::open`].
pub fn open(path: &Path) -> Result<Photo, Failure> {
    Ok(photo::open(path, &Limits::default())?)
}

/// Says which photo could not be measured.
pub fn trouble(path: &Path, trouble: &Trouble) -> Failure {
    fault(path, trouble)
}

/// Says of which photo an error speaks.
pub fn fault(path: &Path, trouble: &impl std::fmt::Display) -> Failure {
    Failure::failed(format!("{}: {trouble}", path.display()))
}
