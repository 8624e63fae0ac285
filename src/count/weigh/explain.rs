//! Which single mistake in the count would make it weigh what the scale shows.

use std::collections::BTreeMap;

use super::compare::Kind;
use super::masses::Masses;
use crate::numbers::round2;
use crate::pieces::Search;
use crate::sheet::weighing::{Explanation, ExplanationKind, Form};
use crate::sheet::{Group, Piece};

/// Explanations that are told.
const MOST: usize = 3;
/// Pieces of one kind that may be wrong beyond its ranges; with more, anything would explain
/// anything.
const BEYOND: u64 = 5;

/// An explanation with what it is ranked by.
struct Ranked {
    /// Of the least certain group or piece in it.
    sure: f64,
    /// Grams that stay unexplained.
    rest: f64,
    told: Explanation,
}

/// What explains a difference (g, of the scale to the count) to within a tolerance: at most
/// [`MOST`], likeliest first. Ranges go before readings that the sheet names, these before what
/// lies beyond; then few pieces before many, and what is less certain first.
pub(super) fn explanations(
    kinds: &[Kind<'_>],
    pieces: &[Piece],
    masses: &Masses,
    search: &Search,
    difference: f64,
    tolerance: f64,
) -> Vec<Explanation> {
    let gap = Gap {
        difference,
        tolerance,
    };
    let mut ranked: Vec<Ranked> = kinds.iter().filter_map(|kind| gap.off_by(kind)).collect();
    ranked.extend(gap.swaps(pieces, masses, search));
    ranked.sort_by(|a, b| {
        let key = |r: &Ranked| (r.told.kind, r.told.number);
        key(a)
            .cmp(&key(b))
            .then(a.sure.total_cmp(&b.sure))
            .then(a.rest.total_cmp(&b.rest))
    });
    ranked.truncate(MOST);
    ranked.into_iter().map(|ranked| ranked.told).collect()
}

/// What is to be explained.
struct Gap {
    difference: f64,
    tolerance: f64,
}

impl Gap {
    /// How many pieces that each change the weight by `each` grams explain it best, of at most
    /// `most`, with what is left over; none where they do not explain it.
    fn number(&self, each: f64, most: u64) -> Option<(u32, f64)> {
        if each == 0.0 || most == 0 {
            return None;
        }
        let number = (self.difference / each).round().clamp(1.0, most as f64);
        let rest = (self.difference - number * each).abs();
        (rest <= self.tolerance).then_some((number as u32, rest))
    }

    /// Too many or too few of one kind, within its ranges if they allow.
    fn off_by(&self, kind: &Kind<'_>) -> Option<Ranked> {
        let fewer = self.difference < 0.0;
        let each = if fewer {
            -kind.mass.grams
        } else {
            kind.mass.grams
        };
        let room = |g: &Group| {
            if fewer {
                g.count.saturating_sub(g.low)
            } else {
                g.high.saturating_sub(g.count)
            }
        };
        let roomy: Vec<&Group> = (kind.groups.iter().copied())
            .filter(|group| room(group) > 0)
            .collect();
        let most = roomy.iter().map(|group| u64::from(room(group))).sum();
        let beyond = if fewer {
            BEYOND.min(kind.count())
        } else {
            BEYOND
        };
        let (how, groups, (number, rest)) = match self.number(each, most) {
            Some(number) => (ExplanationKind::WithinRange, roomy, number),
            None => {
                let number = self.number(each, beyond)?;
                let mut groups = kind.groups.clone();
                groups.retain(|group| group.is_counted());
                if groups.is_empty() {
                    // Beyond what any piece may be, anything could be named.
                    return None;
                }
                (ExplanationKind::BeyondRange, groups, number)
            }
        };
        Some(Ranked {
            sure: groups.iter().map(|g| g.sure).fold(1.0, f64::min),
            rest,
            told: Explanation {
                kind: how,
                form: kind.form.to_owned(),
                size: kind.size.to_owned(),
                number,
                to: None,
                colours: colours(groups.iter().map(|g| (g.colour.as_str(), g.sure))),
                change_g: round2(f64::from(number) * each),
            },
        })
    }

    /// Pieces that are of another kind, as the sheet says they could be.
    fn swaps(&self, pieces: &[Piece], masses: &Masses, search: &Search) -> Vec<Ranked> {
        type Kinds<'a> = (&'a str, &'a str, &'a str, &'a str);
        let mut readings: BTreeMap<Kinds<'_>, Vec<&Piece>> = BTreeMap::new();
        for piece in pieces {
            let mut seen = Vec::new();
            for other in &piece.instead {
                let key: Kinds<'_> = (&piece.form, &piece.size, &other.form, &other.size);
                let same = (key.0, key.1) == (key.2, key.3);
                // One piece may have the same shape in two colours.
                if !same && !seen.contains(&key) {
                    seen.push(key);
                    readings.entry(key).or_default().push(piece);
                }
            }
        }
        let of = |(key, pieces): (Kinds<'_>, Vec<&Piece>)| {
            let (form, size, to_form, to_size) = key;
            let from = masses.of_kind(form, size, search)?;
            let to = masses.of_kind(to_form, to_size, search)?;
            let each = to.grams - from.grams;
            let (number, rest) = self.number(each, pieces.len() as u64)?;
            Some(Ranked {
                sure: pieces.iter().map(|p| p.sure).fold(1.0, f64::min),
                rest,
                told: Explanation {
                    kind: ExplanationKind::Instead,
                    form: form.to_owned(),
                    size: size.to_owned(),
                    number,
                    to: Some(Form {
                        form: to_form.to_owned(),
                        size: to_size.to_owned(),
                    }),
                    colours: colours(pieces.iter().map(|p| (p.colour.as_str(), p.sure))),
                    change_g: round2(f64::from(number) * each),
                },
            })
        };
        readings.into_iter().filter_map(of).collect()
    }
}

/// Each colour once, the least certain first.
fn colours<'a>(named: impl Iterator<Item = (&'a str, f64)>) -> Vec<String> {
    let mut named: Vec<(&str, f64)> = named.collect();
    named.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(b.0)));
    let mut colours: Vec<String> = Vec::new();
    for (colour, _) in named {
        if !colours.iter().any(|known| known == colour) {
            colours.push(colour.to_owned());
        }
    }
    colours
}

#[cfg(test)]
mod tests {
    use super::super::compare::tests::{against, group};
    use super::*;
    use crate::sheet::Instead;

    fn texts(groups: &[Group], pieces: &[Piece], scale: &str) -> Vec<String> {
        let told = against(groups, pieces, scale);
        assert!(!told.agrees, "{told:?}");
        told.explanations.iter().map(Explanation::text).collect()
    }

    fn piece(form: &str, size: &str, colour: &str, sure: f64, instead: (&str, &str)) -> Piece {
        let other = |colour: &str| Instead {
            form: instead.0.into(),
            size: instead.1.into(),
            colour: colour.into(),
            sure: 1.0 - sure,
        };
        Piece {
            form: form.into(),
            size: size.into(),
            colour: colour.into(),
            sure,
            instead: vec![other(colour), other("another")],
            ..Piece::default()
        }
    }

    /// Plates 2x4 weigh 1 g: two are missing, and only the fog ones may be fewer.
    #[test]
    fn a_group_within_its_range_comes_first() {
        let groups = [
            group("plate", "1x1", "tar", 10, 10, 10),
            group("plate", "2x4", "fog", 4, 2, 4),
            group("plate", "2x4", "tar", 6, 6, 6),
            group("brick", "2x4", "tar", 3, 3, 3),
        ];
        assert_eq!(
            texts(&groups, &[], "16.5"),
            [
                "2 plate 2x4 (fog) counted too many",
                "1 brick 2x4 (tar) counted too many, beyond its range",
            ]
        );
    }

    /// More on the scale: one brick of 2 g, or two plates of 1 g; of a plate 1x1 it would be eight.
    #[test]
    fn beyond_the_ranges_few_pieces_come_before_many() {
        let groups = [
            group("plate", "1x1", "tar", 10, 10, 10),
            group("plate", "2x4", "fog", 4, 4, 4),
            group("brick", "2x4", "tar", 3, 3, 3),
        ];
        assert_eq!(
            texts(&groups, &[], "14.5"),
            [
                "1 brick 2x4 not counted, beyond its range",
                "2 plate 2x4 not counted, beyond its range",
            ]
        );
    }

    /// Two pieces may be bricks of 2 g instead of plates of 1 g: 2 g more, and no more than that.
    #[test]
    fn other_readings_of_pieces_explain() {
        let groups = [group("plate", "2x4", "fog", 12, 12, 12)];
        let pieces = [
            piece("plate", "2x4", "fog", 0.7, ("brick", "2x4")),
            piece("plate", "2x4", "tar", 0.6, ("brick", "2x4")),
            piece("plate", "2x4", "kelp", 0.5, ("plate", "2x4")),
        ];
        let told = texts(&groups, &pieces, "14.0");
        assert_eq!(told[0], "2 plate 2x4 (tar, fog) that may be brick 2x4");
        assert_eq!(told[1], "2 plate 2x4 not counted, beyond its range");
        assert_eq!(told.len(), 2);
        // Three would be needed.
        assert_eq!(
            texts(&groups, &pieces, "15.0"),
            ["3 plate 2x4 not counted, beyond its range"]
        );
    }

    #[test]
    fn no_more_than_three_and_none_where_nothing_explains() {
        let groups = [
            group("plate", "1x1", "tar", 30, 26, 30),
            group("plate", "2x4", "fog", 4, 4, 4),
            group("plate", "2x4", "tar", 1, 0, 1),
            group("any", "2x4", "tar", 1, 1, 1),
            group("brick", "2x4", "tar", 3, 3, 3),
        ];
        let told = against(&groups, &[], "1").explanations;
        assert!(told.is_empty(), "{told:?}");
        let few = [
            group("plate", "1x1", "tar", 8, 4, 8),
            group("plate", "2x4", "tar", 2, 1, 2),
            group("brick", "2x4", "tar", 1, 1, 1),
        ];
        assert_eq!(
            texts(&few, &[], "5.0"),
            [
                "1 plate 2x4 (tar) counted too many",
                "4 plate 1x1 (tar) counted too many",
            ]
        );
    }
}
