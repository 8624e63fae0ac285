//! How many, and how sure: a count within its range. Nothing here wraps.

use serde::{Deserialize, Serialize};
use std::fmt;

/// How many pieces there are: the best number, the range it lies in, and how many of them were
/// taken as counted, without anybody looking:
/// `low <= count <= high <=` [`Tally::MAX`], `as_counted <= count`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "Fields")]
pub struct Tally {
    count: u64,
    low: u64,
    high: u64,
    #[serde(skip_serializing_if = "is_none")]
    as_counted: u64,
}

/// serde's `skip_serializing_if` hands over a reference.
#[allow(clippy::trivially_copy_pass_by_ref)]
pub(super) fn is_none(number: &u64) -> bool {
    *number == 0
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
        as_counted: 0,
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
        Ok(Self {
            count,
            low,
            high,
            as_counted: 0,
        })
    }

    /// The same, so many of them taken as counted.
    ///
    /// # Errors
    /// When those are more than there are.
    pub fn marked(self, as_counted: u64) -> Result<Self, TallyError> {
        if as_counted > self.count {
            return Err(TallyError::AsCounted {
                as_counted,
                count: self.count,
            });
        }
        Ok(Self { as_counted, ..self })
    }

    /// The same, all of them taken as counted. The range stays: nobody looked.
    pub fn taken_as_counted(self) -> Self {
        Self {
            as_counted: self.count,
            ..self
        }
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

    /// How many of the best number were taken as counted: nobody looked at them.
    pub fn as_counted(self) -> u64 {
        self.as_counted
    }

    /// The same without the mark, for pieces that are pending anyway.
    #[must_use]
    pub fn unmarked(self) -> Self {
        Self {
            as_counted: 0,
            ..self
        }
    }

    /// How many there are for certain: no more than the low end of the range, and none of those that
    /// were taken as counted.
    pub fn certain(self) -> u64 {
        self.low.min(self.count - self.as_counted)
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
        )?
        .marked(self.as_counted + other.as_counted)
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
    ///
    /// Nobody knows whether those that go were looked at, so those that nobody looked at are the last
    /// to go.
    pub fn less(self, count: u64) -> Option<Self> {
        let left = self.count.checked_sub(count)?;
        Some(Self {
            count: left,
            as_counted: self.as_counted.min(left),
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
        let moved = Self::new(
            step(self.count, was.count, now.count)?,
            step(self.low, was.low, now.low)?,
            step(self.high, was.high, now.high)?,
        )?;
        moved.marked(step(self.as_counted, was.as_counted, now.as_counted)?)
    }
}

/// `41` when certain, else `41 (40-42)`, `41 (taken as counted)` or `41 (40-42, 7 taken as counted)`.
impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let range = (self.low != self.high).then(|| format!("{}-{}", self.low, self.high));
        let mark = match self.as_counted {
            0 => None,
            all if all == self.count => Some("taken as counted".to_owned()),
            some => Some(format!("{some} taken as counted")),
        };
        let doubt: Vec<String> = range.into_iter().chain(mark).collect();
        if doubt.is_empty() {
            f.pad(&self.count.to_string())
        } else {
            f.pad(&format!("{} ({})", self.count, doubt.join(", ")))
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Fields {
    count: u64,
    low: u64,
    high: u64,
    #[serde(default)]
    as_counted: u64,
}

impl TryFrom<Fields> for Tally {
    type Error = TallyError;

    fn try_from(fields: Fields) -> Result<Self, TallyError> {
        Self::new(fields.count, fields.low, fields.high)?.marked(fields.as_counted)
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
        if tally.low == tally.high && tally.as_counted == 0 {
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
    /// More taken as counted than there are.
    #[error("{as_counted} are said to be taken as counted, but there are {count}")]
    AsCounted {
        /// Taken as counted.
        as_counted: u64,
        /// The count.
        count: u64,
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
        let exact = Tally::exact(41).unwrap();
        assert_eq!(exact.to_string(), "41");
        let taken = exact.taken_as_counted();
        assert_eq!(taken.to_string(), "41 (taken as counted)");
        let sum = taken.plus(Tally::new(7, 5, 8).unwrap()).unwrap();
        assert_eq!(sum.to_string(), "48 (46-49, 41 taken as counted)");
    }

    #[test]
    fn only_what_somebody_looked_at_is_certain() {
        let looked = Tally::new(60, 58, 60).unwrap();
        let taken = Tally::new(41, 30, 44).unwrap().taken_as_counted();
        assert_eq!((looked.certain(), taken.certain()), (58, 0));
        let both = looked.plus(taken).unwrap();
        assert_eq!((both.low(), both.certain()), (88, 60));
        // Who took 70 out may have taken any of them; the mark goes last.
        let left = both.less(70).unwrap();
        assert_eq!(
            (left.count(), left.as_counted(), left.certain()),
            (31, 31, 0)
        );
        // A history step brings the mark back with the pieces.
        assert_eq!(left.moved(left, both), Ok(both));
        assert!(Tally::exact(3).unwrap().marked(4).is_err());
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
