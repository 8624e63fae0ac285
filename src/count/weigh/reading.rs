//! What a scale shows, with what its last digit is worth.

use std::str::FromStr;

use thiserror::Error;

/// A scale's number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// What it shows, g.
    pub grams: f64,
    /// What one step of its last digit is worth, g: 0.1 for `11.3`, 1 for `11`.
    pub step_g: f64,
}

/// Why a text is no scale's number; each is a sentence.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum ReadingError {
    /// Not digits with at most one point.
    #[error("'{0}' is no number of grams; write what the scale shows in digits, such as 61.3")]
    NoNumber(String),
    /// Nothing, or less.
    #[error("'{0}' g is not above 0; put the pieces on the scale and write what it shows")]
    NotPositive(String),
    /// More than any kitchen scale.
    #[error("'{0}' g is more than {max} g; weigh in smaller lots", max = Reading::MOST_G)]
    TooMuch(String),
    /// More decimals than a scale has.
    #[error(
        "'{0}' has more than {max} digits after the point; write only those that the scale shows",
        max = Reading::MOST_DECIMALS
    )]
    TooFine(String),
}

impl Reading {
    /// The most that is taken, g: no tray of pieces weighs more.
    pub const MOST_G: f64 = 100_000.0;
    /// Digits after the point that are taken: finer than scales that people own.
    pub const MOST_DECIMALS: usize = 6;

    /// Standard deviation, g: half the last digit. Rounding alone would give 0.29 of it; kitchen
    /// scales are not as good as their last digit (common practice, no source).
    pub fn sd_g(self) -> f64 {
        self.step_g / 2.0
    }
}

impl FromStr for Reading {
    type Err = ReadingError;

    fn from_str(text: &str) -> Result<Self, ReadingError> {
        let as_said = text;
        // As people write it: `28g`, `28,5 grams`.
        let said = text.trim().to_lowercase();
        let units = ["grams", "gram", "g"];
        let bare = units.iter().find_map(|unit| said.strip_suffix(unit));
        let text = bare.unwrap_or(&said).trim_end().replacen(',', ".", 1);
        let text = text.as_str();
        let shown = || text.chars().take(40).collect::<String>();
        let no_number = || ReadingError::NoNumber(as_said.trim().chars().take(40).collect());
        let (minus, digits) = match text.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, text),
        };
        let (whole, decimals) = digits.split_once('.').unwrap_or((digits, ""));
        let all_digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
        let none = whole.is_empty() && decimals.is_empty();
        if none || !all_digits(whole) || !all_digits(decimals) {
            return Err(no_number());
        }
        let grams: f64 = digits.parse().map_err(|_| no_number())?;
        if minus || grams <= 0.0 {
            return Err(ReadingError::NotPositive(shown()));
        }
        // Also where so many digits came that the number is infinite.
        if grams > Self::MOST_G {
            return Err(ReadingError::TooMuch(shown()));
        }
        if decimals.len() > Self::MOST_DECIMALS {
            return Err(ReadingError::TooFine(shown()));
        }
        let step_g = 1.0 / 10f64.powi(decimals.len() as i32);
        Ok(Self { grams, step_g })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn the_last_digit_is_kept() {
        for (text, grams, step_g) in [
            ("61", 61.0, 1.0),
            ("11.3", 11.3, 0.1),
            ("11.30", 11.3, 0.01),
            (" .5 ", 0.5, 0.1),
            ("7.", 7.0, 1.0),
            ("1,5", 1.5, 0.1),
            ("100000", 100_000.0, 1.0),
        ] {
            assert_eq!(
                text.parse::<Reading>().unwrap(),
                Reading { grams, step_g },
                "{text}"
            );
        }
        assert_eq!("11.3".parse::<Reading>().unwrap().sd_g(), 0.05);
    }

    #[test]
    fn what_no_scale_shows_is_refused() {
        let error = |text: &str| text.parse::<Reading>().unwrap_err();
        for text in [
            "", ".", "-", "heavy", "1,5,2", "1e3", "inf", "NaN", "--3", "+3", "1.2.3", "٣",
        ] {
            assert!(matches!(error(text), ReadingError::NoNumber(_)), "{text}");
        }
        for text in ["0", "0.00", "-5", "-0"] {
            assert!(
                matches!(error(text), ReadingError::NotPositive(_)),
                "{text}"
            );
        }
        let endless = "9".repeat(400);
        for text in ["100001", "100000.1", &endless] {
            assert!(matches!(error(text), ReadingError::TooMuch(_)), "{text}");
        }
        assert!(matches!(error("1.1234567"), ReadingError::TooFine(_)));
    }
}
