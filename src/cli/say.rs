//! How commands speak: results to stdout, talk to stderr, tables alike.

use super::Failure;
use crate::stock::why::why;
use comfy_table::{Attribute, Cell, CellAlignment, Color, ColumnConstraint, ContentArrangement};
use comfy_table::{LineStyle, Table, TableStyle};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Serialize;
use std::io::{self, Write};

/// Prints a result. A reader that has seen enough (`| head`) is no failure.
pub fn print(text: &str) -> Result<(), Failure> {
    print_bytes(format!("{text}\n").as_bytes())
}

/// As [`print()`], for bytes as they are.
pub fn print_bytes(bytes: &[u8]) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(bytes).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Failure::failed(format!(
            "cannot write the result to standard output: {}",
            why(&error)
        ))),
        _ => Ok(()),
    }
}

/// `entry 12`, as sentences name it.
pub fn entry(number: u64) -> String {
    format!("entry {number}")
}

/// Hands on what came of telling a change that is made: where it could not be told, it is said that
/// the change stands, so that nobody makes it twice.
///
/// # Errors
/// As `told`.
pub fn stands<T>(what: impl std::fmt::Display, told: Result<T, Failure>) -> Result<T, Failure> {
    told.map_err(|failure| {
        Failure::failed(format!("{failure}; {what} stands, so do not do it again"))
    })
}

/// Prints a result for programs.
pub fn print_json(value: &impl Serialize) -> Result<(), Failure> {
    print(&serde_json::to_string_pretty(value)?)
}

/// Says something beside the result. When nobody can hear it, so be it.
pub fn note(text: &str) {
    let _ = writeln!(io::stderr(), "cuptally: {text}");
}

/// A time as the clock on the wall shows it; UTC where the system does not tell where it is.
pub fn minutes(time: Timestamp) -> String {
    time.to_zoned_datetime(TimeZone::system())
        .strftime("%Y-%m-%d %H:%M")
        .to_string()
}

/// `1 piece`, `2 pieces`.
pub fn plural(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// How a column is set.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Column {
    /// Text, broken into lines where the terminal is too narrow.
    Text,
    /// Short text, never broken.
    Short,
    /// Numbers, to the right, never broken.
    Number,
}

/// Columns when the output is no terminal.
const USUAL_WIDTH: u16 = 80;

/// A terminal narrower than this does not know its width: some say 0.
const LEAST_WIDTH: u16 = 20;

/// An empty table that fits the terminal.
pub fn table(columns: &[(&str, Column)]) -> Table {
    let mut table = Table::new();
    let line = LineStyle::none().fill('─').junction('─');
    table.load_style(TableStyle::new().header_separator(line));
    table.set_content_arrangement(ContentArrangement::Dynamic);
    let width = table.width().filter(|&width| width >= LEAST_WIDTH);
    let width = width.unwrap_or(USUAL_WIDTH);
    table.set_width(width);
    // https://no-color.org: set and not empty.
    if std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty()) {
        table.force_no_tty();
    }
    table.set_header(columns.iter().map(|&(title, column)| {
        let cell = Cell::new(title).add_attribute(Attribute::Bold);
        if column == Column::Number {
            cell.set_alignment(CellAlignment::Right)
        } else {
            cell
        }
    }));
    for (at, &(_, column)) in columns.iter().enumerate() {
        if let Some(set) = table.column_mut(at) {
            if column != Column::Text {
                set.set_constraint(ColumnConstraint::ContentWidth);
            }
            if column == Column::Number {
                set.set_cell_alignment(CellAlignment::Right);
            }
        }
    }
    table
}

/// A file's name with line ends where it may be broken, so that no line is longer than `most`: after a hyphen, an
/// underscore or a blank where there is one, else anywhere.
pub fn file_name(name: &str, most: usize) -> String {
    let mut lines = vec![String::new()];
    for part in name.split_inclusive(['-', '_', ' ']) {
        let parts: Vec<char> = part.chars().collect();
        for part in parts.chunks(most.max(1)) {
            if let Some(line) = lines.last_mut()
                && line.chars().count() + part.len() <= most
            {
                line.extend(part);
            } else {
                lines.push(part.iter().collect());
            }
        }
    }
    let ending = lines.iter().map(|line| line.trim_end());
    ending
        .collect::<Vec<_>>()
        .join("\n")
        .trim_start()
        .to_owned()
}

/// Columns that a file's name may take in a table, so that what stands beside it keeps room.
pub fn file_name_room(table: &Table) -> usize {
    usize::from(table.width().unwrap_or(USUAL_WIDTH)) * 2 / 5
}

/// A cell that heads a group.
pub fn bold<T: ToString>(text: T) -> Cell {
    Cell::new(text).add_attribute(Attribute::Bold)
}

/// A cell that needs a person.
pub fn open<T: ToString>(text: T) -> Cell {
    Cell::new(text).fg(Color::Yellow)
}

/// A cell that counts no more.
pub fn faint<T: ToString>(text: T) -> Cell {
    Cell::new(text).add_attribute(Attribute::Dim)
}

/// Prints a table without the blanks at the ends of its lines.
pub fn print_table(table: &Table) -> Result<(), Failure> {
    print(&table.trim_fmt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn file_names_are_broken_where_a_reader_would() {
        for (name, most, told) in [
            ("cup-3.jpg", 32, "cup-3.jpg"),
            (
                "plates-sorted-d65-window-48.jpg",
                26,
                "plates-sorted-d65-window-\n48.jpg",
            ),
            ("IMG_20260502_101200.jpg", 14, "IMG_20260502_\n101200.jpg"),
            (
                "quay decks, second try.jpg",
                12,
                "quay decks,\nsecond\ntry.jpg",
            ),
            ("0123456789.jpg", 6, "012345\n6789.j\npg"),
            ("é", 0, "é"),
        ] {
            assert_eq!(file_name(name, most), told);
        }
    }
}
