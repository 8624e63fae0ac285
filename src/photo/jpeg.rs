//! JPEG: decoded strictly, so that a part of a photo never passes for the whole.
//!
//! `image`'s JPEG decoder fills what it cannot decode with grey and reports
//! success, and its back end, called here in its strict mode, still does so at the end of a picture. So the file's
//! coded data is read to its end beside the decoder ([`whole`]): a cut file is refused, whether it lacks its end marker
//! or was given a new one. JPEG has no check sums: a file that was altered inside may still pass.

mod segments;
mod huffman;
mod scan;
mod whole;

use super::decoded::{ColourTag, Decoded, Pixels, add_rgb};
use super::drawn::{COMMENT, drawn_from};
use super::error::Problem;
use super::exif;
use super::limits::Limits;
use super::source::Format;
use image::RgbImage;
use image::metadata::Orientation;
use segments::{SOS, Segment, Segments};
use whole::{Fault, Layout};
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
    let head = Head::read(bytes)?;
    // The width and height fields are 16 bits; the number of pixels is what counts.
    let options = DecoderOptions::default()
        .set_strict_mode(true)
        .set_max_width(usize::from(u16::MAX))
        .set_max_height(usize::from(u16::MAX));
    if let Some(frame) = &head.frame {
        limits.check(frame.width, frame.height)?;
        frame.check(bytes.len(), head.together, limits)?;
    }
    let (whole, decoded) = rayon::join(
        || whole::check(bytes).map_err(Problem::from),
        || decode_frame(bytes, options, limits),
    );
    whole?;
    let (decoder, pixels, grey) = decoded?;

    let exif = decoder.exif().cloned();
    let colour = match decoder.icc_profile() {
        Some(profile) => ColourTag::Icc(profile),
        // Profile segments that do not make a whole: say so by a profile that cannot be read.
        None if head.profile => ColourTag::Icc(Vec::new()),
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

type Decoder<'a> = JpegDecoder<ZCursor<&'a [u8]>>;

/// Makes pixels of it, and tells whether they are grey; the decoder is handed back for what else it read.
fn decode_frame<'a>(
    bytes: &'a [u8],
    options: DecoderOptions,
    limits: &Limits,
) -> Result<(Decoder<'a>, Pixels, bool), Problem> {
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
    let mut picture = Vec::new();
    if grey {
        add_rgb(&mut picture, &samples, 1, u8::MAX);
    } else {
        picture = samples;
    }
    let pixels = RgbImage::from_raw(width, height, picture).map(Pixels::Eight);
    let pixels =
        pixels.ok_or_else(|| Problem::damaged(Format::Jpeg, "it has fewer pixels than it says"))?;
    Ok((decoder, pixels, grey))
}

fn size(decoder: &Decoder) -> Result<(u32, u32), Problem> {
    decoder
        .dimensions()
        .and_then(|(width, height)| Some((u32::try_from(width).ok()?, u32::try_from(height).ok()?)))
        .ok_or_else(|| Problem::damaged(Format::Jpeg, "it does not say its size"))
}

/// In our own words: the decoder's are about its inside.
fn problem(error: DecodeErrors) -> Problem {
    let detail = match error {
        DecodeErrors::Unsupported(_) => {
            return Problem::Unsupported {
                what: "a JPEG of a rare kind".into(),
            };
        }
        DecodeErrors::ExhaustedData | DecodeErrors::IoErrors(_) => {
            return Problem::Truncated(Format::Jpeg);
        }
        DecodeErrors::SofError(_) | DecodeErrors::ZeroError | DecodeErrors::LargeDimensions(_) => {
            "its header makes no sense"
        }
        DecodeErrors::HuffmanDecode(_) | DecodeErrors::DqtError(_) => {
            "its code tables make no sense"
        }
        _ => "its coded picture makes no sense",
    };
    Problem::damaged(Format::Jpeg, detail)
}

impl From<Fault> for Problem {
    fn from(fault: Fault) -> Self {
        match fault {
            Fault::Cut => Self::Truncated(Format::Jpeg),
            Fault::Broken(detail) => Self::damaged(Format::Jpeg, detail),
        }
    }
}

/// What the segments tell before anything is decoded.
struct Head {
    /// The first frame header.
    frame: Option<Frame>,
    /// An ICC profile segment came by.
    profile: bool,
    /// Components in the first scan.
    together: usize,
}

impl Head {
    /// Reads the segments up to the end of the image, and no further: phones hang a second picture or a video
    /// behind it.
    ///
    /// # Errors
    /// [`Problem::Truncated`] when the file ends first.
    fn read(bytes: &[u8]) -> Result<Self, Problem> {
        let mut head = Self {
            frame: None,
            profile: false,
            together: 0,
        };
        for segment in Segments::of(bytes) {
            let segment = segment.map_err(Fault::from)?;
            head.profile |= segment.marker == 0xE2 && segment.data.starts_with(b"ICC_PROFILE\0");
            if head.frame.is_none() && segment.is_frame() {
                head.frame = Frame::read(&segment);
            }
            if segment.marker == COMMENT
                && let Some(photo) = drawn_from(segment.data)
            {
                return Err(Problem::Drawn { photo });
            }
            if head.together == 0 && segment.marker == SOS {
                head.together = segment.data.first().copied().map_or(0, usize::from);
            }
        }
        Ok(head)
    }
}

/// A frame header.
struct Frame {
    /// The start-of-frame marker's second byte, 0xC0..=0xCF.
    marker: u8,
    /// Bits a sample.
    precision: u8,
    width: u32,
    height: u32,
    /// Missing where the rest of the header makes no sense.
    layout: Option<Layout>,
}

impl Frame {
    fn read(segment: &Segment) -> Option<Self> {
        let [precision, y1, y0, x1, x0, ..] = *segment.data else {
            return None;
        };
        Some(Self {
            marker: segment.marker,
            precision,
            width: u32::from(u16::from_be_bytes([x1, x0])),
            height: u32::from(u16::from_be_bytes([y1, y0])),
            layout: Layout::read(segment).ok(),
        })
    }

    /// The variants that the decoder cannot read, in words.
    fn unread_variant(&self) -> Option<&'static str> {
        match (self.marker, self.precision) {
            (_, 9..) => Some("a JPEG of more than 8 bits a sample"),
            (0xC3 | 0xC5..=0xC7 | 0xCB | 0xCD..=0xCF, _) => Some("a lossless or layered JPEG"),
            (0xC9 | 0xCA, _) => Some("a JPEG with arithmetic coding"),
            (0xC1, _) => Some("a JPEG with extended coding"),
            _ => None,
        }
    }

    /// Refuses what cannot or must not be decoded, before memory is set aside.
    ///
    /// # Errors
    /// A variant that is not read; a file too small for its picture; a picture that takes too much memory.
    fn check(&self, file_bytes: usize, together: usize, limits: &Limits) -> Result<(), Problem> {
        if let Some(what) = self.unread_variant() {
            return Err(Problem::Unsupported { what: what.into() });
        }
        let Some(layout) = &self.layout else {
            return Err(Problem::damaged(Format::Jpeg, "its header makes no sense"));
        };
        // The shortest code has one bit, and a block has a code at least.
        if layout.blocks() > file_bytes as u64 * 8 {
            return Err(Problem::Truncated(Format::Jpeg));
        }
        let pixels = u64::from(self.width) * u64::from(self.height);
        let samples = layout.blocks() * 64;
        // Three bytes for each pixel that comes out. What comes in several scans is held until all have come, two
        // bytes a coefficient.
        let held = layout.progressive || together < layout.components.len();
        let kept = if held { samples * 2 } else { 0 };
        limits.check_memory(pixels * 3 + kept)
    }
}
