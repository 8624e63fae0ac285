//! A shape lying on the tray, and the silhouette it shows.

use super::face::{Body, Face};
use super::polygon::{convex_hull, swept};
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
        if self.face.is_flat() && self.shape.profile().is_some() {
            // A hollow of the profile hardly shows from above: the hull is its outline.
            let seen = |(at, height)| camera.shadow_on_plane(at, height);
            return convex_hull(self.corners().into_iter().map(seen).collect());
        }
        let base = self.footprint();
        let top = self.top_face(camera);
        if self.has_notch() {
            swept(&base, &top)
        } else {
            convex_hull(base.into_iter().chain(top).collect())
        }
    }

    /// Corners of a body that lies flat, and how high above the tray each is, mm.
    fn corners(&self) -> Vec<(Mm, f64)> {
        let corners = self.shape.corners().into_iter();
        let placed = |(along, across, height): (f64, f64, f64)| match self.face {
            Face::Down => (self.local(along, -across), self.shape.height_mm() - height),
            _ => (self.local(along, across), height),
        };
        corners.map(placed).collect()
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

    /// Where its top bends, on the tray plane as seen from the lens: from one side to the other.
    pub fn folds(&self, camera: &Camera) -> Vec<[Mm; 2]> {
        let folds = match self.face {
            Face::Up => self.shape.folds(),
            _ => Vec::new(),
        };
        let seen =
            |place: (f64, f64, f64)| camera.shadow_on_plane(self.local(place.0, place.1), place.2);
        folds.into_iter().map(|ends| ends.map(seen)).collect()
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
        let seen = |stud: &(f64, f64)| {
            let height = self.shape.foot_mm(*stud) + STUD_HEIGHT_MM / 2.0;
            camera.shadow_on_plane(self.local(stud.0, stud.1), height)
        };
        self.shape.studs().iter().map(seen).collect()
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::{Rotation3, Vector3};

    use super::super::list::tests::shape;
    use super::super::polygon::{area_and_middle, inside};
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
}
