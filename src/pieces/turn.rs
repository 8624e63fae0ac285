//! How a patch's straight sides are turned.
//!
//! Base and top edges of an upright piece are parallel to the tray, so in the
//! metric view they keep their direction whatever their height; so do the edges
//! of their shadows. A histogram of gradient directions modulo a quarter turn
//! therefore peaks at the piece's turn, while round studs spread evenly.

use image::{ImageBuffer, Rgb};
use imageproc::filter::gaussian_blur_f32;
use std::ops::Range;

use super::seeds::Seed;
use crate::tray::LabView;

/// Histogram bins over a quarter turn.
const BINS: usize = 180;
/// Smoothing of the histogram, bins (half a degree each).
const SMOOTH_BINS: i32 = 4;
/// Blur before differences are taken. Bare differences of a sharp step prefer
/// the pixel grid's own directions; a blurred step shows its true one.
const BLUR_MM: f64 = 0.4;
/// Weaker changes of colour (per mm) are noise.
const LEAST_SLOPE: f64 = 4.0;
/// Stronger ones count no more than this, so that one glint does not decide.
const MOST_SLOPE: f64 = 25.0;

/// Rows of the view that are blurred at a time.
const STRIP_ROWS: usize = 128;

/// Slopes of the colours in a part of the view.
struct Slopes {
    blurred: ImageBuffer<Rgb<f32>, Vec<f32>>,
    /// Row and column of the part's first pixel in the view.
    first: (usize, usize),
    mm_per_px: f64,
}

impl Slopes {
    /// Blurs the view around a range of rows and columns. Only what the slopes inside depend on is looked at, and so
    /// they are the same as if the whole view had been blurred, which takes 36 bytes a pixel.
    fn of(view: &LabView, rows: Range<usize>, columns: Range<usize>) -> Self {
        let sigma = (BLUR_MM / view.mm_per_px) as f32;
        // The kernel reaches two sigmas, and a slope one pixel further.
        let margin = (2.0 * sigma).ceil() as usize + 1;
        let around = |range: Range<usize>, size: usize| {
            range.start.saturating_sub(margin)..(range.end + margin).min(size)
        };
        let (all_rows, all_columns) = view.size();
        let (rows, columns) = (around(rows, all_rows), around(columns, all_columns));
        let picture = ImageBuffer::from_fn(columns.len() as u32, rows.len() as u32, |x, y| {
            Rgb(view.at(rows.start + y as usize, columns.start + x as usize))
        });
        Self {
            blurred: gaussian_blur_f32(&picture, sigma),
            first: (rows.start, columns.start),
            mm_per_px: view.mm_per_px,
        }
    }

    /// Direction (radians) and size (per mm) of the steepest channel's slope.
    fn at(&self, row: usize, column: usize) -> Option<(f64, f64)> {
        let (x, y) = ((column - self.first.1) as u32, (row - self.first.0) as u32);
        if x == 0 || y == 0 || x + 1 >= self.blurred.width() || y + 1 >= self.blurred.height() {
            return None;
        }
        let pixel = |x: u32, y: u32| self.blurred.get_pixel(x, y).0;
        let (left, right) = (pixel(x - 1, y), pixel(x + 1, y));
        let (above, below) = (pixel(x, y - 1), pixel(x, y + 1));
        let mut steepest = (0.0, 0.0, 0.0);
        for k in 0..3 {
            let gx = f64::from(right[k] - left[k]) / (2.0 * self.mm_per_px);
            let gy = f64::from(below[k] - above[k]) / (2.0 * self.mm_per_px);
            let size = gx.hypot(gy);
            if size > steepest.0 {
                steepest = (size, gx, gy);
            }
        }
        Some((steepest.2.atan2(steepest.1), steepest.0))
    }
}

/// The likeliest turns in radians within a quarter turn, best first.
pub(super) fn likely_turns(view: &LabView, seed: &Seed, most: usize) -> Vec<f64> {
    let mut bins = vec![0.0f64; BINS];
    let quarter = std::f64::consts::FRAC_PI_2;
    let columns = seed.columns();
    // Strip after strip, so that the sums are the same whatever a strip's height.
    let same_strip =
        |a: &(usize, Range<usize>), b: &(usize, Range<usize>)| a.0 / STRIP_ROWS == b.0 / STRIP_ROWS;
    for strip in seed.runs.chunk_by(same_strip) {
        let (Some((first, _)), Some((last, _))) = (strip.first(), strip.last()) else {
            continue;
        };
        let slopes = Slopes::of(view, *first..last + 1, columns.clone());
        for (row, run) in strip {
            for column in run.clone() {
                let Some((angle, size)) = slopes.at(*row, column) else {
                    continue;
                };
                if size < LEAST_SLOPE {
                    continue;
                }
                let share = angle.rem_euclid(quarter) / quarter;
                bins[((share * BINS as f64) as usize).min(BINS - 1)] += size.min(MOST_SLOPE);
            }
        }
    }
    let smooth: Vec<f64> = (0..BINS as i32)
        .map(|i| {
            (-SMOOTH_BINS..=SMOOTH_BINS)
                .map(|d| {
                    let weight = 1.0 - f64::from(d.abs()) / f64::from(SMOOTH_BINS + 1);
                    weight * bins[(i + d).rem_euclid(BINS as i32) as usize]
                })
                .sum()
        })
        .collect();
    let mut peaks: Vec<usize> = (0..BINS)
        .filter(|&i| {
            smooth[i] >= smooth[(i + 1) % BINS] && smooth[i] > smooth[(i + BINS - 1) % BINS]
        })
        .collect();
    peaks.sort_by(|a, b| smooth[*b].total_cmp(&smooth[*a]));
    let mut turns: Vec<f64> = Vec::new();
    for peak in peaks {
        let turn = (peak as f64 + 0.5) / BINS as f64 * std::f64::consts::FRAC_PI_2;
        let apart = turns.iter().all(|other| {
            let d = (turn - other).abs();
            d.min(std::f64::consts::FRAC_PI_2 - d) > 6f64.to_radians()
        });
        if apart {
            turns.push(turn);
        }
        if turns.len() == most {
            break;
        }
    }
    turns
}
