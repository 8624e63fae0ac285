//! The camera again, from what a sheet says of the card.

use super::camera::Camera;
use super::pose::{start_pose, usual_focal_px};
use crate::card::design::CardDesign;
use crate::units::{Mm, Px};

/// Rounds of bringing the focal length in line with the height. Seen from above the
/// height is all but proportional to it, so each round gains some digits.
const ROUNDS: usize = 6;

/// The camera that sees the card's outer corners at `corners_px` (clockwise from its
/// own top left) from `height_mm` above the tray, in an upright photo of `size_px`
/// (width, height), through a lens with the radial term `k1`.
///
/// `None` where no camera above the tray sees them so.
pub fn recall_camera(
    corners_px: &[[f64; 2]; 4],
    height_mm: f64,
    k1: f64,
    size_px: (u32, u32),
) -> Option<Camera> {
    let corners = corners_px.map(|[x, y]| Px::new(x, y));
    let finite = corners
        .iter()
        .all(|px| px.x.is_finite() && px.y.is_finite());
    // A lens that bends more than this is no phone's, and has no inverse all over.
    if !(finite && height_mm.is_finite() && height_mm > 0.0 && k1.abs() < 0.2) {
        return None;
    }
    let (width, height) = (f64::from(size_px.0), f64::from(size_px.1));
    let centre = Px::new(width / 2.0, height / 2.0);
    let mut focal = usual_focal_px(width, height);
    let pose = |focal: f64| {
        let unbent = corners.map(|px| unbend(px, centre, focal, k1));
        let mm = CardDesign::v1().corners_mm();
        let pairs: Vec<(Mm, Px)> = mm.into_iter().zip(unbent).collect();
        start_pose(&pairs, focal, centre)
    };
    let mut camera = pose(focal)?;
    for _ in 0..ROUNDS {
        let seen = camera.height_mm();
        if !(seen.is_finite() && seen > 1.0) {
            return None;
        }
        focal *= height_mm / seen;
        camera = pose(focal)?;
    }
    camera.k1 = k1;
    camera.height_mm().is_finite().then_some(camera)
}

/// Where a lens without the radial term would show what is seen at `px`: the fixed
/// point that [`Camera::unproject`] takes too.
fn unbend(px: Px, centre: Px, focal: f64, k1: f64) -> Px {
    let (u, v) = ((px.x - centre.x) / focal, (px.y - centre.y) / focal);
    let (mut x, mut y) = (u, v);
    for _ in 0..12 {
        let bend = 1.0 + k1 * (x * x + y * y);
        (x, y) = (u / bend, v / bend);
    }
    Px::new(centre.x + focal * x, centre.y + focal * y)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use nalgebra::{Rotation3, Vector3};

    /// A camera that is tilted, turned and off the card's middle, and has the little
    /// distortion that phones leave.
    fn camera(k1: f64) -> Camera {
        let rotation = Rotation3::from_euler_angles(0.05, -0.08, 2.7);
        let eye = Vector3::new(130.0, 190.0, -430.0);
        Camera {
            focal_px: 3050.0,
            centre: Px::new(2000.0, 1500.0),
            k1,
            translation: -(rotation * eye),
            rotation,
        }
    }

    fn recalled(camera: &Camera) -> Camera {
        // Rounded as a sheet rounds them.
        let corners = CardDesign::v1().corners_mm().map(|mm| {
            let px = camera.project(mm, 0.0).unwrap();
            [px.x, px.y].map(|v| (v * 100.0).round() / 100.0)
        });
        recall_camera(
            &corners,
            camera.height_mm().round(),
            camera.k1,
            (4000, 3000),
        )
        .unwrap()
    }

    /// All over a tray of 400 x 300 mm, at the tray and at a brick's height, for the
    /// lenses of the sample photos. 0.1 mm is what two decimals of a pixel in the corners
    /// and a height in whole mm leave at the far side.
    #[test]
    fn the_camera_comes_back_from_the_sheets_figures() {
        for k1 in [0.0, 0.01, -0.015] {
            let true_camera = camera(k1);
            let camera = recalled(&true_camera);
            for (x, y) in [(0.0, 0.0), (-80.0, 250.0), (330.0, 40.0), (300.0, 300.0)] {
                for height in [0.0, 9.6] {
                    let px = true_camera.project(Mm::new(x, y), height).unwrap();
                    let mm = camera.unproject(px, height).unwrap();
                    let off = mm.distance(Mm::new(x, y));
                    assert!(
                        off < 0.1,
                        "({x}, {y}) at {height}, k1 {k1}: off by {off} mm"
                    );
                }
            }
        }
    }

    #[test]
    fn corners_of_no_card_give_no_camera() {
        assert!(recall_camera(&[[5.0, 5.0]; 4], 400.0, 0.0, (4000, 3000)).is_none());
        let line = [[0.0, 0.0], [10.0, 0.0], [20.0, 0.0], [30.0, 0.0]];
        assert!(recall_camera(&line, 400.0, 0.0, (4000, 3000)).is_none());
        // Counter-clockwise: the card's back.
        let back = [[10.0, 10.0], [10.0, 710.0], [1910.0, 710.0], [1910.0, 10.0]];
        assert!(recall_camera(&back, 400.0, 0.0, (4000, 3000)).is_none());
        let good = [[10.0, 10.0], [1910.0, 10.0], [1910.0, 710.0], [10.0, 710.0]];
        assert!(recall_camera(&good, 0.0, 0.0, (4000, 3000)).is_none());
        assert!(recall_camera(&good, f64::NAN, 0.0, (4000, 3000)).is_none());
        assert!(recall_camera(&good, 400.0, f64::NAN, (4000, 3000)).is_none());
        assert!(recall_camera(&good, 400.0, 0.0, (4000, 3000)).is_some());
    }
}
