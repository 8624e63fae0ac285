//! JPEG: decoded strictly, so that a part of a photo never passes for the whole.
//!
//! `image`'s JPEG decoder fills what it cannot decode with grey and reports
//! success. So its own back end is called here in strict mode, and the file is
//! first walked to its end-of-image marker, which a cut file lacks. JPEG has no
//! check sums: a file that was altered inside, or cut and given a new end marker,
//! may still pass.

use super::decoded::{ColourTag, Decoded, Pixels};
use super::error::Problem;
use super::exif;
use super::limits::Limits;
use super::source::Format;
use image::metadata::Orientation;
use image::{DynamicImage, GrayImage, RgbImage};
use zune_jpeg::JpegDecoder;
use zune_jpeg::errors::DecodeErrors;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

/// Decodes a JPEG.
///
/// # Errors
/// Cut, damaged, too large or small, or of a variant that is not read.
pub(super) fn decode(bytes: &[u8], limits: &Limits) -> Result<Decoded, Problem> {
    let frame = walk(bytes)?;
    // The width and height fields are 16 bits; the number of pixels is what counts.
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(usize::from(u16::MAX))
        .set_max_height(usize::from(u16::MAX));
    if let Some(Frame { width, height, .. }) = frame {
        limits.check(width, height)?;
    }
    if let Some(what) = frame.and_then(Frame::unread_variant) {
        return Err(Problem::Unsupported { what: what.into() });
    }

    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    decoder.decode_headers().map_err(problem)?;
    let (width, height) = size(&decoder)?;
    // What the decoder will set memory aside for, in case it read another frame header.
    limits.check(width, height)?;
    let grey = match decoder.input_colorspace() {
        Some(ColorSpace::Luma) => true,
        Some(ColorSpace::YCbCr | ColorSpace::RGB) => false,
        Some(ColorSpace::CMYK | ColorSpace::YCCK) => {
            return Err(Problem::Unsupported {
                what: "a CMYK JPEG, made for print".into(),
            });
        }
        _ => {
            return Err(Problem::Unsupported {
                what: "a JPEG with an unusual set of channels".into(),
            });
        }
    };
    let wanted = if grey {
        ColorSpace::Luma
    } else {
        ColorSpace::RGB
    };
    decoder.set_options(options.jpeg_set_out_colorspace(wanted));
    let samples = decoder.decode().map_err(problem)?;
    let picture = if grey {
        GrayImage::from_raw(width, height, samples).map(DynamicImage::ImageLuma8)
    } else {
        RgbImage::from_raw(width, height, samples).map(DynamicImage::ImageRgb8)
    };
    let picture =
        picture.ok_or_else(|| Problem::damaged(Format::Jpeg, "fewer pixels than it says"))?;
    let (pixels, grey, _) = Pixels::from_dynamic(picture);

    let exif = decoder.exif().cloned();
    let colour = match decoder.icc_profile() {
        Some(profile) => ColourTag::Icc(profile),
        // Profile segments that do not make a whole: say so by a profile that cannot be read.
        None if frame.is_some_and(|frame| frame.profile) => ColourTag::Icc(Vec::new()),
        None => ColourTag::Untagged,
    };
    Ok(Decoded {
        format: Format::Jpeg,
        pixels,
        grey,
        colour,
        turn: exif::turn(exif.as_deref()),
        turned: Orientation::NoTransforms,
        exif,
        notes: Vec::new(),
    })
}

fn size(decoder: &JpegDecoder<ZCursor<&[u8]>>) -> Result<(u32, u32), Problem> {
    decoder
        .dimensions()
        .and_then(|(width, height)| Some((u32::try_from(width).ok()?, u32::try_from(height).ok()?)))
        .ok_or_else(|| Problem::damaged(Format::Jpeg, "it does not say its size"))
}

fn problem(error: DecodeErrors) -> Problem {
    match error {
        DecodeErrors::Unsupported(_) => Problem::Unsupported {
            what: "a JPEG of a rare kind".into(),
        },
        DecodeErrors::ExhaustedData => Problem::Truncated(Format::Jpeg),
        error => Problem::damaged(Format::Jpeg, error),
    }
}

/// What a walk along the markers tells (ITU-T T.81, B.1 and B.2).
#[derive(Clone, Copy)]
struct Frame {
    /// The start-of-frame marker's second byte, 0xC0..=0xCF.
    marker: u8,
    /// Bits a sample.
    precision: u8,
    width: u32,
    height: u32,
    /// An ICC profile segment came by.
    profile: bool,
}

impl Frame {
    /// The variants that the decoder cannot read, in words.
    fn unread_variant(self) -> Option<&'static str> {
        match (self.marker, self.precision) {
            (_, 9..) => Some("a JPEG of more than 8 bits a sample"),
            (0xC3 | 0xC5..=0xC7 | 0xCB | 0xCD..=0xCF, _) => Some("a lossless or layered JPEG"),
            (0xC9 | 0xCA, _) => Some("a JPEG with arithmetic coding"),
            (0xC1, _) => Some("a JPEG with extended coding"),
            _ => None,
        }
    }
}

/// Walks from marker to marker up to the end of the image, and no further: phones
/// hang a second picture or a video behind it. Returns the first frame header.
///
/// # Errors
/// [`Problem::Truncated`] when the file ends first.
fn walk(bytes: &[u8]) -> Result<Option<Frame>, Problem> {
    const CUT: Problem = Problem::Truncated(Format::Jpeg);
    let mut frame = None;
    let mut profile = false;
    let mut rest = bytes.get(2..).ok_or(CUT)?;
    loop {
        // Coded data, and fill bytes, go on to the next 0xFF that introduces a marker.
        let start = rest.iter().position(|&byte| byte == 0xFF).ok_or(CUT)?;
        rest = rest.get(start + 1..).ok_or(CUT)?;
        let marker = *rest.first().ok_or(CUT)?;
        match marker {
            // Another fill byte: it may itself introduce the marker.
            0xFF => continue,
            // A stuffed zero, a restart, or a marker without a segment.
            0x00 | 0x01 | 0xD0..=0xD8 => {
                rest = rest.get(1..).ok_or(CUT)?;
                continue;
            }
            0xD9 => break,
            _ => {}
        }
        let length = match rest {
            [_, high, low, ..] => usize::from(u16::from_be_bytes([*high, *low])),
            _ => return Err(CUT),
        };
        let segment = rest.get(3..(1 + length).max(3)).ok_or(CUT)?;
        if marker == 0xE2 && segment.starts_with(b"ICC_PROFILE\0") {
            profile = true;
        }
        if frame.is_none()
            && matches!(marker, 0xC0..=0xCF)
            && !matches!(marker, 0xC4 | 0xC8 | 0xCC)
            && let [precision, y1, y0, x1, x0, ..] = *segment
        {
            frame = Some(Frame {
                marker,
                precision,
                width: u32::from(u16::from_be_bytes([x1, x0])),
                height: u32::from(u16::from_be_bytes([y1, y0])),
                profile: false,
            });
        }
        rest = rest.get((1 + length).max(3)..).ok_or(CUT)?;
    }
    Ok(frame.map(|frame| Frame { profile, ..frame }))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const HEAD: &[u8] = b"\xFF\xD8\xFF\xC0\x00\x0B\x08\x00\x10\x00\x18\x01\x01\x11\x00";

    fn with(tail: &[u8]) -> Vec<u8> {
        [HEAD, b"\xFF\xDA\x00\x08\x01\x01\x00\x00\x3F\x00", tail].concat()
    }

    #[test]
    fn the_walk_ends_at_the_end_of_image_only() {
        let whole = with(b"\x12\xFF\x00\x34\xFF\xD0\x56\xFF\xFF\xD9 and a video");
        let frame = walk(&whole).unwrap().unwrap();
        assert_eq!((frame.width, frame.height), (24, 16));
        for tail in [
            &b""[..],
            b"\x12",
            b"\x12\xFF",
            b"\xFF\x00\xD9",
            b"\xFF\xD0\xD9",
        ] {
            assert!(
                matches!(walk(&with(tail)), Err(Problem::Truncated(_))),
                "{tail:?}"
            );
        }
    }

    #[test]
    fn an_end_marker_inside_a_segment_is_not_the_end() {
        // A thumbnail with its own end, inside an application segment.
        let cut = b"\xFF\xD8\xFF\xE1\x00\x08\xFF\xD8\xFF\xD9\x00\x00";
        assert!(matches!(walk(cut), Err(Problem::Truncated(_))));
        let whole = [&cut[..], b"\xFF\xD9"].concat();
        assert!(walk(&whole).unwrap().is_none());
    }

    #[test]
    fn segments_that_lie_about_their_length_do_no_harm() {
        for length in [0_u8, 1, 2, 3, 255] {
            let bytes = [0xFF, 0xD8, 0xFF, 0xE1, 0, length, 0xFF, 0xD9];
            let _ = walk(&bytes);
        }
    }
}
