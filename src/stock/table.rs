//! The stock as a table for other programs: CSV by RFC 4180, UTF-8.
//!
//! A spreadsheet takes a cell that begins with `=`, `+`, `-`, `@`, their full-width
//! forms or a control character for a formula. Such cells go out with an apostrophe before
//! them, and so does one that already begins with apostrophes and then such a
//! sign; reading takes one off again, so every name comes back as it was. The same is done after
//! each semicolon, where a spreadsheet that parts cells by semicolons would see one begin.

pub mod layout;
pub mod read;

use super::kind::{Kind, Name};
use super::lots::Lots;
use super::model::Contents;
use super::tally::{Tally, TallyError};
use std::collections::BTreeMap;

pub use read::read;

/// The columns, in the order in which they are written.
pub const COLUMNS: [&str; 8] = [
    "place", "form", "size", "colour", "count", "low", "high", "status",
];

/// Somebody looked.
const CHECKED: &str = "checked";
/// Nobody looked, and somebody took them as counted.
const AS_COUNTED: &str = "as counted";
/// Nobody looked yet.
const PENDING: &str = "pending";

/// How many faults of a table are told at once.
const FAULTS_TOLD: usize = 20;

/// A line of the table.
struct Line<'a> {
    place: &'a Name,
    kind: &'a Kind,
    tally: Tally,
    status: &'static str,
}

/// A line for each kind in each place, checked and pending apart.
fn lines<T>(
    contents: &Contents,
    mut each: impl FnMut(Line) -> Result<T, TableError>,
) -> Result<Vec<T>, TableError> {
    let pending = pending(contents)?;
    let empty = Lots::default();
    let mut all = Vec::new();
    for place in contents.place_names() {
        let checked = contents.places.get(place).unwrap_or(&empty);
        let pending = pending.get(place).unwrap_or(&empty);
        for (is_pending, lots) in [(false, checked), (true, pending)] {
            for (kind, tally) in lots.iter() {
                let status = match (is_pending, tally.as_counted()) {
                    (true, _) => PENDING,
                    (false, 0) => CHECKED,
                    // Of a part of them too: a table that is read back says no more than was known.
                    (false, _) => AS_COUNTED,
                };
                all.push(each(Line {
                    place,
                    kind,
                    tally,
                    status,
                })?);
            }
        }
    }
    Ok(all)
}

/// What is pending in each place, all sheets together.
fn pending(contents: &Contents) -> Result<BTreeMap<&Name, Lots>, TallyError> {
    let mut pending: BTreeMap<&Name, Lots> = BTreeMap::new();
    for sheet in &contents.pending {
        let lots = pending.entry(&sheet.place).or_default();
        lots.add_all(&sheet.lots)?;
    }
    Ok(pending)
}

/// Writes the stock, a line for each kind in each place, checked and pending apart.
///
/// # Errors
/// When there are too many pieces to add up.
pub fn write(contents: &Contents) -> Result<Vec<u8>, TableError> {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    lines(contents, |line| {
        Ok(writer.write_record([
            guarded(line.place.as_str()),
            guarded(line.kind.form.as_str()),
            line.kind.size.to_string(),
            guarded(line.kind.colour.as_str()),
            line.tally.count().to_string(),
            line.tally.low().to_string(),
            line.tally.high().to_string(),
            line.status.to_owned(),
        ])?)
    })?;
    writer
        .into_inner()
        .map_err(|error| TableError::Csv(error.into_error().into()))
}

/// The same lines as JSON.
///
/// # Errors
/// As [`write()`].
pub fn rows(contents: &Contents) -> Result<Vec<serde_json::Value>, TableError> {
    lines(contents, |line| {
        Ok(serde_json::json!({
            "place": line.place,
            "form": line.kind.form,
            "size": line.kind.size,
            "colour": line.kind.colour,
            "count": line.tally.count(),
            "low": line.tally.low(),
            "high": line.tally.high(),
            "status": line.status,
        }))
    })
}

/// Signs by which a spreadsheet knows a formula: OWASP ASVS 5.0, requirement 1.2.10,
/// with the line ends; and their full-width forms, which some take too (from memory).
const FORMULA_SIGNS: [char; 12] = [
    '=', '+', '-', '@', '\t', '\0', '\r', '\n', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}',
];

fn begins_a_formula(cell: &str) -> bool {
    cell.starts_with(FORMULA_SIGNS)
}

/// Where a spreadsheet may see a cell begin: at the beginning, and after each semicolon, as many
/// part cells there. Blanks do not count.
fn beginnings(cell: &str) -> impl Iterator<Item = usize> {
    let after = cell.match_indices(';').map(|(at, _)| at + 1);
    let after = after.map(|at| {
        let rest = cell.get(at..).unwrap_or_default();
        at + rest.len() - rest.trim_start_matches(' ').len()
    });
    std::iter::once(0).chain(after)
}

fn guarded(cell: &str) -> String {
    let mut out = String::with_capacity(cell.len() + 1);
    let mut from = 0;
    for at in beginnings(cell) {
        let (before, rest) = cell.split_at(at);
        if begins_a_formula(rest.trim_start_matches('\'')) {
            out.push_str(before.get(from..).unwrap_or_default());
            out.push('\'');
            from = at;
        }
    }
    out.push_str(cell.get(from..).unwrap_or_default());
    out
}

/// A cell without the apostrophes that keep a spreadsheet from taking it for a formula.
pub fn unguarded(cell: &str) -> String {
    let mut out = String::with_capacity(cell.len());
    let mut from = 0;
    for at in beginnings(cell) {
        let (before, rest) = cell.split_at(at);
        if let Some(bare) = rest.strip_prefix('\'')
            && begins_a_formula(bare.trim_start_matches('\''))
        {
            out.push_str(before.get(from..).unwrap_or_default());
            from = at + 1;
        }
    }
    out.push_str(cell.get(from..).unwrap_or_default());
    out
}

/// A line of a table that cannot be taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}: {fault}")]
pub struct Fault {
    /// Line in the file, from 1.
    pub line: u64,
    /// What is wrong with it.
    pub fault: RowFault,
}

/// What is wrong with a line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RowFault {
    /// One cell.
    #[error("{column}: {cause}")]
    Cell {
        /// Its column.
        column: &'static str,
        /// Why.
        cause: String,
    },
    /// Count and range do not go together.
    #[error(transparent)]
    Tally(#[from] TallyError),
    /// It says what another line says already.
    #[error("{kind} in {place} stands in line {first} already")]
    Twice {
        /// Of what.
        kind: Kind,
        /// Where.
        place: Name,
        /// The other line.
        first: u64,
    },
}

/// Why a table cannot be read or written.
#[derive(Debug, thiserror::Error)]
pub enum TableError {
    /// Not CSV.
    #[error("it is no table: {0}")]
    NoTable(String),
    /// The writer failed.
    #[error("it cannot be written: {0}")]
    Csv(#[from] csv::Error),
    /// A column is missing.
    #[error(
        "its first line names no column '{0}'; it must name place, form, size, colour and count"
    )]
    NoColumn(&'static str),
    /// A column stands there twice.
    #[error("its first line names the column '{0}' twice")]
    ColumnTwice(&'static str),
    /// Text of another kind.
    #[error("it is not UTF-8 text; save it as CSV in UTF-8")]
    NotText,
    /// A header and nothing else.
    #[error("it has no lines after the first")]
    Empty,
    /// Some lines are wrong.
    #[error("{}", told(.0))]
    Lines(Vec<Fault>),
    /// Numbers too large to write.
    #[error("it cannot be written: {0}")]
    Tally(#[from] TallyError),
}

fn told(faults: &[Fault]) -> String {
    let mut lines: Vec<String> = faults
        .iter()
        .take(FAULTS_TOLD)
        .map(Fault::to_string)
        .collect();
    if faults.len() > FAULTS_TOLD {
        lines.push(format!("and {} more", faults.len() - FAULTS_TOLD));
    }
    lines.join("\n  ")
}
