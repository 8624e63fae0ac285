//! The colours of the sample photos' pieces, as `calibration/make.sh` had this program learn them: for the demo, and
//! for whoever counts those photos without teaching first.

use std::path::{Path, PathBuf};

use super::{calibration, lights};
use crate::cli::Failure;
use crate::cli::atomic::write_files;
use crate::colour::SwatchBook;
use crate::sheet::LightFile;

/// `calibration/swatches.json` of the home that they were taught in.
const SWATCHES: &str = include_str!("../../../calibration/sample/swatches.json");

/// Its lights, by the names of their files.
const LIGHTS: [(&str, &str); 2] = [
    (
        "daylight.json",
        include_str!("../../../calibration/sample/lights/daylight.json"),
    ),
    (
        "evening-lamp.json",
        include_str!("../../../calibration/sample/lights/evening-lamp.json"),
    ),
];

/// The sample pieces' colours.
///
/// # Errors
/// When what was built in is damaged.
pub fn swatches() -> Result<SwatchBook, Failure> {
    Ok(SwatchBook::from_json(SWATCHES)?)
}

/// The lights that they were taught in.
///
/// # Errors
/// When what was built in is damaged.
pub fn known_lights() -> Result<Vec<LightFile>, Failure> {
    let read = |(_, text): (&str, &str)| Ok(serde_json::from_str(text)?);
    LIGHTS.into_iter().map(read).collect()
}

/// Puts both into a home, as if they had been taught and measured there.
///
/// # Errors
/// When the files cannot be written.
pub fn keep(home: &Path) -> Result<Vec<PathBuf>, Failure> {
    let mut kept = write_files(
        &calibration(home),
        &[("swatches.json", SWATCHES.as_bytes())],
    )?;
    let files = LIGHTS.map(|(name, text)| (name, text.as_bytes()));
    kept.extend(write_files(&lights(home), &files)?);
    Ok(kept)
}
