//! What a decoder hands over: code values and tags, before any interpretation.

use super::source::{Format, Note};
use image::metadata::Orientation;
use image::{DynamicImage, ImageBuffer, Rgb, RgbImage};
use rayon::prelude::*;

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

    /// Takes any picture, laying what is see-through on white; whether it was
    /// grey, and whether anything was see-through.
    ///
    /// The mix is made in code values, as viewers do.
    pub(super) fn from_dynamic(picture: DynamicImage) -> (Self, bool, bool) {
        let grey = !picture.color().has_color();
        let sixteen = picture.color().bytes_per_pixel() / picture.color().channel_count() > 1;
        if !picture.color().has_alpha() {
            let pixels = if sixteen {
                Self::Sixteen(picture.into_rgb16())
            } else {
                Self::Eight(picture.into_rgb8())
            };
            return (pixels, grey, false);
        }
        let (width, height) = (picture.width(), picture.height());
        let (pixels, transparent) = if sixteen {
            let (data, transparent) = on_white(picture.into_rgba16().as_raw(), u16::MAX);
            (
                Rgb16Image::from_raw(width, height, data).map(Self::Sixteen),
                transparent,
            )
        } else {
            let (data, transparent) = on_white(picture.into_rgba8().as_raw(), u8::MAX);
            (
                RgbImage::from_raw(width, height, data).map(Self::Eight),
                transparent,
            )
        };
        // The lengths agree by construction; an empty picture is refused later.
        (
            pixels.unwrap_or_else(|| Self::Eight(RgbImage::new(0, 0))),
            grey,
            transparent,
        )
    }
}

/// Lays RGBA samples on white; whether any pixel was see-through.
pub(super) fn on_white<T>(rgba: &[T], opaque: T) -> (Vec<T>, bool)
where
    T: Copy + PartialEq + Into<u32> + TryFrom<u32> + Send + Sync,
{
    let full: u32 = opaque.into();
    let rgb = rgba
        .par_chunks_exact(4)
        .flat_map_iter(|pixel| {
            let (colour, alpha) = pixel.split_at(3);
            let alpha: u32 = alpha.first().map_or(full, |&a| a.into());
            colour.iter().map(move |&value| {
                // At most full * full: 65535^2 fits u32.
                let value: u32 = value.into();
                let mixed = (value * alpha + full * (full - alpha) + full / 2) / full;
                T::try_from(mixed).unwrap_or(opaque)
            })
        })
        .collect();
    let transparent = rgba
        .par_chunks_exact(4)
        .any(|p| p.last().is_some_and(|&a| a != opaque));
    (rgb, transparent)
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
        let (rgb, transparent) = on_white(&rgba, u8::MAX);
        assert!(transparent);
        // 128/255 of the colour and 127/255 of white, rounded.
        assert_eq!(rgb, [10, 20, 30, 255, 255, 255, 177, 127, 255]);
        let (rgb, transparent) = on_white(&[1_u16, 2, 3, u16::MAX], u16::MAX);
        assert!(!transparent);
        assert_eq!(rgb, [1, 2, 3]);
        let (rgb, _) = on_white(&[u16::MAX, 0, 0, 1], u16::MAX);
        assert_eq!(rgb, [65535, 65534, 65534]);
    }
}
