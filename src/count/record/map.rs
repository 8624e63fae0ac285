//! What a home's record makes of a stated probability.

use super::file::{Record, Row};
use super::fit::{Logistic, Seen, rising};
use crate::numbers::round3;
use crate::sheet::SURE;

/// So many pieces must have been looked at before what is stated of such is corrected: a share of 80 % is then known to
/// 5 points either way (95 %), about as much as a correction must be to be worth having; and a wrong share of half a
/// percent shows as one piece.
pub const ENOUGH: u32 = 250;
/// In no fewer sheets: pieces of one photo err together.
pub const ENOUGH_SHEETS: usize = 5;

/// The share of pieces called sure that may be wrong.
const SURE_WRONG: f64 = 0.005;
/// What is aimed at: the cut lies where the estimate has just come down to this, and of several places where it may have
/// done so by chance it is the one that leaves most pieces sure, so that what comes true is a little worse.
const SURE_AIM: f64 = 0.8 * SURE_WRONG;
/// As if so many more sure pieces had been looked at, and so many of them wrong, half as many as may be: what is wrong in
/// a few is mostly chance.
const PRIOR_SURE: (f64, f64) = (0.5, 200.0);
/// With fewer than [`ENOUGH`] nothing is called sure either once the estimate with that prior is this high, twice what may
/// be: it takes 2 wrong ones of up to 50, or 3 of up to 150. To wait for the rest would be to go on calling sure what is not.
const SURE_REFUTED: f64 = 2.0 * SURE_WRONG;
/// They must be of so many sheets: in one photo a single fault may have made all of them wrong.
const REFUTED_SHEETS: usize = 2;
/// The most for what is not sure, as `count::doubt` has it.
const NOT_SURE: f64 = 0.899;
const _: () = assert!(NOT_SURE < SURE);
/// What is held below sure states no more than that: it may come true more often, and says nothing of what was stated without
/// being held. Held pieces are told by themselves, as if so many more of them had come true as often as was stated: a tenth of
/// what is needed to know a share of 80 % to 5 points.
const PRIOR_HELD: f64 = 25.0;
/// Surer nothing is, as in `count::doubt`.
const MOST: f64 = 0.998;

/// Sheets state three decimals, so that a table of all of them is the whole map.
const STEPS: usize = 1000;

/// A rising correction of stated probabilities by what was seen in one home.
#[derive(Clone, Debug, PartialEq)]
pub struct HomeMap {
    table: Vec<f64>,
    /// Stated from here on is sure.
    sure_from: usize,
    /// How many sheets it leans on.
    pub sheets: usize,
    /// How many pieces of them somebody looked at.
    pub pieces: u32,
}

impl HomeMap {
    /// The correction by a record; none while there is too little in it.
    ///
    /// Doubtful and sure pieces are corrected apart, each once there is [`ENOUGH`] of them: nobody looks at all sure
    /// pieces, and what doubtful ones teach says little of those. Those held below sure are a third kind.
    ///
    /// Only what the shipped maps of today stated says how far they can be trusted.
    pub fn of(record: &Record) -> Option<Self> {
        let [record, _] = record.by_maps();
        let mut seen = vec![(0.0, 0.0); STEPS + 1];
        for row in record.rows() {
            if let Some((right, of)) = seen.get_mut(step(row.stated)) {
                *right += f64::from(row.right);
                *of += f64::from(row.number());
            }
        }
        let is_enough = |such: fn(&Row) -> bool| {
            let with = |rows: &[Row]| rows.iter().any(|row| !row.came_upon && such(row));
            let sheets = record.entries().iter().filter(|entry| with(&entry.rows));
            let pieces = record.rows().filter(|row| such(row)).map(Row::number);
            sheets.count() >= ENOUGH_SHEETS && pieces.fold(0, u32::saturating_add) >= ENOUGH
        };
        let doubtful = is_enough(|row| row.stated < NOT_SURE);
        let sure = is_enough(|row| row.stated >= SURE);
        let refuted = !sure && is_refuted(&record);
        if !doubtful && !sure && !refuted {
            return None;
        }
        let first_sure = step(SURE);
        let fit = |known: bool, from: usize, to: usize| {
            let within = seen.iter().enumerate().take(to).skip(from);
            let within = within.filter(|(_, (_, of))| *of > 0.0);
            let within = within.map(|(k, &(right, of))| Seen {
                stated: value(k),
                right,
                of,
            });
            match known {
                true => Logistic::fit(&within.collect::<Vec<_>>()),
                false => Logistic::IDENTITY,
            }
        };
        let first_held = step(NOT_SURE);
        let fits = [
            fit(doubtful, 0, first_held),
            fit(sure, first_sure, STEPS + 1),
        ];
        let held = held(&seen[first_held..first_sure]);
        let mut table: Vec<f64> = (0..=STEPS)
            .map(|k| match k {
                k if k < first_held => fits[0].apply(value(k)),
                k if k < first_sure => held,
                k => fits[1].apply(value(k)),
            })
            .collect();
        let weights: Vec<f64> = seen.iter().map(|(_, of)| of + 1.0).collect();
        rising(&mut table, &weights);
        no_surer_than_seen(&mut table, &seen);
        let sure_from = match (sure, refuted) {
            (true, _) => sure_from(&table, &seen),
            (false, true) => STEPS + 1,
            (false, false) => first_sure,
        };
        for (k, p) in table.iter_mut().enumerate() {
            *p = round3(match k < sure_from {
                true => p.min(NOT_SURE),
                false => p.clamp(SURE, MOST),
            });
        }
        Some(Self {
            table,
            sure_from,
            sheets: record.entries().len(),
            pieces: (record.rows().map(Row::number)).fold(0, u32::saturating_add),
        })
    }

    /// What to state instead.
    pub fn apply(&self, stated: f64) -> f64 {
        self.table.get(step(stated)).copied().unwrap_or(stated)
    }

    /// What must be stated at least for a piece to be called sure; none where none is.
    pub fn sure_from(&self) -> Option<f64> {
        (self.sure_from <= STEPS).then(|| value(self.sure_from))
    }
}

/// Whether few sure pieces are enough to see that too many of them are wrong.
fn is_refuted(record: &Record) -> bool {
    let is_sure = |row: &&Row| row.stated >= SURE && !row.came_upon;
    let with_wrong = record.entries().iter().filter(|entry| {
        let mut sure = entry.rows.iter().filter(is_sure);
        sure.any(|row| row.wrong() > 0)
    });
    let sum = |of: fn(&Row) -> u32| {
        let sure = record.rows().filter(is_sure);
        sure.map(|row| f64::from(of(row))).sum::<f64>()
    };
    let (prior_wrong, prior_of) = PRIOR_SURE;
    let share = (sum(Row::wrong) + prior_wrong) / (sum(Row::number) + prior_of);
    with_wrong.count() >= REFUTED_SHEETS && share >= SURE_REFUTED
}

fn step(stated: f64) -> usize {
    // Within 0 and 1, so that nothing is cut off.
    (stated.clamp(0.0, 1.0) * STEPS as f64).round() as usize
}

fn value(step: usize) -> f64 {
    step as f64 / STEPS as f64
}

/// What to state of pieces that were held below sure.
fn held(seen: &[(f64, f64)]) -> f64 {
    let right: f64 = seen.iter().map(|(right, _)| right).sum();
    let of: f64 = seen.iter().map(|(_, of)| of).sum();
    f64::min(
        NOT_SURE,
        (right + PRIOR_HELD * NOT_SURE) / (of + PRIOR_HELD),
    )
}

/// Nothing is raised above what came true of pieces that were stated to be at least as sure, with half a piece more
/// on either side (Jeffreys' prior).
fn no_surer_than_seen(table: &mut [f64], seen: &[(f64, f64)]) {
    let (mut right, mut of) = (0.0, 0.0);
    let mut most = vec![0.0; table.len()];
    for (k, (r, n)) in seen.iter().enumerate().rev() {
        right += r;
        of += n;
        most[k] = f64::max(value(k), (right + 0.5) / (of + 1.0));
    }
    let mut so_far = 0.0;
    for (p, most) in table.iter_mut().zip(most) {
        so_far = f64::max(so_far, most);
        *p = p.min(so_far);
    }
}

/// The least stated probability from which on the pieces may be called sure: of those that were looked at no more than
/// [`SURE_AIM`] were wrong, counted and by the correction itself.
fn sure_from(table: &[f64], seen: &[(f64, f64)]) -> usize {
    let (mut wrong, mut of, mut expected) = (0.0, 0.0, 0.0);
    let mut from = STEPS + 1;
    for (k, (&p, (right, n))) in table.iter().zip(seen).enumerate().rev() {
        if p < SURE {
            break;
        }
        wrong += n - right;
        of += n;
        expected += n * (1.0 - p);
        let (prior_wrong, prior_of) = PRIOR_SURE;
        let counted = (wrong + prior_wrong) / (of + prior_of);
        if of >= f64::from(ENOUGH) && counted <= SURE_AIM && expected / of <= SURE_AIM {
            from = k;
        }
    }
    from
}
