//! From a table's text to what it says of the stock.

use super::layout::{Layout, broken, cells, titles, uneven, whole_number};
use super::{
    AS_COUNTED, CHECKED, COLUMNS, Fault, PENDING, RowFault, TableError, pending, unguarded,
};
use crate::stock::kind::{Kind, Label, Name, Size};
use crate::stock::merge::Listing;
use crate::stock::model::Contents;
use crate::stock::tally::{Tally, TallyError};
use csv::StringRecord;
use std::collections::{BTreeSet, HashMap};

/// A table that was read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Table {
    rows: Vec<Row>,
    /// Columns that mean nothing here.
    pub ignored: Vec<Label>,
}

/// A row as it stands there.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Row {
    line: u64,
    place: Name,
    kind: Kind,
    count: u64,
    low: u64,
    high: u64,
    status: Status,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Status {
    Checked,
    AsCounted,
    Pending,
}

/// Reads a whole table before anything is done with it. `place`, `form`, `size`,
/// `colour` and `count` must be there, in any order; `low` and `high` are the count
/// and `status` is `checked` where they are missing or empty.
///
/// # Errors
/// When it is no such table, or lines are wrong: all of them are told, with numbers.
pub fn read(bytes: &[u8]) -> Result<Table, TableError> {
    let layout = Layout::of(bytes).ok_or(TableError::NotText)?;
    let mut reader = layout.reader();
    let no_table = |error: csv::Error| TableError::NoTable(broken(&layout, &error));
    let header = reader.headers().map_err(no_table)?.clone();
    let titles = titles(&header);
    let (columns, ignored) = columns(&titles)?;
    let mut rows: Vec<Row> = Vec::new();
    let mut lines: HashMap<(Name, Kind, bool), u64> = HashMap::new();
    let mut faults = Vec::new();
    let mut in_file = layout.lines();
    for record in reader.records() {
        let record = record.map_err(no_table)?;
        let line = in_file.line(record.position());
        let record = match cells(&record, titles.len()) {
            Ok(Some(record)) => record,
            Ok(None) => continue,
            Err(found) => return Err(TableError::NoTable(uneven(line, found, titles.len()))),
        };
        let mut wrong = Vec::new();
        let Some(row) = Row::read(line, record, &columns, &mut wrong) else {
            faults.extend(wrong.into_iter().map(|fault| Fault { line, fault }));
            continue;
        };
        let is_pending = row.status == Status::Pending;
        let key = (row.place.clone(), row.kind.clone(), is_pending);
        if let Some(first) = lines.insert(key, line) {
            let fault = RowFault::Twice {
                kind: row.kind,
                place: row.place,
                first,
            };
            faults.push(Fault { line, fault });
            continue;
        }
        rows.push(row);
    }
    if !faults.is_empty() {
        return Err(TableError::Lines(faults));
    }
    if rows.is_empty() {
        return Err(TableError::Empty);
    }
    Ok(Table { rows, ignored })
}

impl Table {
    /// How many places it names.
    pub fn places(&self) -> usize {
        let places: BTreeSet<&Name> = self.rows.iter().map(|row| &row.place).collect();
        places.len()
    }

    /// What it says of a stock. Where a row has another count than the stock and the stock's range,
    /// somebody counted and left the range as it was written: the count is then without doubt.
    ///
    /// # Errors
    /// When a count and its range were both changed and contradict each other, or the stock's
    /// numbers cannot be added up.
    pub fn listing(&self, contents: &Contents) -> Result<Listing, TableError> {
        let waiting = pending(contents)?;
        let mut listing = Listing::default();
        let mut faults = Vec::new();
        for row in &self.rows {
            let is_pending = row.status == Status::Pending;
            let there = if is_pending {
                waiting.get(&row.place)
            } else {
                contents.places.get(&row.place)
            };
            let there = there.map_or(Tally::ZERO, |lots| lots.get(&row.kind));
            let tally = match row.tally(there) {
                Ok(tally) => tally,
                Err(cause) => {
                    faults.push(Fault {
                        line: row.line,
                        fault: cause.into(),
                    });
                    continue;
                }
            };
            let side = if is_pending {
                &mut listing.pending
            } else {
                &mut listing.checked
            };
            let lots = side.entry(row.place.clone()).or_default();
            lots.set(row.kind.clone(), tally);
            listing.places.insert(row.place.clone());
        }
        listing.pending.retain(|_, lots| !lots.is_empty());
        if faults.is_empty() {
            Ok(listing)
        } else {
            Err(TableError::Lines(faults))
        }
    }
}

/// Where each of [`COLUMNS`] stands, and the titles of the rest.
fn columns(titles: &[&str]) -> Result<(HashMap<&'static str, usize>, Vec<Label>), TableError> {
    let mut columns = HashMap::new();
    let mut ignored = Vec::new();
    for (at, title) in titles.iter().enumerate() {
        let lower = title.to_lowercase();
        match COLUMNS.into_iter().find(|&column| column == lower) {
            Some(column) => {
                if columns.insert(column, at).is_some() {
                    return Err(TableError::ColumnTwice(column));
                }
            }
            None if title.is_empty() => {}
            None => ignored.push(Label::new(title)),
        }
    }
    for column in ["place", "form", "size", "colour", "count"] {
        if !columns.contains_key(column) {
            return Err(TableError::NoColumn(column));
        }
    }
    Ok((columns, ignored))
}

/// Hands on what is good and keeps the fault of what is not.
fn good<T>(result: Result<T, RowFault>, faults: &mut Vec<RowFault>) -> Option<T> {
    result.map_err(|fault| faults.push(fault)).ok()
}

impl Row {
    /// A row; none when it has faults, which are all added to `faults`.
    fn read(
        line: u64,
        record: &StringRecord,
        columns: &HashMap<&'static str, usize>,
        faults: &mut Vec<RowFault>,
    ) -> Option<Self> {
        let cell = |column: &str| {
            let at = columns.get(column).copied();
            at.and_then(|at| record.get(at)).unwrap_or("")
        };
        let name = |column: &'static str| {
            Name::new(&unguarded(cell(column))).map_err(|cause| RowFault::Cell {
                column,
                cause: cause.to_string(),
            })
        };
        let number = |column: &'static str, missing: Option<u64>| match (cell(column), missing) {
            ("", Some(missing)) => Ok(missing),
            (text, _) => whole_number(text).ok_or_else(|| RowFault::Cell {
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
        let numbers = match (count, low, high) {
            (Some(count), Some(low), Some(high)) => {
                // That one holds at least one number, and that none is too large, is so whatever
                // the stock says.
                let range = Tally::new(low, low, high).and_then(|_| Tally::exact(count));
                let range = range.map_err(|_| Tally::new(count, low, high));
                match range {
                    Ok(_) => Some((count, low, high)),
                    Err(whole) => {
                        good(whole.map_err(RowFault::from), faults);
                        None
                    }
                }
            }
            _ => None,
        };
        let status = match cell("status").to_lowercase().as_str() {
            "" | CHECKED => Ok(Status::Checked),
            AS_COUNTED => Ok(Status::AsCounted),
            PENDING => Ok(Status::Pending),
            other => Err(RowFault::Cell {
                column: "status",
                cause: format!(
                    "'{}' is neither {CHECKED} nor {AS_COUNTED} nor {PENDING}",
                    Label::new(other)
                ),
            }),
        };
        let status = good(status, faults);
        let (count, low, high) = numbers?;
        Some(Self {
            line,
            place: place?,
            kind: Kind {
                form: form?,
                size: size?,
                colour: colour?,
            },
            count,
            low,
            high,
            status: status?,
        })
    }

    /// Its number, seen against what the stock holds.
    fn tally(&self, there: Tally) -> Result<Tally, TallyError> {
        let same_range = (self.low, self.high) == (there.low(), there.high());
        let outside = self.count < self.low || self.high < self.count;
        if !there.is_zero() && same_range {
            if self.count != there.count() {
                return Tally::exact(self.count);
            }
            if self.status == Status::AsCounted && there.as_counted() > 0 {
                // As it went out: the table has no room for how many.
                return Ok(there);
            }
        } else if there.is_zero() && outside {
            return Tally::exact(self.count);
        }
        let tally = Tally::new(self.count, self.low, self.high)?;
        Ok(match self.status {
            Status::AsCounted => tally.taken_as_counted(),
            Status::Checked | Status::Pending => tally,
        })
    }
}
