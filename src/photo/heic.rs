//! HEIC through `heifer`, which turns the picture itself.
//!
//! HEIF keeps the turn in the properties `irot` and `imir`; EXIF's orientation is
//! for information only there (ISO/IEC 23008-12), and honouring both would turn
//! the picture twice.

use super::decoded::{ColourTag, Decoded, Pixels, drop_alpha};
use super::error::Problem;
use super::limits::Limits;
use super::source::{Format, Note};
use heifer::heifer_hevc_dec::nal::NalUnit;
use heifer::heifer_hevc_dec::params::ParameterSets;
use heifer::heifer_isobmff::boxes::{ColorInfo, Property};
use heifer::heifer_isobmff::{HeifFile, ItemId};
use image::RgbImage;
use image::metadata::Orientation;

/// How far to follow references to find a profile; files that refer in circles exist.
const MAX_DEPTH: usize = 4;

/// What decoding takes, bytes a pixel: four samples that come out, and one and a half of two bytes each inside.
const BYTES_A_PIXEL: u64 = 7;

/// Decodes the primary picture of a HEIC file, 8 bits a sample.
///
/// # Errors
/// Cut, damaged, too large or small, or of a variant that is not read.
pub(super) fn decode(bytes: &[u8], limits: &Limits) -> Result<Decoded, Problem> {
    check_whole(bytes)?;
    let file = HeifFile::parse(bytes).map_err(container)?;
    let id = file.primary_id;
    if let Some((width, height)) = file.image_size(id).map_err(container)? {
        limits.check(width, height)?;
        limits.check_memory(u64::from(width) * u64::from(height) * BYTES_A_PIXEL)?;
    }
    check_simple(&file, id, limits)?;
    for helper in file.referencing_items(id, b"auxl") {
        check_simple(&file, helper, limits)?;
    }
    let colour = colour(&file, id);
    let turned = turn(&file, id);
    let exif = file.exif(id).ok().flatten();

    let options = heifer::Options {
        max_threads: 0,
        max_pixels: limits.max_pixels,
    };
    // In our own words: the decoder's are about its inside.
    let picture = heifer::decode_rgba8(bytes, &options).map_err(|error| match error {
        heifer::Error::Unsupported(_) => Problem::Unsupported {
            what: "a HEIC picture of a rare kind".into(),
        },
        heifer::Error::Hevc(_) => damaged("its coded picture makes no sense"),
        _ => damaged(CONTAINER),
    })?;
    limits.check(picture.width, picture.height)?;
    let mut samples = picture.data;
    let transparent = drop_alpha(&mut samples);
    let pixels = RgbImage::from_raw(picture.width, picture.height, samples)
        .ok_or_else(|| damaged("it has fewer pixels than it says"))?;
    Ok(Decoded {
        format: Format::Heic,
        pixels: Pixels::Eight(pixels),
        grey: false,
        colour,
        turn: Orientation::NoTransforms,
        turned,
        exif,
        notes: if transparent {
            vec![Note::Transparent]
        } else {
            Vec::new()
        },
    })
}

fn damaged(detail: &'static str) -> Problem {
    Problem::damaged(Format::Heic, detail)
}

/// What is said when the file's boxes contradict themselves.
const CONTAINER: &str = "its parts do not fit together";

fn container<E>(_: E) -> Problem {
    damaged(CONTAINER)
}

/// Walks the file's outermost boxes: a cut file ends inside one (ISO/IEC 14496-12, 4.2).
fn check_whole(bytes: &[u8]) -> Result<(), Problem> {
    const CUT: Problem = Problem::Truncated(Format::Heic);
    let mut rest = bytes;
    let mut seen_meta = false;
    while !rest.is_empty() {
        let (size, after) = rest.split_first_chunk::<4>().ok_or(CUT)?;
        let (name, after) = after.split_first_chunk::<4>().ok_or(CUT)?;
        seen_meta |= name == b"meta";
        let size = match u32::from_be_bytes(*size) {
            // To the end of the file.
            0 => return Ok(()),
            1 => {
                let large = after.first_chunk::<8>().ok_or(CUT)?;
                usize::try_from(u64::from_be_bytes(*large)).map_err(|_| CUT)?
            }
            small => usize::try_from(small).map_err(|_| CUT)?,
        };
        if size < 8 {
            // Bytes that are no box, behind the last one.
            break;
        }
        rest = rest.get(size..).ok_or(CUT)?;
    }
    // A cut right between two boxes.
    if seen_meta { Ok(()) } else { Err(CUT) }
}

/// Lets through what cameras write: a coded picture, or a grid of them. Pictures
/// built from others in other ways can be small files that need endless memory.
fn check_simple(file: &HeifFile<'_>, id: ItemId, limits: &Limits) -> Result<(), Problem> {
    let kind = file.item(id).map_err(container)?.item_type.0;
    let tiles = match &kind {
        b"hvc1" => return Ok(()),
        b"grid" => file.referenced_items(id, b"dimg"),
        b"av01" => {
            return Err(Problem::OtherKind {
                kind: "an AVIF picture",
                remedy: "save or export the photo as JPEG and give that",
            });
        }
        _ => {
            return Err(Problem::Unsupported {
                what: "a HEIC picture put together from several".into(),
            });
        }
    };
    let mut pixels = 0_u64;
    for &tile in tiles {
        if file.item(tile).map_err(container)?.item_type.0 != *b"hvc1" {
            return Err(Problem::Unsupported {
                what: "a HEIC picture put together in layers".into(),
            });
        }
        if let Some((width, height)) = file.image_size(tile).map_err(container)? {
            pixels = pixels.saturating_add(u64::from(width) * u64::from(height));
        }
    }
    // Tiles overhang the picture by less than one row and one column of tiles.
    if pixels > limits.max_pixels.saturating_mul(2) {
        return Err(damaged("its tiles are far larger than its picture"));
    }
    Ok(())
}

/// The colour tag of a picture, or of the first tile of a grid: an ICC profile,
/// else the code points of its `nclx` box, else those in the coded stream.
fn colour(file: &HeifFile<'_>, id: ItemId) -> ColourTag {
    let mut code_points = None;
    let mut next = Some(id);
    for _ in 0..MAX_DEPTH {
        let Some(item) = next else { break };
        for property in file.item_properties(item).into_iter().flatten() {
            match property {
                Property::Color(ColorInfo::Icc(profile)) if !profile.is_empty() => {
                    return ColourTag::Icc(profile.clone());
                }
                Property::Color(ColorInfo::Nclx {
                    primaries,
                    transfer,
                    ..
                }) => {
                    code_points.get_or_insert((*primaries, *transfer));
                }
                _ => {}
            }
        }
        if code_points.is_none() {
            code_points = stream_code_points(file, item);
        }
        next = file.referenced_items(item, b"dimg").first().copied();
    }
    match code_points {
        Some((primaries, transfer)) => ColourTag::Cicp {
            // Values above 255 are reserved, as 0 is.
            primaries: u8::try_from(primaries).unwrap_or(0),
            transfer: u8::try_from(transfer).unwrap_or(0),
        },
        None => ColourTag::Untagged,
    }
}

/// Primaries and transfer from the HEVC stream's parameter sets (ITU-T H.265, E.2.1),
/// where both are specified; 2 means that they are not.
fn stream_code_points(file: &HeifFile<'_>, id: ItemId) -> Option<(u16, u16)> {
    let config = file.hevc_config(id).ok()??;
    let mut sets = ParameterSets::default();
    for unit in &config.nal_units {
        sets.add(&NalUnit::parse(unit).ok()?).ok()?;
    }
    sets.sps.iter().flatten().find_map(|set| {
        let vui = set.vui.as_ref()?;
        (vui.colour_primaries != 2 && vui.transfer_characteristics != 2).then_some((
            u16::from(vui.colour_primaries),
            u16::from(vui.transfer_characteristics),
        ))
    })
}

/// The turn in the item's properties, in the terms of EXIF: anticlockwise
/// quarter turns first, then the mirror.
fn turn(file: &HeifFile<'_>, id: ItemId) -> Orientation {
    let mut quarters = 0;
    let mut mirror = None;
    for property in file.item_properties(id).into_iter().flatten() {
        match property {
            Property::Rotation(turns) => quarters = turns % 4,
            Property::Mirror(top_bottom) => mirror = Some(*top_bottom),
            _ => {}
        }
    }
    match (quarters, mirror) {
        (0, None) => Orientation::NoTransforms,
        (1, None) => Orientation::Rotate270,
        (2, None) => Orientation::Rotate180,
        (_, None) => Orientation::Rotate90,
        (0, Some(false)) | (2, Some(true)) => Orientation::FlipHorizontal,
        (0, Some(true)) | (2, Some(false)) => Orientation::FlipVertical,
        (1, Some(false)) | (3, Some(true)) => Orientation::Rotate270FlipH,
        (_, Some(_)) => Orientation::Rotate90FlipH,
    }
}
