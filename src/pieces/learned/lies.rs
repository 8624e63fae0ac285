//! The box that a piece's body fills as it lies, the way the net speaks of it: without studs,
//! the longer side first.

use super::super::face::Face;
use super::super::polygon::convex_hull;
use super::super::shape::{STUD_HEIGHT_MM, Shape};
use crate::units::Mm;
use crate::view::Camera;

/// The box that a piece's body fills as it lies, without studs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lies {
    /// The footprint's longer side, mm.
    pub long_mm: f64,
    /// The footprint's shorter side, mm.
    pub short_mm: f64,
    /// From the body's lowest to its highest place, mm.
    pub height_mm: f64,
    /// From the tray to the body's lowest place, mm: a stud's height where it lies on studs.
    pub lift_mm: f64,
}

impl Lies {
    /// The box of a shape; `None` for a square size on end, which is [`Face::Side`].
    pub fn of(shape: Shape, face: Face) -> Option<Self> {
        let (long, short, high) = (shape.long_mm(), shape.short_mm(), shape.height_mm());
        let (one, other, height_mm) = match face {
            Face::Up | Face::Down => (long, short, high),
            Face::Side => (long, high, short),
            Face::End if shape.is_square() => return None,
            Face::End => (short, high, long),
        };
        let on_studs = face == Face::Down && shape.has_studs();
        Some(Self {
            long_mm: one.max(other),
            short_mm: one.min(other),
            height_mm,
            lift_mm: if on_studs { STUD_HEIGHT_MM } else { 0.0 },
        })
    }

    /// Whether a quarter turn leaves the footprint as it was.
    pub fn is_square(&self) -> bool {
        self.long_mm - self.short_mm < 1e-9
    }

    /// The box's middle on the tray, from where its middle is seen on the tray's plane.
    pub fn at(&self, seen: Mm, camera: &Camera) -> Mm {
        let foot = camera.foot();
        let back = 1.0 - self.middle_mm() / camera.height_mm();
        Mm::new(
            foot.x + (seen.x - foot.x) * back,
            foot.y + (seen.y - foot.y) * back,
        )
    }

    /// Where the middle of a box at `at` is seen on the tray's plane; [`Self::at`] the other way.
    pub fn seen(&self, at: Mm, camera: &Camera) -> Mm {
        camera.shadow_on_plane(at, self.middle_mm())
    }

    /// From the tray to the box's middle, mm.
    pub fn middle_mm(&self) -> f64 {
        self.lift_mm + self.height_mm / 2.0
    }

    /// Corners of the box's outline on the tray, its middle at `at`, its longer side turned by `turn`.
    pub fn footprint(&self, at: Mm, turn: f64) -> [Mm; 4] {
        let (sin, cos) = turn.sin_cos();
        [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)].map(|(a, b)| {
            let (along, across) = (a * self.long_mm, b * self.short_mm);
            Mm::new(
                at.x + along * cos - across * sin,
                at.y + along * sin + across * cos,
            )
        })
    }

    /// The box's outline on the tray's plane as seen from the lens.
    pub fn silhouette(&self, at: Mm, turn: f64, camera: &Camera) -> Vec<Mm> {
        let base = self.footprint(at, turn);
        let level = |height| base.map(|corner| camera.shadow_on_plane(corner, height));
        let mut points = level(self.lift_mm).to_vec();
        points.extend(level(self.lift_mm + self.height_mm));
        convex_hull(points)
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::list::tests::shape;
    use super::*;

    fn lies(form: &str, size: &str, face: Face) -> Option<(f64, f64, f64, f64)> {
        let lies = Lies::of(shape(form, size), face)?;
        let tenth = |v: f64| (v * 10.0).round() / 10.0;
        Some((
            tenth(lies.long_mm),
            tenth(lies.short_mm),
            tenth(lies.height_mm),
            lies.lift_mm,
        ))
    }

    #[test]
    fn boxes_are_those_of_a_piece_in_the_hand() {
        let brick = |size, face| lies("brick", size, face);
        assert_eq!(brick("2x4", Face::Up), Some((31.8, 15.8, 9.6, 0.0)));
        assert_eq!(brick("2x4", Face::Down), Some((31.8, 15.8, 9.6, 1.7)));
        assert_eq!(brick("2x4", Face::Side), Some((31.8, 9.6, 15.8, 0.0)));
        assert_eq!(brick("2x4", Face::End), Some((15.8, 9.6, 31.8, 0.0)));
        // Higher than long: its longer side is its height.
        assert_eq!(brick("1x1", Face::Side), Some((9.6, 7.8, 7.8, 0.0)));
        assert_eq!(brick("1x1", Face::End), None);
        let tile = |face| lies("tile", "1x2", face);
        assert_eq!(tile(Face::Down), Some((15.8, 7.8, 3.2, 0.0)));
        assert_eq!(tile(Face::End), Some((7.8, 3.2, 15.8, 0.0)));
    }
}
