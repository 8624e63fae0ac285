//! The stock file as text: version 3. Schema: `docs/stock-v3.schema.json`.
//!
//! | version | what it brought | how it is read today |
//! |---|---|---|
//! | v1 | places, pending sheets, history | as it is: v2 says the same and more |
//! | v2 | `remark`, `renamed`, `origin`, `left_out` and `scene`; exact numbers in history steps are one number | as it is: v3 says the same and more |
//! | v3 | `as_counted` | |
//!
//! An older file is read as it stands and written as the newest at its next change;
//! [`super::file`] keeps the older one beside it. A newer file is refused.
//!
//! One kind of piece, one pending line and one history entry a line, always in
//! the same order, so that `diff` shows what changed. Unknown fields, doubled
//! names and impossible numbers are refused: what this program does not
//! understand it would lose at the next writing.

use super::history::{Entry, HistoryError};
use super::kind::Name;
use super::lots::{Lot, Lots};
use super::model::{Contents, PendingSheet, Stock};
use serde::de::{Error as _, MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::io::Write;

/// The version that this program writes. It reads all before it too.
pub const VERSION: &str = Version::NEWEST.as_str();

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OnDisk {
    stock: Version,
    #[serde(deserialize_with = "places")]
    places: BTreeMap<Name, Lots>,
    #[serde(deserialize_with = "pending")]
    pending: BTreeSet<PendingSheet>,
    history: Vec<Entry>,
}

/// A version of the format.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
pub enum Version {
    /// The first.
    #[serde(rename = "v1")]
    V1,
    /// With remarks, renames, merges and scenes.
    #[serde(rename = "v2")]
    V2,
    /// With the mark of what was taken as counted.
    #[serde(rename = "v3")]
    V3,
}

impl Version {
    /// The one that is written.
    pub const NEWEST: Self = Self::V3;

    /// As the file says it.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::V1 => "v1",
            Self::V2 => "v2",
            Self::V3 => "v3",
        }
    }
}

/// Only the version, to tell a newer file from a damaged one.
#[derive(Deserialize)]
struct Head {
    stock: String,
}

/// Reads a stock file of any version up to the newest.
///
/// # Errors
/// When it is damaged, of a newer version, or contradicts itself.
pub fn parse(bytes: &[u8]) -> Result<Stock, FormatError> {
    Ok(parse_versioned(bytes)?.0)
}

/// As [`parse`], with the version that the file has.
///
/// # Errors
/// As [`parse`].
pub fn parse_versioned(bytes: &[u8]) -> Result<(Stock, Version), FormatError> {
    let OnDisk {
        stock: version,
        places,
        pending,
        history,
    } = serde_json::from_slice(bytes).map_err(|error| {
        match serde_json::from_slice::<Head>(bytes) {
            Ok(head) if !is_known(&head.stock) => FormatError::Version {
                found: super::kind::fit_to_show(&head.stock),
            },
            _ => FormatError::damaged(&error),
        }
    })?;
    let stock = Stock {
        contents: Contents { places, pending },
        history,
    };
    stock.ledger()?;
    Ok((stock, version))
}

fn is_known(version: &str) -> bool {
    [Version::V1, Version::V2, Version::V3]
        .map(Version::as_str)
        .contains(&version)
}

/// Writes a stock file. The same stock always gives the same bytes.
///
/// # Errors
/// Never in practice: writing to memory fails only when memory does.
pub fn write(stock: &Stock) -> Result<Vec<u8>, FormatError> {
    let mut out = Vec::new();
    write_to(stock, &mut out).map_err(|error| FormatError::Write(error.to_string()))?;
    Ok(out)
}

fn write_to(stock: &Stock, out: &mut Vec<u8>) -> std::io::Result<()> {
    write_head(&stock.contents, out)?;
    write_lines(&stock.history, out, 4)?;
    writeln!(out, "\n}}")
}

/// All before the history: it ends where the history's list begins.
fn write_head(contents: &Contents, out: &mut Vec<u8>) -> std::io::Result<()> {
    write!(out, "{{\n  \"stock\": \"{VERSION}\",\n  \"places\": {{")?;
    for (place, at) in contents.places.iter().zip(0usize..) {
        let (place, lots) = place;
        separate(out, at, 4)?;
        serde_json::to_writer(&mut *out, place)?;
        write!(out, ": ")?;
        write_lots(lots, out, 6)?;
    }
    close(out, contents.places.is_empty(), 2, "}")?;
    write!(out, ",\n  \"pending\": [")?;
    for (sheet, at) in contents.pending.iter().zip(0usize..) {
        separate(out, at, 4)?;
        write_pending(sheet, out)?;
    }
    close(out, contents.pending.is_empty(), 2, "]")?;
    write!(out, ",\n  \"history\": ")
}

/// How a file with at least one entry ends.
const END: &[u8] = b"\n  ]\n}\n";

/// As [`write()`], for a stock that grew from one whose file is at hand: the lines of
/// the entries that were there are taken over as they are. A history only grows, and
/// to write and read it all anew would be most of the work of a change.
///
/// `old` is the file, `before` its contents, `entries` the length of its history,
/// which `stock` must begin with. None where the file is not laid out as this program
/// lays it out; then write it anew.
///
/// # Errors
/// When what is new would not read back the same.
pub fn append(
    old: &[u8],
    before: &Contents,
    entries: usize,
    stock: &Stock,
) -> Result<Option<Vec<u8>>, FormatError> {
    let failed = |error: std::io::Error| FormatError::Write(error.to_string());
    let mut head = Vec::new();
    write_head(before, &mut head).map_err(failed)?;
    let lines = old.strip_prefix(head.as_slice());
    let (Some(lines), Some(new)) = (
        lines.and_then(|rest| rest.strip_suffix(END)),
        stock.history.get(entries..),
    ) else {
        return Ok(None);
    };
    // The new part alone, as a file of its own, must read back.
    let mut out = Vec::with_capacity(old.len() + old.len() / 8);
    write_head(&stock.contents, &mut out).map_err(failed)?;
    let mut part = out.clone();
    write_lines(new, &mut part, 4).map_err(failed)?;
    writeln!(part, "\n}}").map_err(failed)?;
    let read: OnDisk =
        serde_json::from_slice(&part).map_err(|error| FormatError::damaged(&error))?;
    let contents = &stock.contents;
    if read.places != contents.places || read.pending != contents.pending || read.history != new {
        return Err(FormatError::Write("it would not read back the same".into()));
    }
    stock.ledger()?;
    out.extend_from_slice(lines);
    for entry in new {
        write!(out, ",\n    ").map_err(failed)?;
        serde_json::to_writer(&mut out, entry).map_err(|e| FormatError::Write(e.to_string()))?;
    }
    out.extend_from_slice(END);
    Ok(Some(out))
}

fn write_lots(lots: &Lots, out: &mut Vec<u8>, indent: usize) -> std::io::Result<()> {
    write_lines(&Vec::<Lot>::from(lots.clone()), out, indent)
}

/// As serde writes it, but with its pieces one a line.
fn write_pending(sheet: &PendingSheet, out: &mut Vec<u8>) -> std::io::Result<()> {
    write!(out, "{{\"entry\":{},\"place\":", sheet.entry)?;
    serde_json::to_writer(&mut *out, &sheet.place)?;
    write!(out, ",\"file\":")?;
    serde_json::to_writer(&mut *out, &sheet.file)?;
    if let Some(hash) = &sheet.hash {
        write!(out, ",\"hash\":")?;
        serde_json::to_writer(&mut *out, hash)?;
    }
    write!(out, ",\"lots\":")?;
    write_lots(&sheet.lots, out, 6)?;
    write!(out, "}}")
}

fn write_lines<T: Serialize>(items: &[T], out: &mut Vec<u8>, indent: usize) -> std::io::Result<()> {
    write!(out, "[")?;
    for (item, at) in items.iter().zip(0usize..) {
        separate(out, at, indent)?;
        serde_json::to_writer(&mut *out, item)?;
    }
    close(out, items.is_empty(), indent - 2, "]")
}

fn separate(out: &mut Vec<u8>, at: usize, indent: usize) -> std::io::Result<()> {
    let comma = if at > 0 { "," } else { "" };
    write!(out, "{comma}\n{:indent$}", "")
}

fn close(out: &mut Vec<u8>, empty: bool, indent: usize, bracket: &str) -> std::io::Result<()> {
    if empty {
        write!(out, "{bracket}")
    } else {
        write!(out, "\n{:indent$}{bracket}", "")
    }
}

/// serde's own map keeps the last of two equal keys, which would lose a place.
fn places<'de, D: Deserializer<'de>>(input: D) -> Result<BTreeMap<Name, Lots>, D::Error> {
    struct Places;
    impl<'de> Visitor<'de> for Places {
        type Value = BTreeMap<Name, Lots>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            f.write_str("places with their pieces")
        }

        fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
            let mut places = BTreeMap::new();
            while let Some((name, lots)) = map.next_entry::<Name, Lots>()? {
                if lots.is_empty() {
                    return Err(A::Error::custom(format_args!(
                        "the place {name} holds nothing; leave it out"
                    )));
                }
                if places.insert(name.clone(), lots).is_some() {
                    return Err(A::Error::custom(format_args!(
                        "the place {name} is listed twice"
                    )));
                }
            }
            Ok(places)
        }
    }
    input.deserialize_map(Places)
}

fn pending<'de, D: Deserializer<'de>>(input: D) -> Result<BTreeSet<PendingSheet>, D::Error> {
    let list = Vec::<PendingSheet>::deserialize(input)?;
    let mut set = BTreeSet::new();
    for sheet in list {
        if let Some(sheet) = set.replace(sheet) {
            return Err(D::Error::custom(format_args!(
                "the pending sheet {} of entry {} is listed twice",
                sheet.file, sheet.entry
            )));
        }
    }
    Ok(set)
}

/// Why bytes are no stock file of ours.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FormatError {
    /// Not JSON, or not a stock.
    #[error("it is damaged at line {line}, column {column}: {cause}")]
    Damaged {
        /// Line, from 1.
        line: usize,
        /// Column, from 1.
        column: usize,
        /// What is wrong there.
        cause: String,
    },
    /// A version that this program does not read.
    #[error(
        "it has version {found}, and this program reads versions up to {VERSION}; use a newer cuptally"
    )]
    Version {
        /// The version.
        found: String,
    },
    /// The history's references do not agree.
    #[error("it is damaged: {0}")]
    History(#[from] HistoryError),
    /// Memory failed.
    #[error("it cannot be put together: {0}")]
    Write(String),
}

impl FormatError {
    /// serde's text ends in the place; ours begins with it.
    fn damaged(error: &serde_json::Error) -> Self {
        let (line, column) = (error.line(), error.column());
        let text = error.to_string();
        let place = format!(" at line {line} column {column}");
        let cause = super::kind::fit_to_show(text.strip_suffix(&place).unwrap_or(&text));
        Self::Damaged {
            line,
            column,
            cause,
        }
    }
}
