//! Fits the camera to the card's tag corners.
//!
//! One plane says little about the focal length when the camera looks straight
//! down, so the focal length carries a prior: the EXIF value where there is
//! one, otherwise what phones' main cameras have.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::{DMatrix, DVector, Dyn, Matrix3, Owned, Rotation3, Vector3};
use thiserror::Error;

use super::camera::Camera;
use super::homography::homography;
use crate::card::FoundCard;
use crate::card::design::CardDesign;
use crate::numbers::median;
use crate::units::{Mm, Px};

/// Diagonal of the 36 x 24 mm frame that the 35 mm-equivalent focal length refers to.
const FULL_FRAME_DIAGONAL_MM: f64 = 43.267;
/// Main cameras of phones lie around 24 to 28 mm-equivalent (common practice, no source).
const USUAL_FOCAL_35MM: f64 = 26.5;
/// How far the EXIF focal length may be off (relative): makers round, crop and
/// measure along the width instead of the diagonal.
const EXIF_SIGMA: f64 = 0.03;
/// Without EXIF: covers 22 to 32 mm-equivalent within two sigma.
const USUAL_SIGMA: f64 = 0.09;
/// Phones correct their lens before saving; what is left is small.
const K1_SIGMA: f64 = 0.01;
/// A print's ink spreads and a photo's tone curve moves edges: all tags look
/// larger or smaller by the same margin. How far, mm.
const SPREAD_SIGMA_MM: f64 = 0.1;
/// Corner noise assumed for weighing the priors, px.
const CORNER_SIGMA_PX: f64 = 0.15;
/// A median misfit beyond this share of a tag's side means that the card is not flat.
const MISFIT_SHARE: f64 = 0.08;

/// The camera, and how well it explains the card.
#[derive(Clone, Debug, PartialEq)]
pub struct Pose {
    /// The fitted camera.
    pub camera: Camera,
    /// Distance of each used corner from its model, px, in tag order.
    pub residuals_px: Vec<f64>,
    /// Whether the photo's EXIF gave the focal length.
    pub focal_known: bool,
}

impl Pose {
    /// Median corner residual, px.
    pub fn median_residual_px(&self) -> f64 {
        median(self.residuals_px.iter().copied()).unwrap_or(0.0)
    }
}

/// Why no pose could be had.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum PoseError {
    /// The tags are not where a flat card has them.
    #[error(
        "the card's tags do not fit one flat card (off by {0:.1} px); lay the card flat, unfolded and in one piece, and take the photo again"
    )]
    NotFlat(f64),
    /// The corners determine no view of a plane from above.
    #[error(
        "the card is seen at too steep an angle to measure by; take the photo from straight above"
    )]
    Degenerate,
}

/// Fits the camera to a found card.
///
/// `size_px` is the upright photo's width and height, `focal_35mm` the EXIF
/// 35 mm-equivalent focal length where known.
///
/// # Errors
/// [`PoseError`] when the tags fit no flat card seen from above.
pub fn fit_pose(
    card: &FoundCard,
    design: &CardDesign,
    size_px: (u32, u32),
    focal_35mm: Option<f64>,
) -> Result<Pose, PoseError> {
    let pairs = corner_pairs(card, design);
    let (width, height) = (f64::from(size_px.0), f64::from(size_px.1));
    let prior_focal = focal_35mm.map_or_else(
        || usual_focal_px(width, height),
        |focal| focal / FULL_FRAME_DIAGONAL_MM * width.hypot(height),
    );
    let prior_sigma = if focal_35mm.is_some() {
        EXIF_SIGMA
    } else {
        USUAL_SIGMA
    };
    let centre = Px::new(width / 2.0, height / 2.0);
    let plain: Vec<(Mm, Px)> = pairs.iter().map(|c| (c.mm, c.px)).collect();
    let start = start_pose(&plain, prior_focal, centre).ok_or(PoseError::Degenerate)?;
    let problem = Problem {
        params: to_params(&start),
        pairs: &pairs,
        centre,
        log_focal: prior_focal.ln(),
        log_focal_sigma: prior_sigma,
    };
    let (fitted, _report) = LevenbergMarquardt::new()
        .with_patience(50)
        .minimize(problem);
    let camera = from_params(&fitted.params, centre);
    let spread = fitted.params[8];
    let residuals_px: Vec<f64> = pairs
        .iter()
        .map(|corner| {
            let seen = camera.project(corner.spread(spread), 0.0);
            seen.map_or(f64::INFINITY, |seen| seen.distance(corner.px))
        })
        .collect();
    let pose = Pose {
        camera,
        residuals_px,
        focal_known: focal_35mm.is_some(),
    };
    let median = pose.median_residual_px();
    let side = card
        .tags
        .first()
        .map_or(0.0, |t| t.corners[0].distance(t.corners[1]));
    if !median.is_finite() || pose.camera.height_mm() < 20.0 || pose.camera.tilt_deg() > 60.0 {
        return Err(PoseError::Degenerate);
    }
    if median > MISFIT_SHARE * side {
        return Err(PoseError::NotFlat(median));
    }
    Ok(pose)
}

/// What phones' main cameras have, in pixels of a photo of this size.
pub(super) fn usual_focal_px(width: f64, height: f64) -> f64 {
    USUAL_FOCAL_35MM / FULL_FRAME_DIAGONAL_MM * width.hypot(height)
}

/// A tag corner on the card and in the photo.
struct Corner {
    mm: Mm,
    /// Which way the corner points from its tag's middle: (-1 or 1, -1 or 1).
    outward: (f64, f64),
    px: Px,
}

impl Corner {
    /// The card place when every tag's sides have moved out by `margin_mm`.
    fn spread(&self, margin_mm: f64) -> Mm {
        Mm::new(
            self.mm.x + margin_mm * self.outward.0,
            self.mm.y + margin_mm * self.outward.1,
        )
    }
}

fn corner_pairs(card: &FoundCard, design: &CardDesign) -> Vec<Corner> {
    const OUTWARD: [(f64, f64); 4] = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
    let mut pairs = Vec::new();
    for found in &card.tags {
        if let Some(tag) = design.tags.iter().find(|t| t.id == found.id) {
            for ((mm, px), outward) in tag.corners_mm().into_iter().zip(found.corners).zip(OUTWARD)
            {
                pairs.push(Corner { mm, outward, px });
            }
        }
    }
    pairs
}

/// A first pose from the homography, H ~ K [r1 r2 t] (Zhang 2000, section 3.1).
pub(super) fn start_pose(pairs: &[(Mm, Px)], focal: f64, centre: Px) -> Option<Camera> {
    let h = homography(pairs)?;
    let k = Matrix3::new(focal, 0.0, centre.x, 0.0, focal, centre.y, 0.0, 0.0, 1.0);
    let columns = k.try_inverse()? * h;
    let (a, b, t) = (columns.column(0), columns.column(1), columns.column(2));
    let scale = 2.0 / (a.norm() + b.norm());
    // The card is in front of the lens.
    let scale = if t[2] < 0.0 { -scale } else { scale };
    let (r1, r2) = (a * scale, b * scale);
    let raw = Matrix3::from_columns(&[r1, r2, r1.cross(&r2)]);
    let rotation = Rotation3::from_matrix_eps(&raw, 1e-12, 200, Rotation3::identity());
    let camera = Camera {
        focal_px: focal,
        centre,
        k1: 0.0,
        rotation,
        translation: Vector3::from(t * scale),
    };
    // A card seen from its back would be mirrored; tags cannot be read like that.
    (camera.eye().z < 0.0).then_some(camera)
}

const PARAMS: usize = 9;
const PRIORS: usize = 3;

fn to_params(camera: &Camera) -> DVector<f64> {
    let r = camera.rotation.scaled_axis();
    let t = camera.translation;
    // Lengths in decimetres so that all parameters move by like amounts.
    DVector::from_vec(vec![
        r.x,
        r.y,
        r.z,
        t.x / 100.0,
        t.y / 100.0,
        t.z / 100.0,
        camera.focal_px.ln(),
        camera.k1,
        0.0,
    ])
}

fn from_params(p: &DVector<f64>, centre: Px) -> Camera {
    Camera {
        focal_px: p[6].exp(),
        centre,
        k1: p[7],
        rotation: Rotation3::new(Vector3::new(p[0], p[1], p[2])),
        translation: Vector3::new(p[3], p[4], p[5]) * 100.0,
    }
}

struct Problem<'a> {
    params: DVector<f64>,
    pairs: &'a [Corner],
    centre: Px,
    log_focal: f64,
    log_focal_sigma: f64,
}

impl Problem<'_> {
    fn residuals_at(&self, params: &DVector<f64>) -> Option<DVector<f64>> {
        let camera = from_params(params, self.centre);
        let mut out = Vec::with_capacity(2 * self.pairs.len() + PRIORS);
        for corner in self.pairs {
            let seen = camera.project(corner.spread(params[8]), 0.0)?;
            out.push((seen.x - corner.px.x) / CORNER_SIGMA_PX);
            out.push((seen.y - corner.px.y) / CORNER_SIGMA_PX);
        }
        out.push((params[6] - self.log_focal) / self.log_focal_sigma);
        out.push(params[7] / K1_SIGMA);
        out.push(params[8] / SPREAD_SIGMA_MM);
        Some(DVector::from_vec(out))
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_> {
    type ParameterStorage = Owned<f64, Dyn>;
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;

    fn set_params(&mut self, params: &DVector<f64>) {
        self.params.copy_from(params);
    }

    fn params(&self) -> DVector<f64> {
        self.params.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        self.residuals_at(&self.params)
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        const STEP: f64 = 1e-6;
        let mut jacobian = DMatrix::zeros(2 * self.pairs.len() + PRIORS, PARAMS);
        for k in 0..PARAMS {
            let mut moved = self.params.clone();
            moved[k] += STEP;
            let ahead = self.residuals_at(&moved)?;
            moved[k] -= 2.0 * STEP;
            let behind = self.residuals_at(&moved)?;
            jacobian.set_column(k, &((ahead - behind) / (2.0 * STEP)));
        }
        Some(jacobian)
    }
}
