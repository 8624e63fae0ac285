//! The photo as a person sees it, no larger than needed.

use crate::drawing::{DrawingError, Ink, paint};
use crate::photo::{LinearPicture, srgb_encode_8};
use rayon::prelude::*;
use tiny_skia::Pixmap;

/// Share of each source pixel in one target pixel, for every target pixel of a row
/// or column: the first source pixel, and the weights from there on, which sum to 1.
struct Shares(Vec<(usize, Vec<f32>)>);

impl Shares {
    fn of(from: usize, to: usize) -> Self {
        let step = from as f64 / to as f64;
        let share = |target: usize| {
            let (start, end) = (target as f64 * step, (target + 1) as f64 * step);
            let first = (start as usize).min(from - 1);
            let last = (end.ceil() as usize).clamp(first + 1, from);
            let covered = |source: usize| {
                let left = start.max(source as f64);
                let right = end.min((source + 1) as f64);
                ((right - left).max(0.0) / step) as f32
            };
            (first, (first..last).map(covered).collect())
        };
        Self((0..to).map(share).collect())
    }
}

/// The photo sRGB-encoded, its long side at most `long_side_px`; a smaller photo
/// keeps its pixels. Each new pixel is the mean light over its area, so that fine
/// texture neither flickers nor darkens.
///
/// # Errors
/// [`DrawingError::Canvas`] when there is no memory for it.
pub fn photo(picture: &LinearPicture, long_side_px: u32) -> Result<Pixmap, DrawingError> {
    let (width, height) = (picture.width(), picture.height());
    let long = width.max(height);
    let target = |side: usize| match long_side_px as usize {
        limit if long > limit => ((side * limit + long / 2) / long).max(1),
        _ => side,
    };
    let (columns, rows) = (target(width), target(height));
    let mut pixmap = paint::canvas(columns as u32, rows as u32, Ink::BLACK)?;
    let (across, down) = (Shares::of(width, columns), Shares::of(height, rows));
    let light = picture.view();
    pixmap
        .data_mut()
        .par_chunks_exact_mut(columns * 4)
        .zip(down.0.par_iter())
        .for_each(|(out, (first, weights))| {
            let mut line = vec![0.0_f32; width * 3];
            for (row, weight) in weights.iter().enumerate() {
                let source = light.index_axis(ndarray::Axis(0), first + row);
                // Rows lie one after the other in memory, see `LinearPicture`.
                for (sum, value) in line.iter_mut().zip(source.iter()) {
                    *sum += weight * value;
                }
            }
            let pixels = line.as_chunks::<3>().0;
            for (rgba, (first, weights)) in out.as_chunks_mut::<4>().0.iter_mut().zip(&across.0) {
                let mut sum = [0.0_f32; 3];
                for (weight, pixel) in weights.iter().zip(pixels.iter().skip(*first)) {
                    for (sum, value) in sum.iter_mut().zip(pixel) {
                        *sum += weight * value;
                    }
                }
                let [red, green, blue] = sum.map(srgb_encode_8);
                *rgba = [red, green, blue, u8::MAX];
            }
        });
    Ok(pixmap)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_small_photo_keeps_its_pixels() {
        let picture = LinearPicture::from_fn(5, 3, |row, col| {
            [row as f32 / 3.0, col as f32 / 5.0, f32::NAN]
        });
        let photo = photo(&picture, 5).unwrap();
        assert_eq!((photo.width(), photo.height()), (5, 3));
        let pixel = photo.pixel(4, 2).unwrap();
        // sRGB of 2/3 and 4/5 by the formula; what is no number is black.
        assert_eq!([pixel.red(), pixel.green(), pixel.blue()], [213, 231, 0]);
    }

    /// Black and white lines in equal parts are half the light, which is sRGB 188,
    /// not 128, whatever the ratio of the sizes.
    #[test]
    fn reduces_light_and_not_code_values() {
        let picture = LinearPicture::from_fn(900, 600, |_, col| [(col % 2) as f32; 3]);
        for long_side in [450, 225] {
            let photo = photo(&picture, long_side).unwrap();
            assert_eq!(photo.width(), long_side);
            assert_eq!(photo.height(), long_side * 2 / 3);
            assert!(photo.pixels().iter().all(|p| p.red() == 188));
        }
        // A ratio that is no whole number: the mean over the picture stays.
        let photo = photo(&picture, 411).unwrap();
        let sum: f64 = photo
            .pixels()
            .iter()
            .map(|p| crate::photo::srgb_decode(f64::from(p.red()) / 255.0))
            .sum();
        let mean = sum / photo.pixels().len() as f64;
        assert!((mean - 0.5).abs() < 0.002, "{mean}");
    }
}
