//! Names and the kind of a piece, each checked once when it enters.

use crate::legible::{self, garbles, is_invisible, is_plain};
use compact_str::CompactString;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A place, a form or a colour as a person typed it: trimmed, not empty, at most
/// [`Name::MAX_CHARS`] characters, nothing invisible. Compared exactly.
///
/// A long history holds a name a million times over, and nearly all are short: text
/// of up to 24 bytes needs no memory of its own here.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "CompactString", into = "CompactString")]
pub struct Name(CompactString);

impl Name {
    /// The longest name, in characters (a table still has to fit a terminal).
    pub const MAX_CHARS: usize = 80;

    /// Takes a name as typed, without the white space around it.
    ///
    /// # Errors
    /// When nothing is left, it is too long, or it holds invisible characters.
    pub fn new(text: &str) -> Result<Self, KindError> {
        Self::trimmed(text, is_invisible).map(|text| Self(text.into()))
    }

    fn trimmed(text: &str, unfit: fn(char) -> bool) -> Result<&str, KindError> {
        let text = text.trim();
        if text.is_empty() {
            return Err(KindError::EmptyName);
        }
        if is_plain(text) && text.len() <= Self::MAX_CHARS {
            return Ok(text);
        }
        let chars = text.chars().count();
        if chars > Self::MAX_CHARS {
            return Err(KindError::LongName { chars });
        }
        if text.chars().any(unfit) {
            let shown = text.chars().filter(|&c| !is_invisible(c)).collect();
            return Err(KindError::InvisibleName { shown });
        }
        Ok(text)
    }

    /// The name as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether the two differ, but only in upper and lower case.
    pub fn differs_only_in_case(&self, other: &Self) -> bool {
        self != other && self.0.to_lowercase() == other.0.to_lowercase()
    }
}

/// Text from elsewhere made fit to show in a message: what is invisible becomes
/// U+FFFD, and at most [`Label::MAX_CHARS`] characters stay.
pub fn fit_to_show(text: &str) -> String {
    let start: String = text.chars().take(Label::MAX_CHARS).collect();
    legible::shown(&start)
}

/// Stricter than [`Name::new`]: what our own file holds is already trimmed, and
/// two names that trimming would make one must not meet unseen. Zero-width characters
/// pass, as names with them were once taken, and a stock must not become unreadable.
impl TryFrom<CompactString> for Name {
    type Error = KindError;

    fn try_from(text: CompactString) -> Result<Self, KindError> {
        let trimmed = Self::trimmed(&text, garbles)?;
        if trimmed.len() == text.len() {
            Ok(Self(text))
        } else {
            let name = trimmed.to_owned();
            Err(KindError::UntrimmedName { name })
        }
    }
}

impl From<Name> for CompactString {
    fn from(name: Name) -> Self {
        name.0
    }
}

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// A file's or a user's name, told for people only: always fit to show.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "CompactString", into = "CompactString")]
pub struct Label(CompactString);

impl Label {
    /// The longest label, in characters; more is cut off.
    pub const MAX_CHARS: usize = 120;

    /// Takes any text, without what cannot be shown.
    pub fn new(text: &str) -> Self {
        Self(fit_to_show(text).into())
    }

    /// The label as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl TryFrom<CompactString> for Label {
    type Error = KindError;

    fn try_from(text: CompactString) -> Result<Self, KindError> {
        if is_plain(&text) && text.len() <= Self::MAX_CHARS {
            return Ok(Self(text));
        }
        if text.chars().count() <= Self::MAX_CHARS && !text.chars().any(garbles) {
            Ok(Self(text))
        } else {
            let shown = fit_to_show(&text);
            Err(KindError::InvisibleName { shown })
        }
    }
}

impl From<Label> for CompactString {
    fn from(label: Label) -> Self {
        label.0
    }
}

impl fmt::Display for Label {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

/// A size in studs, small side first: `2x4`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "CompactString", into = "String")]
pub struct Size {
    short: u16,
    long: u16,
}

impl Size {
    /// The longest side, in studs.
    pub const MAX_STUDS: u16 = 999;

    /// Reads a size as a person may write it: `2x4`, `4 x 2`, `2X4`, `2×4`.
    ///
    /// # Errors
    /// When it is not two whole numbers from 1 to [`Size::MAX_STUDS`].
    pub fn new(text: &str) -> Result<Self, KindError> {
        let side = |side: &str| {
            let side = side.trim();
            // `u16::from_str` would let a plus sign pass.
            let digits = !side.is_empty() && side.bytes().all(|b| b.is_ascii_digit());
            side.parse()
                .ok()
                .filter(|studs| digits && (1..=Self::MAX_STUDS).contains(studs))
        };
        text.split_once(['x', 'X', '×'])
            .and_then(|(a, b)| Some((side(a)?, side(b)?)))
            .map(|(a, b)| Self {
                short: a.min(b),
                long: a.max(b),
            })
            .ok_or_else(|| KindError::Size {
                text: fit_to_show(text),
            })
    }

    /// Short and long side, in studs.
    pub fn studs(self) -> (u16, u16) {
        (self.short, self.long)
    }
}

impl Size {
    /// Reads a size that is spelled as files spell it.
    fn as_written(text: &str) -> Option<Self> {
        let side = |side: &str| {
            let plain = matches!(side.as_bytes(), [b'1'..=b'9', rest @ ..] if rest.len() < 3 && rest.iter().all(u8::is_ascii_digit));
            if plain { side.parse().ok() } else { None }
        };
        let (short, long) = text.split_once('x')?;
        let (short, long) = (side(short)?, side(long)?);
        (short <= long).then_some(Self { short, long })
    }
}

/// Stricter than [`Size::new`]: files hold sizes exactly as they are written here.
impl TryFrom<CompactString> for Size {
    type Error = KindError;

    fn try_from(text: CompactString) -> Result<Self, KindError> {
        if let Some(size) = Self::as_written(&text) {
            return Ok(size);
        }
        let size = Self::new(&text)?;
        if size.to_string() == text {
            Ok(size)
        } else {
            Err(KindError::SizeSpelling {
                text: fit_to_show(&text),
                size,
            })
        }
    }
}

impl From<Size> for String {
    fn from(size: Size) -> Self {
        size.to_string()
    }
}

impl fmt::Display for Size {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}x{}", self.short, self.long)
    }
}

/// What makes two pieces alike. Ordered by form, size, colour.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Kind {
    /// `brick`, `plate`, `tile`, `any`, or a form of the user's own.
    pub form: Name,
    /// Studs.
    pub size: Size,
    /// A taught or standard colour name.
    pub colour: Name,
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {} {}", self.form, self.size, self.colour)
    }
}

/// The SHA-256 of a photo's upright pixels, 64 lower-case hex digits.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct PhotoHash(String);

impl PhotoHash {
    /// The hex digits.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl TryFrom<String> for PhotoHash {
    type Error = KindError;

    fn try_from(text: String) -> Result<Self, KindError> {
        let hex = |b: u8| b.is_ascii_digit() || (b'a'..=b'f').contains(&b);
        if text.len() == 64 && text.bytes().all(hex) {
            Ok(Self(text))
        } else {
            Err(KindError::Hash {
                text: fit_to_show(&text),
            })
        }
    }
}

impl From<PhotoHash> for String {
    fn from(hash: PhotoHash) -> Self {
        hash.0
    }
}

/// Why a name, a size or a hash cannot be taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum KindError {
    /// Nothing but white space.
    #[error("a name is empty; give it at least one letter")]
    EmptyName,
    /// Over [`Name::MAX_CHARS`].
    #[error("a name has {chars} characters; {} is the most", Name::MAX_CHARS)]
    LongName {
        /// How long it is.
        chars: usize,
    },
    /// Control characters and their like.
    #[error(
        "the name '{shown}' holds a tab, a line break or another character that cannot be seen; leave it out"
    )]
    InvisibleName {
        /// The name without them.
        shown: String,
    },
    /// White space around a name in a file.
    #[error("the name '{name}' has white space around it; write it without")]
    UntrimmedName {
        /// The name without it.
        name: String,
    },
    /// Not a size.
    #[error("the size '{text}' is not two numbers of studs such as 2x4")]
    Size {
        /// What was there.
        text: String,
    },
    /// A size, but not as a file spells it.
    #[error("the size '{text}' is spelled {size} in files")]
    SizeSpelling {
        /// What was there.
        text: String,
        /// How it should be written.
        size: Size,
    },
    /// Not a SHA-256.
    #[error("the photo hash '{text}' is not 64 lower-case hex digits")]
    Hash {
        /// What was there.
        text: String,
    },
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn names_are_trimmed_and_otherwise_kept_as_typed() {
        assert_eq!(Name::new("  Cup 3 \n").unwrap().as_str(), "Cup 3");
        assert_eq!(Name::new("Tangsäule №1").unwrap().as_str(), "Tangsäule №1");
        assert_eq!(Name::new(" \t "), Err(KindError::EmptyName));
        assert!(Name::new(&"ü".repeat(80)).is_ok());
        assert_eq!(
            Name::new(&"ü".repeat(81)),
            Err(KindError::LongName { chars: 81 })
        );
        let garbled = ["cup\t3", "cup\u{7}", "cup\u{202e}3", "a\u{2028}b"];
        let unseen = ["cup\u{200b}3", "cup\u{200f}3", "cup\u{ad}3"];
        let refused = |name| matches!(name, Err(KindError::InvisibleName { .. }));
        for bad in garbled.iter().chain(&unseen) {
            assert!(refused(Name::new(bad)), "{bad:?}");
        }
        // A stock from before those were refused can still be read.
        let read = |text: &str| Name::try_from(CompactString::from(text));
        assert!(garbled.into_iter().all(|bad| refused(read(bad))));
        assert!(unseen.into_iter().all(|old| read(old).is_ok()));
        assert!(Name::try_from(CompactString::from(" cup")).is_err());
    }

    #[test]
    fn only_case_is_pointed_out() {
        let name = |text| Name::new(text).unwrap();
        assert!(name("Rose").differs_only_in_case(&name("rose")));
        assert!(!name("rose").differs_only_in_case(&name("rose")));
        assert!(!name("rose").differs_only_in_case(&name("rosa")));
    }

    #[test]
    fn sizes_put_the_small_side_first_and_sort_by_number() {
        for text in ["2x4", "4x2", " 4 X 2 ", "2×4", "02x4"] {
            assert_eq!(Size::new(text).unwrap().to_string(), "2x4", "{text}");
        }
        for bad in [
            "", "x", "2x", "0x2", "2x-4", "+2x4", "2x1000", "2.5x4", "2x4x1", "٢x4",
        ] {
            assert!(Size::new(bad).is_err(), "{bad}");
        }
        assert!(Size::new("1x2").unwrap() < Size::new("1x10").unwrap());
        for (text, good) in [
            ("2x4", true),
            ("999x999", true),
            ("4x2", false),
            ("02x4", false),
            ("2X4", false),
            ("2x1000", false),
            ("0x4", false),
        ] {
            assert_eq!(
                Size::try_from(CompactString::from(text)).is_ok(),
                good,
                "{text}"
            );
        }
    }
}
