//! Where the sheet's places fall in the reduced photo.
//!
//! A sheet may come from anywhere, so nothing here trusts its numbers: what is not
//! finite is left out, and what is far outside is drawn in, so that no line is so
//! long that drawing it takes minutes.

use super::is_doubtful;
use crate::sheet::file::{Piece, Sheet};
use crate::units::Px;
use tiny_skia::{Path, PathBuilder, Pixmap};

/// An outline is drawn with no more corners than this; a contour that follows
/// every pixel has more, and looks the same without them.
const MOST_CORNERS: usize = 512;

/// From photo pixels to pixels of the reduced photo.
pub struct View {
    scale: f64,
    /// Size of the reduced photo, px.
    pub width: f64,
    /// Size of the reduced photo, px.
    pub height: f64,
    /// How thick lines are drawn: 1 for a photo at full size, less for a small one,
    /// whose pieces are smaller too.
    pub weight: f64,
}

/// A piece with its outline in the reduced photo.
pub struct ShownPiece<'a> {
    /// The piece as the sheet has it.
    pub piece: &'a Piece,
    /// Corners of the outline, at least three; closed.
    pub corners: Vec<Px>,
    /// Middle of the visible part, inside the photo.
    pub middle: Px,
    /// Whether a person should look at it.
    pub doubtful: bool,
}

/// A ring around a place that no piece explains.
pub struct Ring {
    /// Which of the sheet's places, from 0.
    pub index: usize,
    /// Its middle.
    pub middle: Px,
    /// Its radius.
    pub radius: f64,
}

/// Everything on the sheet that can be shown.
pub struct Shown<'a> {
    /// Pieces with an outline.
    pub pieces: Vec<ShownPiece<'a>>,
    /// The card's corners from its own top left; fewer than four when some are no numbers.
    pub card: Vec<Px>,
    /// Places that no piece explains.
    pub rings: Vec<Ring>,
}

impl View {
    /// The view of a photo that was `photo_width_px` wide before it was reduced.
    pub fn of(reduced: &Pixmap, photo_width_px: u32) -> Self {
        let (width, height) = (f64::from(reduced.width()), f64::from(reduced.height()));
        Self {
            scale: width / f64::from(photo_width_px.max(1)),
            width,
            height,
            weight: (width.max(height) / f64::from(super::LONG_SIDE_PX)).clamp(0.75, 1.0),
        }
    }

    /// A photo place in the reduced photo, drawn in to at most one picture outside
    /// of it; `None` when it is not finite.
    fn place(&self, [x, y]: [f64; 2]) -> Option<Px> {
        let (x, y) = (x * self.scale, y * self.scale);
        (x.is_finite() && y.is_finite()).then(|| {
            Px::new(
                x.clamp(-self.width, 2.0 * self.width),
                y.clamp(-self.height, 2.0 * self.height),
            )
        })
    }

    /// Whether a place lies in the reduced photo.
    pub fn contains(&self, place: Px) -> bool {
        (0.0..=self.width).contains(&place.x) && (0.0..=self.height).contains(&place.y)
    }

    fn outline(&self, corners: &[[f64; 2]]) -> Vec<Px> {
        let step = corners.len().div_ceil(MOST_CORNERS).max(1);
        let places = corners.iter().step_by(step);
        places.filter_map(|corner| self.place(*corner)).collect()
    }

    fn piece<'a>(&self, piece: &'a Piece) -> Option<ShownPiece<'a>> {
        let middle = self.place([piece.x_px, piece.y_px]);
        let mut corners = self.outline(&piece.outline_px);
        if corners.len() < 3 {
            // A sheet without outlines still shows where its pieces are.
            corners = circle(middle?, 14.0 * self.weight);
        }
        let middle = middle.filter(|place| self.contains(*place)).or_else(|| {
            let count = corners.len() as f64;
            let x = corners.iter().map(|c| c.x).sum::<f64>() / count;
            let y = corners.iter().map(|c| c.y).sum::<f64>() / count;
            Some(Px::new(x, y)).filter(|place| self.contains(*place))
        })?;
        Some(ShownPiece {
            piece,
            corners,
            middle,
            doubtful: is_doubtful(piece),
        })
    }
}

impl<'a> Shown<'a> {
    /// Everything on the sheet whose place is in the picture.
    pub fn of(sheet: &'a Sheet, view: &View) -> Self {
        let mm_per_px = sheet.card.mm_per_px;
        let rings = sheet.unexplained.iter().enumerate();
        let rings = rings.filter_map(|(index, place)| {
            let middle = view.place([place.x_px, place.y_px])?;
            let reach = (place.area_mm2.max(0.0) / std::f64::consts::PI).sqrt() / mm_per_px;
            // Around the thing, not on it. Where the scale makes no sense, small.
            let radius = (1.4 * reach * view.scale).min(view.width.min(view.height) / 4.0);
            let least = 20.0 * view.weight;
            Some(Ring {
                index,
                middle,
                radius: if radius > least { radius } else { least },
            })
            .filter(|ring| view.contains(ring.middle))
        });
        Self {
            pieces: sheet.pieces.iter().filter_map(|p| view.piece(p)).collect(),
            card: view.outline(&sheet.card.corners_px),
            rings: rings.collect(),
        }
    }
}

/// A circle as corners.
pub fn circle(middle: Px, radius: f64) -> Vec<Px> {
    // Often enough that no corner is seen.
    let corners = if radius < 40.0 { 32_u32 } else { 128 };
    let turn = |i: u32| f64::from(i) * std::f64::consts::TAU / f64::from(corners);
    let place = |i: u32| {
        Px::new(
            middle.x + radius * turn(i).cos(),
            middle.y + radius * turn(i).sin(),
        )
    };
    (0..corners).map(place).collect()
}

/// A closed path through these corners; `None` when there are fewer than two.
pub fn closed_path(corners: &[Px]) -> Option<Path> {
    let (first, rest) = corners.split_first()?;
    let mut path = PathBuilder::new();
    path.move_to(first.x as f32, first.y as f32);
    for corner in rest {
        path.line_to(corner.x as f32, corner.y as f32);
    }
    path.close();
    path.finish()
}
