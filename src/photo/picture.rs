//! The pixels that every later stage works on: upright, linear light, sRGB primaries.

use super::reading::Curves;
use image::{GrayImage, RgbImage};
use ndarray::Array3;
use rayon::prelude::*;
use std::sync::{Arc, LazyLock};

/// An upright picture in linear light: shape (rows, columns, 3), red, green, blue
/// with the primaries of ITU-R BT.709 (those of sRGB) and D65 white.
///
/// 0 is black, (1, 1, 1) is the encoding's white. The range is **extended**: a
/// colour outside the sRGB gamut, which a Display P3 photo often holds, has a
/// channel below 0 or above 1. Such values are right and must not be clipped
/// before they have become a colour coordinate.
///
/// Copies share the pixels. Most pictures are kept as their file codes them and become light where they are looked
/// at: 3 bytes a pixel instead of 12.
#[derive(Clone, Debug, PartialEq)]
pub struct LinearPicture {
    width: usize,
    height: usize,
    held: Held,
}

/// Pixels row after row, red, green, blue.
#[derive(Clone, Debug, PartialEq)]
enum Held {
    Light(Arc<Vec<f32>>),
    Eight(Arc<Vec<u8>>, Arc<Curves>),
    Sixteen(Arc<Vec<u16>>, Arc<Curves>),
}

/// Weights of linear red, green and blue in relative luminance (ITU-R BT.709-6, item 3.2).
const LUMINANCE: [f32; 3] = [0.2126, 0.7152, 0.0722];

/// Steps of [`ENCODE_8`]. The sRGB curve is steepest at black, 12.92 x 255 levels
/// a unit, so one step is at most 0.2 of an 8-bit level.
const ENCODE_STEPS: usize = 16_384;

/// Linear light in `ENCODE_STEPS` steps to an 8-bit sRGB value.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0..=255 by construction
static ENCODE_8: LazyLock<Vec<u8>> = LazyLock::new(|| {
    (0..=ENCODE_STEPS)
        .map(|i| {
            let linear = i as f64 / ENCODE_STEPS as f64;
            (srgb_encode(linear) * 255.0).round().clamp(0.0, 255.0) as u8
        })
        .collect()
});

/// The sRGB decoding function (IEC 61966-2-1): an encoded value in 0..1 to linear light.
pub fn srgb_decode(encoded: f64) -> f64 {
    if encoded <= 0.04045 {
        encoded / 12.92
    } else {
        ((encoded + 0.055) / 1.055).powf(2.4)
    }
}

/// The sRGB encoding function (IEC 61966-2-1): linear light to an encoded value.
///
/// Below 0 it goes on with the straight piece's slope; above 1 with the power piece.
pub fn srgb_encode(linear: f64) -> f64 {
    if linear <= 0.003_130_8 {
        linear * 12.92
    } else {
        1.055 * linear.powf(1.0 / 2.4) - 0.055
    }
}

impl LinearPicture {
    /// Takes pixels, row after row, that already hold linear sRGB-primaried light;
    /// `None` when they are not so many or there is none.
    pub fn from_light(width: usize, height: usize, light: Vec<f32>) -> Option<Self> {
        Self::holding(width, height, light.len(), Held::Light(Arc::new(light)))
    }

    /// Takes 8-bit code values and what they mean.
    pub(super) fn from_eight(picture: image::RgbImage, curves: Curves) -> Option<Self> {
        let (width, height) = (picture.width() as usize, picture.height() as usize);
        let codes = picture.into_raw();
        let samples = codes.len();
        let held = Held::Eight(Arc::new(codes), Arc::new(curves));
        Self::holding(width, height, samples, held)
    }

    /// Takes 16-bit code values and what they mean.
    pub(super) fn from_sixteen(
        picture: super::decoded::Rgb16Image,
        curves: Curves,
    ) -> Option<Self> {
        let (width, height) = (picture.width() as usize, picture.height() as usize);
        let codes = picture.into_raw();
        let samples = codes.len();
        let held = Held::Sixteen(Arc::new(codes), Arc::new(curves));
        Self::holding(width, height, samples, held)
    }

    fn holding(width: usize, height: usize, samples: usize, held: Held) -> Option<Self> {
        (samples > 0 && samples == width * height * 3).then_some(Self {
            width,
            height,
            held,
        })
    }

    /// Paints a picture of at least 1 x 1 pixel; `paint` gets (row, column).
    pub fn from_fn(width: usize, height: usize, paint: impl Fn(usize, usize) -> [f32; 3]) -> Self {
        let (width, height) = (width.max(1), height.max(1));
        let places = (0..height).flat_map(|row| (0..width).map(move |col| (row, col)));
        let light = places.flat_map(|(row, col)| paint(row, col)).collect();
        Self {
            width,
            height,
            held: Held::Light(Arc::new(light)),
        }
    }

    /// Columns, px.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Rows, px.
    pub fn height(&self) -> usize {
        self.height
    }

    /// All pixels: shape (rows, columns, 3).
    pub fn to_array(&self) -> Array3<f32> {
        let mut array = Array3::zeros((self.height, self.width, 3));
        for (row, mut line) in array.outer_iter_mut().enumerate() {
            for (pixel, mut to) in self.row(row).zip(line.outer_iter_mut()) {
                to.iter_mut().zip(pixel).for_each(|(to, from)| *to = from);
            }
        }
        array
    }

    /// The picture as screens show it, 8-bit sRGB; what lies outside that is cut off.
    pub fn to_srgb(&self) -> RgbImage {
        let rows = (0..self.height).flat_map(|row| self.row(row));
        let levels = rows.flat_map(|pixel| pixel.map(srgb_encode_8)).collect();
        // As many levels as width x height x 3, by the picture's shape, and no side beyond the limits of a photo.
        let side = |side: usize| u32::try_from(side).unwrap_or(u32::MAX);
        RgbImage::from_raw(side(self.width), side(self.height), levels).unwrap_or_default()
    }

    /// The pixels of one row; none outside the picture.
    pub fn row(&self, row: usize) -> impl Iterator<Item = [f32; 3]> {
        let first = row * self.width;
        let columns = if row < self.height { self.width } else { 0 };
        (first..first + columns).map(|index| self.pixel(index))
    }

    /// The pixel of an index row by row.
    fn pixel(&self, index: usize) -> [f32; 3] {
        // Every index below width x height has three samples, see `holding`.
        fn at<T: Copy + Default>(samples: &[T], index: usize) -> [T; 3] {
            let pixel = samples.as_chunks::<3>().0.get(index);
            pixel.copied().unwrap_or_default()
        }
        match &self.held {
            Held::Light(light) => at(light, index),
            Held::Eight(codes, curves) => curves.light(at(codes, index)),
            Held::Sixteen(codes, curves) => curves.light(at(codes, index)),
        }
    }

    /// One pixel. A place outside the picture gives the nearest pixel inside,
    /// as filters want it at the edge.
    pub fn at(&self, row: usize, col: usize) -> [f32; 3] {
        self.pixel(row.min(self.height - 1) * self.width + col.min(self.width - 1))
    }

    /// The light at a place in pixels, bilinear between pixel middles.
    ///
    /// (0, 0) is the outer corner of the first pixel, so (0.5, 0.5) is the middle
    /// of the first pixel and gives exactly its value; within half a pixel of the
    /// edge the edge pixel goes on. `None` outside the picture.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    pub fn sample(&self, x_px: f64, y_px: f64) -> Option<[f32; 3]> {
        let (width, height) = (self.width(), self.height());
        // Written so that NaN is outside too.
        let inside = (0.0..=width as f64).contains(&x_px) && (0.0..=height as f64).contains(&y_px);
        if !inside {
            return None;
        }
        let x = (x_px - 0.5).clamp(0.0, (width - 1) as f64);
        let y = (y_px - 0.5).clamp(0.0, (height - 1) as f64);
        // Clamped to 0..size just above, so the casts lose nothing but the fraction.
        let (col, row) = (x as usize, y as usize);
        let (right, down) = ((x - col as f64) as f32, (y - row as f64) as f32);
        let mix = |a: [f32; 3], b: [f32; 3], t: f32| {
            std::array::from_fn::<f32, 3, _>(|i| a[i] + (b[i] - a[i]) * t)
        };
        let upper = mix(self.at(row, col), self.at(row, col + 1), right);
        let lower = mix(self.at(row + 1, col), self.at(row + 1, col + 1), right);
        Some(mix(upper, lower, down))
    }

    /// An 8-bit grey picture for finding tags: relative luminance, sRGB-encoded,
    /// clipped to 0..=255. Within one level of the exact value.
    pub fn grey8(&self) -> GrayImage {
        let (width, height) = (self.width(), self.height());
        let mut grey = GrayImage::new(
            u32::try_from(width).unwrap_or(u32::MAX),
            u32::try_from(height).unwrap_or(u32::MAX),
        );
        let table = ENCODE_8.as_slice();
        grey.par_chunks_exact_mut(width)
            .enumerate()
            .for_each(|(row, out)| {
                for (level, rgb) in out.iter_mut().zip(self.row(row)) {
                    *level = encode_8(luminance(rgb), table);
                }
            });
        grey
    }
}

/// Relative luminance of linear sRGB-primaried light.
fn luminance(rgb: [f32; 3]) -> f32 {
    LUMINANCE[0] * rgb[0] + LUMINANCE[1] * rgb[1] + LUMINANCE[2] * rgb[2]
}

/// An 8-bit sRGB value for linear light, clipped to 0..=255 and within one level
/// of [`srgb_encode`], only much faster.
pub fn srgb_encode_8(linear: f32) -> u8 {
    encode_8(linear, &ENCODE_8)
}

/// Looks linear light up in [`ENCODE_8`].
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped to the table first
fn encode_8(linear: f32, table: &[u8]) -> u8 {
    let step = (linear.clamp(0.0, 1.0) * ENCODE_STEPS as f32 + 0.5) as usize;
    table.get(step).copied().unwrap_or(u8::MAX)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// Anchors from colour-science 0.4.7, `RGB_COLOURSPACES['sRGB']`.
    #[test]
    fn srgb_curve_agrees_with_colour_science() {
        assert!((srgb_decode(0.5) - 0.214_041_1).abs() < 5e-8);
        assert!((srgb_encode(0.18) - 0.461_356_1).abs() < 5e-8);
        for level in 0..=255 {
            let encoded = f64::from(level) / 255.0;
            assert!((srgb_encode(srgb_decode(encoded)) - encoded).abs() < 1e-7);
        }
    }

    #[test]
    fn sample_keeps_the_pixel_centre_rule() {
        let picture = LinearPicture::from_fn(3, 2, |row, col| [col as f32, row as f32, 7.0]);
        assert_eq!(picture.sample(0.5, 0.5), Some([0.0, 0.0, 7.0]));
        assert_eq!(picture.sample(2.5, 1.5), Some([2.0, 1.0, 7.0]));
        assert_eq!(picture.sample(1.0, 1.0), Some([0.5, 0.5, 7.0]));
        assert_eq!(picture.sample(1.75, 0.5), Some([1.25, 0.0, 7.0]));
        // The outer half pixel repeats the edge, up to the very border.
        assert_eq!(picture.sample(0.0, 0.0), Some([0.0, 0.0, 7.0]));
        assert_eq!(picture.sample(3.0, 2.0), Some([2.0, 1.0, 7.0]));
        for (x, y) in [
            (-0.01, 1.0),
            (3.01, 1.0),
            (1.0, -0.01),
            (1.0, 2.01),
            (f64::NAN, 1.0),
            (1.0, f64::INFINITY),
        ] {
            assert_eq!(picture.sample(x, y), None, "({x}, {y})");
        }
    }

    #[test]
    fn a_one_pixel_picture_samples_everywhere_inside() {
        let picture = LinearPicture::from_fn(1, 1, |_, _| [0.25, -0.5, 1.5]);
        assert_eq!(picture.sample(0.9, 0.1), Some([0.25, -0.5, 1.5]));
        assert_eq!(picture.at(9, 9), [0.25, -0.5, 1.5]);
    }

    /// The table against the formula, over many more values than it has steps.
    #[test]
    fn grey8_is_within_one_level_of_the_formula() {
        let count = 50_000;
        let value = |i: usize| i as f32 / (count - 1) as f32;
        let picture = LinearPicture::from_fn(count, 1, |_, col| [value(col); 3]);
        let grey = picture.grey8();
        let mut differing = 0;
        for i in 0..count {
            let exact = (srgb_encode(f64::from(value(i))) * 255.0).round();
            let difference = (f64::from(grey.get_pixel(i as u32, 0).0[0]) - exact).abs();
            assert!(difference <= 1.0, "{} off by {difference}", value(i));
            differing += usize::from(difference > 0.0);
        }
        // Only values right at a rounding border may differ.
        assert!(differing < count / 50, "{differing} of {count}");
    }

    #[test]
    fn grey8_weighs_the_channels_as_luminance_and_clips() {
        let picture = LinearPicture::from_fn(5, 1, |_, col| {
            [
                [1.0, 0.0, 0.0],
                [0.0, 1.0, 0.0],
                [0.0, 0.0, 1.0],
                [-0.5, -0.5, -0.5],
                [2.0, 2.0, 2.0],
            ][col]
        });
        let grey = picture.grey8();
        let levels: Vec<u8> = grey.pixels().map(|p| p.0[0]).collect();
        // sRGB encoding of 0.2126, 0.7152 and 0.0722, by colour-science 0.4.7.
        assert_eq!(levels, [127, 220, 76, 0, 255]);
    }

    #[test]
    fn light_must_fill_the_picture() {
        assert!(LinearPicture::from_light(2, 2, vec![0.0; 11]).is_none());
        assert!(LinearPicture::from_light(0, 2, Vec::new()).is_none());
        let light: Vec<f32> = (0..12).map(|v| v as f32).collect();
        let picture = LinearPicture::from_light(1, 4, light).unwrap();
        assert_eq!(picture.at(3, 0), [9.0, 10.0, 11.0]);
        assert_eq!(picture.to_array()[(2, 0, 1)], 7.0);
        assert_eq!(picture.row(4).count(), 0);
    }
}
