//! Where a piece's outline is in the photo, from what a sheet says.

use crate::numbers::round2;
use crate::pieces::polygon::area_and_middle;
use crate::pieces::{Face, Shape, Shapes, Stance};
use crate::sheet::{Piece, Sheet};
use crate::units::{Mm, Px};
use crate::view::{Camera, recall_camera};

use super::vocabulary::shape_called;

/// The tray of one sheet, seen by the camera that its card tells of.
#[derive(Clone, Debug)]
pub struct Tray {
    camera: Camera,
    shapes: Shapes,
}

/// How something stands on the tray.
#[derive(Clone, Debug, PartialEq)]
pub struct Stand<'a> {
    /// Form, as in a piece.
    pub form: &'a str,
    /// Size, as in a piece.
    pub size: &'a str,
    /// Face, as in a piece.
    pub face: &'a str,
    /// Middle of the footprint.
    pub at: Mm,
    /// Direction of the long side, as in a piece.
    pub turn_deg: f64,
}

impl<'a> Stand<'a> {
    /// How a piece of a sheet stands.
    pub fn of(piece: &'a Piece) -> Self {
        Self {
            form: &piece.form,
            size: &piece.size,
            face: &piece.face,
            at: Mm::new(piece.x_mm, piece.y_mm),
            turn_deg: piece.turn_deg,
        }
    }
}

impl Tray {
    /// The tray of a sheet; `None` where its card's corners are those of no card.
    pub fn of(sheet: &Sheet, shapes: Shapes) -> Option<Self> {
        let size = (sheet.photos.first.width_px, sheet.photos.first.height_px);
        let card = &sheet.card;
        recall_camera(&card.corners_px, card.camera_height_mm, card.lens_k1, size)
            .map(|camera| Self { camera, shapes })
    }

    /// The camera.
    pub fn camera(&self) -> &Camera {
        &self.camera
    }

    /// The shapes that pieces may have.
    pub fn shapes(&self) -> Shapes {
        self.shapes
    }

    /// The outline in the upright photo, px; `None` for a size that is not listed or
    /// a place that the camera does not see.
    pub fn outline(&self, stand: &Stand<'_>) -> Option<Vec<[f64; 2]>> {
        let stance = Stance {
            shape: shape_called(stand.form, stand.size, self.shapes)?,
            face: face_called(stand.face),
            at: stand.at,
            turn: stand.turn_deg.to_radians(),
        };
        let seen: Vec<[f64; 2]> = stance
            .silhouette(&self.camera)
            .into_iter()
            .filter_map(|mm| self.camera.project(mm, 0.0))
            .filter(|px| px.x.is_finite() && px.y.is_finite())
            .map(|px| [round2(px.x), round2(px.y)])
            .collect();
        (seen.len() > 2).then_some(seen)
    }

    /// Gives a piece the outline that its form, size, face and place ask for.
    /// Says whether it could.
    pub fn place(&self, piece: &mut Piece) -> bool {
        let Some(outline) = self.outline(&Stand::of(piece)) else {
            return false;
        };
        let [x, y] = middle(&outline);
        (piece.x_px, piece.y_px) = (round2(x), round2(y));
        piece.outline_px = outline;
        // What other photos showed was of what it was taken for before.
        piece.views.clear();
        piece.height_mm = None;
        true
    }

    /// As [`Tray::place`] for a piece that was another before: what the outline of
    /// `before` was off from ours (the photo's lens may bend a little) it keeps.
    pub fn replace(&self, before: &Piece, piece: &mut Piece) -> bool {
        let ours = self.outline(&Stand::of(before)).map(|o| middle(&o));
        if !self.place(piece) {
            return false;
        }
        let off = ours.map_or([0.0; 2], |[x, y]| [before.x_px - x, before.y_px - y]);
        piece.x_px = round2(piece.x_px + off[0]);
        piece.y_px = round2(piece.y_px + off[1]);
        for [x, y] in &mut piece.outline_px {
            (*x, *y) = (round2(*x + off[0]), round2(*y + off[1]));
        }
        true
    }

    /// The place on the tray that is seen at a place of the photo.
    pub fn under(&self, [x, y]: [f64; 2]) -> Option<Mm> {
        self.camera.unproject(Px::new(x, y), 0.0)
    }
}

/// Middle of an outline's area.
pub fn middle(outline: &[[f64; 2]]) -> [f64; 2] {
    let corners: Vec<(f64, f64)> = outline.iter().map(|&[x, y]| (x, y)).collect();
    let (_, (x, y)) = area_and_middle(&corners);
    [x, y]
}

/// A turn as a sheet writes it for a piece of that shape and face.
pub fn turn_of(shape: Shape, face: &str, turn_deg: f64) -> f64 {
    face_called(face).turn_within(shape, turn_deg)
}

/// The face of that name; a sheet of another program's making may have one that is none.
fn face_called(name: &str) -> Face {
    Face::called(name).unwrap_or(Face::Up)
}
