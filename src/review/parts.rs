//! One piece cut into two, and two put together into one.

use super::tray::{Stand, Tray, turn_of};
use super::vocabulary::{shape_called, shapes_called};
use crate::pieces::shape::PITCH_MM;
use crate::pieces::{Shape, Shapes};
use crate::sheet::Piece;
use crate::units::Mm;

/// A way to cut a piece into two listed ones.
#[derive(Clone, Debug, PartialEq)]
pub struct Cut {
    /// Both parts as they then stand: size, middle of the footprint, turn in degrees.
    pub parts: [Part; 2],
}

/// One part of a cut piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// Its size, as in a piece.
    pub size: String,
    /// Middle of its footprint.
    pub at: Mm,
    /// Direction of its long side, as in a piece.
    pub turn_deg: f64,
}

/// How far two pieces may together be off a listed size, mm: half a stud along and
/// half a stud across, so that of two sizes the nearer is meant.
const JOIN_SLACK_MM: f64 = PITCH_MM;

/// Every way to cut a piece along a row of studs, the most even first, cuts across
/// the long side before those along it.
pub fn cuts(piece: &Piece, list: Shapes) -> Vec<Cut> {
    let shape = shape_called(&piece.form, &piece.size, list).filter(|shape| shape.is_block());
    let Some(shape) = shape else {
        return Vec::new();
    };
    let (short, long) = shape.studs_box();
    let across = (1..=long / 2).rev().map(|at| (true, at));
    let along = (1..=short / 2).rev().map(|at| (false, at));
    across
        .chain(along.filter(|_| long != short))
        .filter_map(|(across, at)| cut(piece, shape, across, at, list))
        .collect()
}

fn cut(piece: &Piece, shape: Shape, across: bool, at: u8, list: Shapes) -> Option<Cut> {
    let (short, long) = shape.studs_box();
    let (whole, other) = if across { (long, short) } else { (short, long) };
    let part = |studs: u8, middle_studs: f64| {
        let size = format!("{}x{}", studs.min(other), studs.max(other));
        let found = shape_called(&piece.form, &size, list)?;
        let along_cut = middle_studs * PITCH_MM;
        let offset = if across {
            (along_cut, 0.0)
        } else {
            (0.0, along_cut)
        };
        // The part's long side lies as the whole's did, or square to it.
        let lies_along = if across {
            studs >= other
        } else {
            other >= studs
        };
        let quarter = if lies_along { 0.0 } else { 90.0 };
        Some(Part {
            size,
            at: local(Mm::new(piece.x_mm, piece.y_mm), piece.turn_deg, offset),
            turn_deg: turn_of(found, &piece.face, piece.turn_deg + quarter),
        })
    };
    let (first, second) = (f64::from(at), f64::from(whole - at));
    Some(Cut {
        parts: [part(at, -second / 2.0)?, part(whole - at, first / 2.0)?],
    })
}

/// The place `(along, across)` mm from `at` in the axes of a piece turned so.
fn local(at: Mm, turn_deg: f64, (along, across): (f64, f64)) -> Mm {
    let (sin, cos) = turn_deg.to_radians().sin_cos();
    Mm::new(
        at.x + along * cos - across * sin,
        at.y + along * sin + across * cos,
    )
}

/// The listed piece that two pieces make together, standing where both were, in the
/// axes of the first. `None` when no listed size is near.
pub fn joined(first: &Piece, second: &Piece, list: Shapes) -> Option<Part> {
    let origin = Mm::new(first.x_mm, first.y_mm);
    let (sin, cos) = first.turn_deg.to_radians().sin_cos();
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for piece in [first, second] {
        let shape = shape_called(&piece.form, &piece.size, list)?;
        let (a, b) = (shape.long_mm() / 2.0, shape.short_mm() / 2.0);
        for offset in [(-a, -b), (a, -b), (a, b), (-a, b)] {
            let corner = local(Mm::new(piece.x_mm, piece.y_mm), piece.turn_deg, offset);
            let (x, y) = (corner.x - origin.x, corner.y - origin.y);
            let own = [x * cos + y * sin, y * cos - x * sin];
            for ((low, high), own) in low.iter_mut().zip(&mut high).zip(own) {
                *low = low.min(own);
                *high = high.max(own);
            }
        }
    }
    let [along, across] = [high[0] - low[0], high[1] - low[1]];
    let (shape, off) = nearest_shape(&first.form, along, across, list)?;
    if off > JOIN_SLACK_MM || !shape.is_block() {
        return None;
    }
    let middle = ((low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0);
    let quarter = if along >= across { 0.0 } else { 90.0 };
    Some(Part {
        size: shape.size(),
        at: local(origin, first.turn_deg, middle),
        turn_deg: turn_of(shape, &first.face, first.turn_deg + quarter),
    })
}

/// The listed shape of a form whose sides are nearest to these, mm, either way round,
/// and how far both sides together are off.
pub fn nearest_shape(form: &str, a_mm: f64, b_mm: f64, list: Shapes) -> Option<(Shape, f64)> {
    let (long, short) = (a_mm.max(b_mm), a_mm.min(b_mm));
    shapes_called(form, list)
        .into_iter()
        .map(|shape| {
            let off = (shape.long_mm() - long).abs() + (shape.short_mm() - short).abs();
            (shape, off)
        })
        .filter(|(_, off)| off.is_finite())
        .min_by(|a, b| a.1.total_cmp(&b.1))
}

/// The outlines of a cut's parts, px, for a picture of it.
pub fn outlines(tray: &Tray, piece: &Piece, cut: &Cut) -> Vec<Vec<[f64; 2]>> {
    let outline = |part: &Part| {
        tray.outline(&Stand {
            form: &piece.form,
            size: &part.size,
            face: &piece.face,
            at: part.at,
            turn_deg: part.turn_deg,
        })
    };
    cut.parts.iter().filter_map(outline).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn piece(form: &str, size: &str, turn_deg: f64) -> Piece {
        Piece {
            form: form.into(),
            size: size.into(),
            x_mm: 100.0,
            y_mm: 50.0,
            turn_deg,
            face: "up".into(),
            ..Piece::default()
        }
    }

    fn sizes(piece: &Piece) -> Vec<String> {
        let name = |cut: &Cut| format!("{}+{}", cut.parts[0].size, cut.parts[1].size);
        cuts(piece, Shapes::shipped()).iter().map(name).collect()
    }

    #[test]
    fn a_piece_is_cut_along_its_studs() {
        assert_eq!(
            sizes(&piece("plate", "2x4", 0.0)),
            ["2x2+2x2", "1x2+2x3", "1x4+1x4"]
        );
        assert_eq!(sizes(&piece("any", "1x3", 0.0)), ["1x1+1x2"]);
        assert_eq!(sizes(&piece("plate", "1x1", 0.0)), [""; 0]);
        assert_eq!(sizes(&piece("boat", "9x9", 0.0)), [""; 0]);
        // 4x5 and 4x1 are no listed pieces together with what is left.
        for cut in cuts(&piece("plate", "6x6", 0.0), Shapes::shipped()) {
            for part in cut.parts {
                assert!(shape_called("plate", &part.size, Shapes::shipped()).is_some());
            }
        }
    }

    #[test]
    fn the_parts_lie_where_the_whole_lay() {
        // Turned by 30 degrees: the parts of a 2x4 are one stud pair either way.
        let whole = piece("plate", "2x4", 30.0);
        let [a, b] = cuts(&whole, Shapes::shipped())[0].parts.clone();
        let (sin, cos) = 30_f64.to_radians().sin_cos();
        assert!(a.at.distance(Mm::new(100.0 - 8.0 * cos, 50.0 - 8.0 * sin)) < 1e-9);
        assert!(b.at.distance(Mm::new(100.0 + 8.0 * cos, 50.0 + 8.0 * sin)) < 1e-9);
        // A 1x2 cut off a 2x4 lies across it.
        let [one, three] = cuts(&whole, Shapes::shipped())[1].parts.clone();
        assert_eq!((one.turn_deg, three.turn_deg), (120.0, 30.0));
    }

    /// Whatever is cut can be put together again.
    #[test]
    fn joining_undoes_every_cut() {
        for form in ["brick", "plate", "tile"] {
            for shape in shapes_called(form, Shapes::shipped()) {
                let whole = piece(form, &shape.size(), 37.0);
                for cut in cuts(&whole, Shapes::shipped()) {
                    let [a, b] = cut.parts.map(|part| Piece {
                        size: part.size,
                        x_mm: part.at.x,
                        y_mm: part.at.y,
                        turn_deg: part.turn_deg,
                        ..whole.clone()
                    });
                    for (first, second) in [(&a, &b), (&b, &a)] {
                        let again = joined(first, second, Shapes::shipped()).unwrap();
                        assert_eq!(again.size, whole.size);
                        assert!(again.at.distance(Mm::new(100.0, 50.0)) < 1e-6);
                        let off = (again.turn_deg - 37.0).rem_euclid(90.0);
                        assert!(off.min(90.0 - off) < 0.02, "{}", again.turn_deg);
                    }
                }
            }
        }
    }

    #[test]
    fn pieces_far_apart_make_no_piece() {
        let mut far = piece("plate", "1x1", 0.0);
        far.x_mm += 200.0;
        assert_eq!(
            joined(&piece("plate", "1x1", 0.0), &far, Shapes::shipped()),
            None
        );
    }

    #[test]
    fn what_is_no_rectangle_is_not_cut() {
        assert_eq!(cuts(&piece("corner", "2x2", 0.0), Shapes::shipped()), []);
    }
}
