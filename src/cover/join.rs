//! Joins: several smaller pieces of one form that fill the footprint of a larger
//! one, where nobody sees the seam. Only footprints are looked at: whether the
//! layers above and below hold the parts together is for the builder to see.

use crate::stock::kind::{Name, Size};
use std::collections::{BTreeMap, BTreeSet};

/// The most parts that a plan may allow for one piece: more make a wall that
/// nothing holds together, and the number of tilings grows fast.
pub const MOST_PARTS: usize = 6;

/// Parts for one piece when the plan does not say.
pub const USUAL_PARTS: usize = 4;

/// The longest side of a piece that is joined, in studs. Larger ones are
/// baseplates, which joins do not replace.
pub const LONGEST_JOINED: u16 = 32;

/// Which joins a plan allows, on lines that allow any.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JoinRules {
    /// The most parts for one piece.
    pub most_parts: usize,
    /// Only these, one after another if need be; none when any tiling will do.
    pub listed: Option<Vec<(Size, Vec<Size>)>>,
    /// Forms whose pieces are no full rectangles: they are not joined.
    pub never: BTreeSet<Name>,
}

impl Default for JoinRules {
    fn default() -> Self {
        Self {
            most_parts: USUAL_PARTS,
            listed: None,
            never: BTreeSet::new(),
        }
    }
}

/// How many of each size together make one piece.
pub type Parts = BTreeMap<Size, u64>;

impl JoinRules {
    /// Every way to make `whole` from two or more of `sizes`, each once, in a fixed order.
    pub fn ways(&self, whole: Size, sizes: &BTreeSet<Size>) -> Vec<Parts> {
        if whole.studs().1 > LONGEST_JOINED {
            return Vec::new();
        }
        let ways = match &self.listed {
            None => tilings(whole, sizes, self.most_parts),
            Some(rules) => listed_ways(rules, whole, sizes, self.most_parts),
        };
        ways.into_iter().collect()
    }
}

/// Applies listed joins until nothing new comes out.
fn listed_ways(
    rules: &[(Size, Vec<Size>)],
    whole: Size,
    sizes: &BTreeSet<Size>,
    most_parts: usize,
) -> BTreeSet<Parts> {
    let mut seen: BTreeSet<Parts> = BTreeSet::from([Parts::from([(whole, 1)])]);
    let mut open: Vec<Parts> = seen.iter().cloned().collect();
    while let Some(way) = open.pop() {
        for (made, of) in rules {
            let Some(&count) = way.get(made) else {
                continue;
            };
            let mut next = way.clone();
            if count == 1 {
                next.remove(made);
            } else {
                next.insert(*made, count - 1);
            }
            for part in of {
                *next.entry(*part).or_insert(0) += 1;
            }
            if number_of(&next) <= most_parts && seen.insert(next.clone()) {
                open.push(next);
            }
        }
    }
    seen.retain(|way| number_of(way) > 1 && way.keys().all(|size| sizes.contains(size)));
    seen
}

fn number_of(way: &Parts) -> usize {
    usize::try_from(way.values().sum::<u64>()).unwrap_or(usize::MAX)
}

/// Every multiset of two to `most_parts` of `sizes` that tiles `whole`.
fn tilings(whole: Size, sizes: &BTreeSet<Size>, most_parts: usize) -> BTreeSet<Parts> {
    let smaller: Vec<Size> = sizes
        .iter()
        .copied()
        .filter(|&size| area(size) < area(whole))
        .collect();
    let mut found = BTreeSet::new();
    let mut floor = Floor::new(whole);
    floor.fill(
        &mut |_| smaller.clone(),
        most_parts,
        &mut Vec::new(),
        &mut |parts| {
            let mut way = Parts::new();
            for &part in parts {
                *way.entry(part).or_insert(0) += 1;
            }
            found.insert(way);
            false
        },
    );
    found
}

/// Whether exactly these parts, each once, tile `whole`; one part is no join.
pub fn tiles(whole: Size, parts: &[Size]) -> bool {
    let covered: u64 = parts.iter().map(|&part| area(part)).sum();
    if parts.len() < 2 || parts.len() > MOST_PARTS || covered != area(whole) {
        return false;
    }
    let mut found = false;
    Floor::new(whole).fill(
        &mut |used: &[Size]| {
            let mut left = parts.to_vec();
            for part in used {
                if let Some(at) = left.iter().position(|other| other == part) {
                    left.swap_remove(at);
                }
            }
            left.sort_unstable();
            left.dedup();
            left
        },
        parts.len(),
        &mut Vec::new(),
        &mut |_| {
            found = true;
            true
        },
    );
    found
}

fn area(size: Size) -> u64 {
    let (short, long) = size.studs();
    u64::from(short) * u64::from(long)
}

/// A footprint that is filled stud by stud.
struct Floor {
    rows: usize,
    columns: usize,
    /// Row by row.
    taken: Vec<bool>,
    free: u64,
}

impl Floor {
    fn new(whole: Size) -> Self {
        let (rows, columns) = whole.studs();
        let (rows, columns) = (usize::from(rows), usize::from(columns));
        Self {
            rows,
            columns,
            taken: vec![false; rows * columns],
            free: area(whole),
        }
    }

    /// Puts a part over the first free stud, either way round, and goes on. `found`
    /// is told each full floor and says whether to stop.
    fn fill(
        &mut self,
        choose: &mut dyn FnMut(&[Size]) -> Vec<Size>,
        parts_left: usize,
        used: &mut Vec<Size>,
        found: &mut dyn FnMut(&[Size]) -> bool,
    ) -> bool {
        let Some(first) = self.taken.iter().position(|&taken| !taken) else {
            return found(used);
        };
        if parts_left == 0 {
            return false;
        }
        let sizes = choose(used);
        let largest = sizes.iter().map(|&size| area(size)).max().unwrap_or(0);
        if largest.saturating_mul(parts_left as u64) < self.free {
            return false;
        }
        for size in sizes {
            let (short, long) = size.studs();
            let (short, long) = (usize::from(short), usize::from(long));
            let turned = if short == long { 1 } else { 2 };
            for (rows, columns) in [(short, long), (long, short)].into_iter().take(turned) {
                if !self.put(first, rows, columns, true) {
                    continue;
                }
                used.push(size);
                let stop = self.fill(choose, parts_left - 1, used, found);
                used.pop();
                self.put(first, rows, columns, false);
                if stop {
                    return true;
                }
            }
        }
        false
    }

    /// Takes or frees a rectangle whose first stud is `first`; taking does nothing
    /// and says no when it does not fit.
    fn put(&mut self, first: usize, rows: usize, columns: usize, take: bool) -> bool {
        let (row, column) = (first / self.columns, first % self.columns);
        if row + rows > self.rows || column + columns > self.columns {
            return false;
        }
        let studs = (row..row + rows)
            .flat_map(|row| (column..column + columns).map(move |column| (row, column)))
            .map(|(row, column)| row * self.columns + column);
        let studs: Vec<usize> = studs.collect();
        let is_free = |&at: &usize| self.taken.get(at) == Some(&false);
        if take && !studs.iter().all(is_free) {
            return false;
        }
        for at in &studs {
            if let Some(stud) = self.taken.get_mut(*at) {
                *stud = take;
            }
        }
        let area = studs.len() as u64;
        self.free = if take {
            self.free - area
        } else {
            self.free + area
        };
        true
    }
}

/// The first circle among listed joins: its line and `2x4 from 2x6 from 2x4`.
pub fn circle(listed: &[(u64, Size, Vec<Size>)]) -> Option<(u64, String)> {
    fn walk(
        listed: &[(u64, Size, Vec<Size>)],
        path: &mut Vec<Size>,
        done: &mut BTreeSet<Size>,
    ) -> Option<Vec<Size>> {
        let here = *path.last()?;
        for (_, _, parts) in listed.iter().filter(|(_, whole, _)| *whole == here) {
            for &part in parts {
                if let Some(at) = path.iter().position(|&size| size == part) {
                    let mut circle = path.split_at(at).1.to_vec();
                    circle.push(part);
                    return Some(circle);
                }
                if done.contains(&part) {
                    continue;
                }
                path.push(part);
                let found = walk(listed, path, done);
                path.pop();
                if found.is_some() {
                    return found;
                }
            }
        }
        done.insert(here);
        None
    }
    let mut done = BTreeSet::new();
    for (line, whole, _) in listed {
        if done.contains(whole) {
            continue;
        }
        if let Some(circle) = walk(listed, &mut vec![*whole], &mut done) {
            let sizes: Vec<String> = circle.iter().map(Size::to_string).collect();
            return Some((*line, sizes.join(" from ")));
        }
    }
    None
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn size(text: &str) -> Size {
        Size::new(text).unwrap()
    }

    fn sizes(text: &str) -> Vec<Size> {
        text.split_whitespace().map(size).collect()
    }

    fn words(ways: &[Parts]) -> Vec<String> {
        let word = |way: &Parts| {
            let parts = way.iter().map(|(size, count)| format!("{count} {size}"));
            parts.collect::<Vec<_>>().join(" + ")
        };
        ways.iter().map(word).collect()
    }

    #[test]
    fn a_2x6_is_made_in_these_ways() {
        let rules = JoinRules {
            most_parts: 3,
            ..JoinRules::default()
        };
        let have = sizes("1x2 1x6 2x2 2x3 2x4 2x6 2x8 3x3")
            .into_iter()
            .collect();
        // By hand: one cut lengthwise; cuts across after 2, 3 or 4
        // studs; two cuts across, to equal parts or to 1, 2 and 3 studs; one cut across
        // and its end cut lengthwise.
        assert_eq!(
            words(&rules.ways(size("2x6"), &have)),
            [
                "1 1x2 + 1 2x2 + 1 2x3",
                "2 1x2 + 1 2x4",
                "2 1x6",
                "1 2x2 + 1 2x4",
                "3 2x2",
                "2 2x3"
            ]
        );
    }

    #[test]
    fn a_pinwheel_counts_as_a_tiling() {
        // No straight cut parts it: four 1x2 around a 1x1.
        assert!(tiles(size("3x3"), &sizes("1x2 1x2 1x2 1x2 1x1")));
        // The area is right, yet it does not fit.
        assert!(!tiles(size("2x6"), &sizes("3x3 1x3")));
        assert!(!tiles(size("2x4"), &sizes("2x4")));
        assert!(!tiles(size("2x6"), &sizes("2x4 2x4")));
    }

    #[test]
    fn listed_joins_follow_one_another() {
        let rules = JoinRules {
            most_parts: 4,
            listed: Some(vec![
                (size("2x8"), sizes("2x4 2x4")),
                (size("2x4"), sizes("2x2 2x2")),
            ]),
            ..JoinRules::default()
        };
        let have = sizes("2x2 2x4").into_iter().collect();
        assert_eq!(
            words(&rules.ways(size("2x8"), &have)),
            ["2 2x2 + 1 2x4", "4 2x2", "2 2x4"]
        );
    }

    #[test]
    fn circles_are_found() {
        let list = |rules: &[(&str, &str)]| -> Vec<(u64, Size, Vec<Size>)> {
            let rules = rules.iter().zip(1..);
            rules
                .map(|((whole, of), line)| (line, size(whole), sizes(of)))
                .collect()
        };
        assert_eq!(
            circle(&list(&[("2x8", "2x4 2x4"), ("2x4", "2x2 2x2")])),
            None
        );
        assert_eq!(
            circle(&list(&[("2x4", "2x6 2x2"), ("2x6", "2x4 2x2")])),
            Some((1, "2x4 from 2x6 from 2x4".to_owned()))
        );
        assert_eq!(
            circle(&list(&[("2x4", "2x4 2x4")])),
            Some((1, "2x4 from 2x4".to_owned()))
        );
    }
}
