//! What the page is told of a sheet.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::colour::SwatchBook;
use crate::colour::lab::{encode, linear_from_lab};
use crate::colour::names;
use crate::numbers::median;
use crate::sheet::file::{PhotoRef, Warning};
use crate::sheet::review::{Review, SetCount, Step, What};
use crate::sheet::{Group, Piece, Sheet};

use super::side::{Row, rows};
use super::slots::Slot;
use super::totals::is_open;

/// A sheet as the page shows it.
#[derive(Debug, Serialize)]
pub struct Shown<'a> {
    /// Which state of the file this is; every change must name it.
    pub version: &'a str,
    /// The photo's file name.
    pub file: &'a str,
    /// Where the pieces live.
    pub place: Option<&'a str>,
    /// Width of the upright photo.
    pub width_px: u32,
    /// Height of the upright photo.
    pub height_px: u32,
    /// All photos of the tray, the first of which has all places.
    pub photos: Vec<ShownPhoto<'a>>,
    /// Scale of the photo at the card.
    pub mm_per_px: f64,
    /// Direction of the card's long side in the photo, radians.
    pub card_turn: f64,
    /// Whether a person has finished with it.
    pub checked: bool,
    /// The stock entry that holds it as checked.
    pub posted: Option<u64>,
    /// Whether the taught colours are all there are on this tray.
    pub only_taught: bool,
    /// How many pieces the other answer to that would leave to look at; none where it changes no piece.
    pub open_otherwise: Option<usize>,
    /// Whether pieces can be drawn anew.
    pub has_tray: bool,
    /// Every piece.
    pub pieces: &'a [Piece],
    /// Ids of the pieces to look at.
    pub open: Vec<u32>,
    /// Places that no piece explains.
    pub spots: Vec<Spot>,
    /// Pieces by form, size and colour.
    pub groups: Vec<ShownGroup<'a>>,
    /// Pieces that can be laid side by side, by colour.
    pub side: Vec<Row<'a>>,
    /// Pieces in all.
    pub total: u64,
    /// What each piece was counted as, where that differs by now.
    pub guess: BTreeMap<u32, Called<'a>>,
    /// What undoing would take back.
    pub undo: Option<What>,
    /// What redoing would bring again.
    pub redo: Option<What>,
    /// What a person did so far.
    pub done: Done,
    /// What the program said of the photo.
    pub warnings: &'a [Warning],
    /// Every colour there is to choose from, with how it looks.
    pub colours: Vec<Colour>,
}

/// A photo of the tray.
#[derive(Debug, Serialize)]
pub struct ShownPhoto<'a> {
    /// Its file name.
    pub file: &'a str,
    /// Width of the upright photo.
    pub width_px: u32,
    /// Height of the upright photo.
    pub height_px: u32,
}

impl<'a> ShownPhoto<'a> {
    fn of(photo: &'a PhotoRef) -> Self {
        Self {
            file: &photo.file,
            width_px: photo.width_px,
            height_px: photo.height_px,
        }
    }
}

/// A place that no piece explains, in the upright photo.
#[derive(Debug, Serialize)]
pub struct Spot {
    /// Its middle, px.
    pub x: f64,
    /// Its middle, px.
    pub y: f64,
    /// Radius of a circle of its area, px.
    pub r: f64,
    /// Area, mm².
    pub area_mm2: f64,
    /// Sides of the box around it, mm, the short one first; none in an old sheet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sides_mm: Option<[f64; 2]>,
    /// The colour that it shows.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub colour: Option<String>,
}

/// A group, and whether its number was set outright.
#[derive(Debug, Serialize)]
pub struct ShownGroup<'a> {
    /// The group.
    #[serde(flatten)]
    pub group: &'a Group,
    /// Why its number was set; none where the pieces count.
    pub reason: Option<&'a str>,
}

/// What a person did, as it still holds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Done {
    /// Pieces that were looked at and are what they were counted as.
    pub confirmed: usize,
    /// How many of these were confirmed side by side with others.
    pub together: usize,
    /// Pieces that were taken as counted, without a look at each.
    pub taken: usize,
    /// Places that were found to hold nothing to count.
    pub settled: usize,
    /// Steps that put something right.
    pub corrections: usize,
}

impl Done {
    fn of(review: &Review, pieces: &[Piece]) -> Self {
        let guess: BTreeMap<u32, &Piece> = review.guess.pieces.iter().map(|p| (p.id, p)).collect();
        let as_counted = |piece: &&Piece| {
            let counted = guess.get(&piece.id);
            piece.looked_at
                && counted.is_some_and(|counted| Called::of(counted) == Called::of(piece))
        };
        let agrees =
            |step: &&Step| matches!(step.what, What::Accept | What::Settle | What::OnlyTaught);
        let corrects = |step: &&Step| !agrees(step) && step.what != What::Place;
        Self {
            confirmed: pieces.iter().filter(as_counted).count(),
            together: (pieces.iter().filter(as_counted))
                .filter(|piece| piece.together)
                .count(),
            taken: pieces.iter().filter(|piece| piece.as_counted).count(),
            // A place where a piece was added is settled by that correction.
            settled: (review.steps.iter().filter(agrees))
                .map(|step| step.settled.len())
                .sum(),
            corrections: review.steps.iter().filter(corrects).count(),
        }
    }
}

/// What a piece is called.
#[derive(Debug, PartialEq, Eq, Serialize)]
pub struct Called<'a> {
    /// Form, as in a piece.
    pub form: &'a str,
    /// Size, as in a piece.
    pub size: &'a str,
    /// Colour, as in a piece.
    pub colour: &'a str,
    /// Face, as in a piece.
    pub face: &'a str,
}

impl<'a> Called<'a> {
    fn of(piece: &'a Piece) -> Self {
        Self {
            form: &piece.form,
            size: &piece.size,
            colour: &piece.colour,
            face: &piece.face,
        }
    }
}

/// A colour to choose.
#[derive(Debug, PartialEq, Eq, Serialize)]
pub struct Colour {
    /// Its name.
    pub name: String,
    /// How it looks, `#rrggbb`.
    pub hex: String,
    /// Whether a person taught it.
    pub taught: bool,
}

/// Tells of a sheet.
pub fn shown<'a>(slot: &'a Slot, book: &'a SwatchBook) -> Shown<'a> {
    let sheet = &slot.sheet;
    let looks = looks(sheet, book);
    let review = sheet.review.as_deref();
    let counts = review.map_or(&[][..], |review| &review.counts);
    Shown {
        version: slot.version(),
        file: &sheet.photos.first.file,
        place: sheet.place.as_deref(),
        width_px: sheet.photos.first.width_px,
        height_px: sheet.photos.first.height_px,
        photos: sheet.photos.each().map(ShownPhoto::of).collect(),
        mm_per_px: sheet.card.mm_per_px,
        card_turn: card_turn(&sheet.card.corners_px),
        checked: sheet.checked,
        posted: slot.posted,
        only_taught: sheet.only_taught,
        open_otherwise: open_otherwise(sheet),
        has_tray: slot.tray.is_some(),
        open: sheet
            .pieces
            .iter()
            .filter(|p| is_open(p))
            .map(|p| p.id)
            .collect(),
        pieces: &sheet.pieces,
        spots: spots(sheet),
        groups: sheet
            .groups
            .iter()
            .map(|group| shown_group(group, counts))
            .collect(),
        // Without a tray nothing can be cut out upright.
        side: slot
            .tray
            .as_ref()
            .map_or_else(Vec::new, |_| rows(&sheet.pieces, &looks)),
        total: sheet.groups.iter().map(|g| u64::from(g.count)).sum(),
        guess: guess(sheet),
        undo: review
            .and_then(|review| review.steps.last())
            .map(|step| step.what),
        redo: review
            .and_then(|review| review.undone.last())
            .map(|step| step.what),
        done: review.map_or_else(Done::default, |review| Done::of(review, &sheet.pieces)),
        warnings: &sheet.warnings,
        colours: looks.iter().map(Colour::of).collect(),
    }
}

fn open_otherwise(sheet: &Sheet) -> Option<usize> {
    let otherwise: Vec<Piece> = (sheet.pieces.iter())
        .map(Piece::answered_otherwise)
        .collect();
    let open = || otherwise.iter().filter(|piece| is_open(piece)).count();
    (otherwise != sheet.pieces).then(open)
}

fn card_turn([from, to, ..]: &[[f64; 2]; 4]) -> f64 {
    (to[1] - from[1]).atan2(to[0] - from[0])
}

fn spots(sheet: &Sheet) -> Vec<Spot> {
    let mm_per_px = sheet.card.mm_per_px;
    let spot = |spot: &crate::sheet::Unexplained| Spot {
        x: spot.x_px,
        y: spot.y_px,
        r: (spot.area_mm2 / std::f64::consts::PI).sqrt() / mm_per_px,
        area_mm2: spot.area_mm2,
        sides_mm: spot.sides_mm,
        colour: spot.colour.clone(),
    };
    sheet.unexplained.iter().map(spot).collect()
}

fn shown_group<'a>(group: &'a Group, counts: &'a [SetCount]) -> ShownGroup<'a> {
    let own = |set: &&SetCount| {
        (&set.form, &set.size, &set.colour) == (&group.form, &group.size, &group.colour)
    };
    ShownGroup {
        group,
        reason: counts.iter().find(own).map(|set| set.reason.as_str()),
    }
}

fn guess(sheet: &Sheet) -> BTreeMap<u32, Called<'_>> {
    let Some(review) = &sheet.review else {
        return BTreeMap::new();
    };
    let counted: BTreeMap<u32, &Piece> = review.guess.pieces.iter().map(|p| (p.id, p)).collect();
    let differing = sheet.pieces.iter().filter_map(|piece| {
        let guess = Called::of(counted.get(&piece.id)?);
        (guess != Called::of(piece)).then_some((piece.id, guess))
    });
    differing.collect()
}

impl Colour {
    fn of(look: &Look<'_>) -> Self {
        Self {
            name: look.name.to_owned(),
            hex: hex(look.lab),
            taught: look.taught,
        }
    }
}

/// How a colour looks on this sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look<'a> {
    /// Its name.
    pub name: &'a str,
    /// CIELAB D65.
    pub lab: [f64; 3],
    /// Whether a person taught it.
    pub taught: bool,
}

/// Taught colours and those on the sheet, by name. A colour looks as its pieces do
/// here; one that is not here as it was taught.
fn looks<'a>(sheet: &'a Sheet, book: &'a SwatchBook) -> Vec<Look<'a>> {
    let mut seen: BTreeMap<&str, Vec<[f64; 3]>> = BTreeMap::new();
    for piece in &sheet.pieces {
        seen.entry(&piece.colour).or_default().push(piece.lab);
    }
    let mut taught: BTreeMap<&str, Vec<[f64; 3]>> = BTreeMap::new();
    for swatch in book.swatches() {
        let samples = taught.entry(&swatch.name).or_default();
        samples.extend(&swatch.samples);
    }
    let others = sheet.pieces.iter().flat_map(|piece| &piece.instead);
    let set = sheet.groups.iter().map(|group| group.colour.as_str());
    let all: BTreeSet<&str> = seen
        .keys()
        .chain(taught.keys())
        .copied()
        .chain(others.map(|other| other.colour.as_str()))
        .chain(set)
        .collect();
    let look = |name: &str| {
        let samples = seen.get(name).or_else(|| taught.get(name));
        let named = || names::all().iter().find(|known| known.name == name);
        samples
            .and_then(|samples| middle(samples))
            .or_else(|| named().map(|known| known.lab))
            .unwrap_or([60.0, 0.0, 0.0])
    };
    all.into_iter()
        .map(|name| Look {
            name,
            lab: look(name),
            taught: taught.contains_key(name),
        })
        .collect()
}

/// The median of each coordinate.
fn middle(samples: &[[f64; 3]]) -> Option<[f64; 3]> {
    let middle = |k: usize| median(samples.iter().filter_map(|lab| lab.get(k).copied()));
    Some([middle(0)?, middle(1)?, middle(2)?])
}

/// CIELAB D65 as `#rrggbb`, clipped to sRGB.
fn hex(lab: [f64; 3]) -> String {
    let level = |linear: f64| (encode(linear.clamp(0.0, 1.0)) * 255.0).round() as u8;
    let [red, green, blue] = linear_from_lab(lab).map(level);
    format!("#{red:02x}{green:02x}{blue:02x}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::lab::lab_from_srgb8;

    #[test]
    fn a_colour_is_shown_as_it_is() {
        for rgb in [[0, 0, 0], [255, 255, 255], [12, 200, 99], [255, 0, 0]] {
            let [r, g, b] = rgb;
            assert_eq!(hex(lab_from_srgb8(rgb)), format!("#{r:02x}{g:02x}{b:02x}"));
        }
        assert_eq!(hex([50.0, 300.0, 300.0]).len(), 7);
        assert_eq!(hex([f64::NAN; 3]), "#000000");
    }
}
