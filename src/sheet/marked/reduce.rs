//! The photo as a person sees it, no larger than needed.

use crate::drawing::{DrawingError, Ink, paint};
use crate::photo::{LinearPicture, Shares, srgb_encode_8};
use rayon::prelude::*;
use tiny_skia::Pixmap;

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
    pixmap
        .data_mut()
        .par_chunks_exact_mut(columns * 4)
        .zip(down.0.par_iter())
        .for_each(|(out, (first, weights))| {
            let mut pixels = vec![[0.0_f32; 3]; width];
            for (row, weight) in weights.iter().enumerate() {
                for (sums, pixel) in pixels.iter_mut().zip(picture.row(first + row)) {
                    for (sum, value) in sums.iter_mut().zip(pixel) {
                        *sum += weight * value;
                    }
                }
            }
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
