//! Photos: bytes to upright linear pixels of known primaries, or one clear sentence.
//!
//! # What later stages may rely on
//! A [`Photo`] is a whole picture, never the part of one that could be decoded.
//! - **Upright.** EXIF orientation (JPEG, PNG) and HEIC's own turn are applied,
//!   once; rows go down, columns to the right as a person sees the photo.
//! - **Linear light, sRGB primaries, D65.** The embedded profile, whichever it
//!   is, has been applied. The range is extended: wide-gamut colours have values
//!   below 0 or above 1, and are not clipped. Every value is finite.
//! - **At least [`Limits::min_side`] px a side, at most [`Limits::max_side`].** A
//!   photo of more than [`Limits::max_kept_pixels`] is reduced to as many, each new
//!   pixel the mean light over its area; [`Photo::full_px`] says how large it was.
//! - **The content decides**, never the file's name; the same bytes give the same
//!   photo on every machine and with any number of threads.
//!
//! Nothing after this module asks about EXIF, ICC or file formats. What could not
//! be honoured is in [`SourceInfo::notes`], to be shown as warnings.
//!
//! ```
//! use cuptally::photo::{self, Limits};
//!
//! let error = photo::open("no-such-photo.jpg".as_ref(), &Limits::default()).unwrap_err();
//! assert_eq!(
//!     error.to_string(),
//!     "cannot use the photo no-such-photo.jpg: there is no such file; \
//!      check the name and the folder"
//! );
//! ```

mod limits;
mod error;
mod source;
mod guard;
mod kind;
mod decoded;
mod exif;
mod drawn;
mod icc;
mod jpeg;
mod png;
#[cfg(feature = "heic")]
mod heic;
mod profile;
mod reading;
mod clipped;
mod picture;
mod shares;
mod reduced;
mod sharpness;
mod flat;

pub use clipped::{Clipped, Saturation};
pub use drawn::{SIGNATURE, signed};
pub use error::{PhotoError, Problem};
pub use flat::flat_share;
pub use limits::Limits;
pub use picture::{LinearPicture, srgb_decode, srgb_encode, srgb_encode_8};
pub use shares::Shares;
pub use sharpness::{edge_width_px, overexposed_share, white_level};
pub use source::{Format, Note, SourceInfo};

use decoded::{Decoded, Pixels};
use image::metadata::Orientation;
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;

/// A photo that is ready to be measured; see the [module's](self) guarantees.
#[derive(Clone, Debug, PartialEq)]
pub struct Photo {
    /// File name without its folder.
    pub file: String,
    /// SHA-256 (hex, lower case) over width and height (32-bit little-endian each)
    /// and the upright 8-bit RGB pixels, row after row, as decoded and before
    /// colour management. So a renamed or re-tagged copy has the same hash, and so
    /// has one whose pixels were turned without loss and whose orientation says so.
    pub hash: String,
    /// Width and height of the whole upright picture, px. Where it has more than
    /// [`Limits::max_kept_pixels`], `pixels` is a reduced copy of it.
    pub full_px: [u32; 2],
    /// The pixels.
    pub pixels: LinearPicture,
    /// Which pixels are at the end of the code range.
    pub clipped: Clipped,
    /// 35 mm equivalent focal length, mm, from EXIF where it is plausible (10 to 200).
    pub focal_35mm: Option<f64>,
    /// Where the pixels came from, for reports.
    pub source: SourceInfo,
}

/// Opens a photo.
///
/// # Errors
/// Every [`Problem`]; the message names the file, what is wrong and what to do.
pub fn open(path: &Path, limits: &Limits) -> Result<Photo, PhotoError> {
    read(path, limits)
        .and_then(|bytes| photo(file_name(path), &bytes, limits))
        .map_err(|problem| PhotoError {
            path: path.to_owned(),
            problem,
        })
}

/// Opens a photo whose bytes are at hand, such as one that came over a socket;
/// `name` is what to call it.
///
/// # Errors
/// As [`open`], but for those of finding and reading a file.
pub fn from_bytes(name: &str, bytes: &[u8], limits: &Limits) -> Result<Photo, PhotoError> {
    photo(file_name(Path::new(name)), bytes, limits).map_err(|problem| PhotoError {
        path: name.into(),
        problem,
    })
}

fn file_name(path: &Path) -> String {
    path.file_name()
        .unwrap_or(path.as_os_str())
        .to_string_lossy()
        .into_owned()
}

/// Reads the whole file, but never more than the limit.
fn read(path: &Path, limits: &Limits) -> Result<Vec<u8>, Problem> {
    let unreadable = |error: io::Error| match error.kind() {
        io::ErrorKind::NotFound => Problem::NotFound,
        _ => Problem::Unreadable(error),
    };
    // Looked at before it is opened: opening a pipe would wait for its other end.
    let about = fs::metadata(path).map_err(unreadable)?;
    if about.is_dir() {
        return Err(Problem::Folder);
    }
    if !about.is_file() {
        return Err(Problem::NotAFile);
    }
    let limit = limits.max_file_bytes;
    let too_large = |bytes| Problem::FileTooLarge { bytes, limit };
    if about.len() > limit {
        return Err(too_large(about.len()));
    }
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|file| file.take(limit.saturating_add(1)).read_to_end(&mut bytes))
        .map_err(unreadable)?;
    // It may have grown meanwhile.
    match u64::try_from(bytes.len()) {
        Ok(length) if length <= limit => Ok(bytes),
        _ => Err(too_large(limit.saturating_add(1))),
    }
}

/// The way from bytes to a photo.
fn photo(file: String, bytes: &[u8], limits: &Limits) -> Result<Photo, Problem> {
    if bytes.is_empty() {
        return Err(Problem::Empty);
    }
    let format = kind::recognise(bytes)?;
    guard::catch(format, || {
        finish(file, decode(format, bytes, limits)?, limits)
    })
}

fn decode(format: Format, bytes: &[u8], limits: &Limits) -> Result<Decoded, Problem> {
    match format {
        Format::Jpeg => jpeg::decode(bytes, limits),
        Format::Png => png::decode(bytes, limits),
        #[cfg(feature = "heic")]
        Format::Heic => heic::decode(bytes, limits),
        #[cfg(not(feature = "heic"))]
        Format::Heic => Err(Problem::HeicLeftOut),
    }
}

/// Turns the picture upright and its code values into light.
fn finish(file: String, mut decoded: Decoded, limits: &Limits) -> Result<Photo, Problem> {
    let mut notes = std::mem::take(&mut decoded.notes);
    let (mut reading, mut profile) = profile::reading(&decoded, &mut notes)?;
    let (width, height) = decoded.pixels.size();
    let full_px = match decoded.turn.to_exif() {
        1..=4 => [width, height],
        _ => [height, width],
    };
    let (pixels, hash, clipped) = if limits.reduces(width, height) {
        let eight = decoded.pixels.into_eight();
        let hash = reduced::hash(&eight, decoded.turn);
        let (picture, clipped) = reduced::reduced(&eight, limits.max_kept_pixels, decoded.turn);
        (Pixels::Eight(picture), hash, clipped)
    } else {
        let pixels = decoded.pixels.turned(decoded.turn);
        let eight = pixels.eight();
        let (hash, clipped) = rayon::join(
            || reduced::hash(&eight, Orientation::NoTransforms),
            || Clipped::of(&eight),
        );
        drop(eight);
        (pixels, hash, clipped)
    };
    let mut pixels = Some(pixels);
    let mut linear = reading.linear(&mut pixels);
    if linear.is_none() && pixels.is_some() {
        // The profile was well-formed and still made no sense.
        (reading, profile) = profile::fallback(&mut notes);
        linear = reading.linear(&mut pixels);
    }
    let pixels = linear.ok_or_else(|| Problem::damaged(decoded.format, "it has no pixels"))?;
    let turn = if decoded.turn == Orientation::NoTransforms {
        decoded.turned
    } else {
        decoded.turn
    };
    Ok(Photo {
        file,
        hash,
        full_px,
        pixels,
        clipped,
        focal_35mm: decoded.exif.as_deref().and_then(exif::focal_35mm),
        source: SourceInfo {
            format: decoded.format,
            profile,
            orientation: turn.to_exif(),
            notes,
        },
    })
}
