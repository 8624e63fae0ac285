//! A shape lying on the tray, and the silhouette it shows.

use super::face::{Body, Face};
use super::shape::{PITCH_MM, STUD_HEIGHT_MM, Shape};
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

    /// The footprint's corners in turn.
    pub fn footprint(&self) -> [Mm; 4] {
        let body = self.body();
        let (a, b) = (body.along / 2.0, body.across / 2.0);
        [
            self.local(-a, -b),
            self.local(a, -b),
            self.local(a, b),
            self.local(-a, b),
        ]
    }

    /// Outline on the tray plane as seen from the lens: the hull of the
    /// footprint and of the top face moved away from the camera's foot.
    pub fn silhouette(&self, camera: &Camera) -> Vec<Mm> {
        let height = self.body().height;
        let base = self.footprint();
        let mut points: Vec<Mm> = base.to_vec();
        points.extend(
            base.iter()
                .map(|corner| camera.shadow_on_plane(*corner, height)),
        );
        convex_hull(points)
    }

    /// The same outline in the photo.
    pub fn silhouette_px(&self, camera: &Camera) -> Vec<Px> {
        self.silhouette(camera)
            .into_iter()
            .filter_map(|mm| camera.project(mm, 0.0))
            .collect()
    }

    /// Corners of the top face on the tray plane as seen from the lens.
    pub fn top_face(&self, camera: &Camera) -> [Mm; 4] {
        let height = self.body().height;
        self.footprint()
            .map(|corner| camera.shadow_on_plane(corner, height))
    }

    /// Whether studs show on its top.
    pub fn studs_up(&self) -> bool {
        self.face == Face::Up && self.shape.form.has_studs()
    }

    /// Middles of the studs that show on top (half way up the stud) on the tray plane as seen
    /// from the lens.
    pub fn studs(&self, camera: &Camera) -> Vec<Mm> {
        if !self.studs_up() {
            return Vec::new();
        }
        let height = self.shape.form.height_mm() + STUD_HEIGHT_MM / 2.0;
        let mut middles = Vec::new();
        for i in 0..self.shape.long {
            for j in 0..self.shape.short {
                let along = (f64::from(i) - f64::from(self.shape.long - 1) / 2.0) * PITCH_MM;
                let across = (f64::from(j) - f64::from(self.shape.short - 1) / 2.0) * PITCH_MM;
                middles.push(camera.shadow_on_plane(self.local(along, across), height));
            }
        }
        middles
    }
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

/// Whether a place lies inside a convex polygon given in order.
pub fn inside_convex(polygon: &[Mm], at: Mm) -> bool {
    let mut sign = 0.0f64;
    for (i, a) in polygon.iter().enumerate() {
        let b = polygon[(i + 1) % polygon.len()];
        let cross = (b.x - a.x) * (at.y - a.y) - (b.y - a.y) * (at.x - a.x);
        if cross * sign < 0.0 {
            return false;
        }
        if cross != 0.0 {
            sign = cross;
        }
    }
    true
}
