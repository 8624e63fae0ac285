//! Steps played over the guess: doing, undoing, doing again.

use crate::sheet::review::{Guess, Review, SetCount, Step, What};
use crate::sheet::{Piece, Sheet, Unexplained};

use super::totals::regroup;
use crate::count::groups::total;

/// Carries a step out and keeps it. What was undone before is forgotten, as it no
/// longer follows.
pub fn record(sheet: &mut Sheet, step: Step) {
    let mut review = sheet.review.take().unwrap_or_else(|| {
        Box::new(Review {
            guess: guess_of(sheet),
            ..Review::default()
        })
    });
    review.steps.push(step);
    review.undone.clear();
    play(sheet, review);
}

/// Takes the last step back; says whether there was one.
pub fn undo(sheet: &mut Sheet) -> bool {
    let Some(mut review) = sheet.review.take() else {
        return false;
    };
    let last = review.steps.pop();
    let found = last.is_some();
    review.undone.extend(last);
    if found {
        play(sheet, review);
    } else {
        sheet.review = Some(review);
    }
    found
}

/// Carries out again what was undone last; says whether there was anything.
pub fn redo(sheet: &mut Sheet) -> bool {
    let Some(mut review) = sheet.review.take() else {
        return false;
    };
    let again = review.undone.pop();
    let found = again.is_some();
    review.steps.extend(again);
    if found {
        play(sheet, review);
    } else {
        sheet.review = Some(review);
    }
    found
}

/// The sheet as it was counted, whatever was put right since.
pub fn guess_of(sheet: &Sheet) -> Guess {
    match &sheet.review {
        Some(review) => review.guess.clone(),
        None => Guess {
            pieces: sheet.pieces.clone(),
            groups: sheet.groups.clone(),
            unexplained: sheet.unexplained.clone(),
            place: sheet.place.clone(),
            only_taught: sheet.only_taught,
        },
    }
}

/// Plays all steps over the guess. A sheet that changes is no longer checked.
fn play(sheet: &mut Sheet, mut review: Box<Review>) {
    let mut state = State {
        pieces: review.guess.pieces.clone(),
        unexplained: review.guess.unexplained.clone(),
        counts: Vec::new(),
        place: review.guess.place.clone(),
        only_taught: review.guess.only_taught,
        height_px: f64::from(sheet.photos.first.height_px),
    };
    review.steps.iter().for_each(|step| state.take(step));
    sheet.groups = regroup(&review.guess, &state.pieces, &state.counts);
    sheet.total = sheet.total.map(|_| total(&state.pieces));
    sheet.pieces = state.pieces;
    sheet.unexplained = state.unexplained;
    sheet.place = state.place;
    sheet.only_taught = state.only_taught;
    sheet.checked = false;
    review.counts = state.counts;
    sheet.review = Some(review);
}

/// What steps change.
struct State {
    pieces: Vec<Piece>,
    unexplained: Vec<Unexplained>,
    counts: Vec<SetCount>,
    place: Option<String>,
    only_taught: bool,
    height_px: f64,
}

impl State {
    fn take(&mut self, step: &Step) {
        let becomes = |id: u32| step.to.iter().find(|piece| piece.id == id);
        self.pieces.retain_mut(|piece| {
            let touched = step.from.iter().any(|from| from.id == piece.id);
            match becomes(piece.id) {
                Some(new) if touched => *piece = new.clone(),
                _ if touched => return false,
                _ => {}
            }
            true
        });
        let is_new = |piece: &&Piece| step.from.iter().all(|from| from.id != piece.id);
        for piece in step.to.iter().filter(is_new) {
            let at = self.reading_place(piece);
            self.pieces.insert(at, piece.clone());
        }
        self.unexplained.retain(|spot| !step.settled.contains(spot));
        if let Some(count) = &step.count {
            let same = |a: &SetCount, b: &SetCount| {
                (&a.form, &a.size, &a.colour) == (&b.form, &b.size, &b.colour)
            };
            let named = count.to.as_ref().or(count.from.as_ref());
            if let Some(named) = named {
                self.counts.retain(|set| !same(set, named));
            }
            self.counts.extend(count.to.clone());
        }
        if let Some(place) = &step.place {
            self.place = Some(place.to.clone());
        }
        self.only_taught ^= step.what == What::OnlyTaught;
    }

    /// Where a new piece belongs in reading order: bands of a fiftieth of the photo's
    /// height are like lines of text, as when pieces are counted.
    fn reading_place(&self, new: &Piece) -> usize {
        let band = |piece: &Piece| (piece.y_px / self.height_px.max(1.0) * 50.0).floor();
        let after = |piece: &Piece| {
            band(piece)
                .total_cmp(&band(new))
                .then(piece.x_px.total_cmp(&new.x_px))
                .is_gt()
        };
        self.pieces
            .iter()
            .position(after)
            .unwrap_or(self.pieces.len())
    }
}

/// An id that no piece of the sheet has or ever had.
pub fn free_id(sheet: &Sheet) -> u32 {
    let mut most = sheet.pieces.iter().map(|piece| piece.id).max().unwrap_or(0);
    if let Some(review) = &sheet.review {
        let stepped = review.steps.iter().chain(&review.undone);
        let pieces = stepped.flat_map(|step| step.from.iter().chain(&step.to));
        let ids = pieces.chain(&review.guess.pieces).map(|piece| piece.id);
        most = most.max(ids.max().unwrap_or(0));
    }
    most.saturating_add(1)
}
