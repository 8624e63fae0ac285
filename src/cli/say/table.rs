//! Tables alike.

use super::lines;
use crate::legible::shown;
use comfy_table::{Attribute, CellAlignment, Color, ColumnConstraint, ContentArrangement};
use comfy_table::{LineStyle, TableStyle};

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

/// A cell of a table, its text made fit to show.
pub struct Cell(comfy_table::Cell);

impl Cell {
    /// Plain text; line breaks in it stay.
    pub fn new(text: impl ToString) -> Self {
        let text = text.to_string();
        let lines: Vec<String> = text.split('\n').map(shown).collect();
        Self(comfy_table::Cell::new(lines.join("\n")))
    }
}

impl<T: ToString> From<T> for Cell {
    fn from(text: T) -> Self {
        Self::new(text)
    }
}

/// A cell that heads a group.
pub fn bold<T: ToString>(text: T) -> Cell {
    Cell(Cell::new(text).0.add_attribute(Attribute::Bold))
}

/// A cell that needs a person.
pub fn open<T: ToString>(text: T) -> Cell {
    Cell(Cell::new(text).0.fg(Color::Yellow))
}

/// A cell that counts no more.
pub fn faint<T: ToString>(text: T) -> Cell {
    Cell(Cell::new(text).0.add_attribute(Attribute::Dim))
}

/// A table that fits the terminal.
pub struct Table(comfy_table::Table);

impl Table {
    /// Adds a row.
    pub fn add_row<C: Into<Cell>>(&mut self, cells: impl IntoIterator<Item = C>) {
        let cells = cells.into_iter().map(|cell| cell.into().0);
        self.0.add_row(cells.collect::<Vec<_>>());
    }

    /// As it is printed, without the blanks at the ends of its lines.
    pub(super) fn text(&self) -> String {
        self.0.trim_fmt()
    }
}

/// An empty table that fits the terminal.
pub fn table(columns: &[(&str, Column)]) -> Table {
    let mut table = comfy_table::Table::new();
    let line = LineStyle::none().fill('─').junction('─');
    table.load_style(TableStyle::new().header_separator(line));
    table.set_content_arrangement(ContentArrangement::Dynamic);
    table.set_width(u16::try_from(lines::columns()).unwrap_or(u16::MAX));
    // https://no-color.org: set and not empty.
    if std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty()) {
        table.force_no_tty();
    }
    table.set_header(columns.iter().map(|&(title, column)| {
        let cell = comfy_table::Cell::new(title).add_attribute(Attribute::Bold);
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
    Table(table)
}

/// A file's name with line ends where it may be broken, so that no line is longer than `most`: after a hyphen, an
/// underscore or a blank where there is one, else anywhere.
pub fn file_name(name: &str, most: usize) -> String {
    let name = shown(name);
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
    table.0.width().map_or(0, usize::from) * 2 / 5
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_fit_to_show() {
        let mut table = table(&[("what", Column::Text)]);
        table.add_row([open("a\u{1b}]0;b\u{7}\u{200b}")]);
        assert!(table.text().contains("a\u{fffd}]0;b\u{fffd}\u{fffd}"));
    }

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
