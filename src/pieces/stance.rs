//! A shape lying on the tray, and the silhouette it shows.

use i_overlay::core::fill_rule::FillRule;
use i_overlay::float::simplify::SimplifyShape;

use super::face::{Body, Face};
use super::shape::{STUD_HEIGHT_MM, Shape};
use crate::units::{Mm, Px};
use crate::view::Camera;

/// A shape lying at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stance {
    /// What lies there.
    pub shape: Shape,
    /// Which way.
    pub face: Face,
    /// Middle of the footprint.
    pub at: Mm,
    /// Direction of the body's `along` side ([`Body`]), radians from the card's x axis towards its
    /// y axis.
    pub turn: f64,
}

impl Stance {
    /// The box that lies there.
    pub fn body(&self) -> Body {
        self.face.body(self.shape)
    }

    /// The place `(along, across)` mm from the middle, in the piece's own axes.
    pub fn local(&self, along: f64, across: f64) -> Mm {
        let (sin, cos) = self.turn.sin_cos();
        Mm::new(
            self.at.x + along * cos - across * sin,
            self.at.y + along * sin + across * cos,
        )
    }

    /// The footprint's corners in turn, in the piece's own axes.
    pub fn local_footprint(&self) -> Vec<(f64, f64)> {
        let outline = self.shape.outline().iter();
        match self.face {
            Face::Up => outline.copied().collect(),
            // Turned over about its long side.
            Face::Down => outline.map(|(along, across)| (*along, -across)).collect(),
            Face::Side | Face::End => {
                let body = self.body();
                let (a, b) = (body.along / 2.0, body.across / 2.0);
                vec![(-a, -b), (a, -b), (a, b), (-a, b)]
            }
        }
    }

    /// The footprint's corners in turn.
    pub fn footprint(&self) -> Vec<Mm> {
        let corners = self.local_footprint().into_iter();
        corners
            .map(|(along, across)| self.local(along, across))
            .collect()
    }

    /// Outline on the tray plane as seen from the lens: of all that lies between the
    /// footprint and the top face, which is moved away from the camera's foot.
    pub fn silhouette(&self, camera: &Camera) -> Vec<Mm> {
        let base = self.footprint();
        let top = self.top_face(camera);
        if self.has_notch() {
            swept(&base, &top)
        } else {
            convex_hull(base.into_iter().chain(top).collect())
        }
    }

    /// Whether the footprint is not convex.
    pub fn has_notch(&self) -> bool {
        self.face.is_flat() && self.shape.has_notch()
    }

    /// The same outline in the photo.
    pub fn silhouette_px(&self, camera: &Camera) -> Vec<Px> {
        self.silhouette(camera)
            .into_iter()
            .filter_map(|mm| camera.project(mm, 0.0))
            .collect()
    }

    /// Corners of the top face on the tray plane as seen from the lens.
    pub fn top_face(&self, camera: &Camera) -> Vec<Mm> {
        let height = self.body().height;
        let corners = self.footprint().into_iter();
        corners
            .map(|corner| camera.shadow_on_plane(corner, height))
            .collect()
    }

    /// Whether studs show on its top.
    pub fn studs_up(&self) -> bool {
        self.face == Face::Up && self.shape.has_studs()
    }

    /// Middles of the studs that show on top (half way up the stud) on the tray plane as seen
    /// from the lens.
    pub fn studs(&self, camera: &Camera) -> Vec<Mm> {
        if !self.studs_up() {
            return Vec::new();
        }
        let height = self.shape.height_mm() + STUD_HEIGHT_MM / 2.0;
        let middles = self.shape.studs().iter();
        middles
            .map(|(along, across)| camera.shadow_on_plane(self.local(*along, *across), height))
            .collect()
    }
}

/// Outline of all that lies between two polygons, corner by corner.
fn swept(base: &[Mm], top: &[Mm]) -> Vec<Mm> {
    let mut contours: Vec<Vec<[f64; 2]>> = [base, top]
        .map(|corners| corners.iter().map(|p| [p.x, p.y]).collect())
        .to_vec();
    for k in 0..base.len() {
        let next = (k + 1) % base.len();
        let side = [base[k], base[next], top[next], top[k]];
        contours.push(side.map(|p| [p.x, p.y]).to_vec());
    }
    // All one way round, so that what two of them cover does not cancel.
    for contour in &mut contours {
        let n = contour.len();
        let cross = |k: usize| {
            let (a, b) = (contour[k], contour[(k + 1) % n]);
            a[0] * b[1] - b[0] * a[1]
        };
        if (0..n).map(cross).sum::<f64>() < 0.0 {
            contour.reverse();
        }
    }
    let merged = contours.simplify_shape(FillRule::NonZero);
    let outer = merged
        .into_iter()
        .filter_map(|shape| shape.into_iter().next());
    let area = |contour: &Vec<[f64; 2]>| {
        let corners: Vec<(f64, f64)> = contour.iter().map(|p| (p[0], p[1])).collect();
        area_and_middle(&corners).0
    };
    let largest = outer.max_by(|a, b| area(a).total_cmp(&area(b)));
    let corners = largest.unwrap_or_default();
    corners.into_iter().map(|[x, y]| Mm::new(x, y)).collect()
}

/// Convex hull in order of angle (Andrew's monotone chain).
pub fn convex_hull(mut points: Vec<Mm>) -> Vec<Mm> {
    points.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    let turn = |o: &Mm, a: &Mm, b: &Mm| (a.x - o.x) * (b.y - o.y) - (a.y - o.y) * (b.x - o.x);
    let chain = |points: &mut dyn Iterator<Item = Mm>| {
        let mut hull: Vec<Mm> = Vec::new();
        for p in points {
            while let [.., a, b] = hull.as_slice() {
                if turn(a, b, &p) > 1e-12 {
                    break;
                }
                hull.pop();
            }
            hull.push(p);
        }
        hull.pop();
        hull
    };
    let mut hull = chain(&mut points.iter().copied());
    hull.extend(chain(&mut points.iter().rev().copied()));
    hull
}

/// Area and middle of a polygon (shoelace), in its own units.
pub fn area_and_middle(polygon: &[(f64, f64)]) -> (f64, (f64, f64)) {
    let (mut area, mut mx, mut my) = (0.0, 0.0, 0.0);
    for (i, a) in polygon.iter().enumerate() {
        let b = polygon[(i + 1) % polygon.len()];
        let cross = a.0 * b.1 - b.0 * a.1;
        area += cross / 2.0;
        mx += (a.0 + b.0) * cross / 6.0;
        my += (a.1 + b.1) * cross / 6.0;
    }
    if area.abs() < 1e-12 {
        return (0.0, polygon.first().copied().unwrap_or_default());
    }
    (area.abs(), (mx / area, my / area))
}

/// Whether a place lies inside a polygon: a line from there crosses it an odd number of times.
pub fn inside(polygon: &[Mm], at: Mm) -> bool {
    let mut odd = false;
    let mut from = polygon.last();
    for to in polygon {
        if let Some(from) = from.filter(|from| (from.y > at.y) != (to.y > at.y)) {
            let x = from.x + (at.y - from.y) / (to.y - from.y) * (to.x - from.x);
            odd ^= at.x < x;
        }
        from = Some(to);
    }
    odd
}

/// Whether two sides of a polygon meet elsewhere than in a corner that both share.
pub fn crossings(polygon: &[(f64, f64)]) -> bool {
    let n = polygon.len();
    let side = |k: usize| (polygon[k], polygon[(k + 1) % n]);
    let turn = |a: (f64, f64), b: (f64, f64), c: (f64, f64)| {
        let cross = (b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0);
        if cross == 0.0 { 0.0 } else { cross.signum() }
    };
    let overlap = |a: f64, b: f64, c: f64, d: f64| a.min(b) <= c.max(d) && c.min(d) <= a.max(b);
    let flat = |v: f64| v.abs() < 1e-12;
    (0..n).any(|i| {
        let (a, b) = side(i);
        let meets = |k: usize| {
            let (c, d) = side(k);
            overlap(a.0, b.0, c.0, d.0)
                && overlap(a.1, b.1, c.1, d.1)
                && turn(a, b, c) * turn(a, b, d) <= 0.0
                && turn(c, d, a) * turn(c, d, b) <= 0.0
        };
        let apart = |k: &usize| (i + 1) % n != *k && (k + 1) % n != i;
        flat(a.0 - b.0) && flat(a.1 - b.1) || (i + 1..n).filter(apart).any(meets)
    })
}

#[cfg(test)]
mod tests {
    use nalgebra::{Rotation3, Vector3};

    use super::super::list::tests::shape;
    use super::*;

    fn camera(height_mm: f64) -> Camera {
        Camera {
            focal_px: 3000.0,
            centre: Px::new(0.0, 0.0),
            k1: 0.0,
            rotation: Rotation3::identity(),
            translation: Vector3::new(0.0, 0.0, height_mm),
        }
    }

    fn stand(form: &str, size: &str, face: Face) -> Stance {
        Stance {
            shape: shape(form, size),
            face,
            at: Mm::new(60.0, -40.0),
            turn: 0.7,
        }
    }

    fn area(outline: &[Mm]) -> f64 {
        let corners: Vec<(f64, f64)> = outline.iter().map(|p| (p.x, p.y)).collect();
        area_and_middle(&corners).0
    }

    /// What the hull shows of a rectangle, the general way shows as well.
    #[test]
    fn both_ways_to_a_silhouette_agree() {
        for (form, size, face) in [
            ("brick", "2x4", Face::Up),
            ("tile", "1x8", Face::Up),
            ("plate", "1x2", Face::End),
            ("round", "2x2", Face::Up),
        ] {
            let stance = stand(form, size, face);
            let camera = camera(400.0);
            let hull = stance.silhouette(&camera);
            let general = swept(&stance.footprint(), &stance.top_face(&camera));
            let (a, b) = (area(&hull), area(&general));
            assert!((a - b).abs() < 1e-3 * a, "{form} {size}: {a} {b}");
        }
    }

    /// From very far above, a corner shows its footprint and no more; from near by its notch
    /// stays open but for the sides that show in it.
    #[test]
    fn a_notch_stays_open() {
        let stance = stand("corner", "2x2", Face::Up);
        let far = stance.silhouette(&camera(1e7));
        assert!((area(&far) - stance.shape.area_mm2()).abs() < 0.1);
        let camera = camera(300.0);
        let near = stance.silhouette(&camera);
        let full = stand("plate", "2x2", Face::Up);
        let open = area(&full.silhouette(&camera)) - area(&near);
        assert!((54.0..66.0).contains(&open), "{open}");
        assert!(inside(&near, stance.local(-4.0, 4.0)));
        assert!(!inside(&near, stance.local(4.5, -4.5)));
        // Turned over, the notch is on the other side.
        let over = Stance {
            face: Face::Down,
            ..stance
        };
        let over = over.silhouette(&camera);
        assert!(!inside(&over, stance.local(4.5, 4.5)));
        assert!(inside(&over, stance.local(4.0, -4.0)));
    }

    #[test]
    fn sides_that_cross_are_told() {
        let bow = [(0.0, 0.0), (2.0, 2.0), (2.0, 0.0), (0.0, 2.0)];
        let notch = [
            (0.0, 0.0),
            (2.0, 0.0),
            (2.0, 1.0),
            (1.0, 1.0),
            (1.0, 2.0),
            (0.0, 2.0),
        ];
        let touching = [(0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (2.0, 0.0), (0.0, 2.0)];
        // Two sides of one line that do not meet.
        let fork = [
            (0.0, 0.0),
            (3.0, 0.0),
            (3.0, 2.0),
            (2.0, 2.0),
            (2.0, 1.0),
            (1.0, 1.0),
            (1.0, 2.0),
            (0.0, 2.0),
        ];
        assert!(crossings(&bow) && crossings(&touching));
        assert!(!crossings(&notch) && !crossings(&fork));
    }
}
