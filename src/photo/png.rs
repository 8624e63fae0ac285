//! PNG, row by row, with the chunks that tell colour and turn read here.

use super::decoded::{ColourTag, Decoded, Pixels, Rgb16Image, add_rgb, to_eight};
use super::drawn::drawn_from;
use super::error::Problem;
use super::exif;
use super::icc;
use super::limits::Limits;
use super::source::{Format, Note};
use image::RgbImage;
use image::metadata::Orientation;
use miniz_oxide::inflate::decompress_to_vec_zlib_with_limit;
use std::io::{Cursor, ErrorKind};

/// Memory for the decoder besides its output: row buffers, palette.
const DECODER_BYTES: usize = 64 << 20;

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

    let picture = pixels(bytes, chunks.size, limits)?;
    let profile = chunks.profile.and_then(unpacked);

    let mut notes = Vec::new();
    if picture.transparent {
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
        (None, None) if chunks.profile.is_some() => ColourTag::Icc(Vec::new()),
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
        pixels: picture.pixels,
        grey: picture.grey,
        colour,
        turn: exif::turn(exif.as_deref()),
        turned: Orientation::NoTransforms,
        exif,
        notes,
    })
}

/// Pixels and what they were made of.
struct Picture {
    pixels: Pixels,
    grey: bool,
    transparent: bool,
}

/// Decodes the pixels. A picture of 16 bits that will be reduced is kept at 8.
fn pixels(bytes: &[u8], (width, height): (u32, u32), limits: &Limits) -> Result<Picture, Problem> {
    let memory = png::Limits {
        bytes: DECODER_BYTES,
    };
    let mut decoder = png::Decoder::new_with_limits(Cursor::new(bytes), memory);
    // Both may be small and unpack to any size.
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    decoder.set_transformations(png::Transformations::EXPAND);
    let mut reader = decoder.read_info().map_err(problem)?;
    let (kind, depth) = reader.output_color_type();
    let channels = match kind {
        png::ColorType::Grayscale => 1,
        png::ColorType::GrayscaleAlpha => 2,
        png::ColorType::Rgb => 3,
        png::ColorType::Rgba => 4,
        png::ColorType::Indexed => return Err(damaged()),
    };
    let pixels = u64::from(width) * u64::from(height);
    let sixteen = depth == png::BitDepth::Sixteen && !limits.reduces(width, height);
    let interlaced = reader.info().interlaced;
    // An interlaced picture comes all at once.
    let at_once = match interlaced {
        true => reader.output_buffer_size().ok_or_else(damaged)?,
        false => 0,
    };
    let kept = pixels * if sixteen { 6 } else { 3 };
    limits.check_memory(kept + at_once as u64)?;

    let mut rows = Rows {
        eight: Vec::new(),
        sixteen: Vec::new(),
        channels,
        wide: depth == png::BitDepth::Sixteen,
        keep_wide: sixteen,
        transparent: false,
    };
    match usize::try_from(pixels * 3).map_err(|_| damaged())? {
        samples if sixteen => rows.sixteen.reserve_exact(samples),
        samples => rows.eight.reserve_exact(samples),
    }
    if interlaced {
        let mut all = vec![0; at_once];
        reader.next_frame(&mut all).map_err(problem)?;
        let row = (at_once / height.max(1) as usize).max(1);
        all.chunks(row).for_each(|row| rows.add(row));
    } else {
        while let Some(row) = reader.next_row().map_err(problem)? {
            rows.add(row.data());
        }
    }
    let pixels = match sixteen {
        true => Rgb16Image::from_raw(width, height, rows.sixteen).map(Pixels::Sixteen),
        false => RgbImage::from_raw(width, height, rows.eight).map(Pixels::Eight),
    };
    Ok(Picture {
        pixels: pixels.ok_or_else(damaged)?,
        grey: channels < 3,
        transparent: rows.transparent,
    })
}

/// Rows of samples on their way to RGB.
struct Rows {
    eight: Vec<u8>,
    sixteen: Vec<u16>,
    channels: usize,
    /// Samples come with 16 bits.
    wide: bool,
    /// And stay so.
    keep_wide: bool,
    transparent: bool,
}

impl Rows {
    fn add(&mut self, row: &[u8]) {
        if !self.wide {
            self.transparent |= add_rgb(&mut self.eight, row, self.channels, u8::MAX);
            return;
        }
        let row: Vec<u16> = (row.as_chunks::<2>().0.iter())
            .map(|pair| u16::from_be_bytes(*pair))
            .collect();
        self.transparent |= add_rgb(&mut self.sixteen, &row, self.channels, u16::MAX);
        if !self.keep_wide {
            self.eight.extend(self.sixteen.drain(..).map(to_eight));
        }
    }
}

/// The profile inside a chunk (PNG specification, 11.3.2.3): a name, how it is packed, and the profile.
fn unpacked(chunk: &[u8]) -> Option<Vec<u8>> {
    let name = chunk.iter().take(80).position(|&byte| byte == 0)?;
    let [0, packed @ ..] = chunk.get(name + 1..)? else {
        return None;
    };
    decompress_to_vec_zlib_with_limit(packed, icc::MOST_BYTES).ok()
}

fn damaged() -> Problem {
    Problem::damaged(Format::Png, "its picture does not unpack")
}

/// In our own words: the decoder's are about its inside.
fn problem(error: png::DecodingError) -> Problem {
    match error {
        png::DecodingError::IoError(error) if error.kind() == ErrorKind::UnexpectedEof => {
            Problem::Truncated(Format::Png)
        }
        _ => damaged(),
    }
}

/// What the chunks tell (PNG specification, 5.3).
#[derive(Default)]
struct Chunks<'a> {
    size: (u32, u32),
    /// Colour primaries and transfer characteristics.
    cicp: Option<(u8, u8)>,
    /// As it is packed.
    profile: Option<&'a [u8]>,
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
            (b"iCCP", data) => chunks.profile = chunks.profile.or(Some(data)),
            (b"sRGB", _) => chunks.srgb = true,
            (b"gAMA", &[g3, g2, g1, g0]) => {
                chunks.gamma = Some(u32::from_be_bytes([g3, g2, g1, g0]));
            }
            (b"tEXt", data) => {
                let text = data
                    .iter()
                    .position(|&byte| byte == 0)
                    .map_or(0, |end| end + 1);
                if let Some(photo) = data.get(text..).and_then(drawn_from) {
                    return Err(Problem::Drawn { photo });
                }
            }
            (b"eXIf", data) => chunks.exif = Some(data),
            (b"IEND", _) => return Ok(chunks),
            _ => {}
        }
    }
}
