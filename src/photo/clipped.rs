//! Which pixels the camera drove to the end of the code range.

use super::decoded::{Pixels, Rgb16Image, to_eight};
use super::picture::srgb_decode;
use image::RgbImage;
use ndarray::{Array2, ArrayView2};
use rayon::prelude::*;
use std::borrow::Cow;

/// For each pixel and channel of the upright photo, whether its 8-bit code value
/// is at the end of the range: high is one below the [`Saturation`] and beyond, low is <= 1 (of 255).
///
/// It is about the file's own encoding, before colour management: there the
/// camera has cut off, and the true light may lie beyond. One level is left for
/// JPEG's rounding. A low channel alone is usual in a saturated colour; a high
/// one means that the colour cannot be trusted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clipped {
    pub(super) flags: Array2<u8>,
    pub(super) saturation: Saturation,
}

/// The code values that the three channels have where the sensor is full: 255, or less where a tone curve with a
/// soft shoulder was applied after that.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Saturation(pub [u8; 3]);

/// Lowest code value that is taken for a full sensor's: a shoulder that keeps more than a fifth of white's light for what
/// is cut off is no camera's.
const LOWEST: usize = 230;
/// From here on it is the end of the range itself.
const END: usize = 253;
/// Code values this far off the plateau's are of it: what JPEG leaves of an even area.
const BESIDE: usize = 2;
/// A plateau has more than this share of the picture's pixels: a white piece or two.
const PLATEAU_SHARE: f64 = 0.001;
/// And so many times the even pixels of all darker values from [`NO_DARKER`] on, and half of them of its one value, which
/// what is white and not cut off has not, as light is never so even. In `sample-photos/tune` channels of the one camera whose shoulder is soft have 4.1 to
/// 340 times as many where it cut off, 58 to 89 % of them of one value; others that reach the share have up to 6.0 times as
/// many, 43 % at most of one value.
const PLATEAU_TIMES: f64 = 3.0;
const NO_DARKER: usize = 200;
const OF_ONE_VALUE: f64 = 0.5;

impl Saturation {
    /// Told from pixels whose eight neighbours all have the same code value: noise leaves hardly any, except where the
    /// sensor is full. `picture` as it is stored, turned or not.
    pub(super) fn of(picture: &RgbImage) -> Self {
        let line = picture.width() as usize * 3;
        let bytes = picture.as_raw();
        let rows = (picture.height() as usize).saturating_sub(2);
        let count = |mut counts: Box<[[u32; 256]; 3]>, row: usize| {
            let three = |k: usize| bytes.get((row + k) * line..(row + k + 1) * line);
            let (Some(above), Some(here), Some(below)) = (three(0), three(1), three(2)) else {
                return counts;
            };
            for (at, ((a, h), b)) in (above.windows(7))
                .zip(here.windows(7))
                .zip(below.windows(7))
                .enumerate()
            {
                let code = h[3];
                let even = |row: &[u8]| row[0] == code && row[3] == code && row[6] == code;
                if usize::from(code) >= NO_DARKER && even(h) && even(a) && even(b) {
                    counts[at % 3][usize::from(code)] += 1;
                }
            }
            counts
        };
        let none = || Box::new([[0_u32; 256]; 3]);
        let counts = (0..rows)
            .into_par_iter()
            .fold(none, count)
            .reduce(none, |mut one, other| {
                for (sum, more) in one.iter_mut().flatten().zip(other.iter().flatten()) {
                    *sum += more;
                }
                one
            });
        let pixels = f64::from(picture.width()) * f64::from(picture.height());
        Self(counts.map(|counts| plateau(&counts, pixels).unwrap_or(u8::MAX)))
    }

    /// In linear light, share of white's; by sRGB's curve whatever the profile, as what is cut off is near white, where
    /// profiles hardly differ.
    pub fn linear(self) -> [f32; 3] {
        self.0
            .map(|code| srgb_decode(f64::from(code) / 255.0) as f32)
    }
}

/// The code value of a channel's plateau, of the numbers of even pixels with each value.
fn plateau(even: &[u32; 256], pixels: f64) -> Option<u8> {
    let sum = |from: usize, to: usize| -> f64 {
        even.get(from..to.min(256))
            .map_or(0.0, |part| part.iter().map(|n| f64::from(*n)).sum())
    };
    let code = (LOWEST..256).max_by_key(|code| even[*code])?;
    if code >= END {
        return None;
    }
    let near = sum(code - BESIDE, code + BESIDE + 1);
    let darker = sum(NO_DARKER, code - BESIDE);
    let stands_out = near > PLATEAU_SHARE * pixels
        && near > PLATEAU_TIMES * darker
        && f64::from(even[code]) >= OF_ONE_VALUE * near;
    u8::try_from(code).ok().filter(|_| stands_out)
}

/// The flags of a pixel with these code values.
pub(super) fn flags(pixel: [u8; 3], saturation: Saturation) -> u8 {
    (0..)
        .zip(pixel.into_iter().zip(saturation.0))
        .fold(0, |flags, (channel, (code, full))| {
            let high = u8::from(code >= full.saturating_sub(1)) << channel;
            let low = u8::from(code <= 1) << (channel + 3);
            flags | high | low
        })
}

/// Bits of a pixel's flags: red, green, blue at the high end.
const HIGH: u8 = 0b000_111;
/// Bits of a pixel's flags: red, green, blue at the low end.
const LOW: u8 = 0b111_000;

impl Clipped {
    /// Marks the pixels of an upright 8-bit picture.
    pub(super) fn of(picture: &RgbImage) -> Self {
        let size = (picture.height() as usize, picture.width() as usize);
        let pixels = picture.as_raw().as_chunks::<3>().0;
        let saturation = Saturation::of(picture);
        let flags: Vec<u8> = (pixels.par_iter())
            .map(|pixel| flags(*pixel, saturation))
            .collect();
        // The number of flags is the number of pixels by construction.
        let flags = Array2::from_shape_vec(size, flags).unwrap_or_else(|_| Array2::zeros(size));
        Self { flags, saturation }
    }

    /// Where the sensor is full.
    pub fn saturation(&self) -> Saturation {
        self.saturation
    }

    /// Whether any channel is at the high end; outside the picture, no.
    pub fn high(&self, row: usize, col: usize) -> bool {
        self.flags(row, col) & HIGH != 0
    }

    /// Whether any channel is at the low end; outside the picture, no.
    pub fn low(&self, row: usize, col: usize) -> bool {
        self.flags(row, col) & LOW != 0
    }

    /// The raw flags of a pixel: bits 0 to 2 red, green, blue high; bits 3 to 5
    /// red, green, blue low. 0 outside the picture.
    pub fn flags(&self, row: usize, col: usize) -> u8 {
        self.flags.get((row, col)).copied().unwrap_or_default()
    }

    /// All flags: shape (rows, columns), bits as in [`Clipped::flags`].
    pub fn view(&self) -> ArrayView2<'_, u8> {
        self.flags.view()
    }
}

impl Pixels {
    /// The picture at 8 bits, which the hash and the clipping flags are taken from.
    pub(super) fn eight(&self) -> Cow<'_, RgbImage> {
        match self {
            Self::Eight(picture) => Cow::Borrowed(picture),
            Self::Sixteen(picture) => Cow::Owned(to_eight_bits(picture)),
        }
    }

    /// The same, where nothing else is wanted.
    pub(super) fn into_eight(self) -> RgbImage {
        match self {
            Self::Eight(picture) => picture,
            Self::Sixteen(picture) => to_eight_bits(&picture),
        }
    }
}

fn to_eight_bits(picture: &Rgb16Image) -> RgbImage {
    let mut eight = RgbImage::new(picture.width(), picture.height());
    for (to, &from) in eight.iter_mut().zip(picture.as_raw()) {
        *to = to_eight(from);
    }
    eight
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flags_tell_the_channel_and_the_end() {
        let codes = [254, 128, 1, 253, 2, 128, 255, 255, 255, 0, 0, 0];
        let picture = RgbImage::from_raw(2, 2, codes.to_vec()).unwrap_or_default();
        let clipped = Clipped::of(&picture);
        assert_eq!(clipped.flags(0, 0), 0b100_001);
        assert!(clipped.high(0, 0) && clipped.low(0, 0));
        assert_eq!(clipped.flags(0, 1), 0);
        assert_eq!(clipped.flags(1, 0), HIGH);
        assert_eq!(clipped.flags(1, 1), LOW);
        assert_eq!(clipped.flags(2, 0), 0);
        assert_eq!(clipped.view().dim(), (2, 2));
    }

    /// A ramp with noise, and beside it a part that is white: by `white` of the place. Between them sharpening's rim.
    fn shown(white: impl Fn(u32, u32) -> u8) -> RgbImage {
        RgbImage::from_fn(200, 100, |x, y| {
            let noise = ((x * 7919 + y * 104_729) % 97 % 5) as u8;
            let code = match x {
                0..120 => 150 + (x / 3) as u8 + noise,
                120..122 => 252,
                _ => white(x, y),
            };
            image::Rgb([code, code, 90 + noise])
        })
    }

    #[test]
    fn a_full_sensor_is_told_by_the_plateau_that_it_leaves() {
        let saturation = |picture| Saturation::of(&picture).0;
        for full in [240, 248] {
            assert_eq!(saturation(shown(|_, _| full)), [full, full, 255]);
        }
        // The end of the range is the end of the range, with one level for JPEG's rounding.
        for end in [253, 254, 255] {
            assert_eq!(saturation(shown(|_, _| end)), [255; 3]);
        }
        // White paper in light that falls off, compressed until its noise is gone: no value has half of it.
        let paper = |x: u32, y: u32| 234 + ((x / 8 + y / 8) % 12) as u8;
        assert_eq!(saturation(shown(paper)), [255; 3]);
        // As even, but darker than any full sensor; and next to nothing.
        assert_eq!(saturation(shown(|_, _| 220)), [255; 3]);
        assert_eq!(saturation(RgbImage::new(1, 1)), [255; 3]);
        let clipped = Clipped::of(&shown(|_, _| 248));
        assert_eq!(clipped.flags(50, 150), 0b11);
        assert_eq!(clipped.flags(50, 100), 0);
    }
}
