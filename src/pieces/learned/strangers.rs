//! Things on the tray that are no pieces.

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

use super::maps::Maps;
use crate::units::Mm;

/// Cells more likely a stranger's than this are one's.
pub const LEAST_STRANGER: f64 = 0.5;

/// A thing that is no piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Stranger {
    /// Middle of what is seen of it, on the tray's plane.
    pub at: Mm,
    /// The net's cells that show it, (row, column).
    pub cells: Vec<(usize, usize)>,
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
    let mut cells = vec![Vec::new(); count];
    for (x, y, label) in labels.enumerate_pixels() {
        let index = (label.0[0] as usize).checked_sub(1);
        if let Some(cells) = index.and_then(|index| cells.get_mut(index)) {
            cells.push((y as usize, x as usize));
        }
    }
    let middle = |cells: &[(usize, usize)]| {
        let places = cells.iter().map(|(row, column)| maps.middle(*row, *column));
        let (x, y) = places.fold((0.0, 0.0), |(x, y), at| (x + at.x, y + at.y));
        let n = cells.len().max(1) as f64;
        Mm::new(x / n, y / n)
    };
    (cells.into_iter())
        .map(|cells| Stranger {
            at: middle(&cells),
            cells,
        })
        .collect()
}
