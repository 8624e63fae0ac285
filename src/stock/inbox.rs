//! Reading what others hand in: sheet files and tables.

use super::kind::fit_to_show;
use super::reader::{self, ReadError, SHEET_OR_TABLE};
use crate::sheet::Sheet;
use serde::Deserialize;
use serde::de::IgnoredAny;
use std::path::{Path, PathBuf};

/// Reads a sheet file or a table as it is.
///
/// # Errors
/// When it cannot be read, is no ordinary file, or larger than any sheet or table.
pub fn read_bytes(path: &Path) -> Result<Vec<u8>, InboxError> {
    Ok(reader::bytes(path, SHEET_OR_TABLE)?)
}

/// How the names of sheet files end.
pub const SHEET_ENDING: &str = ".sheet.json";

/// The sheet files of a folder, by name.
///
/// # Errors
/// When the folder cannot be read.
pub fn sheets_in(folder: &Path) -> Result<Vec<PathBuf>, InboxError> {
    let unreadable = |cause| InboxError::from(ReadError::unreadable(folder, cause));
    let mut paths = Vec::new();
    for item in std::fs::read_dir(folder).map_err(unreadable)? {
        let path = item.map_err(unreadable)?.path();
        if path.to_string_lossy().ends_with(SHEET_ENDING) {
            paths.push(path);
        }
    }
    paths.sort();
    Ok(paths)
}

/// Reads a sheet file.
///
/// # Errors
/// When it cannot be read, is no sheet, or one of another version.
pub fn read_sheet(path: &Path) -> Result<Sheet, InboxError> {
    let bytes = read_bytes(path)?;
    serde_json::from_slice(&bytes).map_err(|error| {
        let head = serde_json::from_slice::<Head>(&bytes).unwrap_or_default();
        let path = path.to_owned();
        match (&head.sheet, head.other()) {
            (Some(version), _) if version != "v1" => InboxError::Version {
                path,
                found: fit_to_show(version),
            },
            (None, Some(what)) => InboxError::Other { path, what },
            _ => InboxError::NoSheet {
                path,
                cause: fit_to_show(&error.to_string()),
            },
        }
    })
}

/// Only what kind of file it is and its version, to tell a newer sheet or another file of this
/// program from nonsense.
#[derive(Default, Deserialize)]
struct Head {
    sheet: Option<String>,
    stock: Option<IgnoredAny>,
    plan: Option<IgnoredAny>,
    offers: Option<IgnoredAny>,
}

impl Head {
    /// What it is, where that is another file of this program.
    fn other(&self) -> Option<&'static str> {
        [
            (&self.stock, "a stock file"),
            (&self.plan, "a plan"),
            (&self.offers, "a list of offers"),
        ]
        .into_iter()
        .find_map(|(found, what)| found.map(|_| what))
    }
}

/// Why a file was not taken.
#[derive(Debug, thiserror::Error)]
pub enum InboxError {
    /// It cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// Not a sheet.
    #[error("{} is no sheet file: {cause}; count the photo again, or name a file that `cuptally count` wrote", .path.display())]
    NoSheet {
        /// The file.
        path: PathBuf,
        /// What is wrong, and where.
        cause: String,
    },
    /// Another file of this program.
    #[error("{} is {what}, not a sheet; name a file that `cuptally count` wrote, such as PHOTO.sheet.json", .path.display())]
    Other {
        /// The file.
        path: PathBuf,
        /// What it is.
        what: &'static str,
    },
    /// Of another version.
    #[error("{} is a sheet of version {found}, and this program reads v1; use a newer cuptally", .path.display())]
    Version {
        /// The file.
        path: PathBuf,
        /// The version.
        found: String,
    },
}
