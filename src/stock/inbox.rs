//! Reading what others hand in: sheet files and tables.

use super::kind::fit_to_show;
use crate::sheet::Sheet;
use serde::Deserialize;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// The largest sheet or table that is read. A sheet of a thousand pieces has
/// under one megabyte; more than this is a mistaken file, not a large one.
pub const MOST_BYTES: u64 = 64 * 1024 * 1024;

/// Reads a file as a whole.
///
/// # Errors
/// When it cannot be read or is larger than [`MOST_BYTES`].
pub fn read_bytes(path: &Path) -> Result<Vec<u8>, InboxError> {
    let unreadable = |cause| InboxError::Read {
        path: path.to_owned(),
        cause,
    };
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(MOST_BYTES + 1).read_to_end(&mut bytes))
        .map_err(unreadable)?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(InboxError::TooLarge {
            path: path.to_owned(),
        });
    }
    Ok(bytes)
}

/// Reads a sheet file.
///
/// # Errors
/// When it cannot be read, is no sheet, or one of another version.
pub fn read_sheet(path: &Path) -> Result<Sheet, InboxError> {
    let bytes = read_bytes(path)?;
    serde_json::from_slice(&bytes).map_err(|error| match serde_json::from_slice::<Head>(&bytes) {
        Ok(head) if head.sheet != "v1" => InboxError::Version {
            path: path.to_owned(),
            found: fit_to_show(&head.sheet),
        },
        _ => InboxError::NoSheet {
            path: path.to_owned(),
            cause: fit_to_show(&error.to_string()),
        },
    })
}

/// Only the version, to tell a newer sheet from nonsense.
#[derive(Deserialize)]
struct Head {
    sheet: String,
}

/// Why a file was not taken.
#[derive(Debug, thiserror::Error)]
pub enum InboxError {
    /// The system does not let it be read.
    #[error("cannot read {}: {cause}", .path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
    /// Over [`MOST_BYTES`].
    #[error("{} is larger than any sheet or table ({} MB); see whether it is the right file", .path.display(), MOST_BYTES / 1024 / 1024)]
    TooLarge {
        /// The file.
        path: PathBuf,
    },
    /// Not a sheet.
    #[error("{} is no sheet file: {cause}; count the photo again", .path.display())]
    NoSheet {
        /// The file.
        path: PathBuf,
        /// What is wrong, and where.
        cause: String,
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
