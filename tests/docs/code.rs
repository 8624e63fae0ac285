//! Rust text reduced to what the compiler acts on.

/// Code without comments and with nothing inside its string and character literals, so
/// that searching it finds names, not talk. Line breaks stay.
pub fn bare(code: &str) -> String {
    let mut out = String::with_capacity(code.len());
    let mut rest = code;
    while let Some(c) = rest.chars().next() {
        let skipped = match c {
            '/' if rest.starts_with("//") => rest.find('\n').unwrap_or(rest.len()),
            '/' if rest.starts_with("/*") => block_comment(rest),
            '"' => string(rest),
            '\'' => character(rest),
            'r' | 'b' if !ends_in_word(&out) => raw_string(rest),
            _ => 0,
        };
        if skipped == 0 {
            out.push(c);
            rest = &rest[c.len_utf8()..];
        } else {
            let gone = &rest[..skipped];
            out.extend(gone.chars().filter(|&c| c == '\n'));
            out.push(' ');
            rest = &rest[skipped..];
        }
    }
    out
}

fn ends_in_word(text: &str) -> bool {
    text.ends_with(|c: char| c.is_alphanumeric() || c == '_')
}

/// Block comments nest.
fn block_comment(text: &str) -> usize {
    let (mut depth, mut at) = (0, 0);
    while at < text.len() {
        if text[at..].starts_with("/*") {
            depth += 1;
            at += 2;
        } else if text[at..].starts_with("*/") {
            depth -= 1;
            at += 2;
            if depth == 0 {
                return at;
            }
        } else {
            at += text[at..].chars().next().map_or(1, char::len_utf8);
        }
    }
    text.len()
}

fn string(text: &str) -> usize {
    let mut escaped = false;
    for (at, c) in text.char_indices().skip(1) {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            '"' => return at + 1,
            _ => {}
        }
    }
    text.len()
}

/// A character, or 0 for a lifetime.
fn character(text: &str) -> usize {
    let mut inside = text[1..].char_indices();
    match inside.next() {
        Some((_, '\\')) => {
            // The escaped character itself may be the quote.
            let after = inside.nth(1).map_or(text.len() - 1, |(at, _)| at);
            let end = text[1 + after..].find('\'');
            end.map_or(text.len(), |at| 1 + after + at + 1)
        }
        Some(_) => match inside.next() {
            Some((at, '\'')) => 1 + at + 1,
            _ => 0,
        },
        None => 0,
    }
}

/// `r"..."`, `r#"..."#`, `br"..."`; 0 for a word that merely begins with these letters.
fn raw_string(text: &str) -> usize {
    let marks = text.strip_prefix("br").or_else(|| text.strip_prefix('r'));
    let Some(marks) = marks else { return 0 };
    let body = marks.trim_start_matches('#');
    if !body.starts_with('"') {
        return 0;
    }
    let end = format!("\"{}", "#".repeat(marks.len() - body.len()));
    let start = text.len() - body.len() + 1;
    text[start..]
        .find(&end)
        .map_or(text.len(), |at| start + at + end.len())
}

#[test]
fn comments_and_literals_go_and_code_stays() {
    let code = r##"
use a::b; // crate::late
/* one /* two */ crate::late */ let x = "crate::late \" still" ;
let y = r#"crate::late " "#; let q = '"'; let e = '\''; let n = '\u{1F}';
fn f<'a>(v: &'a str) -> Car { for_r("x") }
"##;
    let bare = bare(code);
    assert!(!bare.contains("late") && !bare.contains("still"), "{bare}");
    assert_eq!(bare.lines().count(), code.lines().count());
    for kept in [
        "use a::b;",
        "let x =",
        "let q =",
        "let n =",
        "fn f<'a>(v: &'a str) -> Car",
    ] {
        assert!(bare.contains(kept), "{kept} is gone from {bare}");
    }
}
