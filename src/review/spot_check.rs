//! A few sure pieces to look at: nobody looks at what is sure, so nobody would know how often it is wrong.

use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::colour::names;
use crate::count::record::{ENOUGH, ENOUGH_SHEETS, LOOKED_THROUGH, Record};
use crate::sheet::{Piece, SURE, Sheet};

use super::side::placed;

/// Once enough sure pieces were looked at, every so many-th sheet still is checked: what is sure may change with a lamp or
/// a phone, and a quarter of the keys goes on watching it.
const EVERY: u8 = 4;

/// What is asked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SpotCheck {
    /// Which pieces.
    pub ids: Vec<u32>,
    /// Why, in a sentence.
    pub why: String,
}

/// The pieces of a sheet to look at; none where enough of its sure ones were looked at, it has too few, or it is not its turn.
///
/// As long as this home's record holds fewer than [`ENOUGH`] sure pieces, or of fewer than [`ENOUGH_SHEETS`] sheets, every
/// sheet is asked for: until then nothing can be set right by it. Which pieces is random by the photo's hash, so the
/// same however often one asks.
pub fn spot_check(sheet: &Sheet, record: &Record) -> Option<SpotCheck> {
    let review = sheet.review.as_deref();
    let counted = review.map_or(&sheet.pieces, |review| &review.guess.pieces);
    let looked = |piece: &&Piece| {
        let now = sheet.pieces.iter().find(|now| now.id == piece.id);
        piece.sure >= SURE && now.is_none_or(|now| now.looked_at)
    };
    if counted.iter().filter(looked).count() >= LOOKED_THROUGH {
        return None;
    }
    let why = why(sheet, record)?;
    let mut ids: Vec<u32> = (sheet.pieces.iter())
        .filter(|piece| is_worth_it(piece))
        .map(|piece| piece.id)
        .collect();
    if ids.len() < LOOKED_THROUGH {
        return None;
    }
    ids.sort_by_cached_key(|id| Sha256::digest(format!("{} {id}", sheet.photos.first.hash)));
    ids.truncate(LOOKED_THROUGH);
    Some(SpotCheck { ids, why })
}

/// Sure, not looked at, and claiming something that a look can show to be wrong.
fn is_worth_it(piece: &Piece) -> bool {
    let general = names::all().iter().any(|name| name.name == piece.colour);
    piece.sure >= SURE
        && !piece.looked_at
        && !piece.as_counted
        && !general
        && placed(piece).is_some()
}

fn why(sheet: &Sheet, record: &Record) -> Option<String> {
    let [today, _] = record.by_maps();
    let sure = today.rows().filter(|row| row.stated >= SURE);
    let looked = sure.map(|row| row.number()).fold(0, u32::saturating_add);
    let with_sure = today.entries().iter().filter(|entry| {
        let mut rows = entry.rows.iter();
        rows.any(|row| row.stated >= SURE && !row.came_upon)
    });
    if looked < ENOUGH || with_sure.count() < ENOUGH_SHEETS {
        return Some(format!(
            "Of the pieces called sure in your photos {looked} {} looked at so far; how far 'sure' can be trusted here is known from {ENOUGH} on.",
            if looked == 1 { "was" } else { "were" }
        ));
    }
    let digest = Sha256::digest(sheet.photos.first.hash.as_bytes());
    (digest[0] % EVERY == 0).then(|| {
        format!("One sheet in {EVERY} is checked, to see whether 'sure' can still be trusted here.")
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::count::record::{Entry, Row, maps_id};
    use crate::review::snap::tests::sheet as empty;

    fn sheet(sure: u32, doubtful: u32) -> Sheet {
        let piece = |id: u32, sure: f64| Piece {
            id,
            form: "plate".into(),
            size: "2x4".into(),
            colour: "kelp".into(),
            sure,
            ..Piece::default()
        };
        let mut sheet = empty();
        sheet.pieces = (1..=sure).map(|id| piece(id, 0.95)).collect();
        let more = (1..=doubtful).map(|id| piece(sure + id, 0.5));
        sheet.pieces.extend(more);
        sheet
    }

    fn record(pieces: u32) -> Record {
        let mut record = Record::default();
        for number in 0..5 {
            record.add(Entry {
                photo: number.to_string(),
                review: String::new(),
                time: "2026-05-02T10:12:00Z".parse().unwrap(),
                light: None,
                maps: Some(maps_id().to_owned()),
                rows: vec![Row {
                    stated: 0.95,
                    right: pieces / 5,
                    ..Row::default()
                }],
            });
        }
        record
    }

    #[test]
    fn five_sure_pieces_are_asked_for_and_the_same_each_time() {
        let sheet = sheet(40, 10);
        let asked = spot_check(&sheet, &Record::default()).unwrap();
        assert_eq!(asked.ids.len(), 5);
        assert!(asked.ids.iter().all(|id| *id <= 40));
        assert_eq!(spot_check(&sheet, &Record::default()).unwrap(), asked);
        let mut other = sheet.clone();
        other.photos.first.hash = "another".into();
        assert_ne!(
            spot_check(&other, &Record::default()).unwrap().ids,
            asked.ids
        );
        // Neither the first nor the last are meant.
        assert!(asked.ids != [1, 2, 3, 4, 5] && asked.why.contains("0 were looked at"));
    }

    #[test]
    fn nothing_is_asked_where_it_would_say_nothing() {
        assert_eq!(spot_check(&sheet(4, 10), &Record::default()), None);
        let mut looked = sheet(40, 0);
        for piece in looked.pieces.iter_mut().take(5) {
            piece.looked_at = true;
        }
        assert_eq!(spot_check(&looked, &Record::default()), None);
    }

    #[test]
    fn once_enough_was_looked_at_one_sheet_in_four_is_checked() {
        assert!(spot_check(&sheet(40, 0), &record(245)).is_some());
        let enough = record(250);
        let asked = (0..400).filter(|number| {
            let mut sheet = sheet(6, 0);
            sheet.photos.first.hash = format!("{number:064x}");
            spot_check(&sheet, &enough).is_some()
        });
        // Four standard deviations of 400 draws of one in four.
        let asked = asked.count();
        assert!((66..=134).contains(&asked), "{asked}");
    }
}
