//! Photos of more pixels than are kept: their identity, and a smaller copy.
//!
//! Works on the picture as it is stored and turns the copy, for the picture itself may fill half the memory there is.

use super::clipped::{self, Clipped, Saturation};
use super::decoded::Pixels;
use super::picture::{srgb_decode, srgb_encode_8};
use super::shares::Shares;
use image::metadata::Orientation;
use image::{DynamicImage, GrayImage, RgbImage};
use ndarray::Array2;
use rayon::prelude::*;
use sha2::{Digest, Sha256};
use std::fmt::Write as _;

/// Rows of the turned picture that are put together at a time.
const ROWS_AT_A_TIME: u32 = 64;

/// The identity of a picture that `turn` makes upright; see [`Photo::hash`](super::Photo::hash).
pub(super) fn hash(stored: &RgbImage, turn: Orientation) -> String {
    let (width, height) = match turn.to_exif() {
        1..=4 => stored.dimensions(),
        _ => (stored.height(), stored.width()),
    };
    let mut digest = Sha256::new()
        .chain_update(width.to_le_bytes())
        .chain_update(height.to_le_bytes());
    if turn == Orientation::NoTransforms {
        digest.update(stored.as_raw());
    } else {
        for top in (0..height).step_by(ROWS_AT_A_TIME as usize) {
            let rows = ROWS_AT_A_TIME.min(height - top);
            digest.update(band(stored, turn, top, rows).as_raw());
        }
    }
    digest
        .finalize()
        .iter()
        .fold(String::new(), |mut hex, byte| {
            // Writing to a string cannot fail.
            let _ = write!(hex, "{byte:02x}");
            hex
        })
}

/// Rows of the upright picture: the part of the stored one that becomes them, turned.
fn band(stored: &RgbImage, turn: Orientation, top: u32, rows: u32) -> RgbImage {
    let (width, height) = stored.dimensions();
    let view = |x, y, w, h| image::imageops::crop_imm(stored, x, y, w, h).to_image();
    let part = match turn.to_exif() {
        // Rows stay rows, from the top or from the bottom.
        1 | 2 => view(0, top, width, rows),
        3 | 4 => view(0, height - top - rows, width, rows),
        // Rows were columns, from the left or from the right.
        5 | 6 => view(top, 0, rows, height),
        _ => view(width - top - rows, 0, rows, height),
    };
    let mut part = DynamicImage::ImageRgb8(part);
    part.apply_orientation(turn);
    part.into_rgb8()
}

/// An upright copy of at most `most` pixels, and which of its pixels have one at the end of the code range under them.
///
/// Light is added up and not code values, by sRGB's curve whatever the profile: other curves are close to it, and a
/// flat area keeps its code value by any.
pub(super) fn reduced(stored: &RgbImage, most: u64, turn: Orientation) -> (RgbImage, Clipped) {
    let (width, height) = stored.dimensions();
    let share = (most as f64 / (f64::from(width) * f64::from(height))).sqrt();
    let side = |side: u32| ((f64::from(side) * share).floor() as u32).clamp(1, side);
    let (columns, rows) = (side(width), side(height));
    let across = Shares::of(width as usize, columns as usize);
    let down = Shares::of(height as usize, rows as usize);
    let saturation = Saturation::of(stored);
    let light: Vec<f32> = (0..=u8::MAX)
        .map(|code| srgb_decode(f64::from(code) / 255.0) as f32)
        .collect();
    let light = |code: u8| light.get(usize::from(code)).copied().unwrap_or_default();

    let (mut picture, mut flags) = (RgbImage::new(columns, rows), GrayImage::new(columns, rows));
    let line = width as usize * 3;
    picture
        .par_chunks_exact_mut(columns as usize * 3)
        .zip(flags.par_chunks_exact_mut(columns as usize))
        .zip(&down.0)
        .for_each(|((out, flags), (first, weights))| {
            let mut sums = vec![([0.0_f32; 3], 0_u8); width as usize];
            let source = stored.as_raw().chunks_exact(line).skip(*first);
            for (weight, row) in weights.iter().zip(source) {
                for ((sum, flags), pixel) in sums.iter_mut().zip(row.as_chunks::<3>().0) {
                    for (sum, code) in sum.iter_mut().zip(pixel) {
                        *sum += weight * light(*code);
                    }
                    *flags |= clipped::flags(*pixel, saturation);
                }
            }
            let pixels = out.as_chunks_mut::<3>().0.iter_mut().zip(flags);
            for ((out, flag), (first, weights)) in pixels.zip(&across.0) {
                let mut total = [0.0_f32; 3];
                for (weight, (sum, flags)) in weights.iter().zip(sums.iter().skip(*first)) {
                    for (total, value) in total.iter_mut().zip(sum) {
                        *total += weight * value;
                    }
                    *flag |= flags;
                }
                *out = total.map(srgb_encode_8);
            }
        });

    let mut flags = DynamicImage::ImageLuma8(flags);
    flags.apply_orientation(turn);
    let flags = flags.into_luma8();
    let size = (flags.height() as usize, flags.width() as usize);
    let flags = Array2::from_shape_vec(size, flags.into_raw());
    let clipped = Clipped {
        flags: flags.unwrap_or_else(|_| Array2::zeros(size)),
        saturation,
    };
    match Pixels::Eight(picture).turned(turn) {
        Pixels::Eight(picture) => (picture, clipped),
        Pixels::Sixteen(_) => (RgbImage::new(0, 0), clipped),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Rgb;

    fn painted(width: u32, height: u32) -> RgbImage {
        RgbImage::from_fn(width, height, |x, y| {
            Rgb([x as u8, y as u8, (x * 7 + y * 3) as u8])
        })
    }

    /// In bands the same as all at once, whichever way up, also where the last band is lower.
    #[test]
    fn the_hash_is_that_of_the_turned_picture() {
        let stored = painted(150, 131);
        for exif in 1..=8 {
            let turn = Orientation::from_exif(exif).unwrap_or(Orientation::NoTransforms);
            let mut whole = DynamicImage::ImageRgb8(stored.clone());
            whole.apply_orientation(turn);
            let upright = hash(&whole.into_rgb8(), Orientation::NoTransforms);
            assert_eq!(hash(&stored, turn), upright, "{exif}");
        }
    }

    /// Black and white in equal parts are half the light, sRGB 188; a flat area keeps its code values.
    #[test]
    fn light_is_added_up() {
        let lines = RgbImage::from_fn(64, 48, |x, _| Rgb([if x % 2 == 0 { 0 } else { 255 }; 3]));
        let (half, clipped) = reduced(&lines, 32 * 24, Orientation::NoTransforms);
        assert_eq!(half.dimensions(), (32, 24));
        assert!(half.pixels().all(|p| p.0 == [188; 3]));
        assert!(clipped.high(3, 3) && clipped.low(3, 3));
        for code in 0..=255 {
            let flat = RgbImage::from_pixel(90, 70, Rgb([code; 3]));
            let (small, _) = reduced(&flat, 999, Orientation::Rotate90);
            assert!(small.width() < small.height() && small.width() * small.height() <= 999);
            assert!(small.pixels().all(|p| p.0 == [code; 3]), "{code}");
        }
    }
}
