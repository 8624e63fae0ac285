//! The colours of the sample photos' pieces, as `calibration/make.sh` had this program learn them: for the demo, and
//! for whoever counts those photos without teaching first.

use std::path::{Path, PathBuf};

use super::calibration;
use crate::cli::Failure;
use crate::cli::atomic::write_files;
use crate::colour::SwatchBook;

/// `calibration/swatches.json` of the home that they were taught in.
const SWATCHES: &str = include_str!("../../../calibration/sample/swatches.json");

/// The sample pieces' colours.
///
/// # Errors
/// When what was built in is damaged.
pub fn swatches() -> Result<SwatchBook, Failure> {
    Ok(SwatchBook::from_json(SWATCHES)?)
}

/// Puts them into a home, as if they had been taught there.
///
/// # Errors
/// When the file cannot be written.
pub fn keep(home: &Path) -> Result<Vec<PathBuf>, Failure> {
    let file = ("swatches.json", SWATCHES.as_bytes());
    Ok(write_files(&calibration(home), &[file])?)
}
