//! Words of any origin, made fit to be set.

use super::PX_PER_MM;
use crate::drawing::Lettering;
use crate::drawing::lettering::Style;

/// One line of words: controls and line ends become spaces, runs of spaces one,
/// and what is beyond `most` characters an ellipsis.
pub fn clean(words: &str, most: usize) -> String {
    let spaced = |c: char| if c.is_control() { ' ' } else { c };
    let mut out = String::new();
    let mut count = 0;
    for word in words
        .chars()
        .map(spaced)
        .collect::<String>()
        .split_whitespace()
    {
        if !out.is_empty() {
            out.push(' ');
            count += 1;
        }
        for character in word.chars() {
            if count == most {
                out.push('…');
                return out;
            }
            out.push(character);
            count += 1;
        }
    }
    out
}

/// A size with the multiplication sign: `2x4` as `2×4`.
pub fn size(size: &str) -> String {
    let size = clean(size, 9);
    match size.split_once('x') {
        Some((small, large)) if is_number(small) && is_number(large) => {
            format!("{small}×{large}")
        }
        _ => size,
    }
}

fn is_number(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit())
}

/// Breaks words into at most `most` lines no longer than `width_mm`: at spaces, or
/// inside a word that is too long for a line. What is left over becomes an ellipsis.
pub fn lines(
    lettering: &Lettering,
    words: &str,
    style: Style,
    width_mm: f64,
    most: usize,
) -> Vec<String> {
    let mut lines = Vec::new();
    for line in lettering.wrap(words, style, width_mm) {
        let mut rest = String::new();
        for character in line.chars() {
            rest.push(character);
            if lettering.width_mm(&rest, style) > width_mm && rest.chars().count() > 1 {
                rest.pop();
                lines.push(std::mem::replace(&mut rest, character.to_string()));
            }
        }
        lines.push(rest);
    }
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            while lettering.width_mm(&format!("{last}…"), style) > width_mm && last.pop().is_some()
            {
            }
            last.push('…');
        }
    }
    lines
}

/// A share as whole percent: `87 %`; never 100 % for what is not certain.
pub fn percent(share: f64) -> String {
    if share.is_finite() {
        // 0.29 x 100 is a little less than 29.
        let whole = (share.clamp(0.0, 1.0) * 100.0 + 1e-9).floor();
        format!("{whole:.0}\u{a0}%")
    } else {
        "unknown".to_owned()
    }
}

/// Lengths of lettering over the photo, which are px, in the mm that it is set in.
pub fn mm(px: f64) -> f64 {
    px / PX_PER_MM
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::drawing::Ink;
    use crate::drawing::lettering::Weight;

    const EM: Style = Style {
        weight: Weight::Regular,
        size_mm: 1.0,
        ink: Ink::BLACK,
    };

    #[test]
    fn cleans_to_one_line_of_at_most_so_many_characters() {
        assert_eq!(
            clean(" two\n lines\tand\u{0}more ", 99),
            "two lines and more"
        );
        assert_eq!(clean("sandbank", 8), "sandbank");
        assert_eq!(clean("sandbanks", 8), "sandbank…");
        assert_eq!(clean("\n\n", 8), "");
    }

    #[test]
    fn only_sizes_get_a_multiplication_sign() {
        assert_eq!(size("2x4"), "2×4");
        assert_eq!(size("1x16"), "1×16");
        for other in ["x4", "2x", "axe", "2x4x", "", "2×4"] {
            assert_eq!(size(other), other);
        }
    }

    #[test]
    fn a_word_longer_than_the_line_is_broken_and_the_rest_told() {
        let lettering = Lettering::load().unwrap();
        let words = "a breakwaterbreakwaterbreakwater b";
        let all = lines(&lettering, words, EM, 6.0, 99);
        assert_eq!(all.concat().replace(' ', ""), words.replace(' ', ""));
        assert!(all.len() > 2);
        let two = lines(&lettering, words, EM, 6.0, 2);
        assert!(two.len() == 2 && two[1].ends_with('…'));
        for line in all.iter().chain(&two) {
            assert!(lettering.width_mm(line, EM) <= 6.0, "{line}");
        }
        // Where not even a letter fits, each still has its line.
        assert_eq!(lines(&lettering, "abc", EM, 0.1, 9), ["a", "b", "c"]);
    }

    #[test]
    fn what_is_not_certain_is_not_a_hundred_percent() {
        assert_eq!(percent(0.9999), "99\u{a0}%");
        assert_eq!(percent(1.0), "100\u{a0}%");
        assert_eq!(percent(f64::NAN), "unknown");
    }
}
