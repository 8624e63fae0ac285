//! What of a text can be seen, and text from elsewhere made fit to show.

/// What a character becomes that cannot be shown.
const STAND_IN: char = '\u{fffd}';

/// Whether a character can be used to garble a terminal or a table: control characters, line separators and those
/// that turn the writing direction of what follows.
pub fn garbles(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{2028}' | '\u{2029}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

/// Whether a character cannot be seen, so that two texts may look alike and be none the less different: what
/// [`garbles`], and the default ignorable code points of the Unicode Character Database 16.0
/// (`DerivedCoreProperties.txt`), zero-width and direction marks among them. Variation selectors are left out: they say
/// how the sign before them looks, and emoji have them.
pub fn is_invisible(c: char) -> bool {
    garbles(c)
        || matches!(c,
            '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}'
            | '\u{180b}'..='\u{180f}' | '\u{200b}'..='\u{200f}' | '\u{2060}'..='\u{206f}' | '\u{3164}' | '\u{ffa0}'
            | '\u{fff0}'..='\u{fff8}' | '\u{1bca0}'..='\u{1bca3}' | '\u{1d173}'..='\u{1d17a}'
            | '\u{e0000}'..='\u{e0fff}')
}

/// Whether text is ASCII that can all be seen: most is, and long histories hold much.
pub fn is_plain(text: &str) -> bool {
    text.bytes().all(|b| matches!(b, b' '..=b'~'))
}

/// Text from elsewhere made fit to show: what is invisible becomes U+FFFD.
pub fn shown(text: &str) -> String {
    if is_plain(text) {
        return text.to_owned();
    }
    let seen = |c: char| if is_invisible(c) { STAND_IN } else { c };
    text.chars().map(seen).collect()
}

/// Text of at most `most` characters; of a longer one the middle goes, since what is wrong stands at the beginning
/// and what to do at the end.
pub fn shortened(text: &str, most: usize) -> String {
    let chars = text.chars().count();
    if chars <= most {
        return text.to_owned();
    }
    let kept = most.saturating_sub(3);
    let tail = kept * 2 / 5;
    let head = text.chars().take(kept - tail);
    let tail = text.chars().skip(chars - tail);
    head.chain(" … ".chars()).chain(tail).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_seen_is_stood_in_for_and_all_else_stays() {
        for (text, told) in [
            ("cup 3, sea wall", "cup 3, sea wall"),
            ("Tangsäule №1 ❤\u{fe0f} 潮", "Tangsäule №1 ❤\u{fe0f} 潮"),
            ("\u{1b}[2J\u{9b}1m", "\u{fffd}[2J\u{fffd}1m"),
            (
                "a\u{200b}b\u{200e}c\u{61c}d\u{e0041}",
                "a\u{fffd}b\u{fffd}c\u{fffd}d\u{fffd}",
            ),
            ("a\r\nb\u{2028}", "a\u{fffd}\u{fffd}b\u{fffd}"),
        ] {
            assert_eq!(shown(text), told);
        }
    }

    #[test]
    fn long_text_keeps_its_ends() {
        assert_eq!(shortened("0123456789", 10), "0123456789");
        assert_eq!(shortened("0123456789abc", 13), "0123456789abc");
        assert_eq!(shortened("0123456789abcdef", 13), "012345 … cdef");
        assert_eq!(shortened("éééééééé", 5), "éé … ");
    }
}
