//! The stock as a table for other programs: CSV by RFC 4180, UTF-8.
//!
//! A spreadsheet takes a cell that begins with `=`, `+`, `-`, `@`, their full-width
//! forms or a control character for a formula. Such cells go out with an apostrophe before
//! them, and so does one that already begins with apostrophes and then such a
//! sign; reading takes one off again, so every name comes back as it was.

use super::kind::{Kind, Label, Name, Size};
use super::lots::Lots;
use super::merge::Listing;
use super::model::Contents;
use super::tally::{Tally, TallyError};
use csv::StringRecord;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// The columns, in the order in which they are written.
pub const COLUMNS: [&str; 8] = [
    "place", "form", "size", "colour", "count", "low", "high", "status",
];

/// How many faults of a table are told at once.
const FAULTS_TOLD: usize = 20;

/// Writes the stock, a line for each kind in each place, checked and pending apart.
///
/// # Errors
/// When there are too many pieces to add up.
pub fn write(contents: &Contents) -> Result<Vec<u8>, TableError> {
    let mut pending: BTreeMap<&Name, Lots> = BTreeMap::new();
    for sheet in &contents.pending {
        pending
            .entry(&sheet.place)
            .or_default()
            .add_all(&sheet.lots)?;
    }
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    let empty = Lots::default();
    let places: BTreeSet<&Name> = contents
        .places
        .keys()
        .chain(pending.keys().copied())
        .collect();
    for place in places {
        let checked = contents.places.get(place).unwrap_or(&empty);
        let pending = pending.get(place).unwrap_or(&empty);
        for (status, lots) in [("checked", checked), ("pending", pending)] {
            for (kind, tally) in lots.iter() {
                writer.write_record([
                    guarded(place.as_str()),
                    guarded(kind.form.as_str()),
                    kind.size.to_string(),
                    guarded(kind.colour.as_str()),
                    tally.count().to_string(),
                    tally.low().to_string(),
                    tally.high().to_string(),
                    status.to_owned(),
                ])?;
            }
        }
    }
    writer
        .into_inner()
        .map_err(|error| TableError::Csv(error.into_error().into()))
}

/// Signs by which a spreadsheet knows a formula: OWASP ASVS 5.0, requirement 1.2.10,
/// with the line ends; and their full-width forms, which some take too (from memory).
const FORMULA_SIGNS: [char; 12] = [
    '=', '+', '-', '@', '\t', '\0', '\r', '\n', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}',
];

fn begins_a_formula(cell: &str) -> bool {
    cell.starts_with(FORMULA_SIGNS)
}

fn guarded(cell: &str) -> String {
    if begins_a_formula(cell.trim_start_matches('\'')) {
        format!("'{cell}")
    } else {
        cell.to_owned()
    }
}

/// A cell without the apostrophe that keeps a spreadsheet from taking it for a formula.
pub fn unguarded(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(rest) if begins_a_formula(rest.trim_start_matches('\'')) => rest,
        _ => cell,
    }
}

/// Lines of a table's text, from 1. The reader's own count is one too low after CRLF: it ends a
/// row at the carriage return and gives the line feed to the next one.
pub struct Lines<'a> {
    text: &'a [u8],
    at: usize,
    line: u64,
}

impl<'a> Lines<'a> {
    /// Those of this text, as the reader got it.
    pub fn of(text: &'a [u8]) -> Self {
        Self {
            text,
            at: 0,
            line: 1,
        }
    }

    /// The line on which the row begins that the reader puts at `position`. Rows are asked for in
    /// the order in which they are read.
    pub fn line(&mut self, position: Option<&csv::Position>) -> u64 {
        let place = position.map_or(0, csv::Position::byte);
        let place = usize::try_from(place).unwrap_or(usize::MAX);
        let rest = self.text.get(place..).unwrap_or_default();
        let ends = rest.iter().take_while(|byte| matches!(byte, b'\r' | b'\n'));
        let begin = place.saturating_add(ends.count());
        self.line += line_ends(self.text.get(self.at..begin).unwrap_or_default());
        self.at = self.at.max(begin);
        self.line
    }
}

/// How many lines end in a text: at LF, at CR, or at both together.
fn line_ends(text: &[u8]) -> u64 {
    let next = text.iter().skip(1).map(Some).chain([None]);
    let ends = text
        .iter()
        .zip(next)
        .filter(|&(byte, next)| *byte == b'\n' || (*byte == b'\r' && next != Some(&b'\n')));
    ends.count() as u64
}

/// What the reader of a table could not take, and on which line.
pub fn broken(text: &[u8], error: &csv::Error) -> String {
    let line = |position: &Option<csv::Position>| Lines::of(text).line(position.as_ref());
    match error.kind() {
        csv::ErrorKind::UnequalLengths {
            pos,
            expected_len,
            len,
        } => format!(
            "line {} has {len} of the {expected_len} cells that the first line names; give it as many",
            line(pos)
        ),
        csv::ErrorKind::Utf8 { pos, .. } => {
            format!("line {} is not UTF-8 text; save it as UTF-8", line(pos))
        }
        _ => error.to_string(),
    }
}

/// A table that was read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Table {
    /// What it says.
    pub listing: Listing,
    /// Columns that mean nothing here.
    pub ignored: Vec<Label>,
}

/// Reads a whole table before anything is done with it. `place`, `form`, `size`,
/// `colour` and `count` must be there, in any order; `low` and `high` are the count
/// and `status` is `checked` where they are missing or empty.
///
/// # Errors
/// When it is no such table, or lines are wrong: all of them are told, with numbers.
pub fn read(bytes: &[u8]) -> Result<Table, TableError> {
    // Spreadsheets put a byte order mark before UTF-8.
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(bytes);
    let no_table = |error: csv::Error| TableError::NoTable(broken(bytes, &error));
    let header = reader.headers().map_err(no_table)?.clone();
    let (columns, ignored) = columns(&header)?;
    let mut table = Table {
        listing: Listing::default(),
        ignored,
    };
    let mut lines: HashMap<(Name, Kind, bool), u64> = HashMap::new();
    let mut faults = Vec::new();
    let mut in_file = Lines::of(bytes);
    for record in reader.records() {
        let record = record.map_err(no_table)?;
        let line = in_file.line(record.position());
        let mut wrong = Vec::new();
        let Some(row) = Row::read(&record, &columns, &mut wrong) else {
            faults.extend(wrong.into_iter().map(|fault| Fault { line, fault }));
            continue;
        };
        let key = (row.place.clone(), row.kind.clone(), row.pending);
        if let Some(first) = lines.insert(key, line) {
            let fault = RowFault::Twice {
                kind: row.kind,
                place: row.place,
                first,
            };
            faults.push(Fault { line, fault });
            continue;
        }
        let side = if row.pending {
            &mut table.listing.pending
        } else {
            &mut table.listing.checked
        };
        let lots = side.entry(row.place.clone()).or_default();
        lots.set(row.kind, row.tally);
        table.listing.places.insert(row.place);
    }
    if !faults.is_empty() {
        return Err(TableError::Lines(faults));
    }
    if table.listing.places.is_empty() {
        return Err(TableError::Empty);
    }
    table.listing.pending.retain(|_, lots| !lots.is_empty());
    Ok(table)
}

/// Where each of [`COLUMNS`] stands, and the titles of the rest.
fn columns(
    header: &StringRecord,
) -> Result<(HashMap<&'static str, usize>, Vec<Label>), TableError> {
    let mut columns = HashMap::new();
    let mut ignored = Vec::new();
    for (at, title) in header.iter().enumerate() {
        let lower = title.to_lowercase();
        match COLUMNS.into_iter().find(|&column| column == lower) {
            Some(column) => {
                if columns.insert(column, at).is_some() {
                    return Err(TableError::ColumnTwice(column));
                }
            }
            None => ignored.push(Label::new(title)),
        }
    }
    for column in ["place", "form", "size", "colour", "count"] {
        if !columns.contains_key(column) {
            let semicolons = header.len() == 1 && header.iter().any(|title| title.contains(';'));
            return Err(if semicolons {
                TableError::Semicolons
            } else {
                TableError::NoColumn(column)
            });
        }
    }
    Ok((columns, ignored))
}

struct Row {
    place: Name,
    kind: Kind,
    tally: Tally,
    pending: bool,
}

/// Hands on what is good and keeps the fault of what is not.
fn good<T>(result: Result<T, RowFault>, faults: &mut Vec<RowFault>) -> Option<T> {
    result.map_err(|fault| faults.push(fault)).ok()
}

impl Row {
    /// A row; none when it has faults, which are all added to `faults`.
    fn read(
        record: &StringRecord,
        columns: &HashMap<&'static str, usize>,
        faults: &mut Vec<RowFault>,
    ) -> Option<Self> {
        let cell = |column: &str| {
            let at = columns.get(column).copied();
            at.and_then(|at| record.get(at)).unwrap_or("")
        };
        let name = |column: &'static str| {
            Name::new(unguarded(cell(column))).map_err(|cause| RowFault::Cell {
                column,
                cause: cause.to_string(),
            })
        };
        let number = |column: &'static str, missing: Option<u64>| match (cell(column), missing) {
            ("", Some(missing)) => Ok(missing),
            (text, _) => text
                .parse::<u64>()
                .ok()
                // `from_str` would let a plus sign pass.
                .filter(|_| text.bytes().all(|b| b.is_ascii_digit()))
                .ok_or_else(|| RowFault::Cell {
                    column,
                    cause: format!("'{}' is no whole number from 0", Label::new(text)),
                }),
        };
        let place = good(name("place"), faults);
        let form = good(name("form"), faults);
        let size = Size::new(cell("size")).map_err(|cause| RowFault::Cell {
            column: "size",
            cause: cause.to_string(),
        });
        let size = good(size, faults);
        let colour = good(name("colour"), faults);
        let count = good(number("count", None), faults);
        // Without a count an empty cell beside it is no second fault.
        let usual = Some(count.unwrap_or(0));
        let low = good(number("low", usual), faults);
        let high = good(number("high", usual), faults);
        let tally = match (count, low, high) {
            (Some(count), Some(low), Some(high)) => {
                let tally = Tally::new(count, low, high).map_err(RowFault::from);
                good(tally, faults)
            }
            _ => None,
        };
        let pending = match cell("status").to_lowercase().as_str() {
            "" | "checked" => Ok(false),
            "pending" => Ok(true),
            other => Err(RowFault::Cell {
                column: "status",
                cause: format!("'{}' is neither checked nor pending", Label::new(other)),
            }),
        };
        let pending = good(pending, faults);
        Some(Self {
            place: place?,
            kind: Kind {
                form: form?,
                size: size?,
                colour: colour?,
            },
            tally: tally?,
            pending: pending?,
        })
    }
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
    /// Semicolons between the cells.
    #[error("its cells are separated by semicolons; save it with commas")]
    Semicolons,
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
