//! Words in lines that fit the terminal.

use terminal_size::{Height, Width, terminal_size_of};
use unicode_width::UnicodeWidthStr;

/// Columns when the output is no terminal.
const USUAL_WIDTH: usize = 80;

/// A terminal narrower than this does not know its width: some say 0.
const LEAST_WIDTH: usize = 20;

/// Longer lines of words are hard to read however wide the terminal is; clap sets its help in as many.
const WIDEST: usize = 100;

/// Columns of the terminal that results go to.
pub fn columns() -> usize {
    known(terminal_size_of(std::io::stdout())).unwrap_or(USUAL_WIDTH)
}

/// Columns for words of a result.
pub fn width() -> usize {
    columns().min(WIDEST)
}

/// Columns for talk; none where it goes into a file or to a program, which would rather have whole sentences.
pub fn talk_width() -> Option<usize> {
    known(terminal_size_of(std::io::stderr())).map(|width| width.min(WIDEST))
}

fn known(size: Option<(Width, Height)>) -> Option<usize> {
    let (Width(width), _) = size?;
    Some(usize::from(width)).filter(|&width| width >= LEAST_WIDTH)
}

/// Words in lines of at most `width` columns, all but the first `hang` columns in. A single word that is longer, and a
/// command between back quotes, which is there to be copied, stay in one line.
pub fn wrapped(text: &str, width: usize, hang: usize) -> Vec<String> {
    let inset = text.len() - text.trim_start_matches(' ').len();
    let mut lines = Vec::new();
    let mut line = " ".repeat(inset);
    let mut is_bare = true;
    for word in words(text.trim_start_matches(' ')) {
        let blank = usize::from(!is_bare);
        if !is_bare && line.width() + blank + word.width() > width {
            lines.push(std::mem::replace(&mut line, " ".repeat(hang)));
        } else if !is_bare {
            line.push(' ');
        }
        line.push_str(word);
        is_bare = false;
    }
    lines.push(line);
    lines
}

/// The words of a text; a command between back quotes is one.
fn words(text: &str) -> Vec<&str> {
    let mut words = Vec::new();
    let (mut start, mut quoted) = (0, false);
    for (at, c) in text.char_indices() {
        match c {
            '`' => quoted = !quoted,
            ' ' if !quoted => {
                words.push(&text[start..at]);
                start = at + 1;
            }
            _ => {}
        }
    }
    words.push(&text[start..]);
    words.retain(|word| !word.is_empty());
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_break_between_words_and_never_within_a_command() {
        for (text, lines) in [
            ("one two three four", vec!["one two", "  three", "  four"]),
            ("  one two three", vec!["  one two", "  three"]),
            (
                "say `stock undo 3` or wait",
                vec!["say", "  `stock undo 3`", "  or wait"],
            ),
            ("incomprehensibilities", vec!["incomprehensibilities"]),
            ("潮潮潮 潮潮潮", vec!["潮潮潮", "  潮潮潮"]),
            ("", vec![""]),
        ] {
            assert_eq!(wrapped(text, 10, 2), lines, "{text}");
        }
    }
}
