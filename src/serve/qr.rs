//! QR codes (ISO/IEC 18004) of addresses: for the page, and for a terminal.

use qrcodegen::{QrCode, QrCodeEcc};

/// Light modules around a code: the standard asks for four.
const QUIET: i32 = 4;

/// A QR code with the light margin that it needs: whether each module is dark, row by row.
///
/// `None` where the text is too long for any.
pub fn modules(text: &str) -> Option<Vec<Vec<bool>>> {
    let code = QrCode::encode_text(text, QrCodeEcc::Medium).ok()?;
    let range = -QUIET..code.size() + QUIET;
    // Outside of the code all is light.
    let row = |y| range.clone().map(|x| code.get_module(x, y)).collect();
    Some(range.clone().map(row).collect())
}

/// For a terminal with light letters on a dark ground, two rows of modules a line.
pub fn lines(modules: &[Vec<bool>]) -> Vec<String> {
    let rows = modules.chunks(2).map(|rows| {
        let upper = rows[0].iter();
        upper.enumerate().map(|(x, upper)| {
            let lower = rows
                .get(1)
                .and_then(|row| row.get(x))
                .copied()
                .unwrap_or(true);
            match (!upper, !lower) {
                (true, true) => '\u{2588}',
                (true, false) => '\u{2580}',
                (false, true) => '\u{2584}',
                (false, false) => ' ',
            }
        })
    });
    rows.map(Iterator::collect).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const ADDRESS: &str = "http://192.168.178.123:54321/ABCDEFGH/";

    /// Read back by another implementation, the crate rqrr.
    fn read(dark: impl Fn(usize, usize) -> bool, side: usize) -> String {
        const PX: usize = 4;
        let level = |x: usize, y: usize| if dark(x / PX, y / PX) { 0 } else { 255 };
        let mut picture = rqrr::PreparedImage::prepare_from_greyscale(side * PX, side * PX, level);
        picture.detect_grids()[0].decode().unwrap().1
    }

    #[test]
    fn another_program_reads_the_address() {
        let modules = modules(ADDRESS).unwrap();
        assert_eq!(read(|x, y| modules[y][x], modules.len()), ADDRESS);
    }

    #[test]
    fn a_terminal_shows_the_same() {
        let modules = modules(ADDRESS).unwrap();
        let lines: Vec<Vec<char>> = (lines(&modules).iter())
            .map(|line| line.chars().collect())
            .collect();
        let dark = |x: usize, y: usize| match lines[y / 2][x] {
            '\u{2588}' => false,
            '\u{2580}' => !y.is_multiple_of(2),
            '\u{2584}' => y.is_multiple_of(2),
            _ => true,
        };
        assert_eq!(read(dark, modules.len()), ADDRESS);
    }

    #[test]
    fn what_is_too_long_has_none() {
        assert!(modules(&"x".repeat(5000)).is_none());
    }
}
