//! The record of reviews (`calibration/record.json`), version 1. Schema: `docs/record-v1.schema.json`.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::maps::maps_id;

/// The record's format version.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Version {
    /// The first version.
    #[default]
    #[serde(rename = "v1")]
    V1,
}

/// What finished reviews showed, a sheet an entry, in the order in which they were finished.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Record {
    entries: Vec<Entry>,
}

/// What one sheet showed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// The photo's pixel hash, as in the sheet: a photo counts once.
    pub photo: String,
    /// Which state of its review: the beginning of the SHA-256 of its steps.
    pub review: String,
    /// When it was finished, UTC.
    pub time: Timestamp,
    /// The measured light that was on, where that could be told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub light: Option<String>,
    /// The maps that stated how sure its pieces are ([`super::maps_id`]); none where its sheet does not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maps: Option<String>,
    /// The pieces that a person looked at, like ones together.
    pub rows: Vec<Row>,
}

/// Pieces of a sheet of which the same was stated, with what they turned out to be.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Row {
    /// What the program stated before any record set it right.
    pub stated: f64,
    /// The first reason why it was doubtful, in short; empty where it was sure.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub doubt: String,
    /// Pieces of a sheet of which hardly a sure one was looked at: somebody came upon these.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub came_upon: bool,
    /// As they were counted.
    #[serde(default, skip_serializing_if = "is_none")]
    pub right: u32,
    /// Of another form or size, or more or fewer pieces than one.
    #[serde(default, skip_serializing_if = "is_none")]
    pub shape: u32,
    /// Of another colour.
    #[serde(default, skip_serializing_if = "is_none")]
    pub colour: u32,
    /// Of another shape and colour.
    #[serde(default, skip_serializing_if = "is_none")]
    pub both: u32,
    /// No pieces at all.
    #[serde(default, skip_serializing_if = "is_none")]
    pub no_piece: u32,
}

#[allow(clippy::trivially_copy_pass_by_ref)] // as serde wants it
fn is_none(number: &u32) -> bool {
    *number == 0
}

impl Row {
    /// How many were not as they were counted.
    pub fn wrong(&self) -> u32 {
        [self.shape, self.colour, self.both, self.no_piece]
            .into_iter()
            .fold(0, u32::saturating_add)
    }

    /// How many there are.
    pub fn number(&self) -> u32 {
        self.right.saturating_add(self.wrong())
    }
}

/// The record as its file holds it.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    record: Version,
    /// SHA-256 of the entries, so that a change by hand shows: what is stated of pieces leans on them.
    check: String,
    entries: Vec<Entry>,
}

/// Only the version, to tell a later file from a damaged one.
#[derive(Deserialize)]
struct Head {
    record: String,
}

/// Why a record cannot be used; each is a sentence.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// The text is no record.
    #[error(
        "this is not a whole record of version v1 ({0}); `cuptally record --forget` takes it away"
    )]
    Format(#[from] serde_json::Error),
    /// A later program's.
    #[error(
        "it is of version {0}, and this program knows v1; use a newer cuptally, or take it away with `cuptally record --forget`"
    )]
    Later(String),
    /// Somebody changed it.
    #[error(
        "it was changed by something else than cuptally; `cuptally record --forget` takes it away"
    )]
    Changed,
}

/// No more pieces of a kind lie in a photo; more is no count.
const MOST: u32 = 1_000_000;

impl Record {
    /// Reads a record.
    ///
    /// # Errors
    /// [`RecordError`].
    pub fn from_json(text: &str) -> Result<Self, RecordError> {
        if let Ok(Head { record }) = serde_json::from_str(text)
            && record != "v1"
        {
            return Err(RecordError::Later(record.chars().take(20).collect()));
        }
        let File { check, entries, .. } = serde_json::from_str(text)?;
        let rows = || entries.iter().flat_map(|entry| &entry.rows);
        let sound = rows().all(|row| (0.0..=1.0).contains(&row.stated) && row.number() <= MOST);
        if !sound || check != check_of(&entries)? {
            return Err(RecordError::Changed);
        }
        Ok(Self { entries })
    }

    /// The record as its file holds it.
    ///
    /// # Errors
    /// When a number is none; there are no such.
    pub fn to_json(&self) -> Result<String, RecordError> {
        Ok(serde_json::to_string_pretty(&File {
            record: Version::V1,
            check: check_of(&self.entries)?,
            entries: self.entries.clone(),
        })?)
    }

    /// Counts a sheet; says whether it counts anew. One photo counts once: what its last review showed.
    pub fn add(&mut self, entry: Entry) -> bool {
        let same = |kept: &Entry| kept.photo == entry.photo;
        match self.entries.iter().position(same) {
            Some(at) if self.entries[at].review == entry.review => false,
            Some(at) => {
                self.entries.remove(at);
                self.entries.push(entry);
                true
            }
            None => {
                self.entries.push(entry);
                true
            }
        }
    }

    /// The sheets, in the order in which they were finished.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// What was stated by the maps that are shipped today, and what was not.
    pub fn by_maps(&self) -> [Self; 2] {
        let is_today = |entry: &&Entry| entry.maps.as_deref() == Some(maps_id());
        let (today, former) = self.entries.iter().partition::<Vec<_>, _>(is_today);
        [today, former].map(|entries| Self {
            entries: entries.into_iter().cloned().collect(),
        })
    }

    /// Rows of pieces that were looked at whatever was found there.
    pub fn rows(&self) -> impl Iterator<Item = &Row> {
        let rows = self.entries.iter().flat_map(|entry| &entry.rows);
        rows.filter(|row| !row.came_upon)
    }
}

fn check_of(entries: &[Entry]) -> Result<String, serde_json::Error> {
    Ok(format!(
        "{:x}",
        Sha256::digest(serde_json::to_vec(entries)?)
    ))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    fn entry(photo: &str, review: &str, right: u32) -> Entry {
        Entry {
            photo: photo.to_owned(),
            review: review.to_owned(),
            time: "2026-05-02T10:12:00Z".parse().unwrap(),
            light: None,
            maps: None,
            rows: vec![Row {
                stated: 0.9,
                right,
                ..Row::default()
            }],
        }
    }

    #[test]
    fn a_photo_counts_once_and_by_its_last_review() {
        let mut record = Record::default();
        assert!(record.add(entry("a", "1", 3)));
        assert!(record.add(entry("b", "1", 4)));
        assert!(!record.add(entry("a", "1", 3)));
        assert!(record.add(entry("a", "2", 5)));
        let right: Vec<u32> = record.rows().map(|row| row.right).collect();
        assert_eq!(right, [4, 5]);
    }

    #[test]
    fn what_former_maps_stated_is_told_apart() {
        let mut record = Record::default();
        for (photo, maps) in [
            ("a", Some(maps_id().to_owned())),
            ("b", None),
            ("c", Some("000000000000".to_owned())),
        ] {
            record.add(Entry {
                maps,
                ..entry(photo, "1", 3)
            });
        }
        let photos = |record: &Record| -> Vec<String> {
            (record.entries().iter())
                .map(|entry| entry.photo.clone())
                .collect()
        };
        let [today, former] = record.by_maps();
        assert_eq!(photos(&today), ["a"]);
        assert_eq!(photos(&former), ["b", "c"]);
        // An entry of before maps had ids reads as it was written, its check included.
        let text = record.to_json().unwrap();
        assert_eq!(Record::from_json(&text).unwrap(), record);
        assert_eq!(text.matches("\"maps\"").count(), 2);
    }

    #[test]
    fn what_is_not_as_it_was_written_is_refused() {
        let mut record = Record::default();
        record.add(entry("a", "1", 3));
        let text = record.to_json().unwrap();
        assert_eq!(Record::from_json(&text).unwrap(), record);
        for (changed, says) in [
            (text[..text.len() / 2].to_owned(), "not a whole record"),
            (text.replace("\"right\": 3", "\"right\": 4"), "was changed"),
            (
                text.replace("\"stated\": 0.9", "\"stated\": 9.0"),
                "was changed",
            ),
            (text.replace("\"v1\"", "\"v2\""), "of version v2"),
            (text.replace("\"photo\"", "\"foto\""), "not a whole record"),
            (String::new(), "not a whole record"),
        ] {
            let error = Record::from_json(&changed).unwrap_err().to_string();
            assert!(error.contains(says), "{error}");
        }
    }
}
