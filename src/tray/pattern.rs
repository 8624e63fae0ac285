//! The tray's own pattern, taken out of the view: ruled lines, grain.
//!
//! No piece is as long and as thin as a ruled line, and none has the tray's own colour in specks. What is
//! both longer than any piece and thinner than the thinnest is a line of the tray; where there is one, all
//! that is so thin is its pattern. It gets the colour of the empty tray, so that no later stage sees it:
//! neither the search for foreground nor edges, nor the net, which was taught on plainer trays.

use image::{GrayImage, Luma};
use imageproc::distance_transform::Norm;
use imageproc::morphology::{dilate, open};
use imageproc::region_labelling::{Connectivity, connected_components};
use ndarray::Axis;
use rayon::prelude::*;

use super::foreground::{Foreground, Kind};
use super::ground::Ground;
use super::lab_view::LabView;

/// Half of the width up to which a thing is thin, mm. The thinnest piece, a plate on its side, is twice as wide.
const THIN_RADIUS_MM: f64 = 1.25;
/// A thin thing longer than this is a line of the tray: the longest listed piece is 64 mm.
const LINE_MM: f64 = 80.0;
/// Gaps of twice this in a line do not part it: where it is worn, or glare hides it.
const GAP_MM: f64 = 1.0;
/// How far the colour of a line reaches over its rim, mm.
const RIM_MM: f64 = 0.5;

const SET: Luma<u8> = Luma([255]);

/// The view and the foreground without the tray's pattern, where it has one.
pub fn without_pattern(view: &mut LabView, ground: &Ground, foreground: &mut Foreground) {
    let mask = mask(foreground);
    let px = |mm: f64| (mm / view.mm_per_px).round().clamp(1.0, 120.0) as u8;
    let thick = open(&mask, Norm::L2, px(THIN_RADIUS_MM));
    let near = dilate(&thick, Norm::LInf, px(2.0 * THIN_RADIUS_MM));
    let mut thin = mask;
    for (own, near) in thin.pixels_mut().zip(near.pixels()) {
        if near.0[0] > 0 {
            own.0[0] = 0;
        }
    }
    if ground.noise[0] < 1.2 && !has_line(&dilate(&thin, Norm::LInf, px(GAP_MM)), view.mm_per_px) {
        return;
    }
    let pattern = dilate(&thin, Norm::LInf, px(RIM_MM));
    let (origin, mm) = (view.origin, view.mm_per_px);
    let kinds = foreground.kind.axis_iter_mut(Axis(0)).into_par_iter();
    (view.lab.axis_iter_mut(Axis(0)).into_par_iter())
        .zip(kinds)
        .enumerate()
        .for_each(|(row, (mut line, mut kinds))| {
            for (column, kind) in kinds.iter_mut().enumerate() {
                let is_pattern = pattern.get_pixel(column as u32, row as u32).0[0] > 0
                    && near.get_pixel(column as u32, row as u32).0[0] == 0;
                if *kind == Kind::Outside || !is_pattern && *kind != Kind::Ground {
                    continue;
                }
                let at = crate::units::Mm::new(
                    origin.x + (column as f64 + 0.5) * mm,
                    origin.y + (row as f64 + 0.5) * mm,
                );
                let tray = ground.at(at);
                *kind = Kind::Ground;
                for (k, value) in tray.iter().enumerate() {
                    line[(column, k)] = *value;
                }
            }
        });
}

/// All that may be no tray.
fn mask(foreground: &Foreground) -> GrayImage {
    let (rows, columns) = foreground.kind.dim();
    GrayImage::from_fn(columns as u32, rows as u32, |x, y| {
        match foreground.kind[(y as usize, x as usize)] {
            Kind::Piece | Kind::Dim => SET,
            Kind::Outside | Kind::Ground => Luma([0]),
        }
    })
}

/// Whether one connected thing is longer than a piece can be.
fn has_line(thin: &GrayImage, mm_per_px: f64) -> bool {
    let labels = connected_components(thin, Connectivity::Eight, Luma([0u8]));
    let count = labels.pixels().map(|p| p.0[0]).max().unwrap_or(0) as usize;
    let mut bounds = vec![[u32::MAX, 0, u32::MAX, 0]; count];
    for (x, y, label) in labels.enumerate_pixels() {
        let index = (label.0[0] as usize).checked_sub(1);
        if let Some([left, right, top, bottom]) = index.and_then(|index| bounds.get_mut(index)) {
            (*left, *right) = ((*left).min(x), (*right).max(x));
            (*top, *bottom) = ((*top).min(y), (*bottom).max(y));
        }
    }
    let is_long = |[left, right, top, bottom]: &[u32; 4]| {
        let long = f64::from(right - left).hypot(f64::from(bottom - top));
        long * mm_per_px > LINE_MM
    };
    bounds.iter().any(is_long)
}
