//! Each piece's size, in small lettering that stays on the piece.

use super::place::{Shown, ShownPiece};
use super::words;
use super::{INK, PX_PER_MM};
use crate::drawing::lettering::{Style, Weight};
use crate::drawing::{Ink, Lettering, paint};
use crate::pieces::polygon::inside;
use crate::units::{Mm, Px};
use std::f64::consts::{FRAC_PI_2, PI};
use tiny_skia::{FillRule, LineJoin, Paint, Pixmap, Stroke, Transform};

/// Em of the lettering, px: no larger than calm, no smaller than readable.
const LARGEST_PX: f64 = 25.0;
const SMALLEST_PX: f64 = 14.0;
/// Below this, lettering along the piece is tried too.
const EASY_PX: f64 = 19.0;
/// Room that the lettering leaves to the piece's edge, in em.
const ROOM: f64 = 0.12;
/// Height of capitals and figures, in em.
const CAPITAL: f64 = 0.7;
/// Lightness (CIELAB) from which a piece takes dark lettering.
const LIGHT: f64 = 55.0;

/// Writes all sizes.
pub fn draw(photo: &mut Pixmap, shown: &Shown<'_>, lettering: &Lettering) {
    for piece in &shown.pieces {
        draw_one(photo, piece, lettering);
    }
}

fn draw_one(photo: &mut Pixmap, shown: &ShownPiece<'_>, lettering: &Lettering) {
    let text = words::size(&shown.piece.size);
    let em = |size_px: f64, ink: Ink| Style {
        weight: Weight::SemiBold,
        size_mm: words::mm(size_px),
        ink,
    };
    // Lengths grow with the em, so one measure is enough.
    let length = lettering.width_mm(&text, em(PX_PER_MM, INK));
    let mut turn = 0.0;
    let mut size = largest(shown, length, turn);
    if size < EASY_PX {
        let along = direction(&shown.corners);
        let across = if along > 0.0 {
            along - FRAC_PI_2
        } else {
            along + FRAC_PI_2
        };
        // A square piece has no long side; then the more level way is read more easily.
        let mut ways = [along, across];
        ways.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
        for way in ways {
            let turned = largest(shown, length, way);
            if turned > size + 1.0 {
                (turn, size) = (way, turned);
            }
        }
    }
    let size = size.max(SMALLEST_PX);
    // A lightness that is not a number counts as dark.
    let (ink, halo) = if shown.piece.lab[0] >= LIGHT {
        (INK, Ink::WHITE)
    } else {
        (Ink::WHITE, INK)
    };
    let at = Mm::new(
        words::mm(-length * size / 2.0),
        words::mm(CAPITAL * size / 2.0),
    );
    let shape = lettering.line(&text, em(size, ink), at);
    let place = Transform::from_rotate(turn.to_degrees() as f32)
        .post_translate(shown.middle.x as f32, shown.middle.y as f32);
    if let Some(path) = paint::path(&shape.outline, PX_PER_MM) {
        let stroke = Stroke {
            width: (size * 0.2) as f32,
            line_join: LineJoin::Round,
            ..Stroke::default()
        };
        let Ink([red, green, blue]) = halo;
        let mut soft = Paint::default();
        soft.set_color_rgba8(red, green, blue, 190);
        photo.stroke_path(&path, &soft, &stroke, place, None);
        let ink = paint::opaque(ink);
        photo.fill_path(&path, &ink, FillRule::Winding, place, None);
    }
}

/// The largest em at which lettering `length` em long, turned by `turn` about the
/// piece's middle, stays on the piece; 0 when none does.
fn largest(shown: &ShownPiece<'_>, length: f64, turn: f64) -> f64 {
    let (sin, cos) = turn.sin_cos();
    let fits = |size: f64| {
        let (x, y) = ((length / 2.0 + ROOM) * size, (CAPITAL / 2.0 + ROOM) * size);
        // Corners and the middles of the long sides.
        [(-x, -y), (0.0, -y), (x, -y), (x, y), (0.0, y), (-x, y)]
            .iter()
            .all(|(x, y)| {
                let place = Px::new(
                    shown.middle.x + x * cos - y * sin,
                    shown.middle.y + x * sin + y * cos,
                );
                inside(&shown.corners, place)
            })
    };
    let mut size = LARGEST_PX;
    while size >= SMALLEST_PX {
        if fits(size) {
            return size;
        }
        size -= 1.0;
    }
    0.0
}

/// The way in which the outline is longest (principal axis of its edge), turned so
/// that lettering along it reads from the left or from below.
fn direction(corners: &[Px]) -> f64 {
    let next = corners.iter().cycle().skip(1);
    let edges = || corners.iter().zip(next.clone());
    let length: f64 = edges().map(|(a, b)| a.distance(*b)).sum();
    if length <= 0.0 {
        return 0.0;
    }
    let mean = |of: &dyn Fn(Px) -> f64| {
        let sum: f64 = edges()
            .map(|(a, b)| a.distance(*b) * (of(*a) + of(*b)) / 2.0)
            .sum();
        sum / length
    };
    let (x, y) = (mean(&|p| p.x), mean(&|p| p.y));
    let xx = mean(&|p| (p.x - x).powi(2));
    let yy = mean(&|p| (p.y - y).powi(2));
    let xy = mean(&|p| (p.x - x) * (p.y - y));
    // Between -90 and 90 degrees; straight up reads from below.
    let turn = 0.5 * (2.0 * xy).atan2(xx - yy);
    if turn > FRAC_PI_2 - 0.01 {
        turn - PI
    } else {
        turn
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(turn: f64) -> Vec<Px> {
        let (sin, cos) = turn.sin_cos();
        [(-40.0, -10.0), (40.0, -10.0), (40.0, 10.0), (-40.0, 10.0)]
            .map(|(x, y)| Px::new(200.0 + x * cos - y * sin, 100.0 + x * sin + y * cos))
            .to_vec()
    }

    #[test]
    fn lettering_runs_along_the_piece_and_never_upside_down() {
        for degrees in [-80.0_f64, -30.0, 0.0, 45.0, 80.0, 100.0, 170.0, 200.0] {
            let turn = direction(&bar(degrees.to_radians())).to_degrees();
            let off = (turn - degrees).rem_euclid(180.0);
            assert!(off.min(180.0 - off) < 1e-6, "{degrees}: {turn}");
            assert!((-90.5..=90.0).contains(&turn), "{degrees}: {turn}");
        }
    }
}
