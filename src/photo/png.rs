//! PNG through `image`, with the chunks that it does not hand over read here.

use super::decoded::{ColourTag, Decoded, Pixels};
use super::error::Problem;
use super::exif;
use super::limits::Limits;
use super::source::{Format, Note};
use image::codecs::png::PngDecoder;
use image::error::ImageError;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder};
use std::io::{Cursor, ErrorKind};

/// Memory for the decoder besides 8 bytes (16-bit RGBA) a pixel: row buffers,
/// text, profile.
const DECODER_BYTES: u64 = 64 << 20;

/// The gamma of sRGB as a PNG states it, times 100 000, and how far off it may be.
const SRGB_GAMMA: u32 = 45_455;
const GAMMA_TOLERANCE: u32 = 2_500;

/// Decodes a PNG; of an animated one the still picture.
///
/// # Errors
/// Cut, damaged, or too large or small.
pub(super) fn decode(bytes: &[u8], limits: &Limits) -> Result<Decoded, Problem> {
    let chunks = walk(bytes)?;
    let (width, height) = chunks.size;
    limits.check(width, height)?;

    let mut decoder_limits = image::Limits::default();
    decoder_limits.max_alloc = Some(limits.max_pixels.saturating_mul(8) + DECODER_BYTES);
    let mut decoder =
        PngDecoder::with_limits(Cursor::new(bytes), decoder_limits).map_err(problem)?;
    let profile = decoder.icc_profile().map_err(problem)?;
    let picture = DynamicImage::from_decoder(decoder).map_err(problem)?;
    let (pixels, grey, transparent) = Pixels::from_dynamic(picture);

    let mut notes = Vec::new();
    if transparent {
        notes.push(Note::Transparent);
    }
    // The order of the PNG specification, third edition, 4.3: cICP, iCCP, sRGB, gAMA.
    let colour = match (chunks.cicp, profile) {
        (Some((primaries, transfer)), _) => ColourTag::Cicp {
            primaries,
            transfer,
        },
        (None, Some(profile)) => ColourTag::Icc(profile),
        // A profile that did not unpack.
        (None, None) if chunks.profile => ColourTag::Icc(Vec::new()),
        (None, None) if chunks.srgb => ColourTag::Cicp {
            primaries: 1,
            transfer: 13,
        },
        (None, None) => {
            if chunks
                .gamma
                .is_some_and(|gamma| gamma.abs_diff(SRGB_GAMMA) > GAMMA_TOLERANCE)
            {
                notes.push(Note::GammaIgnored);
            }
            ColourTag::Untagged
        }
    };
    let exif = chunks.exif.map(<[u8]>::to_vec);
    Ok(Decoded {
        format: Format::Png,
        pixels,
        grey,
        colour,
        turn: exif::turn(exif.as_deref()),
        turned: Orientation::NoTransforms,
        exif,
        notes,
    })
}

fn problem(error: ImageError) -> Problem {
    match error {
        ImageError::IoError(error) if error.kind() == ErrorKind::UnexpectedEof => {
            Problem::Truncated(Format::Png)
        }
        error => Problem::damaged(Format::Png, error),
    }
}

/// What the chunks tell (PNG specification, 5.3).
#[derive(Default)]
struct Chunks<'a> {
    size: (u32, u32),
    /// Colour primaries and transfer characteristics.
    cicp: Option<(u8, u8)>,
    profile: bool,
    srgb: bool,
    /// Times 100 000.
    gamma: Option<u32>,
    /// May stand behind the pixels, where a streaming decoder has not looked yet.
    exif: Option<&'a [u8]>,
}

/// Walks the chunks up to the end chunk.
///
/// # Errors
/// [`Problem::Truncated`] when the file ends first; damaged when it does not
/// begin with its header.
fn walk(bytes: &[u8]) -> Result<Chunks<'_>, Problem> {
    const CUT: Problem = Problem::Truncated(Format::Png);
    let mut chunks = Chunks::default();
    let mut rest = bytes.get(8..).ok_or(CUT)?;
    let mut first = true;
    loop {
        let (length, after) = rest.split_first_chunk::<4>().ok_or(CUT)?;
        let (name, after) = after.split_first_chunk::<4>().ok_or(CUT)?;
        let length = usize::try_from(u32::from_be_bytes(*length)).map_err(|_| CUT)?;
        let data = after.get(..length).ok_or(CUT)?;
        // Four bytes of check sum follow; the decoder looks at them.
        rest = after.get(length.saturating_add(4)..).ok_or(CUT)?;
        if first != (name == b"IHDR") {
            return Err(Problem::damaged(
                Format::Png,
                "its header is not where it belongs",
            ));
        }
        first = false;
        match (name, data) {
            (b"IHDR", &[w3, w2, w1, w0, h3, h2, h1, h0, ..]) => {
                chunks.size = (
                    u32::from_be_bytes([w3, w2, w1, w0]),
                    u32::from_be_bytes([h3, h2, h1, h0]),
                );
            }
            // Full range and RGB, the only ones that PNG pixels can be.
            (b"cICP", &[primaries, transfer, 0, 1]) => chunks.cicp = Some((primaries, transfer)),
            (b"iCCP", _) => chunks.profile = true,
            (b"sRGB", _) => chunks.srgb = true,
            (b"gAMA", &[g3, g2, g1, g0]) => {
                chunks.gamma = Some(u32::from_be_bytes([g3, g2, g1, g0]));
            }
            (b"eXIf", data) => chunks.exif = Some(data),
            (b"IEND", _) => return Ok(chunks),
            _ => {}
        }
    }
}
