//! What the count comes to in grams, how well that is known, and whether the scale agrees.

use std::collections::BTreeMap;

use thiserror::Error;

use super::explain::explanations;
use super::masses::{Mass, Masses};
use super::reading::Reading;
use crate::numbers::{round1, round2, round3};
use crate::pieces::Search;
use crate::sheet::weighing::{MassSource, Weighing};
use crate::sheet::{Group, Piece};

/// Standard deviations within which scale and count agree: 19 times in 20, as a group's range.
const SDS: f64 = 2.0;

/// Why a count cannot be weighed.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum WeighError {
    /// A group whose size says nothing.
    #[error(
        "what a {form} {size} weighs cannot be told; count again without --grams, or put the sheet's group right"
    )]
    UnknownKind {
        /// As in the group.
        form: String,
        /// As in the group.
        size: String,
    },
}

/// All groups of one form and size: a scale cannot tell them apart.
pub(super) struct Kind<'a> {
    /// Form, as in a piece.
    pub form: &'a str,
    /// Size, as in a piece.
    pub size: &'a str,
    /// What one weighs.
    pub mass: Mass,
    /// Its colours.
    pub groups: Vec<&'a Group>,
}

impl Kind<'_> {
    /// Pieces of any colour.
    pub fn count(&self) -> u64 {
        self.groups.iter().map(|g| u64::from(g.count)).sum()
    }
}

/// Weighs a count against what a scale shows. `search` is what was looked for: it says which forms
/// a piece of form `any` may have.
///
/// # Errors
/// When a group's size is none.
pub fn weigh(
    groups: &[Group],
    pieces: &[Piece],
    masses: &Masses,
    search: &Search,
    scale: Reading,
) -> Result<Weighing, WeighError> {
    let kinds = kinds(groups, masses, search)?;
    let of_all = |of: &dyn Fn(&Kind<'_>) -> f64| kinds.iter().map(of).sum::<f64>();
    let count = of_all(&|kind| kind.count() as f64);
    let counted = of_all(&|kind| kind.count() as f64 * kind.mass.grams);
    // A kind's error is the same in each of its pieces; kinds err by themselves, and what is
    // estimated errs together as well.
    let own = of_all(&|kind| (kind.count() as f64 * kind.mass.own_sd_g).powi(2)).sqrt();
    let estimated = of_all(&|kind| kind.count() as f64 * kind.mass.estimated_g);
    let mass_sd = own.hypot(masses.common() * estimated);
    let difference = scale.grams - counted;
    // Groups are taken as independent. One piece of unsure colour widens two of them, though it
    // weighs the same in both, so this is rather too much than too little.
    let count_sd = of_all(&|kind| {
        let room = |g: &&Group| {
            let room = if difference < 0.0 {
                g.count.saturating_sub(g.low)
            } else {
                g.high.saturating_sub(g.count)
            };
            (f64::from(room) * kind.mass.grams / SDS).powi(2)
        };
        kind.groups.iter().map(room).sum()
    })
    .sqrt();
    let tolerance = SDS * mass_sd.hypot(scale.sd_g());
    let agrees = difference.abs() <= tolerance;
    let mean = (count > 0.0).then(|| counted / count);
    let explanations = if agrees {
        Vec::new()
    } else {
        explanations(&kinds, pieces, masses, search, difference, tolerance)
    };
    Ok(Weighing {
        grams: scale.grams,
        step_g: scale.step_g,
        counted_g: round2(counted),
        low_g: round2((counted - tolerance).max(0.0)),
        high_g: round2(counted + tolerance),
        mass_sd_g: round3(mass_sd),
        scale_sd_g: round3(scale.sd_g()),
        count_sd_g: round3(count_sd),
        masses: source(&kinds),
        agrees,
        ranges_allow: difference.abs() <= tolerance.hypot(SDS * count_sd),
        difference_g: round2(difference),
        difference_pieces: mean.map(|mean| round1(difference / mean)),
        shows_from_pieces: mean.map(|mean| round1(tolerance / mean)),
        explanations,
    })
}

fn kinds<'a>(
    groups: &'a [Group],
    masses: &Masses,
    search: &Search,
) -> Result<Vec<Kind<'a>>, WeighError> {
    let mut by_kind: BTreeMap<(&str, &str), Vec<&Group>> = BTreeMap::new();
    // Also what none was counted as, but some may be: it may explain a difference.
    for group in groups {
        let key = (group.form.as_str(), group.size.as_str());
        by_kind.entry(key).or_default().push(group);
    }
    by_kind
        .into_iter()
        .map(|((form, size), groups)| {
            let mass = masses.of_kind(form, size, search);
            let mass = mass.ok_or_else(|| WeighError::UnknownKind {
                form: form.to_owned(),
                size: size.to_owned(),
            })?;
            Ok(Kind {
                form,
                size,
                mass,
                groups,
            })
        })
        .collect()
}

fn source(kinds: &[Kind<'_>]) -> MassSource {
    let counted = || kinds.iter().filter(|kind| kind.count() > 0);
    match counted().filter(|kind| kind.mass.is_measured()).count() {
        0 => MassSource::Estimated,
        n if n == counted().count() => MassSource::Measured,
        _ => MassSource::Both,
    }
}

#[cfg(test)]
pub(super) mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::count::weigh::WeightBook;
    use crate::pieces::Shapes;
    use crate::pieces::list::tests::shape;

    /// Masses of 1 g for plates 2x4, 0.25 g for 1x1 and 2 g for bricks 2x4, known to 1 %.
    pub fn masses() -> Masses {
        let mut book = WeightBook::default();
        for (form, size, grams) in [
            ("plate", "2x4", 1.0),
            ("plate", "1x1", 0.25),
            ("brick", "2x4", 2.0),
        ] {
            let reading = Reading {
                grams,
                step_g: 1e-6,
            };
            book.keep(shape(form, size), 1, reading).unwrap();
        }
        Masses::of_book(&book)
    }

    pub fn group(form: &str, size: &str, colour: &str, count: u32, low: u32, high: u32) -> Group {
        Group {
            form: form.into(),
            size: size.into(),
            colour: colour.into(),
            count,
            low,
            high,
            sure: if low == high { 0.99 } else { 0.8 },
        }
    }

    pub fn against(groups: &[Group], pieces: &[Piece], scale: &str) -> Weighing {
        let search = Search::of_all(Shapes::shipped());
        weigh(groups, pieces, &masses(), &search, scale.parse().unwrap()).unwrap()
    }

    /// By hand: 20 plates 2x4 of two colours and 40 of 1x1 are 30 g. Each kind errs by 1 %, that is
    /// by 0.2 g and 0.1 g, together √0.05 = 0.2236 g; a scale with a step of 0.1 g by 0.05 g; twice
    /// both is 0.4583 g. Sixty pieces weigh 0.5 g on average.
    #[test]
    fn two_kinds_by_hand() {
        let groups = [
            group("plate", "2x4", "tar", 12, 12, 12),
            group("plate", "2x4", "fog", 8, 8, 8),
            group("plate", "1x1", "fog", 40, 40, 40),
        ];
        let agreed = against(&groups, &[], "30.4");
        assert!(agreed.agrees && agreed.explanations.is_empty());
        assert_eq!((agreed.counted_g, agreed.mass_sd_g), (30.0, 0.224));
        assert_eq!((agreed.scale_sd_g, agreed.count_sd_g), (0.05, 0.0));
        assert_eq!((agreed.low_g, agreed.high_g), (29.54, 30.46));
        assert_eq!(agreed.shows_from_pieces, Some(0.9));
        assert_eq!(agreed.masses, MassSource::Measured);
        let apart = against(&groups, &[], "29.5");
        assert!(!apart.agrees && !apart.ranges_allow);
        assert_eq!(
            (apart.difference_g, apart.difference_pieces),
            (-0.5, Some(-1.0))
        );
    }

    /// The counts' doubt makes nothing agree, but it is told: by hand, two pieces of 1 g that may be
    /// more are a deviation of 1 g, and only upwards.
    #[test]
    fn what_the_ranges_allow_is_told_but_is_no_agreement() {
        let groups = [group("plate", "2x4", "tar", 20, 20, 22)];
        let more = against(&groups, &[], "22.0");
        assert!(!more.agrees && more.ranges_allow);
        assert_eq!(more.count_sd_g, 1.0);
        let fewer = against(&groups, &[], "18.0");
        assert!(!fewer.agrees && !fewer.ranges_allow);
        assert_eq!(fewer.count_sd_g, 0.0);
    }

    /// By hand: one estimated brick 1x1 shares 8 % and has 5 % by itself, so 9.43 % in all.
    #[test]
    fn estimates_err_together() {
        let groups = [group("brick", "1x1", "tar", 100, 100, 100)];
        let masses = Masses::of_book(&WeightBook::default());
        let search = Search::of_all(Shapes::shipped());
        let scale = "100".parse().unwrap();
        let told = weigh(&groups, &[], &masses, &search, scale).unwrap();
        let share = told.mass_sd_g / told.counted_g;
        assert!((share - 0.0943).abs() < 1e-3, "{share}");
        assert_eq!(told.masses, MassSource::Estimated);
    }

    #[test]
    fn nothing_counted_and_something_weighed() {
        let told = against(&[], &[], "5");
        assert!(!told.agrees && !told.ranges_allow);
        assert_eq!((told.counted_g, told.difference_pieces), (0.0, None));
        assert!(told.explanations.is_empty());
    }

    #[test]
    fn a_size_that_is_none_is_refused() {
        let groups = [group("plate", "round", "tar", 1, 1, 1)];
        let search = Search::of_all(Shapes::shipped());
        let scale = "5".parse().unwrap();
        let error = weigh(&groups, &[], &masses(), &search, scale).unwrap_err();
        assert!(error.to_string().contains("plate round"), "{error}");
    }
}
