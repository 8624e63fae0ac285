//! A thing that fits no listed shape, told by a person, and its copies on the same tray.
//!
//! The count calls such a thing by whatever listed pieces fit it best, or by none. One of them is traced in the photo, which gives
//! its entry in the list of shapes; what else is doubtful or unexplained is traced as well, and what has the same footprint
//! and studs is taken for a copy. A person sees all of them before they say so.

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::numbers::round2;
use crate::pieces::traced::{TraceError, Traced};
use crate::pipeline::Scene;
use crate::sheet::review::What;
use crate::sheet::{Piece, Sheet, Unexplained};
use crate::stock::kind::Name;
use crate::units::Mm;

use super::correction::Refused;
use super::history::free_id;
use super::own_shapes::{HEIGHTS_MM, entry};
use super::resolve::{Unsigned, lab_of, seen_together};
use super::totals::is_open;
use super::tray::{Tray, turn_of};

/// A place that nothing explains belongs to a thing from this far off its box, mm: it is often a flank or its shadow.
const BESIDE_MM: f64 = 4.0;
/// A name for a shape that has none yet: to draw it.
const UNNAMED: &str = "thing";

/// What the page asks about a thing.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Thing {
    /// The state of the sheet that the page shows.
    pub version: String,
    /// A place on it in the upright photo, px.
    pub at_px: [f64; 2],
    /// Its height without studs.
    pub height_mm: f64,
    /// What it is to be called; none while the page only shows what was traced.
    pub name: Option<String>,
    /// Whether studs stand all over it, or none do; as far as they are seen where that is not said.
    #[serde(default)]
    pub studs: Option<bool>,
    /// Which of the copies that were shown are none and are left out.
    #[serde(default)]
    pub left_out: Vec<usize>,
}

/// Why a thing has no shape; each is one sentence for the person.
#[derive(Debug, thiserror::Error)]
pub enum NoCopies {
    /// The height.
    #[error("{0} mm is no height of a shape: say 0.5 to 60 mm")]
    Height(f64),
    /// It cannot be traced.
    #[error(transparent)]
    Trace(#[from] TraceError),
    /// The sheet.
    #[error(transparent)]
    Refused(#[from] Refused),
}

/// Reads the colour of a piece in the photo: its name, and the colour itself, CIELAB D65.
pub type ReadColour<'a> = dyn Fn(&Piece) -> Option<(String, [f64; 3])> + 'a;

/// One copy, as it lies.
#[derive(Clone, Debug, PartialEq)]
pub struct Copy {
    at: Mm,
    turn_deg: f64,
    /// The pieces that it was counted as.
    pieces: Vec<Piece>,
    /// The places that it explains.
    spots: Vec<Unexplained>,
}

/// A thing's shape and its copies, that which was pointed at first.
#[derive(Clone, Debug)]
pub struct Copies {
    /// Sides as measured, mm: the short one, the long one.
    pub sides_mm: (f64, f64),
    /// Its entry for the list of shapes.
    pub entry: Value,
    form: String,
    size: String,
    copies: Vec<Copy>,
}

/// What the page shows before a person says yes.
#[derive(Debug, Serialize)]
pub struct Shown {
    /// Rows of studs, short side first.
    size: String,
    /// Sides as measured, short one first.
    sides_mm: [f64; 2],
    /// How many studs are seen on it.
    studs: usize,
    /// Outline of each copy in the photo, that which was pointed at first.
    outlines_px: Vec<Vec<[f64; 2]>>,
    /// How many pieces of the count they stand for.
    counted_as: usize,
}

/// The shape of the thing at a place of a photo, by that name, and its copies.
///
/// # Errors
/// [`NoCopies`] where nothing there can be traced.
pub fn copies(sheet: &Sheet, scene: &Scene, thing: &Thing) -> Result<Copies, NoCopies> {
    if !HEIGHTS_MM.contains(&thing.height_mm) {
        return Err(NoCopies::Height(thing.height_mm));
    }
    let form = match &thing.name {
        Some(name) => Name::new(name).map_err(Refused::from)?.to_string(),
        None => UNNAMED.to_owned(),
    };
    let open = sheet.pieces.iter().filter(|piece| is_open(piece));
    let places: Vec<[f64; 2]> = std::iter::once(thing.at_px)
        .chain(open.map(|piece| [piece.x_px, piece.y_px]))
        .chain(sheet.unexplained.iter().map(|spot| [spot.x_px, spot.y_px]))
        .collect();
    let mut traced = scene.trace(&places, thing.height_mm).into_iter();
    let first = traced.next().unwrap_or(Err(TraceError::Nothing))?;
    let told = match thing.studs {
        Some(true) => first.footprint.stud_places(first.studs_box),
        Some(false) => Vec::new(),
        None => first.studs.clone(),
    };
    let told = Traced {
        studs: told,
        ..first.clone()
    };
    let entry = entry(&form, thing.height_mm, &told);
    let mut found = vec![copy_of(sheet, &first, 0)];
    for other in traced.flatten() {
        let is_found = |copy: &Copy| copy.at.distance(other.at) < BESIDE_MM;
        let Some(quarters) = other.quarters_from(&first) else {
            continue;
        };
        let copy = copy_of(sheet, &other, quarters);
        // What the count is sure of, or a person has looked at, is no copy unless it is pointed at.
        if !found.iter().any(is_found) && copy.pieces.iter().all(is_open) {
            found.push(copy);
        }
    }
    let mut number = 0..;
    // The first is what was pointed at.
    found.retain(|_| {
        number
            .next()
            .is_none_or(|n| n == 0 || !thing.left_out.contains(&n))
    });
    Ok(Copies {
        sides_mm: first.sides_mm,
        entry,
        form,
        size: format!("{}x{}", first.studs_box.0, first.studs_box.1),
        copies: found,
    })
}

fn copy_of(sheet: &Sheet, traced: &Traced, quarters: u8) -> Copy {
    let pieces = sheet.pieces.iter();
    let spots = sheet.unexplained.iter();
    Copy {
        at: traced.at,
        turn_deg: traced.turn.to_degrees() + 90.0 * f64::from(quarters),
        pieces: pieces
            .filter(|piece| traced.holds(Mm::new(piece.x_mm, piece.y_mm)))
            .cloned()
            .collect(),
        spots: spots
            .filter(|spot| traced.is_beside(Mm::new(spot.x_mm, spot.y_mm), BESIDE_MM))
            .cloned()
            .collect(),
    }
}

impl Copies {
    /// The step that makes pieces of that shape of all copies, on a tray that knows the shape. A copy has the colour of what it was counted as, where that
    /// is one, or else that which `colour` reads.
    ///
    /// # Errors
    /// When a copy reaches beyond the photo.
    pub fn step(
        &self,
        sheet: &Sheet,
        tray: &Tray,
        colour: &ReadColour<'_>,
    ) -> Result<Unsigned, Refused> {
        let shape = tray.shapes().named(&self.form, &self.size);
        let shape = shape.ok_or_else(|| Refused::NoShape {
            form: self.form.clone(),
            size: self.size.clone(),
        })?;
        let (mut from, mut to, mut settled) = (Vec::new(), Vec::new(), Vec::new());
        let mut id = free_id(sheet);
        for copy in &self.copies {
            let mut new = Piece {
                id,
                form: self.form.clone(),
                size: self.size.clone(),
                face: "up".to_owned(),
                x_mm: round2(copy.at.x),
                y_mm: round2(copy.at.y),
                turn_deg: turn_of(shape, "up", copy.turn_deg),
                ..Piece::default()
            };
            if !tray.place(&mut new) {
                return Err(Refused::Outside);
            }
            let counted = copy.pieces.first();
            let one = counted.filter(|one| copy.pieces.iter().all(|p| p.colour == one.colour));
            let read = one
                .map(|one| (one.colour.clone(), one.lab))
                .or_else(|| colour(&new))
                .or_else(|| counted.map(|one| (one.colour.clone(), one.lab)));
            (new.colour, new.lab) = match read {
                Some((colour, lab)) => (colour, lab.map(round2)),
                None => ("unnamed".to_owned(), lab_of(sheet, "unnamed")),
            };
            to.push(seen_together(new));
            from.extend(copy.pieces.iter().cloned());
            settled.extend(copy.spots.iter().cloned());
            id = id.saturating_add(1);
        }
        let mut step = Unsigned::of(What::Change, from, to);
        step.settled = settled;
        Ok(step)
    }

    /// What the page shows.
    ///
    /// # Errors
    /// As [`Copies::step`].
    pub fn shown(&self, sheet: &Sheet, tray: &Tray) -> Result<Shown, Refused> {
        let step = self.step(sheet, tray, &|_| None)?;
        let shape = tray.shapes().named(&self.form, &self.size);
        Ok(Shown {
            size: self.size.clone(),
            sides_mm: [self.sides_mm.0, self.sides_mm.1].map(round2),
            studs: shape.map_or(0, |shape| shape.studs().len()),
            outlines_px: step.to.into_iter().map(|piece| piece.outline_px).collect(),
            counted_as: step.from.len(),
        })
    }
}
