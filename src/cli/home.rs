//! What lies in the home folder besides the stock: swatches, lights, the print profile.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::Failure;
use crate::colour::SwatchBook;
use crate::pipeline::Targets;

/// Folder of everything learned under the user's lights.
pub fn calibration(home: &Path) -> PathBuf {
    home.join("calibration")
}

/// The taught colours; an empty book where none were taught yet.
///
/// # Errors
/// When the file is there but cannot be read or is damaged.
pub fn swatches(home: &Path) -> Result<SwatchBook, Failure> {
    let path = calibration(home).join("swatches.json");
    match fs::read_to_string(&path) {
        Ok(text) => SwatchBook::from_json(&text)
            .map_err(|e| Failure::failed(format!("cannot use {}: {e}", path.display()))),
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(SwatchBook::default()),
        Err(e) => Err(Failure::failed(format!(
            "cannot read the taught colours {}: {e}; put the file right or name another --home",
            path.display()
        ))),
    }
}

/// What the card's patches should look like: its nominal values.
pub fn targets() -> Targets {
    Targets::nominal()
}

/// A name that is safe as a file's name.
///
/// # Errors
/// When it is empty, long, or has characters that file systems treat differently.
pub fn file_name(what: &str, name: &str) -> Result<String, Failure> {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if name.is_empty() || name.len() > 40 || !name.chars().all(plain) {
        return Err(Failure::wrong_use(format!(
            "the {what} name '{name}' is not usable: take up to 40 letters, digits, '-' or '_'"
        )));
    }
    Ok(name.to_owned())
}
