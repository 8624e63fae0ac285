//! What a decoder hands over: code values and tags, before any interpretation.

use super::source::{Format, Note};
use image::metadata::Orientation;
use image::{DynamicImage, ImageBuffer, Rgb, RgbImage};

/// Sixteen-bit RGB pixels.
pub(super) type Rgb16Image = ImageBuffer<Rgb<u16>, Vec<u16>>;

/// One decoded picture as the file codes it, still turned as stored.
pub(super) struct Decoded {
    pub(super) format: Format,
    pub(super) pixels: Pixels,
    /// Red, green and blue are one grey value.
    pub(super) grey: bool,
    pub(super) colour: ColourTag,
    /// The turn still to be applied.
    pub(super) turn: Orientation,
    /// The turn that the decoder has already applied.
    pub(super) turned: Orientation,
    /// Raw EXIF: a TIFF structure.
    pub(super) exif: Option<Vec<u8>>,
    pub(super) notes: Vec<Note>,
}

/// Code values, red, green and blue.
pub(super) enum Pixels {
    /// 0..=255.
    Eight(RgbImage),
    /// 0..=65535.
    Sixteen(Rgb16Image),
}

/// What the file says about the meaning of its code values.
pub(super) enum ColourTag {
    /// Nothing.
    Untagged,
    /// An ICC profile.
    Icc(Vec<u8>),
    /// Colour primaries and transfer characteristics of ITU-T H.273.
    Cicp {
        /// `ColourPrimaries`.
        primaries: u8,
        /// `TransferCharacteristics`.
        transfer: u8,
    },
}

impl Pixels {
    /// Width and height as stored.
    pub(super) fn size(&self) -> (u32, u32) {
        match self {
            Self::Eight(picture) => picture.dimensions(),
            Self::Sixteen(picture) => picture.dimensions(),
        }
    }

    /// The picture turned upright.
    pub(super) fn turned(self, turn: Orientation) -> Self {
        if turn == Orientation::NoTransforms {
            return self;
        }
        match self {
            Self::Eight(pixels) => {
                let mut picture = DynamicImage::ImageRgb8(pixels);
                picture.apply_orientation(turn);
                Self::Eight(picture.into_rgb8())
            }
            Self::Sixteen(pixels) => {
                let mut picture = DynamicImage::ImageRgb16(pixels);
                picture.apply_orientation(turn);
                Self::Sixteen(picture.into_rgb16())
            }
        }
    }
}

/// Adds pixels of one to four channels (grey, grey and alpha, RGB, RGBA) to RGB ones, laying what is see-through on
/// white; whether anything was.
///
/// The mix is made in code values, as viewers do.
pub(super) fn add_rgb<T>(rgb: &mut Vec<T>, pixels: &[T], channels: usize, opaque: T) -> bool
where
    T: Copy + PartialEq + Into<u32> + TryFrom<u32>,
{
    let mut transparent = false;
    match channels {
        1 => rgb.extend(pixels.iter().flat_map(|&grey| [grey; 3])),
        2 => {
            for &[grey, alpha] in pixels.as_chunks::<2>().0 {
                rgb.extend([on_white(grey, alpha, opaque); 3]);
                transparent |= alpha != opaque;
            }
        }
        3 => rgb.extend_from_slice(pixels),
        _ => {
            for &[red, green, blue, alpha] in pixels.as_chunks::<4>().0 {
                rgb.extend([red, green, blue].map(|value| on_white(value, alpha, opaque)));
                transparent |= alpha != opaque;
            }
        }
    }
    transparent
}

/// Makes RGBA samples RGB ones in their own memory, laid on white; whether any pixel was see-through.
#[cfg(any(test, feature = "heic"))]
pub(super) fn drop_alpha(samples: &mut Vec<u8>) -> bool {
    let mut transparent = false;
    let pixels = samples.len() / 4;
    for at in 0..pixels {
        if let Some(&[red, green, blue, alpha]) =
            samples.get(at * 4..).and_then(<[u8]>::first_chunk)
        {
            let rgb = [red, green, blue].map(|value| on_white(value, alpha, u8::MAX));
            // Three samples for each four: what is written over was read before.
            if let Some(slot) = samples.get_mut(at * 3..).and_then(<[u8]>::first_chunk_mut) {
                *slot = rgb;
            }
            transparent |= alpha != u8::MAX;
        }
    }
    samples.truncate(pixels * 3);
    samples.shrink_to_fit();
    transparent
}

/// A sample of a see-through pixel over white.
fn on_white<T>(value: T, alpha: T, opaque: T) -> T
where
    T: Copy + Into<u32> + TryFrom<u32>,
{
    let (value, alpha, full): (u32, u32, u32) = (value.into(), alpha.into(), opaque.into());
    // At most full * full: 65535^2 fits u32.
    let mixed = (value * alpha + full * (full - alpha) + full / 2) / full;
    T::try_from(mixed).unwrap_or(opaque)
}

/// A 16-bit code value as the nearest 8-bit one.
pub(super) fn to_eight(value: u16) -> u8 {
    let rounded = (u32::from(value) + 128) / 257;
    u8::try_from(rounded).unwrap_or(u8::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sixteen_bits_round_to_the_nearest_eight() {
        for value in 0..=u16::MAX {
            let exact = (f64::from(value) / 65535.0 * 255.0).round();
            assert!((f64::from(to_eight(value)) - exact).abs() < 0.5, "{value}");
        }
    }

    #[test]
    fn see_through_pixels_lie_on_white() {
        let rgba: [u8; 12] = [10, 20, 30, 255, 10, 20, 30, 0, 100, 0, 255, 128];
        // 128/255 of the colour and 127/255 of white, rounded.
        let wanted = [10, 20, 30, 255, 255, 255, 177, 127, 255];
        let mut rgb = Vec::new();
        assert!(add_rgb(&mut rgb, &rgba, 4, u8::MAX));
        assert_eq!(rgb, wanted);
        let mut samples = rgba.to_vec();
        assert!(drop_alpha(&mut samples));
        assert_eq!(samples, wanted);
        let mut rgb = Vec::new();
        assert!(!add_rgb(&mut rgb, &[1_u16, 2, 3, u16::MAX], 4, u16::MAX));
        assert!(add_rgb(&mut rgb, &[u16::MAX, 0, 0, 1], 4, u16::MAX));
        assert_eq!(rgb, [1, 2, 3, 65535, 65534, 65534]);
    }

    #[test]
    fn grey_becomes_three_alike() {
        let mut rgb = Vec::new();
        assert!(!add_rgb(&mut rgb, &[7_u8, 9], 1, u8::MAX));
        assert!(add_rgb(&mut rgb, &[100_u8, 255, 100, 128], 2, u8::MAX));
        assert_eq!(rgb, [7, 7, 7, 9, 9, 9, 100, 100, 100, 177, 177, 177]);
    }
}
