//! Move: pieces change their place.

use super::history::What;
use super::kind::{Kind, Label, Name};
use super::model::{Contents, Note, PendingSheet, Recorded, Stock};
use super::near::{self, PlaceError};
use super::portion::{Piece, Wanted};
use super::stamp::Stamp;
use super::take::Missing;
use super::tally::{Tally, TallyError};

/// Moves pieces from one place to another, as one history entry. A piece with a
/// number moves so many, without doubt; one without moves all of its kind, range and
/// all. No pieces named: everything moves, pending sheets too.
///
/// # Errors
/// When the pieces are not there, or the two places are one. The stock is then as
/// before.
pub fn move_pieces(
    stock: &mut Stock,
    from: &Name,
    to: &Name,
    pieces: &[Piece],
    remark: Option<Label>,
    stamp: &Stamp,
) -> Result<Recorded, MoveError> {
    let from = &near::place(&stock.contents, from)?;
    if from == to {
        return Err(MoveError::SamePlace(from.clone()));
    }
    if !stock.contents.holds_anything(from) {
        return Err(MoveError::Empty(from.clone()));
    }
    let mut contents = stock.contents.clone();
    if pieces.is_empty() {
        move_all(&mut contents, from, to)?;
    }
    let mut missing = Vec::new();
    for piece in pieces {
        let there = contents.get(from, &piece.kind);
        let (moved, left) = match piece.count {
            None if !there.is_zero() => (there, Some(Tally::ZERO)),
            None => (there, None),
            Some(count) => (Tally::exact(count)?, there.less(count)),
        };
        match left {
            Some(left) => {
                contents.set(from, piece.kind.clone(), left);
                let more = contents.get(to, &piece.kind).plus(moved)?;
                contents.set(to, piece.kind.clone(), more);
            }
            None => missing.push(lacking(&contents, from, &piece.kind, piece.count)?),
        }
    }
    if !missing.is_empty() {
        return Err(MoveError::Missing(missing));
    }
    let note = Note {
        remark,
        ..Note::default()
    };
    Ok(stock.record(stamp, What::Move, contents, note))
}

fn lacking(
    contents: &Contents,
    place: &Name,
    kind: &Kind,
    count: Option<u64>,
) -> Result<Missing, TallyError> {
    let waiting = contents.pending.iter().filter(|s| s.place == *place);
    Ok(Missing {
        place: Some(place.clone()),
        wanted: Wanted {
            kind: kind.clone(),
            count: count.unwrap_or(1),
        },
        there: contents.get(place, kind),
        pending: Tally::sum(waiting.map(|sheet| sheet.lots.get(kind)))?,
        meant: near::meant(contents, kind),
    })
}

/// Everything in `from` comes on top of what is in `to`.
pub(super) fn move_all(contents: &mut Contents, from: &Name, to: &Name) -> Result<(), TallyError> {
    if let Some(lots) = contents.places.remove(from) {
        contents.add(to, &lots)?;
    }
    let (moving, staying) = std::mem::take(&mut contents.pending)
        .into_iter()
        .partition(|sheet| sheet.place == *from);
    contents.pending = staying;
    for sheet in moving {
        contents.pend(PendingSheet {
            place: to.clone(),
            ..sheet
        })?;
    }
    Ok(())
}

/// Why nothing was moved.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MoveError {
    /// From a place to itself.
    #[error("nothing was moved: {0} is where the pieces are; name another place with --to")]
    SamePlace(Name),
    /// Nothing is there.
    #[error("nothing was moved: {0} holds nothing; `cuptally stock` lists the places")]
    Empty(Name),
    /// Not that many are there.
    #[error("nothing was moved:{}", super::take::lines(.0))]
    Missing(Vec<Missing>),
    /// It is not known which place is meant.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// Numbers grow too large.
    #[error("nothing was moved: {0}")]
    Tally(#[from] TallyError),
}
