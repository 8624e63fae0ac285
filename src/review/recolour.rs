//! A colour is really another one: on all pieces of a sheet, and in what they could be instead.

use crate::count::reason::is_about_colour;
use crate::numbers::round3;
use crate::sheet::review::What;
use crate::sheet::{Instead, Otherwise, Piece, Sheet};
use crate::stock::kind::Name;

use super::correction::Refused;
use super::resolve::{Unsigned, certain};

/// The step that renames a colour on a whole sheet.
///
/// # Errors
/// [`Refused`] when no piece is called so, or the name is none.
pub(super) fn recolour(sheet: &Sheet, from: &str, to: &str) -> Result<Unsigned, Refused> {
    let to = Name::new(to)?.to_string();
    if from == to {
        return Err(Refused::Nothing);
    }
    if sheet.pieces.iter().all(|piece| piece.colour != from) {
        return Err(Refused::NoColour(Name::new(from)?.to_string()));
    }
    let (before, after) = sheet
        .pieces
        .iter()
        .filter_map(|piece| {
            let new = recoloured(piece, from, &to);
            (new != *piece).then(|| (piece.clone(), new))
        })
        .unzip();
    Ok(Unsigned::of(What::Recolour, before, after))
}

/// A piece once it is known that `from` is really `to`. Where only the colour was in
/// doubt nothing is any more; a doubtful shape stays doubtful.
fn recoloured(piece: &Piece, from: &str, to: &str) -> Piece {
    let mut new = piece.clone();
    for other in &mut new.instead {
        if other.colour == from {
            to.clone_into(&mut other.colour);
        }
    }
    // What else it might be called was asked before that was known.
    let speaks = |o: &Otherwise| o.colour == from || o.instead.iter().any(|i| i.colour == from);
    if piece.colour == from || piece.otherwise.as_deref().is_some_and(speaks) {
        new.otherwise = None;
    }
    if piece.colour == from {
        to.clone_into(&mut new.colour);
        let was_open = !piece.doubts.is_empty();
        new.doubts.retain(|doubt| !is_about_colour(doubt));
        new.instead
            .retain(|other| (&other.form, &other.size) != (&piece.form, &piece.size));
        if was_open && new.doubts.is_empty() {
            return certain(new);
        }
    }
    new.instead = merged(new.instead);
    let own = (new.form.clone(), new.size.clone(), new.colour.clone());
    new.instead
        .retain(|other| (&other.form, &other.size, &other.colour) != (&own.0, &own.1, &own.2));
    // Two readings made one may come out likelier than the guess, which nobody spoke against.
    for other in &mut new.instead {
        other.sure = other.sure.min(new.sure);
    }
    new.instead.sort_by(|a, b| b.sure.total_cmp(&a.sure));
    new
}

/// Readings that are one now made one.
fn merged(readings: Vec<Instead>) -> Vec<Instead> {
    let mut merged: Vec<Instead> = Vec::new();
    for reading in readings {
        let key = |r: &Instead| (r.form.clone(), r.size.clone(), r.colour.clone());
        match merged.iter_mut().find(|one| key(one) == key(&reading)) {
            Some(one) => one.sure = round3(one.sure + reading.sure),
            None => merged.push(reading),
        }
    }
    merged
}
