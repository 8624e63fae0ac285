//! Patches of foreground that a search can start from.

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

use crate::tray::LabView;
use crate::units::Mm;

/// A connected patch of foreground.
#[derive(Clone, Debug)]
pub(super) struct Seed {
    /// Its view pixels as (row, column).
    pub pixels: Vec<(usize, usize)>,
    /// Whether it reaches the photo's edge.
    pub at_frame: bool,
    /// Area, mm².
    pub area_mm2: f64,
}

impl Seed {
    /// Bounding box on the tray.
    pub fn bounds(&self, view: &LabView) -> (Mm, Mm) {
        let (mut top, mut left) = (usize::MAX, usize::MAX);
        let (mut bottom, mut right) = (0, 0);
        for &(r, c) in &self.pixels {
            (top, left) = (top.min(r), left.min(c));
            (bottom, right) = (bottom.max(r), right.max(c));
        }
        let corner = |r: usize, c: usize| {
            Mm::new(
                view.origin.x + c as f64 * view.mm_per_px,
                view.origin.y + r as f64 * view.mm_per_px,
            )
        };
        (corner(top, left), corner(bottom + 1, right + 1))
    }
}

/// Connected patches of the pixels that `wanted` names, largest first, down to `least_mm2`.
pub(super) fn seeds(
    view: &LabView,
    wanted: impl Fn(usize, usize) -> bool,
    least_mm2: f64,
) -> Vec<Seed> {
    let (rows, columns) = view.size();
    let mask = GrayImage::from_fn(columns as u32, rows as u32, |x, y| {
        Luma([if wanted(y as usize, x as usize) {
            255
        } else {
            0
        }])
    });
    let labels = connected_components(&mask, Connectivity::Four, Luma([0u8]));
    let count = labels.pixels().map(|p| p.0[0]).max().unwrap_or(0) as usize;
    let mut sizes = vec![0usize; count + 1];
    for pixel in labels.pixels() {
        sizes[pixel.0[0] as usize] += 1;
    }
    let pixel_mm2 = view.mm_per_px * view.mm_per_px;
    let mut slot = vec![usize::MAX; count + 1];
    let mut found: Vec<Seed> = Vec::new();
    for (label, size) in sizes.iter().enumerate().skip(1) {
        let area_mm2 = *size as f64 * pixel_mm2;
        if area_mm2 >= least_mm2 {
            slot[label] = found.len();
            found.push(Seed {
                pixels: Vec::with_capacity(*size),
                at_frame: false,
                area_mm2,
            });
        }
    }
    for (x, y, pixel) in labels.enumerate_pixels() {
        let index = slot[pixel.0[0] as usize];
        if let Some(seed) = found.get_mut(index) {
            let (row, column) = (y as usize, x as usize);
            seed.pixels.push((row, column));
            let edge = row == 0
                || column == 0
                || row + 1 == rows
                || column + 1 == columns
                || !view.inside[(row - 1, column)]
                || !view.inside[(row + 1, column)]
                || !view.inside[(row, column - 1)]
                || !view.inside[(row, column + 1)];
            seed.at_frame |= edge;
        }
    }
    found.sort_by(|a, b| b.area_mm2.total_cmp(&a.area_mm2));
    found
}
