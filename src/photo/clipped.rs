//! Which pixels the camera drove to the end of the code range.

use super::decoded::{Pixels, Rgb16Image, to_eight};
use image::RgbImage;
use ndarray::{Array2, ArrayView2};
use rayon::prelude::*;
use std::borrow::Cow;

/// For each pixel and channel of the upright photo, whether its 8-bit code value
/// is at the end of the range: high is >= 254, low is <= 1 (of 255).
///
/// It is about the file's own encoding, before colour management: there the
/// camera has cut off, and the true light may lie beyond. One level is left for
/// JPEG's rounding. A low channel alone is usual in a saturated colour; a high
/// one means that the colour cannot be trusted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clipped(pub(super) Array2<u8>);

/// The flags of a pixel with these code values.
pub(super) fn flags(pixel: [u8; 3]) -> u8 {
    (0..).zip(pixel).fold(0, |flags, (channel, code)| {
        let high = u8::from(code >= 254) << channel;
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
        let flags: Vec<u8> = pixels.par_iter().map(|pixel| flags(*pixel)).collect();
        // The number of flags is the number of pixels by construction.
        Self(Array2::from_shape_vec(size, flags).unwrap_or_else(|_| Array2::zeros(size)))
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
        self.0.get((row, col)).copied().unwrap_or_default()
    }

    /// All flags: shape (rows, columns), bits as in [`Clipped::flags`].
    pub fn view(&self) -> ArrayView2<'_, u8> {
        self.0.view()
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
}
