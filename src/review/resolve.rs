//! From what a person says to the step that carries it out.

use std::collections::BTreeSet;

use crate::colour::names;
use crate::numbers::round2;
use crate::pieces::{Face, Shape, Shapes};
use crate::sheet::review::{CountStep, PlaceStep, SetCount, What};
use crate::sheet::{Piece, Sheet, Unexplained};
use crate::stock::kind::{Name, Size};
use crate::units::Mm;

use super::correction::{Correction, Draft, Refused};
use super::history::free_id;
use super::parts::{Part, cuts, joined};
use super::recolour::recolour;
use super::tray::{Tray, turn_of};
use super::vocabulary::{ANY, shape_called};

/// Longest reason, characters: a sentence or two.
const LONGEST_REASON: usize = 200;
/// A photo holds some thousand pieces; more is a slip of the finger.
const MOST_SET: u32 = 100_000;

/// A step without its author and time.
#[derive(Clone, Debug, PartialEq)]
pub struct Unsigned {
    /// What is done.
    pub what: What,
    /// The pieces as they are.
    pub from: Vec<Piece>,
    /// The pieces as they become.
    pub to: Vec<Piece>,
    /// Places that are settled.
    pub settled: Vec<Unexplained>,
    /// A number that is set.
    pub count: Option<CountStep>,
    /// A place that is named.
    pub place: Option<PlaceStep>,
}

impl Unsigned {
    pub(super) fn of(what: What, from: Vec<Piece>, to: Vec<Piece>) -> Self {
        Self {
            what,
            from,
            to,
            settled: Vec::new(),
            count: None,
            place: None,
        }
    }
}

/// What a correction does to a sheet. `tray` is that of the sheet, where it has one.
///
/// # Errors
/// [`Refused`] when it cannot be done, or would do nothing.
pub fn resolve(
    sheet: &Sheet,
    tray: Option<&Tray>,
    shapes: Shapes,
    correction: &Correction,
) -> Result<Unsigned, Refused> {
    match correction {
        Correction::Accept {
            ids,
            spots,
            together,
        } => {
            let outcome_of = if *together { seen_together } else { certain };
            accept(sheet, ids, spots, outcome_of)
        }
        Correction::TakeAsCounted { ids, spots } => accept(sheet, ids, spots, as_counted),
        Correction::Change {
            ids,
            form,
            size,
            colour,
            face,
        } => {
            let mut wish = Wish::default();
            if let Some(form) = form {
                wish.form = Some(Name::new(form)?.to_string());
            }
            if let Some(size) = size {
                wish.size = Some(Size::new(size)?.to_string());
            }
            if let Some(colour) = colour {
                wish.colour = Some(Name::new(colour)?.to_string());
            }
            wish.face.clone_from(face);
            change(tray, shapes, pieces(sheet, ids)?, &wish)
        }
        Correction::Remove { ids } => {
            let from = pieces(sheet, ids)?;
            Ok(Unsigned::of(What::Remove, from, Vec::new()))
        }
        Correction::Add { piece, spot } => add(sheet, tray, shapes, piece, *spot),
        Correction::Split { id, cut } => split(sheet, tray, shapes, *id, *cut),
        Correction::Join { ids } => join(sheet, tray, shapes, *ids),
        Correction::Recolour { from, to } => recolour(sheet, from, to),
        Correction::Count {
            form,
            size,
            colour,
            count,
            reason,
        } => set_count(sheet, [form, size, colour], *count, reason),
        Correction::OnlyTaught { yes } => {
            if *yes == sheet.only_taught {
                return Err(Refused::Nothing);
            }
            let pairs = (sheet.pieces.iter()).map(|piece| (piece, piece.answered_otherwise()));
            let (from, to) = pairs
                .filter(|(before, after)| *before != after)
                .map(|(before, after)| (before.clone(), after))
                .unzip();
            Ok(Unsigned::of(What::OnlyTaught, from, to))
        }
        Correction::Place { name } => {
            let to = Name::new(name)?.to_string();
            if sheet.place.as_ref() == Some(&to) {
                return Err(Refused::Nothing);
            }
            let mut step = Unsigned::of(What::Place, Vec::new(), Vec::new());
            step.place = Some(PlaceStep {
                from: sheet.place.clone(),
                to,
            });
            Ok(step)
        }
    }
}

fn piece(sheet: &Sheet, id: u32) -> Result<&Piece, Refused> {
    let found = sheet.pieces.iter().find(|piece| piece.id == id);
    found.ok_or(Refused::NoPiece(id))
}

fn pieces(sheet: &Sheet, ids: &[u32]) -> Result<Vec<Piece>, Refused> {
    if ids.is_empty() {
        return Err(Refused::Nothing);
    }
    // Each once, however often it is named.
    let ids: BTreeSet<u32> = ids.iter().copied().collect();
    ids.into_iter()
        .map(|id| piece(sheet, id).cloned())
        .collect()
}

fn spot(sheet: &Sheet, index: usize) -> Result<Unexplained, Refused> {
    sheet.unexplained.get(index).cloned().ok_or(Refused::NoSpot)
}

/// A piece that a person looked at: nothing about it is open any more.
pub(super) fn certain(mut piece: Piece) -> Piece {
    piece.sure = 1.0;
    piece.stated = None;
    piece.looked_at = true;
    piece.together = false;
    piece.as_counted = false;
    piece.instead.clear();
    piece.doubts.clear();
    piece.otherwise = None;
    piece
}

/// A piece that a person looked at beside others of its kind.
pub(super) fn seen_together(piece: Piece) -> Piece {
    Piece {
        together: true,
        ..certain(piece)
    }
}

/// A piece that nobody looked at and nobody is asked about any more.
fn as_counted(mut piece: Piece) -> Piece {
    piece.as_counted = true;
    piece
}

/// What becomes of pieces that stay as they are, and of places where nothing lies.
fn accept(
    sheet: &Sheet,
    ids: &[u32],
    spots: &[usize],
    outcome_of: fn(Piece) -> Piece,
) -> Result<Unsigned, Refused> {
    let mut from = if ids.is_empty() {
        Vec::new()
    } else {
        pieces(sheet, ids)?
    };
    from.retain(|piece| !piece.looked_at && outcome_of(piece.clone()) != *piece);
    let settled = spots
        .iter()
        .map(|index| spot(sheet, *index))
        .collect::<Result<Vec<_>, _>>()?;
    let what = match (from.is_empty(), settled.is_empty()) {
        (true, true) => return Err(Refused::Nothing),
        (true, false) => What::Settle,
        _ => What::Accept,
    };
    let to = from.iter().cloned().map(outcome_of).collect();
    let mut step = Unsigned::of(what, from, to);
    step.settled = settled;
    Ok(step)
}

/// What pieces are instead; what is not named stays.
#[derive(Default)]
struct Wish {
    form: Option<String>,
    size: Option<String>,
    colour: Option<String>,
    face: Option<String>,
}

impl Wish {
    fn of(&self, before: &Piece) -> Piece {
        let mut after = certain(before.clone());
        for (field, wished) in [
            (&mut after.form, &self.form),
            (&mut after.size, &self.size),
            (&mut after.colour, &self.colour),
            (&mut after.face, &self.face),
        ] {
            if let Some(wished) = wished {
                field.clone_from(wished);
            }
        }
        after
    }
}

fn change(
    tray: Option<&Tray>,
    shapes: Shapes,
    pieces: Vec<Piece>,
    wish: &Wish,
) -> Result<Unsigned, Refused> {
    let (mut from, mut to) = (Vec::new(), Vec::new());
    let mut what = What::Accept;
    for before in pieces {
        let mut after = wish.of(&before);
        let shape = |piece: &Piece| (piece.form.clone(), piece.size.clone(), piece.face.clone());
        let is_reshaped = shape(&before) != shape(&after);
        if is_reshaped {
            let shape = listed(&after.form, &after.size, &after.face, shapes)?;
            after.turn_deg = turn_of(shape, &after.face, after.turn_deg);
            if let Some(tray) = tray {
                // Without one the old outline stays: it still shows where the piece is.
                tray.replace(&before, &mut after);
            }
        }
        if is_reshaped || before.colour != after.colour {
            what = What::Change;
        } else if before.looked_at {
            continue;
        }
        // One that is chosen again as it was has been looked at.
        from.push(before);
        to.push(after);
    }
    if from.is_empty() {
        return Err(Refused::Nothing);
    }
    Ok(Unsigned::of(what, from, to))
}

/// The shape of that form and size, where they and the face can be together.
fn listed(form: &str, size: &str, face: &str, shapes: Shapes) -> Result<Shape, Refused> {
    if Face::called(face).is_none() {
        return Err(Refused::NoFace(Name::new(face)?.to_string()));
    }
    match shape_called(form, size, shapes) {
        Some(shape) if form == ANY || shape.form().name() == form => Ok(shape),
        _ => Err(Refused::NoShape {
            form: form.to_owned(),
            size: size.to_owned(),
        }),
    }
}

fn add(
    sheet: &Sheet,
    tray: Option<&Tray>,
    shapes: Shapes,
    draft: &Draft,
    explains: Option<usize>,
) -> Result<Unsigned, Refused> {
    let tray = tray.ok_or(Refused::NoTray)?;
    let settled = explains.map(|index| spot(sheet, index)).transpose()?;
    let mut new = certain(Piece {
        id: free_id(sheet),
        form: Name::new(&draft.form)?.to_string(),
        size: Size::new(&draft.size)?.to_string(),
        colour: Name::new(&draft.colour)?.to_string(),
        face: draft.face.clone(),
        ..Piece::default()
    });
    let shape = listed(&new.form, &new.size, &new.face, shapes)?;
    let finite = [draft.x_mm, draft.y_mm, draft.turn_deg]
        .iter()
        .chain(draft.lab.iter().flatten())
        .all(|number| number.is_finite());
    if !finite {
        return Err(Refused::Outside);
    }
    new.x_mm = round2(draft.x_mm);
    new.y_mm = round2(draft.y_mm);
    new.turn_deg = turn_of(shape, &new.face, draft.turn_deg);
    new.lab = draft
        .lab
        .unwrap_or_else(|| lab_of(sheet, &new.colour))
        .map(round2);
    let (width, height) = (
        f64::from(sheet.photos.first.width_px),
        f64::from(sheet.photos.first.height_px),
    );
    let inside =
        |piece: &Piece| (0.0..=width).contains(&piece.x_px) && (0.0..=height).contains(&piece.y_px);
    if !tray.place(&mut new) || !inside(&new) {
        return Err(Refused::Outside);
    }
    let mut step = Unsigned::of(What::Add, Vec::new(), vec![new]);
    step.settled = settled.into_iter().collect();
    Ok(step)
}

/// What a colour looks like on this sheet, or what its name says; grey when neither.
pub(super) fn lab_of(sheet: &Sheet, colour: &str) -> [f64; 3] {
    let seen = sheet.pieces.iter().find(|piece| piece.colour == colour);
    let named = names::all().iter().find(|name| name.name == colour);
    seen.map(|piece| piece.lab)
        .or(named.map(|name| name.lab))
        .unwrap_or([50.0, 0.0, 0.0])
}

/// A part of `whole` as a piece of its own.
fn part_of(whole: &Piece, part: Part, id: u32, tray: Option<&Tray>) -> Piece {
    // Its colour was read over the whole, which may be of two.
    let mut piece = certain(Piece {
        id,
        size: part.size,
        spoilt: None,
        ..whole.clone()
    });
    put(&mut piece, part.at, part.turn_deg);
    if let Some(tray) = tray {
        tray.place(&mut piece);
    }
    piece
}

fn put(piece: &mut Piece, at: Mm, turn_deg: f64) {
    piece.x_mm = round2(at.x);
    piece.y_mm = round2(at.y);
    piece.turn_deg = turn_deg;
}

fn split(
    sheet: &Sheet,
    tray: Option<&Tray>,
    shapes: Shapes,
    id: u32,
    cut: usize,
) -> Result<Unsigned, Refused> {
    let whole = piece(sheet, id)?;
    let found = cuts(whole, shapes).into_iter().nth(cut);
    let found = found.ok_or_else(|| Refused::NoCut(whole.size.clone()))?;
    let [first, second] = found.parts;
    let next = free_id(sheet);
    // Both get new numbers: neither is what the old number meant.
    let to = vec![
        part_of(whole, first, next, tray),
        part_of(whole, second, next.saturating_add(1), tray),
    ];
    Ok(Unsigned::of(What::Split, vec![whole.clone()], to))
}

fn join(
    sheet: &Sheet,
    tray: Option<&Tray>,
    shapes: Shapes,
    ids: [u32; 2],
) -> Result<Unsigned, Refused> {
    let (first, second) = (piece(sheet, ids[0])?, piece(sheet, ids[1])?);
    if first.id == second.id {
        return Err(Refused::OnePiece);
    }
    let whole = joined(first, second, shapes).ok_or(Refused::NoJoin)?;
    let to = part_of(first, whole, free_id(sheet), tray);
    let from = vec![first.clone(), second.clone()];
    Ok(Unsigned::of(What::Join, from, vec![to]))
}

fn set_count(
    sheet: &Sheet,
    [form, size, colour]: [&str; 3],
    count: Option<u32>,
    reason: &str,
) -> Result<Unsigned, Refused> {
    let kind = SetCount {
        form: Name::new(form)?.to_string(),
        size: Size::new(size)?.to_string(),
        colour: Name::new(colour)?.to_string(),
        count: 0,
        reason: String::new(),
    };
    let same = |set: &&SetCount| {
        (&set.form, &set.size, &set.colour) == (&kind.form, &kind.size, &kind.colour)
    };
    let sets = sheet
        .review
        .as_deref()
        .map_or(&[][..], |review| &review.counts);
    let from = sets.iter().find(same).cloned();
    let to = match count {
        None => None,
        Some(count) => {
            let reason: String = reason.split_whitespace().collect::<Vec<_>>().join(" ");
            let chars = reason.chars().count();
            match chars {
                0 => return Err(Refused::NoReason),
                LONGEST_REASON.. if chars > LONGEST_REASON => {
                    return Err(Refused::LongReason(chars));
                }
                _ if count > MOST_SET => return Err(Refused::TooMany(count)),
                _ => {}
            }
            Some(SetCount {
                count,
                reason,
                ..kind
            })
        }
    };
    if from == to {
        return Err(Refused::Nothing);
    }
    let mut step = Unsigned::of(What::Count, Vec::new(), Vec::new());
    step.count = Some(CountStep { from, to });
    Ok(step)
}
