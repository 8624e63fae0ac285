//! How commands speak: results to stdout, talk to stderr. Nothing is printed anywhere else, so that text from elsewhere
//! (names of files and colours, words of a damaged file) is made fit to show here, once and always.

mod lines;
mod progress;
mod table;

use super::Failure;
use crate::desk::program::STAGE;
use crate::legible::{is_invisible, shortened, shown};
use crate::stock::why::why;
use clap::error::ErrorKind;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Serialize;
use std::io::{self, IsTerminal, Write};

pub use lines::wrapped;
pub use progress::Progress;
pub use table::{Cell, Column, Table, bold, faint, file_name, file_name_room, open, table};

/// Prints a line of a result; blank lines may go before and after it. A reader that has seen enough (`| head`) is no
/// failure.
pub fn print(text: &str) -> Result<(), Failure> {
    let line = text.trim_matches('\n');
    // Where a line is all blank, its breaks stand before it.
    let before = text.len() - text.trim_start_matches('\n').len();
    let after = text.len() - before - line.len();
    print_bytes(format!("{}{}{}\n", &text[..before], shown(line), "\n".repeat(after)).as_bytes())
}

/// Prints words of a result in lines that fit the terminal, all but the first `hang` columns in. Blank lines may go
/// before them.
pub fn print_wrapped(text: &str, hang: usize) -> Result<(), Failure> {
    let line = text.trim_start_matches('\n');
    for _ in line.len()..text.len() {
        print("")?;
    }
    for line in wrapped(&shown(line), lines::width(), hang) {
        print(&line)?;
    }
    Ok(())
}

/// Whether [`print_wrapped`] prints this in so many lines at most.
pub fn fits(text: &str, hang: usize, lines: usize) -> bool {
    wrapped(&shown(text), lines::width(), hang).len() <= lines
}

/// Prints a table without the blanks at the ends of its lines.
pub fn print_table(table: &Table) -> Result<(), Failure> {
    print_bytes(format!("{}\n", table.text()).as_bytes())
}

/// Prints a result for programs: what cannot be seen is escaped, which says the same in JSON.
pub fn print_json(value: &impl Serialize) -> Result<(), Failure> {
    let mut text = json(&serde_json::to_string_pretty(value)?);
    text.push('\n');
    print_bytes(text.as_bytes())
}

/// JSON with nothing in it that cannot be seen; only strings can hold such.
fn json(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        if c != '\n' && is_invisible(c) {
            for unit in c.encode_utf16(&mut [0; 2]) {
                escaped.push_str(&format!("\\u{unit:04x}"));
            }
        } else {
            escaped.push(c);
        }
    }
    escaped
}

/// Prints bytes as they are: a file that goes to stdout.
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

/// No sentence beside the result has more characters; of a longer one the middle is left out. Ten full lines of a
/// terminal: the longest of ours, with two long paths in it, has five.
const LONGEST_NOTE: usize = 800;

/// Whether the result is printed to a terminal, where drawings of letters are worth printing.
pub fn is_seen() -> bool {
    io::stdout().is_terminal()
}

/// Says something beside the result. When nobody can hear it, so be it. Lines after the first are set in, so that none
/// of them passes for a note of its own.
pub fn note(text: &str) {
    talk(&format!("cuptally: {text}"));
}

/// Tells a program that watches what is done now.
fn stage(what: &str) {
    // Whoever does not hear it loses nothing.
    let _ = writeln!(io::stderr().lock(), "{STAGE}{}", shown(what));
}

fn talk(text: &str) {
    let mut out = io::stderr().lock();
    for line in told(text, lines::talk_width()) {
        let _ = writeln!(out, "{line}");
    }
}

/// Whether somebody sits where talk goes, so that they can be asked.
pub fn is_heard() -> bool {
    io::stderr().is_terminal()
}

/// Asks for what is then typed in the same line.
pub fn ask(question: &str) {
    let mut out = io::stderr().lock();
    let _ = write!(out, "cuptally: {} ", shown(question));
    let _ = out.flush();
}

/// The lines of a talk; `width` is none where they may be of any length.
fn told(text: &str, width: Option<usize>) -> Vec<String> {
    let mut all = Vec::new();
    for (number, line) in text.lines().enumerate() {
        let line = shown(&shortened(line, LONGEST_NOTE));
        let line = if number > 0 && !line.starts_with("  ") {
            format!("  {line}")
        } else {
            line
        };
        match width {
            Some(width) => all.extend(wrapped(line.trim_end(), width, 2)),
            None => all.push(line.trim_end().to_owned()),
        }
    }
    all
}

/// Prints the help that was asked for, or why the arguments cannot be taken.
pub fn arguments(error: &clap::Error) {
    match error.kind() {
        // Our own words alone, with their bold type.
        ErrorKind::DisplayHelp | ErrorKind::DisplayVersion => {
            let _ = error.print();
        }
        _ => talk(&error.render().to_string()),
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn talk_is_fit_to_show_and_no_line_of_it_passes_for_another() {
        assert_eq!(
            told(
                "cuptally: a\u{1b}[2J\u{200b}\ncuptally: all is well\n  b",
                None
            ),
            [
                "cuptally: a\u{fffd}[2J\u{fffd}",
                "  cuptally: all is well",
                "  b"
            ]
        );
        let long = format!("cannot use {}; name another", "x".repeat(5000));
        let [short] = &told(&long, None)[..] else {
            unreachable!("one line")
        };
        assert_eq!(short.chars().count(), LONGEST_NOTE);
        assert!(short.starts_with("cannot use x") && short.ends_with("x; name another"));
        assert_eq!(
            told("cuptally: say this to whom it concerns", Some(20)),
            ["cuptally: say this", "  to whom it", "  concerns"]
        );
    }

    #[test]
    fn json_says_the_same_without_what_cannot_be_seen() {
        let name = "a\u{7f}\u{9b}\u{202e}\u{e0041}\u{200b}é\n";
        let text = json(&serde_json::to_string_pretty(&[name]).unwrap_or_default());
        assert!(
            text.chars().all(|c| c == '\n' || !is_invisible(c)),
            "{text}"
        );
        assert_eq!(
            serde_json::from_str::<Vec<String>>(&text).ok(),
            Some(vec![name.to_owned()])
        );
    }
}
