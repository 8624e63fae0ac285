//! What makes a history entry the same entry in two stock files.

use super::history::Entry;
use super::kind::KindError;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// SHA-256 over the line of an entry as it was first written: 64 lower-case hex
/// digits. When the entry is merged into another stock its number, and what it finds
/// there, change; this stays.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct EntryId(String);

impl EntryId {
    /// The id of an entry: the one it came with, or that of its own line.
    ///
    /// # Errors
    /// Never in practice: an entry always becomes text.
    pub fn of(entry: &Entry) -> Result<Self, serde_json::Error> {
        if let Some(origin) = &entry.origin {
            return Ok(origin.clone());
        }
        let line = serde_json::to_vec(entry)?;
        Ok(Self(format!("{:x}", Sha256::digest(line))))
    }
}

impl TryFrom<String> for EntryId {
    type Error = KindError;

    fn try_from(text: String) -> Result<Self, KindError> {
        // The same 64 digits as a photo's hash.
        super::kind::PhotoHash::try_from(text).map(|hash| Self(hash.into()))
    }
}

impl From<EntryId> for String {
    fn from(id: EntryId) -> Self {
        id.0
    }
}
