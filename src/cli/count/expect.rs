//! `count --expect`: pieces as the user says or lists them.

use std::path::Path;

use serde::Deserialize;

use crate::cli::{Failure, say};
use crate::pieces::{Expected, Shapes};
use crate::stock::reader;

/// A piece in a JSON list; what else is said of it does not matter here.
#[derive(Deserialize)]
#[serde(untagged)]
enum Entry {
    Words(String),
    Fields {
        #[serde(default)]
        form: String,
        #[serde(default)]
        size: String,
    },
}

/// What is expected: each word a piece, or a file of them.
///
/// # Errors
/// When one is neither, or a file cannot be used.
pub fn expected(
    words: &[String],
    shapes: Shapes,
    colours: &[&str],
) -> Result<Vec<Expected>, Failure> {
    let mut all = Vec::new();
    let mut coloured = false;
    for word in words {
        let bare = without_colour(word.trim(), colours);
        coloured |= bare.is_some();
        match Expected::parse(bare.unwrap_or(word), shapes) {
            Ok(one) => all.push(one),
            Err(error) => {
                let path = Path::new(word.trim());
                if !path.is_file() {
                    return Err(Failure::wrong_use(if looks_like_a_file(word.trim()) {
                        no_file(path)
                    } else {
                        error.to_string()
                    }));
                }
                all.extend(listed(path, shapes)?);
            }
        }
    }
    if coloured {
        say::note(
            "--expect goes by form and size: a colour in it is read and changes nothing, as every taught colour is looked for",
        );
    }
    Ok(all)
}

/// `2x4` of `2x4 fog` or `fog 2x4`, where `fog` is a taught colour; none where there is no colour in it.
fn without_colour<'a>(word: &'a str, colours: &[&str]) -> Option<&'a str> {
    let of = |colour: &&str| {
        let (last, first) = (word.strip_suffix(*colour), word.strip_prefix(*colour));
        let last = last.filter(|rest| rest.ends_with(' '));
        let rest = last.or_else(|| first.filter(|rest| rest.starts_with(' ')))?;
        Some(rest.trim()).filter(|rest| !rest.is_empty())
    };
    colours.iter().find_map(of)
}

/// Whether a word that is no piece was meant as a file: it names a folder, or ends like a file.
fn looks_like_a_file(word: &str) -> bool {
    let ending = Path::new(word).extension().and_then(|end| end.to_str());
    // No form ends so, and `2.4` is a size mistyped.
    let is_ending = |end: &str| {
        end.starts_with(|c: char| c.is_ascii_alphabetic())
            && end.bytes().all(|b| b.is_ascii_alphanumeric())
    };
    word.contains(std::path::is_separator) || ending.is_some_and(is_ending)
}

fn no_file(path: &Path) -> String {
    if path.is_dir() {
        format!(
            "{} is a folder; name a file that lists pieces, or say pieces such as 'plate 2x4'",
            path.display()
        )
    } else {
        format!(
            "there is no file {}; check the name and the folder, or say pieces such as 'plate 2x4'",
            path.display()
        )
    }
}

/// The pieces of a file: a JSON list, or a piece a line; `#` begins a remark.
fn listed(path: &Path, shapes: Shapes) -> Result<Vec<Expected>, Failure> {
    let fault = |what: String| Failure::failed(format!("cannot use {}: {what}", path.display()));
    let text = reader::text(path, reader::LIST_OF_PIECES)?;
    let words: Vec<(usize, String)> = if text.trim_start().starts_with('[') {
        let entries: Vec<Entry> = serde_json::from_str(&text).map_err(|e| {
            fault(format!(
                "this is not a list of pieces ({e}); list them such as [\"plate 2x4\"]"
            ))
        })?;
        let word = |entry| match entry {
            Entry::Words(words) => words,
            Entry::Fields { form, size } => format!("{form} {size}"),
        };
        (1..).zip(entries.into_iter().map(word)).collect()
    } else {
        let bare = |line: &str| line.split('#').next().unwrap_or_default().trim().to_owned();
        let lines = (1..).zip(text.lines().map(bare));
        lines.filter(|(_, line)| !line.is_empty()).collect()
    };
    if words.is_empty() {
        return Err(fault(
            "it lists no piece; list one a line, such as 'plate 2x4'".to_owned(),
        ));
    }
    let mut all = Vec::new();
    for (number, words) in words {
        for word in words.split(',').filter(|word| !word.trim().is_empty()) {
            let one = Expected::parse(word, shapes);
            all.push(one.map_err(|e| fault(format!("entry or line {number}: {e}")))?);
        }
    }
    Ok(all)
}
