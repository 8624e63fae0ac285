//! How many, and how sure: a count within its range. Nothing here wraps.

use serde::{Deserialize, Serialize};
use std::fmt;

/// How many pieces there are: the best number and the range it lies in,
/// `low <= count <= high <=` [`Tally::MAX`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "Fields")]
pub struct Tally {
    count: u64,
    low: u64,
    high: u64,
}

impl Tally {
    /// More pieces than anybody owns. Far below `u64::MAX`, so that a typing
    /// error is caught here and never in arithmetic.
    pub const MAX: u64 = 1_000_000_000_000;

    /// No pieces.
    pub const ZERO: Self = Self {
        count: 0,
        low: 0,
        high: 0,
    };

    /// A count with its range.
    ///
    /// # Errors
    /// When the count is outside the range, or too large.
    pub fn new(count: u64, low: u64, high: u64) -> Result<Self, TallyError> {
        if !(low <= count && count <= high) {
            return Err(TallyError::OutsideRange { count, low, high });
        }
        if high > Self::MAX {
            return Err(TallyError::TooMany);
        }
        Ok(Self { count, low, high })
    }

    /// A count without doubt.
    ///
    /// # Errors
    /// When it is too large.
    pub fn exact(count: u64) -> Result<Self, TallyError> {
        Self::new(count, count, count)
    }

    /// The best single number.
    pub fn count(self) -> u64 {
        self.count
    }

    /// No fewer than this.
    pub fn low(self) -> u64 {
        self.low
    }

    /// No more than this.
    pub fn high(self) -> u64 {
        self.high
    }

    /// Whether there is nothing, without doubt.
    pub fn is_zero(self) -> bool {
        self == Self::ZERO
    }

    /// Both together: counts, lows and highs add up, which holds whatever the
    /// two have in common (the range of a sum is never wider than that).
    ///
    /// # Errors
    /// When that is too many.
    pub fn plus(self, other: Self) -> Result<Self, TallyError> {
        // No overflow: each is at most MAX.
        Self::new(
            self.count + other.count,
            self.low + other.low,
            self.high + other.high,
        )
    }

    /// The sum of all.
    ///
    /// # Errors
    /// When that is too many.
    pub fn sum(tallies: impl IntoIterator<Item = Self>) -> Result<Self, TallyError> {
        tallies.into_iter().try_fold(Self::ZERO, Self::plus)
    }

    /// What is left when `count` pieces go; none when that is more than the best
    /// number. Where more go than were sure to be there, no fewer than none are left.
    pub fn less(self, count: u64) -> Option<Self> {
        Some(Self {
            count: self.count.checked_sub(count)?,
            low: self.low.saturating_sub(count),
            // high >= count, so this does not go below nothing either.
            high: self.high.saturating_sub(count),
        })
    }

    /// Moves `self` by the step that led from `was` to `now`.
    ///
    /// # Errors
    /// When that goes below nothing, above [`Tally::MAX`], or out of order.
    pub fn moved(self, was: Self, now: Self) -> Result<Self, TallyError> {
        let step = |here: u64, was: u64, now: u64| {
            (here + now).checked_sub(was).ok_or(TallyError::Negative {
                there: self,
                taken: was.saturating_sub(now),
            })
        };
        Self::new(
            step(self.count, was.count, now.count)?,
            step(self.low, was.low, now.low)?,
            step(self.high, was.high, now.high)?,
        )
    }
}

/// `41` when certain, else `41 (40-42)`.
impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.low == self.high {
            f.pad(&self.count.to_string())
        } else {
            f.pad(&format!("{} ({}-{})", self.count, self.low, self.high))
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Fields {
    count: u64,
    low: u64,
    high: u64,
}

impl TryFrom<Fields> for Tally {
    type Error = TallyError;

    fn try_from(fields: Fields) -> Result<Self, TallyError> {
        Self::new(fields.count, fields.low, fields.high)
    }
}

/// A tally as history lines hold it: `41` when certain, else as everywhere else.
/// Reads both; stock files of version 1 have the long form throughout.
pub(super) mod short {
    use super::{Fields, Tally};
    use serde::de::value::MapAccessDeserializer;
    use serde::de::{Error, MapAccess, Visitor};
    use serde::{Deserialize, Deserializer, Serialize, Serializer};
    use std::fmt;

    // serde hands over a reference.
    #[allow(clippy::trivially_copy_pass_by_ref)]
    pub fn serialize<S: Serializer>(tally: &Tally, out: S) -> Result<S::Ok, S::Error> {
        if tally.low == tally.high {
            out.serialize_u64(tally.count)
        } else {
            tally.serialize(out)
        }
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(input: D) -> Result<Tally, D::Error> {
        struct Either;
        impl<'de> Visitor<'de> for Either {
            type Value = Tally;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number of pieces, or count, low and high")
            }

            fn visit_u64<E: Error>(self, count: u64) -> Result<Tally, E> {
                Tally::exact(count).map_err(E::custom)
            }

            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Tally, A::Error> {
                let fields = Fields::deserialize(MapAccessDeserializer::new(map))?;
                Tally::try_from(fields).map_err(A::Error::custom)
            }
        }
        input.deserialize_any(Either)
    }
}

/// Why a number of pieces cannot be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TallyError {
    /// `low <= count <= high` does not hold.
    #[error("the count {count} is not within its range {low}-{high}")]
    OutsideRange {
        /// The count.
        count: u64,
        /// The range's lower end.
        low: u64,
        /// The range's upper end.
        high: u64,
    },
    /// Over [`Tally::MAX`].
    #[error("that is more than {} pieces", Tally::MAX)]
    TooMany,
    /// Fewer than none would be left.
    #[error("{taken} would be taken from {there}, which leaves fewer than none")]
    Negative {
        /// What there is.
        there: Tally,
        /// How many would go.
        taken: u64,
    },
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;

    #[test]
    fn a_count_lies_in_its_range_and_has_an_end() {
        assert!(Tally::new(5, 4, 6).is_ok());
        assert!(Tally::new(5, 6, 6).is_err());
        assert!(Tally::new(5, 4, 4).is_err());
        assert_eq!(Tally::exact(Tally::MAX + 1), Err(TallyError::TooMany));
        let most = Tally::exact(Tally::MAX).unwrap();
        assert_eq!(
            most.plus(Tally::exact(1).unwrap()),
            Err(TallyError::TooMany)
        );
        assert!(Tally::exact(u64::MAX).is_err());
    }

    #[test]
    fn reads_as_a_person_says_it() {
        assert_eq!(Tally::new(41, 40, 42).unwrap().to_string(), "41 (40-42)");
        assert_eq!(Tally::exact(41).unwrap().to_string(), "41");
    }

    #[test]
    fn moving_below_nothing_is_refused() {
        let two = Tally::exact(2).unwrap();
        let ten = Tally::exact(10).unwrap();
        let error = two.moved(ten, Tally::ZERO).unwrap_err();
        assert_eq!(
            error.to_string(),
            "10 would be taken from 2, which leaves fewer than none"
        );
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 200, rng_seed: RngSeed::Fixed(7), failure_persistence: None, ..ProptestConfig::default() })]
        #[test]
        fn a_move_and_its_reverse_cancel(a in any_tally(), b in any_tally(), c in any_tally()) {
            if let Ok(there) = a.moved(b, c) {
                prop_assert_eq!(there.moved(c, b), Ok(a));
            }
        }
    }

    fn any_tally() -> impl Strategy<Value = Tally> {
        (0..500u64, 0..20u64, 0..20u64)
            .prop_map(|(low, a, b)| Tally::new(low + a, low, low + a + b).unwrap())
    }
}
