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
/// (width, height). The lens is taken to be without distortion.
///
/// `None` where no camera above the tray sees them so.
pub fn recall_camera(
    corners_px: &[[f64; 2]; 4],
    height_mm: f64,
    size_px: (u32, u32),
) -> Option<Camera> {
    let design = CardDesign::v1();
    let pairs: Vec<(Mm, Px)> = design
        .corners_mm()
        .into_iter()
        .zip(corners_px.iter().map(|&[x, y]| Px::new(x, y)))
        .collect();
    let finite = pairs
        .iter()
        .all(|(_, px)| px.x.is_finite() && px.y.is_finite());
    if !(finite && height_mm.is_finite() && height_mm > 0.0) {
        return None;
    }
    let (width, height) = (f64::from(size_px.0), f64::from(size_px.1));
    let centre = Px::new(width / 2.0, height / 2.0);
    let mut focal = usual_focal_px(width, height);
    let mut camera = start_pose(&pairs, focal, centre)?;
    for _ in 0..ROUNDS {
        let seen = camera.height_mm();
        if !(seen.is_finite() && seen > 1.0) {
            return None;
        }
        focal *= height_mm / seen;
        camera = start_pose(&pairs, focal, centre)?;
    }
    camera.height_mm().is_finite().then_some(camera)
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
        recall_camera(&corners, camera.height_mm().round(), (4000, 3000)).unwrap()
    }

    /// All over a tray of 400 x 300 mm, at the tray and at a brick's height. 0.1 mm is
    /// what two decimals of a pixel in the corners leave at the far side.
    #[test]
    fn the_camera_comes_back_from_the_sheets_figures() {
        let true_camera = camera(0.0);
        let camera = recalled(&true_camera);
        for (x, y) in [(0.0, 0.0), (-80.0, 250.0), (330.0, 40.0), (300.0, 300.0)] {
            for height in [0.0, 9.6] {
                let px = true_camera.project(Mm::new(x, y), height).unwrap();
                let mm = camera.unproject(px, height).unwrap();
                let off = mm.distance(Mm::new(x, y));
                assert!(off < 0.1, "({x}, {y}) at {height} is off by {off} mm");
            }
        }
    }

    /// With distortion: an eighth of a stud is what an outline may be off.
    #[test]
    fn a_little_distortion_does_little_harm() {
        let true_camera = camera(0.01);
        let camera = recalled(&true_camera);
        for (x, y) in [(-80.0, 250.0), (330.0, 40.0), (300.0, 300.0)] {
            let px = true_camera.project(Mm::new(x, y), 0.0).unwrap();
            let off = camera.unproject(px, 0.0).unwrap().distance(Mm::new(x, y));
            assert!(off < 1.0, "({x}, {y}) is off by {off} mm");
        }
    }

    #[test]
    fn corners_of_no_card_give_no_camera() {
        assert!(recall_camera(&[[5.0, 5.0]; 4], 400.0, (4000, 3000)).is_none());
        let line = [[0.0, 0.0], [10.0, 0.0], [20.0, 0.0], [30.0, 0.0]];
        assert!(recall_camera(&line, 400.0, (4000, 3000)).is_none());
        // Counter-clockwise: the card's back.
        let back = [[10.0, 10.0], [10.0, 710.0], [1910.0, 710.0], [1910.0, 10.0]];
        assert!(recall_camera(&back, 400.0, (4000, 3000)).is_none());
        let good = [[10.0, 10.0], [1910.0, 10.0], [1910.0, 710.0], [10.0, 710.0]];
        assert!(recall_camera(&good, 0.0, (4000, 3000)).is_none());
        assert!(recall_camera(&good, f64::NAN, (4000, 3000)).is_none());
        assert!(recall_camera(&good, 400.0, (4000, 3000)).is_some());
    }
}
