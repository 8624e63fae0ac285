//! A shape as one sees it from in front, from the right and from above, so that somebody sees what
//! they wrote into the list.

use super::profile::{Along, Profile};
use super::shape::{STUD_HEIGHT_MM, STUD_RADIUS_MM, Shape};
use crate::drawing::{Drawing, Ink, Segment};
use crate::units::Mm;

/// Ink of what faces up, the right, the viewer, and of what slants in between.
const UP: Ink = Ink([190, 208, 220]);
const RIGHT: Ink = Ink([96, 124, 146]);
const FRONT: Ink = Ink([134, 160, 180]);
const SLANTED: Ink = Ink([160, 184, 200]);
/// The inside of an opening.
const INSIDE: Ink = Ink([70, 92, 110]);
/// Rims of studs.
const RIM: Ink = Ink([84, 110, 130]);
/// Lines along the sides of faces.
const LINE: Ink = Ink([40, 56, 70]);
/// Their thickness as drawn, mm.
const LINE_MM: f64 = 0.28;
/// How far a cubic's control points stand off to draw a quarter of a circle of radius 1.
const QUARTER_ARC: f64 = 0.552_284_75;
/// More of a surface faces a direction than this, of 1, or it does not face it.
const FACES: f64 = 1e-9;

/// A place of the shape: along, across (towards the viewer), up; mm.
type Place = (f64, f64, f64);

/// Draws a shape, scaled (1 for its true size along its height), in a drawing as large as it takes.
pub fn drawn(shape: Shape, scale: f64) -> Drawing {
    let mut faces = faces(shape);
    faces.sort_by(|a, b| (a.layer.cmp(&b.layer)).then(a.depth.total_cmp(&b.depth)));
    let mut paint: Vec<(Vec<Segment>, Ink)> = Vec::new();
    for face in &faces {
        paint.push((polygon(&face.corners, scale), face.ink));
        // A round wall has no edges but its rims.
        let is_facet = shape.is_round() && face.layer == Layer::Side;
        let sides = face.corners.iter().zip(face.corners.iter().cycle().skip(1));
        let sides = sides.filter(|(from, to)| !is_facet || from.2 == to.2);
        paint.extend(sides.map(|(from, to)| (line(*from, *to, scale), LINE)));
    }
    let mut studs = shape.studs().to_vec();
    studs.sort_by(|a, b| (a.0 + a.1).total_cmp(&(b.0 + b.1)));
    for stud in studs {
        paint.extend(stud_drawn(stud, shape.foot_mm(stud), scale));
    }
    framed(paint)
}

/// A flat part of the surface that can be seen.
struct Face {
    corners: Vec<Place>,
    ink: Ink,
    /// What is drawn first; of one layer the furthest first.
    layer: Layer,
    /// How near it is.
    depth: f64,
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Layer {
    /// Upright sides, and what shows in an opening.
    Side,
    /// What faces up.
    Top,
    /// The end of a profile.
    End,
    /// What nothing is before.
    Front,
}

fn faces(shape: Shape) -> Vec<Face> {
    match shape.profile() {
        Some(profile) => faces_of(profile, shape),
        None => {
            let outline = shape.outline();
            let high = shape.height_mm();
            let mut faces = walls(outline, high);
            let top = outline.iter().map(|p| (p.0, p.1, high)).collect();
            faces.push(Face {
                corners: top,
                ink: UP,
                layer: Layer::Front,
                depth: 0.0,
            });
            faces
        }
    }
}

/// The upright sides of a footprint that look this way.
fn walls(outline: &[(f64, f64)], high: f64) -> Vec<Face> {
    let twice: f64 = (outline.iter().zip(outline.iter().cycle().skip(1)))
        .map(|(a, b)| a.0 * b.1 - b.0 * a.1)
        .sum();
    let sides = outline.iter().zip(outline.iter().cycle().skip(1));
    sides
        .filter_map(|(a, b)| {
            // The normal that points outwards, whichever way round the corners go.
            let (dx, dy) = (b.0 - a.0, b.1 - a.1);
            let normal = (dy * twice.signum(), -dx * twice.signum());
            let corners = vec![
                (a.0, a.1, 0.0),
                (b.0, b.1, 0.0),
                (b.0, b.1, high),
                (a.0, a.1, high),
            ];
            (normal.0 + normal.1 > FACES).then(|| Face {
                corners,
                ink: upright_ink(normal),
                layer: Layer::Side,
                depth: (a.0 + b.0 + a.1 + b.1) / 2.0,
            })
        })
        .collect()
}

/// Between the ink of what faces the viewer and of what faces the right.
fn upright_ink((right, front): (f64, f64)) -> Ink {
    let length = right.hypot(front).max(FACES);
    let share = (right / length).clamp(0.0, 1.0).powi(2);
    let mixed = |k: usize| {
        let (from, to) = (f64::from(FRONT.0[k]), f64::from(RIGHT.0[k]));
        (from + share * (to - from)).round() as u8
    };
    Ink([mixed(0), mixed(1), mixed(2)])
}

/// The surface over and under a profile, and its two ends.
fn faces_of(profile: &Profile, shape: Shape) -> Vec<Face> {
    let half = shape.across_mm(profile) / 2.0;
    let at = |distance: f64, width: f64, height: f64| match profile.along() {
        Along::Long => (distance, width, height),
        Along::Short => (width, distance, height),
    };
    let strip = |a: (f64, f64), b: (f64, f64)| {
        [(a, -half), (a, half), (b, half), (b, -half)]
            .map(|(corner, width)| at(corner.0, width, corner.1))
            .to_vec()
    };
    let along_end = match profile.along() {
        Along::Long => (RIGHT, FRONT),
        Along::Short => (FRONT, RIGHT),
    };
    let mut faces = Vec::new();
    let top = profile.top();
    for pair in top.windows(2) {
        let (dx, dz) = (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1);
        // Up and, where it falls, the way that it falls: seen unless it rises steeply this way.
        if dx - dz > FACES {
            faces.push(Face {
                corners: strip(pair[0], pair[1]),
                ink: match (dx.abs() < FACES, dz.abs() < FACES) {
                    (true, _) => along_end.0,
                    (_, true) => UP,
                    _ => SLANTED,
                },
                layer: Layer::Top,
                depth: pair[0].0,
            });
        }
    }
    // Of what is cut away below one sees what rises this way.
    let bottom = profile.bottom();
    for pair in bottom.windows(2) {
        let (dx, dz) = (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1);
        if dz > dx + FACES {
            faces.push(Face {
                corners: strip(pair[0], pair[1]),
                ink: INSIDE,
                layer: Layer::Side,
                depth: pair[0].0,
            });
        }
    }
    if let (Some(high), Some(low)) = (top.last(), bottom.last()) {
        faces.push(Face {
            corners: strip(*low, *high),
            ink: along_end.0,
            layer: Layer::End,
            depth: 0.0,
        });
    }
    let line = bottom.iter().chain(top.iter().rev());
    faces.push(Face {
        corners: line.map(|corner| at(corner.0, half, corner.1)).collect(),
        ink: along_end.1,
        layer: Layer::Front,
        depth: 0.0,
    });
    faces
}

/// Where a place is drawn: the long side runs to the lower right, the short one to the lower left.
fn seen((along, across, up): Place, scale: f64) -> Mm {
    let level = 30f64.to_radians();
    Mm::new(
        (along - across) * level.cos() * scale,
        ((along + across) * level.sin() - up) * scale,
    )
}

fn polygon(corners: &[Place], scale: f64) -> Vec<Segment> {
    let mut path: Vec<Segment> = Vec::new();
    for (k, corner) in corners.iter().enumerate() {
        let at = seen(*corner, scale);
        path.push(if k == 0 {
            Segment::Move(at)
        } else {
            Segment::Line(at)
        });
    }
    path.push(Segment::Close);
    path
}

/// A thin line; nothing for one of no length.
fn line(from: Place, to: Place, scale: f64) -> Vec<Segment> {
    let (a, b) = (seen(from, scale), seen(to, scale));
    let length = a.distance(b);
    if length < 1e-6 {
        return Vec::new();
    }
    let (nx, ny) = (
        (a.y - b.y) / length * LINE_MM / 2.0,
        (b.x - a.x) / length * LINE_MM / 2.0,
    );
    vec![
        Segment::Move(Mm::new(a.x + nx, a.y + ny)),
        Segment::Line(Mm::new(b.x + nx, b.y + ny)),
        Segment::Line(Mm::new(b.x - nx, b.y - ny)),
        Segment::Line(Mm::new(a.x - nx, a.y - ny)),
        Segment::Close,
    ]
}

/// A stud: its side from foot to top with a dark rim, then its top.
fn stud_drawn(stud: (f64, f64), foot: f64, scale: f64) -> Vec<(Vec<Segment>, Ink)> {
    let middle = |up: f64| seen((stud.0, stud.1, up), scale);
    // A level circle of radius r is an ellipse of these half axes.
    let wide = STUD_RADIUS_MM * 1.5f64.sqrt() * scale;
    let deep = STUD_RADIUS_MM * 0.5f64.sqrt() * scale;
    let (low, high) = (middle(foot), middle(foot + STUD_HEIGHT_MM));
    let side = |by: f64| {
        let (w, d) = (wide + by, deep + by);
        let mut path = vec![
            Segment::Move(Mm::new(high.x - w, high.y)),
            Segment::Line(Mm::new(low.x - w, low.y)),
        ];
        path.extend(half_ellipse(low, (-w, d)));
        path.push(Segment::Line(Mm::new(high.x + w, high.y)));
        path.extend(half_ellipse(high, (w, -d)));
        path.push(Segment::Close);
        path
    };
    let mut top = vec![Segment::Move(Mm::new(high.x - wide, high.y))];
    top.extend(half_ellipse(high, (-wide, deep)));
    top.extend(half_ellipse(high, (wide, -deep)));
    top.push(Segment::Close);
    vec![
        (side(LINE_MM / 2.0), LINE),
        (side(-LINE_MM / 2.0), RIM),
        (top, UP),
    ]
}

/// Half of an ellipse about `middle`, from its point at `(from, 0)` by way of `(0, by)` to `(-from, 0)`.
fn half_ellipse(middle: Mm, (from, by): (f64, f64)) -> [Segment; 2] {
    let at = |x: f64, y: f64| Mm::new(middle.x + x, middle.y + y);
    let (a, b) = (from * QUARTER_ARC, by * QUARTER_ARC);
    [
        Segment::Cubic(at(from, b), at(a, by), at(0.0, by)),
        Segment::Cubic(at(-a, by), at(-from, b), at(-from, 0.0)),
    ]
}

/// All of it moved into a drawing that it fills, without a background.
fn framed(paint: Vec<(Vec<Segment>, Ink)>) -> Drawing {
    let (mut low, mut high) = (Mm::new(f64::MAX, f64::MAX), Mm::new(f64::MIN, f64::MIN));
    for point in paint.iter().flat_map(|(path, _)| path).filter_map(end) {
        low = Mm::new(low.x.min(point.x), low.y.min(point.y));
        high = Mm::new(high.x.max(point.x), high.y.max(point.y));
    }
    let mut drawing = Drawing {
        width_mm: (high.x - low.x).max(0.0) + 2.0 * LINE_MM,
        height_mm: (high.y - low.y).max(0.0) + 2.0 * LINE_MM,
        shapes: Vec::new(),
    };
    let moved = |p: Mm| Mm::new(p.x - low.x + LINE_MM, p.y - low.y + LINE_MM);
    for (path, ink) in paint.into_iter().filter(|(path, _)| !path.is_empty()) {
        drawing.path(path.into_iter().map(|step| step.map(moved)).collect(), ink);
    }
    drawing
}

/// Where a step ends.
fn end(step: &Segment) -> Option<Mm> {
    match step {
        Segment::Move(p) | Segment::Line(p) | Segment::Quad(_, p) | Segment::Cubic(_, _, p) => {
            Some(*p)
        }
        Segment::Close => None,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::list::Shapes;
    use super::super::list::tests::shape;
    use super::super::polygon::area_and_middle;
    use super::*;

    /// Area of what is painted with an ink, mm² as drawn; studs aside.
    fn painted(drawing: &Drawing, ink: Ink) -> f64 {
        let of_ink = drawing.shapes.iter().filter(|one| one.ink == ink);
        of_ink
            .map(|one| match &one.outline {
                crate::drawing::Outline::Path(path) => {
                    let corners: Vec<(f64, f64)> =
                        path.iter().filter_map(end).map(|p| (p.x, p.y)).collect();
                    area_and_middle(&corners).0
                }
                crate::drawing::Outline::Rect { .. } => 0.0,
            })
            .sum()
    }

    /// By hand: level, an area shows as cos 30° of it (2 cos 30° sin 30°); upright, a wall as cos 30°.
    #[test]
    fn faces_are_as_large_as_they_look_from_there() {
        let tile = drawn(shape("tile", "2x4"), 1.0);
        let cos = 30f64.to_radians().cos();
        assert!((painted(&tile, UP) - 31.8 * 15.8 * cos).abs() < 0.01);
        assert!((painted(&tile, FRONT) - 31.8 * 3.2 * cos).abs() < 0.01);
        assert!((painted(&tile, RIGHT) - 15.8 * 3.2 * cos).abs() < 0.01);
        let half = drawn(shape("tile", "2x4"), 0.5);
        let width = |drawing: &Drawing| drawing.width_mm - LINE_MM * 2.0;
        assert!((width(&half) * 2.0 - width(&tile)).abs() < 0.5);
    }

    #[test]
    fn a_slope_shows_its_roof_and_an_arch_its_opening() {
        let text = r#"{"shapes": "v2", "pieces": [
            {"form": "roof", "sizes": ["2x2"], "height_mm": 9.6, "studs": [[0.5, 0.5], [0.5, 1.5]],
             "profile": {"top": [[0, 9.6], [1, 9.6], [2, 1.6]]}},
            {"form": "gate", "sizes": ["1x4"], "height_mm": 9.6, "studs": "all",
             "profile": {"bottom": [[0, 0], [1, 0], [1, 7], [3, 7], [3, 0], [4, 0]]}}]}"#;
        let list = Shapes::shipped().extended(text).unwrap();
        let roof = drawn(list.named("roof", "2x2").unwrap(), 1.0);
        assert!(painted(&roof, SLANTED) > 50.0 && painted(&roof, INSIDE) == 0.0);
        let gate = drawn(list.named("gate", "1x4").unwrap(), 1.0);
        assert!(painted(&gate, INSIDE) > 10.0 && painted(&gate, SLANTED) == 0.0);
        // By hand: the front is 31.8 x 9.6 less an opening of two studs, 15.9 mm of 31.8, x 7.
        let front = (31.8 * 9.6 - 31.8 / 2.0 * 7.0) * 30f64.to_radians().cos();
        assert!((painted(&gate, FRONT) - front).abs() < 0.1);
    }
}
