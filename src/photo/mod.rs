//! Photos: bytes to upright linear pixels of known primaries, or one clear sentence.
//!
//! # What later stages may rely on
//! A [`Photo`] is a whole picture, never the part of one that could be decoded.
//! - **Upright.** EXIF orientation (JPEG, PNG) and HEIC's own turn are applied,
//!   once; rows go down, columns to the right as a person sees the photo.
//! - **Linear light, sRGB primaries, D65.** The embedded profile, whichever it
//!   is, has been applied. The range is extended: wide-gamut colours have values
//!   below 0 or above 1, and are not clipped. Every value is finite.
//! - **At least [`Limits::min_side`] px a side, at most [`Limits::max_pixels`].**
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
mod jpeg;
mod png;
#[cfg(feature = "heic")]
mod heic;
mod profile;
mod reading;
mod clipped;
mod picture;
mod sharpness;

pub use clipped::Clipped;
pub use error::{PhotoError, Problem};
pub use limits::Limits;
pub use picture::{LinearPicture, srgb_decode, srgb_encode, srgb_encode_8};
pub use sharpness::{edge_width_px, overexposed_share, white_level};
pub use source::{Format, Note, SourceInfo};

use decoded::Decoded;
use image::RgbImage;
use image::metadata::Orientation;
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
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
    guard::catch(format, || finish(file, decode(format, bytes, limits)?))
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
fn finish(file: String, mut decoded: Decoded) -> Result<Photo, Problem> {
    let mut notes = std::mem::take(&mut decoded.notes);
    let (mut reading, mut profile) = profile::reading(&decoded, &mut notes)?;
    let pixels = decoded.pixels.turned(decoded.turn);
    let eight = pixels.eight();

    let convert = || {
        reading.linear(&pixels).or_else(|| {
            // The profile was well-formed and still made no sense.
            (reading, profile) = profile::fallback(&mut notes);
            reading.linear(&pixels)
        })
    };
    let (linear, (hash, clipped)) = rayon::join(convert, || {
        rayon::join(|| hash(&eight), || Clipped::of(&eight))
    });
    let pixels = linear
        .and_then(LinearPicture::from_array)
        .ok_or_else(|| Problem::damaged(decoded.format, "it has no pixels"))?;
    let turn = if decoded.turn == Orientation::NoTransforms {
        decoded.turned
    } else {
        decoded.turn
    };
    Ok(Photo {
        file,
        hash,
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

/// The photo's identity; see [`Photo::hash`].
fn hash(upright: &RgbImage) -> String {
    let digest = Sha256::new()
        .chain_update(upright.width().to_le_bytes())
        .chain_update(upright.height().to_le_bytes())
        .chain_update(upright.as_raw())
        .finalize();
    digest.iter().fold(String::new(), |mut hex, byte| {
        // Writing to a string cannot fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}
