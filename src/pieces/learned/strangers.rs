//! Things on the tray that are no pieces.

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

use super::maps::{Maps, OUT_MM};
use crate::units::Mm;

/// Cells more likely a stranger's than this are one's.
pub const LEAST_STRANGER: f64 = 0.5;

/// A thing that is no piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stranger {
    /// Middle of what is seen of it, on the tray's plane.
    pub at: Mm,
    /// Area, mm².
    pub area_mm2: f64,
}

/// Connected cells of strangers, row by row of their first cell.
pub fn strangers(maps: &Maps) -> Vec<Stranger> {
    let (rows, columns) = maps.size();
    let mask = GrayImage::from_fn(columns as u32, rows as u32, |x, y| {
        let likely = maps.what(y as usize, x as usize).stranger > LEAST_STRANGER;
        Luma([if likely { 255 } else { 0 }])
    });
    let labels = connected_components(&mask, Connectivity::Four, Luma([0u8]));
    let count = labels.pixels().map(|p| p.0[0]).max().unwrap_or(0) as usize;
    let mut sums = vec![(0.0, 0.0, 0.0); count];
    for (x, y, label) in labels.enumerate_pixels() {
        let index = (label.0[0] as usize).checked_sub(1);
        if let Some(sum) = index.and_then(|index| sums.get_mut(index)) {
            let at = maps.middle(y as usize, x as usize);
            *sum = (sum.0 + 1.0, sum.1 + at.x, sum.2 + at.y);
        }
    }
    sums.into_iter()
        .map(|(cells, x, y)| Stranger {
            at: Mm::new(x / cells, y / cells),
            area_mm2: cells * OUT_MM * OUT_MM,
        })
        .collect()
}
