//! The record in numbers: how many of what was stated came true.

use std::collections::BTreeMap;

use serde::Serialize;

use super::file::{Record, Row};
use crate::numbers::{round3, wilson};
use crate::sheet::SURE;

/// Pieces of one sort, and how many were wrong.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tally {
    /// How many a person looked at.
    pub pieces: u32,
    /// How many were not as they were counted.
    pub wrong: u32,
    /// Their share.
    pub share: f64,
    /// The 95 % interval of that share, after Wilson.
    pub interval: [f64; 2],
}

impl Tally {
    fn of<'a>(rows: impl Iterator<Item = &'a Row>) -> Self {
        let (pieces, wrong) = rows.fold((0_u32, 0_u32), |(pieces, wrong), row| {
            (
                pieces.saturating_add(row.number()),
                wrong.saturating_add(row.wrong()),
            )
        });
        Self {
            pieces,
            wrong,
            share: round3(f64::from(wrong) / f64::from(pieces.max(1))),
            interval: wilson(wrong, pieces).map(round3),
        }
    }
}

/// What was called sure.
pub fn sure(record: &Record) -> Tally {
    Tally::of(record.rows().filter(|row| row.stated >= SURE))
}

/// Sure pieces that somebody came upon: how many were looked at beside them nobody knows.
pub fn came_upon(record: &Record) -> Tally {
    let rows = record.entries().iter().flat_map(|entry| &entry.rows);
    Tally::of(rows.filter(|row| row.came_upon))
}

/// What was called sure, by the light that was on; an empty name where none was told.
pub fn by_light(record: &Record) -> Vec<(String, Tally)> {
    let mut lights: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    for entry in record.entries() {
        let rows = entry.rows.iter().filter(|row| !row.came_upon);
        let rows = rows.filter(|row| row.stated >= SURE);
        (lights
            .entry(entry.light.as_deref().unwrap_or_default())
            .or_default())
        .extend(rows);
    }
    tallied(lights)
}

/// What was doubted, by the first reason.
pub fn by_doubt(record: &Record) -> Vec<(String, Tally)> {
    let mut doubts: BTreeMap<&str, Vec<&Row>> = BTreeMap::new();
    for row in record.rows().filter(|row| row.stated < SURE) {
        doubts.entry(&row.doubt).or_default().push(row);
    }
    let mut doubts = tallied(doubts);
    doubts.sort_by_key(|(_, tally)| std::cmp::Reverse(tally.pieces));
    doubts
}

fn tallied(rows: BTreeMap<&str, Vec<&Row>>) -> Vec<(String, Tally)> {
    (rows.into_iter())
        .filter(|(_, rows)| !rows.is_empty())
        .map(|(name, rows)| (name.to_owned(), Tally::of(rows.into_iter())))
        .collect()
}

/// Pieces whose stated probabilities lie close together.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bin {
    /// From this stated probability on.
    pub from: f64,
    /// Up to this one.
    pub to: f64,
    /// Mean stated probability.
    pub stated: f64,
    /// Share that was right.
    pub right: f64,
    /// The 95 % interval of that share, after Wilson.
    pub interval: [f64; 2],
    /// How many pieces.
    pub pieces: u32,
}

/// Where bins begin: tenths, and the last one halved at where almost all sure pieces lie.
const EDGES: [f64; 12] = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, SURE, 0.98, 1.0];

/// The reliability diagram: what was stated, and what came true. Bins without pieces are left out.
pub fn bins(record: &Record) -> Vec<Bin> {
    let bin = |edges: &[f64]| {
        let &[from, to] = edges else { return None };
        let within = |row: &&Row| from <= row.stated && (row.stated < to || to >= 1.0);
        let rows: Vec<&Row> = record.rows().filter(within).collect();
        let tally = Tally::of(rows.iter().copied());
        let sum: f64 = (rows.iter().map(|row| row.stated * f64::from(row.number()))).sum();
        let [low, high] = tally.interval;
        (tally.pieces > 0).then(|| Bin {
            from,
            to,
            stated: round3(sum / f64::from(tally.pieces)),
            right: round3(1.0 - tally.share),
            interval: [round3(1.0 - high), round3(1.0 - low)],
            pieces: tally.pieces,
        })
    };
    EDGES.windows(2).filter_map(bin).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::count::record::Entry;

    #[test]
    fn shares_are_of_what_was_looked_at_whatever_was_found_there() {
        let row = |stated: f64, right: u32, colour: u32, came_upon: bool| Row {
            stated,
            right,
            colour,
            came_upon,
            ..Row::default()
        };
        let mut record = Record::default();
        for (photo, rows) in [
            ("a", vec![row(0.95, 209, 1, false), row(0.5, 3, 1, false)]),
            ("b", vec![row(0.99, 200, 2, false)]),
            ("c", vec![row(0.99, 0, 2, true)]),
        ] {
            record.add(Entry {
                photo: photo.to_owned(),
                review: String::new(),
                time: "2026-05-02T10:12:00Z".parse().unwrap(),
                light: (photo == "b").then(|| "lamp".to_owned()),
                maps: None,
                rows,
            });
        }
        let all = sure(&record);
        assert_eq!((all.pieces, all.wrong, all.share), (412, 3, 0.007));
        // By hand, after Wilson.
        assert_eq!(all.interval, [0.002, 0.021]);
        assert_eq!(came_upon(&record).pieces, 2);
        let lights: Vec<(String, u32)> = (by_light(&record).into_iter())
            .map(|(name, tally)| (name, tally.pieces))
            .collect();
        assert_eq!(lights, [(String::new(), 210), ("lamp".to_owned(), 202)]);
        let bins: Vec<(f64, f64, u32)> = (bins(&record).into_iter())
            .map(|bin| (bin.from, bin.right, bin.pieces))
            .collect();
        assert_eq!(bins, [(0.5, 0.75, 4), (0.9, 0.995, 210), (0.98, 0.99, 202)]);
    }
}
