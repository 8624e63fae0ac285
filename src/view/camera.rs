//! A pinhole camera with one radial distortion term over the tray's plane.

use nalgebra::{Matrix3, Point3, Rotation3, Vector3};

use crate::units::{Mm, Px};

/// A camera's intrinsics and where it stands.
///
/// A world point X is seen at `c + f (1 + k1 r^2) (x, y)` with
/// `(x, y, 1) ~ rotation X + translation` and `r^2 = x^2 + y^2`.
#[derive(Clone, Debug, PartialEq)]
pub struct Camera {
    /// Focal length in pixels.
    pub focal_px: f64,
    /// Principal point.
    pub centre: Px,
    /// First radial distortion coefficient (no unit).
    pub k1: f64,
    /// World to camera.
    pub rotation: Rotation3<f64>,
    /// World origin in the camera's frame, mm.
    pub translation: Vector3<f64>,
}

impl Camera {
    /// Where a point at `height_mm` above the plane place `at` is seen; `None` behind the lens.
    pub fn project(&self, at: Mm, height_mm: f64) -> Option<Px> {
        let seen = self.rotation * Vector3::new(at.x, at.y, -height_mm) + self.translation;
        if seen.z < 1.0 {
            return None;
        }
        let (x, y) = (seen.x / seen.z, seen.y / seen.z);
        let bend = 1.0 + self.k1 * (x * x + y * y);
        Some(Px::new(
            self.centre.x + self.focal_px * bend * x,
            self.centre.y + self.focal_px * bend * y,
        ))
    }

    /// The place seen at `px` on the plane `height_mm` above the tray; `None` above the horizon.
    pub fn unproject(&self, px: Px, height_mm: f64) -> Option<Mm> {
        let (u, v) = (
            (px.x - self.centre.x) / self.focal_px,
            (px.y - self.centre.y) / self.focal_px,
        );
        // Fixed-point inversion of the distortion: |k1| r^2 is small, so a few
        // rounds reach far below a thousandth of a pixel.
        let (mut x, mut y) = (u, v);
        for _ in 0..12 {
            let bend = 1.0 + self.k1 * (x * x + y * y);
            if bend < 0.5 {
                return None;
            }
            (x, y) = (u / bend, v / bend);
        }
        let ray = self.rotation.inverse() * Vector3::new(x, y, 1.0);
        let eye = self.eye();
        let steps = (-height_mm - eye.z) / ray.z;
        if !steps.is_finite() || steps <= 0.0 {
            return None;
        }
        Some(Mm::new(eye.x + steps * ray.x, eye.y + steps * ray.y))
    }

    /// The lens in world coordinates (z negative: above the tray).
    pub fn eye(&self) -> Point3<f64> {
        Point3::from(-(self.rotation.inverse() * self.translation))
    }

    /// Height of the lens above the tray, mm.
    pub fn height_mm(&self) -> f64 {
        -self.eye().z
    }

    /// The tray place straight below the lens.
    pub fn foot(&self) -> Mm {
        let eye = self.eye();
        Mm::new(eye.x, eye.y)
    }

    /// Angle between the optical axis and the tray's normal, degrees.
    pub fn tilt_deg(&self) -> f64 {
        let axis: Matrix3<f64> = self.rotation.into_inner();
        axis[(2, 2)].clamp(-1.0, 1.0).acos().to_degrees()
    }

    /// Where a point at `height_mm` over `at` lands on the tray plane along its line of sight.
    ///
    /// In the metric view (the plane seen through the camera) raised points move
    /// away from the camera's foot by h / (H - h).
    pub fn shadow_on_plane(&self, at: Mm, height_mm: f64) -> Mm {
        let foot = self.foot();
        let stretch = self.height_mm() / (self.height_mm() - height_mm);
        Mm::new(
            foot.x + (at.x - foot.x) * stretch,
            foot.y + (at.y - foot.y) * stretch,
        )
    }

    /// Millimetres of tray that one pixel spans around a tray place (geometric mean of both axes).
    pub fn mm_per_px(&self, at: Mm) -> Option<f64> {
        let base = self.project(at, 0.0)?;
        let right = self.project(Mm::new(at.x + 1.0, at.y), 0.0)?;
        let down = self.project(Mm::new(at.x, at.y + 1.0), 0.0)?;
        let area = (right.x - base.x) * (down.y - base.y) - (right.y - base.y) * (down.x - base.x);
        (area > 1e-12).then(|| 1.0 / area.sqrt())
    }
}
