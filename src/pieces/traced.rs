//! A thing that lies alone on the tray, traced: what its footprint would be in a list of shapes.

use image::{GrayImage, Luma};
use imageproc::contours::{BorderType, find_contours};
use imageproc::distance_transform::Norm;
use imageproc::geometry::{approximate_polygon_dp, contour_area};
use imageproc::morphology::{close, open};
use imageproc::point::Point;
use thiserror::Error;

use super::canvas::Canvas;
use super::evidence::EdgeScale;
use super::find::Sight;
use super::footprint::Footprint;
use super::frame::Frame;
use super::list::MOST_STUDS;
use super::refine::Bench;
use super::seeds::Seed;
use super::shape::{CLEARANCE_MM, PITCH_MM, STUD_HEIGHT_MM};
use crate::tray::Kind;
use crate::units::Mm;

/// A place this far from a thing still means it, mm.
const NEAR_MM: f64 = 3.0;
/// A side may be so much longer or shorter than a row of studs, mm: of two rows one is nearest up to 4. Sides of the
/// corners, discs and own shapes in `sample-photos/tune` are read up to 2.5 too long, most of them by less than 1.
const OFF_MM: f64 = 2.4;
/// Bites and specks of this many mm, as a stud's shadow leaves them, are smoothed away. Set by hand on those shapes, as
/// the values below that have no other reason.
const SMOOTH_MM: f64 = 0.9;
/// An outline's corners are this far off at most, mm: a quarter of a step of the lattice below.
const ROUGH_MM: f64 = 1.0;
/// Corners are set on a lattice of so many steps a stud: finer ones the lens' blur does not tell.
const STEPS: f64 = 2.0;
/// A footprint that fills its box by this share is a rectangle; one that lacks half a stud of a 2x2's corner fills 0.97
/// and is taken for one.
const RECTANGLE: f64 = 0.93;
/// How far a square's footprint may be from a disc's share of its box (pi / 4) and is one.
const DISC: f64 = 0.06;
/// Evidence of its rim from which a stud is there: more of it is seen than is not.
const STUD: f64 = 0.0;
/// How far around a place a body's colour is read, mm.
const BODY_MM: f64 = 3.0;
/// Shares of the tray's CIELAB values that its shadows may have: half of L* is an eighth of the light, with the same hue.
const SHADES: [f32; 6] = [1.0, 0.9, 0.8, 0.7, 0.6, 0.5];
/// The smallest thing worth tracing, mm²: a little less than a 1x1.
const LEAST_MM2: f64 = 30.0;

/// What a thing's footprint would be in a list of shapes.
#[derive(Clone, Debug, PartialEq)]
pub struct Traced {
    /// Studs along the sides of the box around it: the short one, the long one.
    pub studs_box: (u8, u8),
    /// Its sides as measured, mm: the short one, the long one.
    pub sides_mm: (f64, f64),
    /// The footprint.
    pub footprint: Footprint,
    /// Middles of the studs that are seen, in the list's axes.
    pub studs: Vec<[f64; 2]>,
    /// Middle of the box on the tray.
    pub at: Mm,
    /// Direction of its long side, radians from the card's x axis towards its y axis.
    pub turn: f64,
}

/// Why nothing was traced; each is a sentence.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum TraceError {
    /// Tray, the card, or outside the photo.
    #[error(
        "nothing lies there that is unlike the tray; name a place on the thing itself, in pixels of the upright photo"
    )]
    Nothing,
    /// Cut off.
    #[error("what lies there is cut off by the photo's edge; lay it whole into the picture")]
    AtFrame,
    /// Not as long as a row of studs.
    #[error(
        "what lies there is {long_mm:.1} mm x {short_mm:.1} mm, which are no rows of studs (8, 16, 24... mm); lay it apart from all others and say its --height, or write its entry yourself"
    )]
    NoRow {
        /// Its long side.
        long_mm: f64,
        /// Its short side.
        short_mm: f64,
    },
}

/// Traces the things at places of the tray's plane, `height_mm` high, each of which lies apart from all others.
///
/// # Errors
/// For each place [`TraceError`] where none lies there, or none that a list of shapes can hold.
pub fn traced(sight: &Sight<'_>, places: &[Mm], height_mm: f64) -> Vec<Result<Traced, TraceError>> {
    let canvas = Canvas::of(sight.view, sight.camera, sight.foreground);
    let seeds = canvas.seeds(Kind::Piece, LEAST_MM2);
    (places.iter())
        .map(|at| trace(sight, &seeds, *at, height_mm))
        .collect()
}

fn trace(sight: &Sight<'_>, seeds: &[Seed], at: Mm, height_mm: f64) -> Result<Traced, TraceError> {
    let view = sight.view;
    let near = |row: usize, column: usize| view.middle(row, column).distance(at);
    let nearest = seeds.iter().filter_map(|seed| {
        let far = seed
            .pixels()
            .map(|(r, c)| near(r, c))
            .min_by(f64::total_cmp)?;
        (far < NEAR_MM).then_some((far, seed))
    });
    let (_, seed) = nearest
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .ok_or(TraceError::Nothing)?;
    if seed.at_frame {
        return Err(TraceError::AtFrame);
    }
    let (low, _) = seed.bounds(view);
    let (columns, top) = (seed.columns(), seed.rows().start);
    let mm = view.mm_per_px;
    let by = (SMOOTH_MM / mm).round() as u8;
    // Room for what smoothing adds before it takes that away again.
    let pad = usize::from(by) + 1;
    let size = (
        (columns.len() + 2 * pad) as u32,
        (seed.rows().len() + 2 * pad) as u32,
    );
    let mut shown = GrayImage::new(size.0, size.1);
    let body = body(sight, seed, at);
    let is_body = |(row, column): &(usize, usize)| is_like(sight, *row, *column, body);
    for (row, column) in seed.pixels().filter(is_body) {
        let (x, y) = (column - columns.start + pad, row - top + pad);
        shown.put_pixel(x as u32, y as u32, Luma([255]));
    }
    // Of a body one sees all between its foot and its top: its footprint is where both are.
    let before = pad as f64;
    let place = |x: f64, y: f64| {
        Mm::new(
            low.x + (x + 0.5 - before) * mm,
            low.y + (y + 0.5 - before) * mm,
        )
    };
    let is_shown = |at: Mm| {
        let (x, y) = ((at.x - low.x) / mm + before, (at.y - low.y) / mm + before);
        let within = x >= 0.0 && y >= 0.0 && x < f64::from(size.0) && y < f64::from(size.1);
        within && shown.get_pixel(x as u32, y as u32).0[0] > 0
    };
    let foot = GrayImage::from_fn(size.0, size.1, |x, y| {
        let at = place(f64::from(x), f64::from(y));
        let both = is_shown(at) && is_shown(sight.camera.shadow_on_plane(at, height_mm));
        Luma([if both { 255 } else { 0 }])
    });
    let foot = open(&close(&foot, Norm::L2, by), Norm::L2, by);
    let outer = find_contours::<i32>(&foot)
        .into_iter()
        .filter(|c| c.border_type == BorderType::Outer);
    let largest = outer.max_by(|a, b| contour_area(&a.points).total_cmp(&contour_area(&b.points)));
    let points = largest.map(|contour| contour.points).unwrap_or_default();
    let frame = Frame::of(&points).ok_or(TraceError::Nothing)?;
    let sides_mm = (frame.short_px * mm, frame.long_px * mm);
    let row = |side_mm: f64| {
        let studs = ((side_mm + CLEARANCE_MM) / PITCH_MM).round();
        let off = (side_mm - (studs * PITCH_MM - CLEARANCE_MM)).abs();
        (off < OFF_MM && (1.0..=f64::from(MOST_STUDS)).contains(&studs)).then_some(studs as u8)
    };
    let no_row = TraceError::NoRow {
        long_mm: sides_mm.1,
        short_mm: sides_mm.0,
    };
    let (short, long) = row(sides_mm.0).zip(row(sides_mm.1)).ok_or(no_row)?;
    let footprint = footprint(&points, &frame, (short, long), mm);
    let bench = Bench {
        view,
        camera: sight.camera,
        scale: EdgeScale::for_noise(sight.ground),
        kind_at: &|_, _| Kind::Outside,
    };
    let studs = footprint.stud_places((short, long)).into_iter();
    let studs = studs.filter(|cell| {
        let [x, y] = frame.px(*cell, (short, long));
        let middle = sight
            .camera
            .shadow_on_plane(place(x, y), height_mm + STUD_HEIGHT_MM / 2.0);
        bench.rim(middle) > STUD
    });
    let [x, y] = frame.px(
        [f64::from(long) / 2.0, f64::from(short) / 2.0],
        (short, long),
    );
    Ok(Traced {
        studs_box: (short, long),
        sides_mm,
        footprint,
        studs: studs.collect(),
        at: place(x, y),
        turn: frame.along[1].atan2(frame.along[0]),
    })
}

/// The median CIELAB of what lies within a few mm of a place.
fn body(sight: &Sight<'_>, seed: &Seed, at: Mm) -> [f32; 3] {
    let view = sight.view;
    let near = |p: &(usize, usize)| view.middle(p.0, p.1).distance(at) < BODY_MM;
    let labs: Vec<[f32; 3]> = seed
        .pixels()
        .filter(near)
        .map(|(row, column)| [0, 1, 2].map(|k| view.lab[(row, column, k)]))
        .collect();
    [0, 1, 2].map(|k| {
        let mut values: Vec<f32> = labs.iter().map(|lab| lab[k]).collect();
        values.sort_by(f32::total_cmp);
        values.get(values.len() / 2).copied().unwrap_or_default()
    })
}

/// Whether a pixel is more like the body than like the tray in any shade.
fn is_like(sight: &Sight<'_>, row: usize, column: usize, body: [f32; 3]) -> bool {
    let lab = [0, 1, 2].map(|k| sight.view.lab[(row, column, k)]);
    let tray = sight.ground.at(sight.view.middle(row, column));
    let off = |other: [f32; 3]| {
        let [l, a, b] = [0, 1, 2].map(|k| lab[k] - other[k]);
        // A body's flanks and folds differ in lightness more than in hue.
        (0.5 * l).hypot(a).hypot(b)
    };
    let shades = SHADES.map(|share| off(tray.map(|v| v * share)));
    shades.into_iter().all(|shade| off(body) < shade)
}

/// The footprint of a contour in its box.
fn footprint(points: &[Point<i32>], frame: &Frame, studs_box: (u8, u8), mm: f64) -> Footprint {
    // A contour runs through its pixels' middles.
    let area = contour_area(points).abs() + points.len() as f64 / 2.0;
    let filled = area / (frame.long_px * frame.short_px);
    if filled > RECTANGLE {
        return Footprint::Rectangle;
    }
    let is_square = studs_box.0 == studs_box.1;
    if is_square
        && (filled - std::f64::consts::FRAC_PI_4).abs() < DISC
        && !has_corner(points, frame)
    {
        return Footprint::Disc;
    }
    let rough = approximate_polygon_dp(points, ROUGH_MM / mm, true);
    let snapped = |p: &Point<i32>| {
        let at = frame.studs(f64::from(p.x), f64::from(p.y), studs_box);
        at.map(|v| (v * STEPS).round() / STEPS)
    };
    let mut corners: Vec<[f64; 2]> = rough.iter().map(snapped).collect();
    corners.dedup();
    while corners.len() > 1 && corners.first() == corners.last() {
        corners.pop();
    }
    // What lies on a straight line between its neighbours is no corner.
    loop {
        let n = corners.len();
        let flat = (0..n).find(|k| {
            let (a, b, c) = (corners[(k + n - 1) % n], corners[*k], corners[(k + 1) % n]);
            ((b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0])).abs() < 1e-9
        });
        match flat {
            Some(k) if n > 3 => {
                corners.remove(k);
            }
            _ => break,
        }
    }
    let (short, long) = (f64::from(studs_box.0), f64::from(studs_box.1));
    let in_box_corner =
        |c: &[f64; 2]| (c[0] == 0.0 || c[0] == long) && (c[1] == 0.0 || c[1] == short);
    if corners.len() == 4 && corners.iter().all(in_box_corner) {
        return Footprint::Rectangle;
    }
    Footprint::Corners(corners)
}

/// Whether a contour reaches into a corner of its box, as a disc does not.
fn has_corner(points: &[Point<i32>], frame: &Frame) -> bool {
    let near = |v: f64| !(0.12..=0.88).contains(&v);
    points.iter().any(|p| {
        let [u, v] = frame.studs(f64::from(p.x), f64::from(p.y), (1, 1));
        near(u) && near(v)
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::footprint::tests::BRACKET;
    use super::*;

    /// The contour of a footprint in studs, drawn at 4 px/mm and turned.
    fn contour(inside_it: &dyn Fn(f64, f64) -> bool, turn_deg: f64) -> (Vec<Point<i32>>, f64) {
        let per_mm = 4.0;
        let (sin, cos) = turn_deg.to_radians().sin_cos();
        let picture = GrayImage::from_fn(220, 220, |x, y| {
            let (dx, dy) = (f64::from(x) - 110.0, f64::from(y) - 110.0);
            // The list's y runs up, the picture's down.
            let (u, v) = (
                (dx * cos + dy * sin) / per_mm / 8.0,
                (dx * sin - dy * cos) / per_mm / 8.0,
            );
            Luma([if inside_it(u, v) { 255 } else { 0 }])
        });
        let contours = find_contours::<i32>(&picture).into_iter();
        let longest = contours.max_by_key(|contour| contour.points.len()).unwrap();
        (longest.points, 1.0 / per_mm)
    }

    fn traced_of(
        inside_it: &dyn Fn(f64, f64) -> bool,
        studs: (u8, u8),
        turn_deg: f64,
    ) -> Footprint {
        let (points, mm) = contour(inside_it, turn_deg);
        let frame = Frame::of(&points).unwrap();
        let (long, short) = (frame.long_px * mm, frame.short_px * mm);
        let due = |n: u8| f64::from(n) * PITCH_MM;
        assert!((long - due(studs.1)).abs() < 0.5, "{long} at {turn_deg}");
        assert!((short - due(studs.0)).abs() < 0.5, "{short} at {turn_deg}");
        footprint(&points, &frame, studs, mm)
    }

    #[test]
    fn a_footprint_is_the_same_however_it_is_turned() {
        let bracket = |u: f64, v: f64| u.abs() < 1.5 && v.abs() < 1.0 && (v < 0.0 || u < -0.5);
        for turn in [0.0, 17.0, 45.0, 123.0, 270.0] {
            let corners = match traced_of(&bracket, (2, 3), turn) {
                Footprint::Corners(corners) => corners,
                _ => Vec::new(),
            };
            // Either way round its box: the notch is at the upper right or the lower left.
            let other = BRACKET.map(|[x, y]| [3.0 - x, 2.0 - y]);
            let is = |wanted: &[[f64; 2]; 6]| {
                corners.len() == 6 && corners.iter().all(|c| wanted.contains(c))
            };
            assert!(is(&BRACKET) || is(&other), "{corners:?} at {turn}");
        }
        let block = |u: f64, v: f64| u.abs() < 1.0 && v.abs() < 0.5;
        assert_eq!(traced_of(&block, (1, 2), 33.0), Footprint::Rectangle);
        let disc = |u: f64, v: f64| u.hypot(v) < 1.0;
        assert_eq!(traced_of(&disc, (2, 2), 20.0), Footprint::Disc);
    }
}
