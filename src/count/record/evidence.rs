//! From a finished sheet to what it says of how sure pieces were.

use jiff::Timestamp;
use sha2::{Digest, Sha256};

use super::file::{Entry, Row};
use crate::colour::names;
use crate::count::reason::in_short;
use crate::pieces::ANY;
use crate::sheet::review::{Review, Step, What};
use crate::sheet::{Piece, SURE, Sheet};

/// So many of a sheet's sure pieces must have been looked at, or all where there are fewer, before they count: who puts
/// one right that a look at the picture showed wrong has looked at that one because it was wrong. As many as a spot
/// check asks for.
pub const LOOKED_THROUGH: usize = 5;

/// What a piece turned out to be.
#[derive(Clone, Copy, PartialEq)]
enum Outcome {
    Right,
    Shape,
    Colour,
    Both,
    NoPiece,
}

/// What a finished sheet shows; none where nobody looked at a piece that claims anything.
///
/// Only pieces count that a person confirmed or put right on the page, one by one or by their colour. One without a told form
/// or with a general colour name claims neither, and is left out.
pub fn evidence(sheet: &Sheet, time: Timestamp) -> Option<Entry> {
    let review = sheet.review.as_deref()?;
    let judged: Vec<(&Piece, Outcome)> = (review.guess.pieces.iter())
        .filter(|guess| guess.form != ANY && !is_general(&guess.colour))
        .filter_map(|guess| Some((guess, outcome(guess, sheet, review)?)))
        .collect();
    let is_sure = |piece: &Piece| stated(piece) >= SURE;
    let looked = judged.iter().filter(|(guess, _)| is_sure(guess)).count();
    let claimed = review.guess.pieces.iter().filter(|guess| is_sure(guess));
    let looked_through = looked >= LOOKED_THROUGH.min(claimed.count());
    let mut rows: Vec<Row> = Vec::new();
    for (guess, outcome) in judged {
        let doubt = guess.doubts.first();
        let key = Row {
            stated: stated(guess),
            doubt: doubt.map_or("", |doubt| in_short(doubt)).to_owned(),
            came_upon: is_sure(guess) && !looked_through,
            ..Row::default()
        };
        let same = |row: &&mut Row| {
            row.stated == key.stated && row.doubt == key.doubt && row.came_upon == key.came_upon
        };
        let row = match rows.iter_mut().find(same) {
            Some(row) => row,
            None => {
                rows.push(key);
                rows.last_mut()?
            }
        };
        *match outcome {
            Outcome::Right => &mut row.right,
            Outcome::Shape => &mut row.shape,
            Outcome::Colour => &mut row.colour,
            Outcome::Both => &mut row.both,
            Outcome::NoPiece => &mut row.no_piece,
        } += 1;
    }
    rows.sort_by(|a, b| {
        a.stated
            .total_cmp(&b.stated)
            .then_with(|| a.doubt.cmp(&b.doubt))
    });
    (!rows.is_empty()).then(|| Entry {
        photo: sheet.photos.first.hash.clone(),
        review: version(&review.steps),
        time,
        light: sheet.light.clone(),
        maps: sheet.stated_by.clone(),
        rows,
    })
}

/// What the program stated of a piece before any record set it right.
fn stated(piece: &Piece) -> f64 {
    piece.stated.unwrap_or(piece.sure)
}

fn is_general(colour: &str) -> bool {
    names::all().iter().any(|name| name.name == colour)
}

/// What became of a piece; none where nobody looked at it.
fn outcome(guess: &Piece, sheet: &Sheet, review: &Review) -> Option<Outcome> {
    let Some(now) = sheet.pieces.iter().find(|piece| piece.id == guess.id) else {
        // Where it was split or joined, something lies there, but not this.
        let gone = |step: &&Step| step.from.iter().any(|piece| piece.id == guess.id);
        let last = review.steps.iter().rev().find(gone)?;
        return Some(match last.what {
            What::Remove => Outcome::NoPiece,
            _ => Outcome::Shape,
        });
    };
    if !now.looked_at {
        return None;
    }
    let same_shape = (&now.form, &now.size) == (&guess.form, &guess.size);
    Some(match (same_shape, now.colour == guess.colour) {
        (true, true) => Outcome::Right,
        (false, true) => Outcome::Shape,
        (true, false) => Outcome::Colour,
        (false, false) => Outcome::Both,
    })
}

/// Which state of a review this is.
fn version(steps: &[Step]) -> String {
    // What was read from JSON can be written as JSON.
    let steps = serde_json::to_vec(steps).unwrap_or_default();
    let digest = Sha256::digest(steps);
    digest.iter().take(8).map(|b| format!("{b:02x}")).collect()
}
