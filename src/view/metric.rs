//! The metric view: the tray's plane resampled to square pixels of known size.

use super::camera::Camera;
use crate::photo::{LinearPicture, Photo};
use crate::units::{Mm, Px};

/// Finest and coarsest pixel of the view; in between it follows the photo. At 0.1 mm the photos of 12 MP in
/// `sample-photos/tune` are counted no better, and take 100 to 400 MB more.
const PIXEL_RANGE_MM: (f64, f64) = (0.15, 0.25);
/// No view has more pixels than this: one of a metre by 0.6 has at 0.25 mm. Of what is wider pixels are coarser.
const MOST_PIXELS: f64 = 9.6e6;

/// The tray from straight above, in linear light. Its pixels are computed from the photo when they are asked for:
/// held, they would take twelve bytes each.
#[derive(Clone, Debug)]
pub struct MetricView {
    /// Size of a view pixel.
    pub mm_per_px: f64,
    /// The outer corner of the first view pixel.
    pub origin: Mm,
    rows: usize,
    columns: usize,
    picture: LinearPicture,
    camera: Camera,
    saturation: [f32; 3],
}

impl MetricView {
    /// The photo resampled (bilinear) onto the tray's plane. `card_middle` is where the scale is read.
    pub fn of(photo: &Photo, camera: &Camera, card_middle: Mm) -> Self {
        let picture = &photo.pixels;
        let (width, height) = (picture.width(), picture.height());
        let scale = camera.mm_per_px(card_middle).unwrap_or(PIXEL_RANGE_MM.1);
        let mut mm_per_px = scale.clamp(PIXEL_RANGE_MM.0, PIXEL_RANGE_MM.1);
        let (mut low, mut high) = (card_middle, card_middle);
        for corner in frame_points(width as f64, height as f64) {
            if let Some(mm) = camera.unproject(corner, 0.0) {
                low = Mm::new(low.x.min(mm.x), low.y.min(mm.y));
                high = Mm::new(high.x.max(mm.x), high.y.max(mm.y));
            }
        }
        // A horizon in view sends corners far away: keep what a tray can span.
        let reach = 1500.0;
        low = Mm::new(
            low.x.max(card_middle.x - reach),
            low.y.max(card_middle.y - reach),
        );
        high = Mm::new(
            high.x.min(card_middle.x + reach),
            high.y.min(card_middle.y + reach),
        );
        let (width_mm, height_mm) = (high.x - low.x, high.y - low.y);
        mm_per_px = mm_per_px.max((width_mm * height_mm / MOST_PIXELS).sqrt());
        let pixels = |side_mm: f64| ((side_mm / mm_per_px).ceil() as usize).max(1);
        let (columns, rows) = (pixels(width_mm), pixels(height_mm));
        Self {
            mm_per_px,
            origin: low,
            rows,
            columns,
            picture: picture.clone(),
            camera: camera.clone(),
            saturation: photo.clipped.saturation().linear(),
        }
    }

    /// Linear RGB where the camera's sensor is full.
    pub fn saturation(&self) -> [f32; 3] {
        self.saturation
    }

    /// Linear RGB of a view pixel as in the photo; `None` where the photo does not cover it.
    pub fn at(&self, row: usize, column: usize) -> Option<[f32; 3]> {
        let x = self.origin.x + (column as f64 + 0.5) * self.mm_per_px;
        let y = self.origin.y + (row as f64 + 0.5) * self.mm_per_px;
        let px = self.camera.project(Mm::new(x, y), 0.0)?;
        self.picture.sample(px.x, px.y)
    }

    /// Rows and columns.
    pub fn size(&self) -> (usize, usize) {
        (self.rows, self.columns)
    }

    /// The tray place of fractional view coordinates (outer corner of the first pixel is 0, 0).
    pub fn to_mm(&self, column: f64, row: f64) -> Mm {
        Mm::new(
            self.origin.x + column * self.mm_per_px,
            self.origin.y + row * self.mm_per_px,
        )
    }

    /// Fractional view coordinates (column, row) of a tray place.
    pub fn to_view(&self, at: Mm) -> (f64, f64) {
        (
            (at.x - self.origin.x) / self.mm_per_px,
            (at.y - self.origin.y) / self.mm_per_px,
        )
    }
}

fn frame_points(width: f64, height: f64) -> Vec<Px> {
    let mut points = Vec::new();
    for i in 0..=16 {
        let s = f64::from(i) / 16.0;
        points.push(Px::new(s * width, 0.0));
        points.push(Px::new(s * width, height));
        points.push(Px::new(0.0, s * height));
        points.push(Px::new(width, s * height));
    }
    points
}
