//! Who and when, taken from the environment once and passed on.

use super::author;
use super::kind::Label;
use jiff::{RoundMode, Timestamp, TimestampRound, Unit};
use std::env;
use std::path::Path;

/// Who changes the stock, and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// UTC, to the second.
    pub time: Timestamp,
    /// The user's name; `-` when unknown.
    pub who: Label,
}

impl Stamp {
    /// As [`Stamp::of_environment`], with the name that the home folder keeps, if it does.
    ///
    /// # Errors
    /// As [`Stamp::of_environment`].
    pub fn in_home(home: &Path) -> Result<Self, StampError> {
        let stamp = Self::of_environment()?;
        let who = author::read(home).unwrap_or_else(|| stamp.who.clone());
        Ok(Self { who, ..stamp })
    }

    /// From the clock, and the user's name in `USER`, `LOGNAME` or `USERNAME`.
    /// `CUPTALLY_NOW` pins the clock, for demos that come out the same each time.
    ///
    /// # Errors
    /// When `CUPTALLY_NOW` is set but is no time, or the clock stands outside all reason.
    pub fn of_environment() -> Result<Self, StampError> {
        let time = match env::var_os("CUPTALLY_NOW").filter(|text| !text.is_empty()) {
            None => Timestamp::now(),
            Some(text) => text
                .to_str()
                .and_then(|text| text.parse().ok())
                .ok_or_else(|| StampError::Pinned(Label::new(&text.to_string_lossy())))?,
        };
        let to_the_second = TimestampRound::new()
            .smallest(Unit::Second)
            .mode(RoundMode::Trunc);
        let time = time.round(to_the_second).map_err(|_| StampError::Clock)?;
        let who = ["USER", "LOGNAME", "USERNAME"]
            .into_iter()
            .filter_map(|name| env::var(name).ok())
            .map(|name| Label::new(name.trim()))
            .find(|name| !name.as_str().is_empty())
            .unwrap_or_else(|| Label::new("-"));
        Ok(Self { time, who })
    }
}

/// Why the time cannot be told.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum StampError {
    /// `CUPTALLY_NOW` is not a time.
    #[error(
        "CUPTALLY_NOW is '{0}', which is no time such as 2026-05-02T10:12:00Z; correct or unset it"
    )]
    Pinned(Label),
    /// The system clock is beyond what a time can hold.
    #[error("the system clock shows a year that no file can hold; set it right")]
    Clock,
}
