//! Lines over the photo: pieces, the card, rings.
//!
//! Every line has a dark casing, so that it is seen on white, on black and on its
//! own colour.

use super::place::{Shown, ShownPiece, View, circle, closed_path};
use super::{AMBER, ROSE};
use crate::drawing::Ink;
use crate::units::Px;
use tiny_skia::{FillRule, LineCap, LineJoin, Paint, Path, Pixmap, Stroke, StrokeDash, Transform};

/// How a line is drawn; lengths in px for a photo at full size.
#[derive(Clone, Copy)]
pub struct Line {
    /// Its colour.
    pub ink: Ink,
    /// Its width.
    pub width: f64,
    /// How far the casing stands out on each side.
    pub casing: f64,
    /// How dark the casing is, of 255.
    pub casing_alpha: u8,
    /// Length of dashes and of gaps.
    pub dash: Option<[f64; 2]>,
}

const CASING: Ink = Ink([18, 22, 26]);

const SURE: Line = Line {
    ink: Ink::WHITE,
    width: 2.0,
    casing: 1.1,
    casing_alpha: 150,
    dash: None,
};
const DOUBTFUL: Line = Line {
    ink: AMBER,
    width: 4.6,
    casing: 1.8,
    casing_alpha: 235,
    dash: Some([15.0, 8.0]),
};
const CARD: Line = Line {
    ink: Ink([214, 232, 236]),
    width: 1.6,
    casing: 1.0,
    casing_alpha: 130,
    dash: None,
};
const RING: Line = Line {
    ink: ROSE,
    width: 4.6,
    casing: 1.8,
    casing_alpha: 235,
    dash: None,
};
const CORNER_RADIUS: f64 = 5.5;

/// Draws all outlines, what a person should look at last.
pub fn draw(photo: &mut Pixmap, view: &View, shown: &Shown<'_>) {
    draw_card(photo, view, &shown.card);
    let closed = |piece: &ShownPiece<'_>| closed_path(&piece.corners);
    for piece in shown.pieces.iter().filter(|piece| !piece.doubtful) {
        line(photo, closed(piece), SURE, view.weight);
    }
    for piece in shown.pieces.iter().filter(|piece| piece.doubtful) {
        line(photo, closed(piece), DOUBTFUL, view.weight);
    }
    for ring in &shown.rings {
        let path = closed_path(&circle(ring.middle, ring.radius));
        line(photo, path, RING, view.weight);
    }
}

/// The card's edge, with a dot at each corner; the one at its own top left, from
/// which places on the tray are measured, is full.
fn draw_card(photo: &mut Pixmap, view: &View, corners: &[Px]) {
    if corners.len() < 4 {
        return;
    }
    line(photo, closed_path(corners), CARD, view.weight);
    for (index, corner) in corners.iter().enumerate() {
        let Some(dot) = closed_path(&circle(*corner, CORNER_RADIUS * view.weight)) else {
            continue;
        };
        let ink = if index == 0 { CARD.ink } else { CASING };
        let paint = colour(ink, u8::MAX);
        photo.fill_path(&dot, &paint, FillRule::Winding, Transform::identity(), None);
        line(photo, Some(dot), CARD, view.weight);
    }
}

/// Draws one line over its casing.
pub fn line(photo: &mut Pixmap, path: Option<Path>, line: Line, weight: f64) {
    // Corners that all fall on one point leave no path, and no mark.
    let Some(path) = path else {
        return;
    };
    let stroke = |width: f64, dash: Option<[f64; 2]>| Stroke {
        width: (width * weight) as f32,
        line_join: LineJoin::Round,
        line_cap: LineCap::Butt,
        dash: dash.and_then(|lengths| {
            StrokeDash::new(lengths.map(|l| (l * weight) as f32).to_vec(), 0.0)
        }),
        ..Stroke::default()
    };
    let casing = stroke(line.width + 2.0 * line.casing, None);
    let shade = colour(CASING, line.casing_alpha);
    photo.stroke_path(&path, &shade, &casing, Transform::identity(), None);
    let inner = stroke(line.width, line.dash);
    let ink = colour(line.ink, u8::MAX);
    photo.stroke_path(&path, &ink, &inner, Transform::identity(), None);
}

fn colour(Ink([red, green, blue]): Ink, alpha: u8) -> Paint<'static> {
    let mut paint = Paint::default();
    paint.set_color_rgba8(red, green, blue, alpha);
    paint
}
