//! How a table is laid out: what parts its cells, which lines and cells count, where lines are.
//!
//! Spreadsheets save tables in their own ways: a byte order mark before the text, semicolons or tabs
//! between the cells where commas stand in numbers, a first line `sep=;`, empty columns after the
//! last and empty rows below it.

use csv::StringRecord;

/// Text as a table is read from it, and what parts its cells.
pub struct Layout<'a> {
    /// The text after what is no part of the table. Whole lines before it: [`Layout::before`].
    pub text: &'a [u8],
    /// Lines left out before it.
    pub before: u64,
    /// What parts the cells.
    pub between: u8,
}

/// What may part cells, the usual one first.
const BETWEEN: [u8; 3] = [b',', b';', b'\t'];

impl<'a> Layout<'a> {
    /// Looks at the first line. None where the text is no UTF-8 at its beginning.
    pub fn of(bytes: &'a [u8]) -> Option<Self> {
        // UTF-16, which some spreadsheets call Unicode text.
        if bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff") {
            return None;
        }
        let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
        let ends = |byte: &u8| matches!(byte, b'\r' | b'\n');
        let first = text.iter().position(ends).unwrap_or(text.len());
        let (line, rest) = text.split_at(first);
        if let Some([between]) = line.strip_prefix(b"sep=") {
            let end = if rest.starts_with(b"\r\n") { 2 } else { 1 };
            return Some(Self {
                text: rest.get(end..).unwrap_or_default(),
                before: 1,
                between: *between,
            });
        }
        let count = |between: u8| line.iter().filter(|&&byte| byte == between).count();
        // Of equal ones the usual: a single column has none.
        let between = BETWEEN
            .into_iter()
            .rev()
            .max_by_key(|&between| count(between));
        Some(Self {
            text,
            before: 0,
            between: between.unwrap_or(b','),
        })
    }

    /// A reader of its rows. Cells are without the blanks around them; how many a row has is for
    /// [`cells`] to judge.
    pub fn reader(&self) -> csv::Reader<&'a [u8]> {
        csv::ReaderBuilder::new()
            .delimiter(self.between)
            .trim(csv::Trim::All)
            .flexible(true)
            .from_reader(self.text)
    }

    /// Lines of the file.
    pub fn lines(&self) -> Lines<'a> {
        Lines {
            line: 1 + self.before,
            ..Lines::of(self.text)
        }
    }
}

/// The titles without the empty ones at the end.
pub fn titles(header: &StringRecord) -> Vec<&str> {
    let mut titles: Vec<&str> = header.iter().collect();
    while titles.last().is_some_and(|title| title.is_empty()) {
        titles.pop();
    }
    titles
}

/// Whether a row has a cell for each of so many titles; none where it is empty throughout, and so
/// is no row. Empty cells beyond the titles do not count.
///
/// # Errors
/// How many cells it has, where these are too few or more than the titles.
pub fn cells(record: &StringRecord, titles: usize) -> Result<Option<&StringRecord>, usize> {
    let filled = record.iter().enumerate();
    let filled = filled.filter(|(_, cell)| !cell.is_empty()).last();
    match filled {
        None => Ok(None),
        Some((last, _)) if last >= titles => Err(last + 1),
        Some(_) if record.len() < titles => Err(record.len()),
        Some(_) => Ok(Some(record)),
    }
}

/// That a row has another number of cells than there are titles.
pub fn uneven(line: u64, found: usize, titles: usize) -> String {
    format!(
        "line {line} has {found} of the {titles} cells that the first line names; give it as many"
    )
}

/// A whole number as spreadsheets write it: digits, perhaps with a decimal point or comma and one or
/// two noughts after it. Three would be thousands in other countries.
pub fn whole_number(text: &str) -> Option<u64> {
    let digits = match text.split_once(['.', ',']) {
        Some((digits, "0" | "00")) => digits,
        Some(_) => return None,
        None => text,
    };
    // `from_str` would let a plus sign pass.
    digits
        .parse()
        .ok()
        .filter(|_| digits.bytes().all(|b| b.is_ascii_digit()))
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
pub fn broken(layout: &Layout, error: &csv::Error) -> String {
    match error.kind() {
        csv::ErrorKind::Utf8 { pos, .. } => format!(
            "line {} is not UTF-8 text; save it as UTF-8",
            layout.lines().line(pos.as_ref())
        ),
        _ => error.to_string(),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn what_parts_the_cells_is_seen_from_the_first_line() {
        for (text, between, before) in [
            ("place,form;x,size", b',', 0),
            ("place;form;size\r\na,b;c;d", b';', 0),
            ("place\tform", b'\t', 0),
            ("place", b',', 0),
            ("sep=;\r\nplace;form", b';', 1),
            ("", b',', 0),
        ] {
            let layout = Layout::of(text.as_bytes()).unwrap();
            assert_eq!((layout.between, layout.before), (between, before), "{text}");
        }
        assert!(Layout::of(b"\xff\xfep\0").is_none());
    }

    #[test]
    fn whole_numbers_have_no_more_than_noughts_behind_them() {
        for (text, number) in [
            ("41", Some(41)),
            ("41,0", Some(41)),
            ("41.00", Some(41)),
            ("1,000", None),
            ("1.000", None),
            ("41,5", None),
            ("+5", None),
            ("-5", None),
            ("", None),
            (",0", None),
        ] {
            assert_eq!(whole_number(text), number, "{text}");
        }
    }
}
