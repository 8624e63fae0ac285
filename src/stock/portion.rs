//! A number of pieces of one kind: as a person says it, and where it lies.

use super::kind::{Kind, KindError, Name, Size, fit_to_show};
use super::tally::{Tally, TallyError};
use std::fmt;
use std::str::FromStr;

/// So many of one kind, wherever they lie: `8 plate 2x4 rose`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Wanted {
    /// What kind.
    pub kind: Kind,
    /// How many; at least one, at most [`Tally::MAX`].
    pub count: u64,
}

/// So many of one kind in one place.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Portion {
    /// Where.
    pub place: Name,
    /// What kind.
    pub kind: Kind,
    /// How many; none is allowed and does nothing.
    pub count: u64,
}

/// A kind, and how many of it if that was said: `8 plate 2x4 rose`, `plate 2x4 rose`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Piece {
    /// What kind.
    pub kind: Kind,
    /// How many; all there are when nothing was said.
    pub count: Option<u64>,
}

/// Form before the size and colour after it may be several words.
impl FromStr for Piece {
    type Err = PieceError;

    fn from_str(text: &str) -> Result<Self, PieceError> {
        let unclear = || PieceError::Unclear(fit_to_show(text));
        let words: Vec<&str> = text.split_whitespace().collect();
        let (count, words) = match words.split_first() {
            Some((first, rest)) if first.bytes().all(|b| b.is_ascii_digit()) => {
                let count: u64 = first.parse().map_err(|_| TallyError::TooMany)?;
                Tally::exact(count)?;
                if count == 0 {
                    return Err(PieceError::Nothing(fit_to_show(text)));
                }
                (Some(count), rest)
            }
            Some((first, _)) if is_below_zero(first) => {
                return Err(PieceError::BelowZero(fit_to_show(text)));
            }
            _ => (None, words.as_slice()),
        };
        let at = words
            .iter()
            .position(|word| Size::new(word).is_ok())
            .ok_or_else(unclear)?;
        let (form, rest) = words.split_at(at);
        let (size, colour) = rest.split_first().ok_or_else(unclear)?;
        if form.is_empty() || colour.is_empty() {
            return Err(unclear());
        }
        let kind = Kind {
            form: Name::new(&form.join(" "))?,
            size: Size::new(size)?,
            colour: Name::new(&colour.join(" "))?,
        };
        Ok(Self { kind, count })
    }
}

/// The pieces that a command line names. Each kind is in quotes as a rule; where no word has a blank
/// nothing was quoted, and a number begins the next kind: `2 plate 2x4 fog 3 tile 1x2 tar`.
///
/// # Errors
/// When a kind cannot be read.
pub fn named<T: FromStr<Err = PieceError>>(words: &[String]) -> Result<Vec<T>, PieceError> {
    if words.len() < 2
        || words
            .iter()
            .any(|word| word.trim().contains(char::is_whitespace))
    {
        return words.iter().map(|words| words.parse()).collect();
    }
    let is_number = |word: &str| word.bytes().all(|b| b.is_ascii_digit());
    let mut kinds: Vec<String> = Vec::new();
    let mut has_size = false;
    for word in words {
        match kinds.last_mut() {
            // A form's name may have a number before the size, a colour's hardly one after it.
            Some(kind) if !(is_number(word) && has_size) => {
                kind.push(' ');
                kind.push_str(word);
            }
            _ => {
                kinds.push(word.clone());
                has_size = false;
            }
        }
        has_size |= Size::new(word).is_ok();
    }
    kinds.iter().map(|kind| kind.parse()).collect()
}

/// A hyphen or a minus sign, and then digits alone.
fn is_below_zero(word: &str) -> bool {
    word.strip_prefix(['-', '\u{2212}'])
        .is_some_and(|digits| !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit()))
}

/// As [`Piece`], with a number.
impl FromStr for Wanted {
    type Err = PieceError;

    fn from_str(text: &str) -> Result<Self, PieceError> {
        let Piece { kind, count } = text.parse()?;
        let count = count.ok_or_else(|| PieceError::NoNumber(fit_to_show(text)))?;
        Ok(Self { kind, count })
    }
}

impl fmt::Display for Wanted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.count, self.kind)
    }
}

/// Why a text names no pieces.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PieceError {
    /// Not form, size and colour.
    #[error(
        "'{0}' is not form, size and colour; write each kind in quotes, such as \"8 plate 2x4 rose\""
    )]
    Unclear(String),
    /// A number is needed.
    #[error("'{0}' does not say how many; put the number first, such as \"8 plate 2x4 rose\"")]
    NoNumber(String),
    /// The number is 0.
    #[error("'{0}' is no piece at all; say a number from 1")]
    Nothing(String),
    /// The number is below 0.
    #[error(
        "'{0}' begins with a number below 0; say how many as a whole number from 1, such as \"8 plate 2x4 rose\""
    )]
    BelowZero(String),
    /// One of its words cannot be.
    #[error(transparent)]
    Kind(#[from] KindError),
    /// The number is too large.
    #[error(transparent)]
    Tally(#[from] TallyError),
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_piece_is_read_as_a_person_writes_it() {
        let wanted: Wanted = " 8 plate 4x2  weathered sand ".parse().unwrap();
        assert_eq!(wanted.to_string(), "8 plate 2x4 weathered sand");
        let piece: Piece = "corner tile 1X1 3 green".parse().unwrap();
        assert_eq!(
            (piece.kind.to_string().as_str(), piece.count),
            ("corner tile 1x1 3 green", None)
        );
    }

    #[test]
    fn unquoted_words_are_put_together() {
        let told = |words: &str| -> Result<Vec<String>, PieceError> {
            let words: Vec<String> = words.split('|').map(str::to_owned).collect();
            let list = named::<Wanted>(&words)?;
            Ok(list.iter().map(ToString::to_string).collect())
        };
        assert_eq!(told("2|plate|2x4|fog").unwrap(), ["2 plate 2x4 fog"]);
        assert_eq!(
            told("2|corner|tile|4x2|weathered|sand|3|tile|1x2|tar").unwrap(),
            ["2 corner tile 2x4 weathered sand", "3 tile 1x2 tar"]
        );
        assert_eq!(
            told("2 plate 2x4 3 green|1 tile 1x1 tar").unwrap(),
            ["2 plate 2x4 3 green", "1 tile 1x1 tar"]
        );
        assert!(told("2|plate|fog").is_err());
        assert!(told("2 plate 2x4 fog|tar").is_err());
    }

    #[test]
    fn what_names_no_pieces_is_refused_with_an_example() {
        for (text, says) in [
            ("8", "write each kind in quotes"),
            ("plate rose", "write each kind in quotes"),
            ("8 plate 2x4", "write each kind in quotes"),
            ("2x4 rose", "write each kind in quotes"),
            ("-8 plate 2x4 rose", "a whole number from 1"),
            ("\u{2212}8 plate 2x4 rose", "a whole number from 1"),
            ("-plate 2x4 rose", "does not say how many"),
            ("plate 2x4 rose", "does not say how many"),
            ("0 plate 2x4 rose", "say a number from 1"),
            (
                "99999999999999999999999 plate 2x4 rose",
                "that is more than",
            ),
            ("1000000000001 plate 2x4 rose", "that is more than"),
        ] {
            let error = text.parse::<Wanted>().unwrap_err().to_string();
            assert!(error.contains(says), "{text}: {error}");
        }
    }
}
