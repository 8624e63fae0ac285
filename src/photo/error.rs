//! Why a photo could not be used, each as one sentence with what to do about it.

use super::source::Format;
use std::path::PathBuf;

/// A photo that cannot be used: which file, what is wrong, what to do.
#[derive(Debug, thiserror::Error)]
#[error("cannot use the photo {}: {problem}", path.display())]
pub struct PhotoError {
    /// The file as it was named.
    pub path: PathBuf,
    /// What is wrong with it.
    #[source]
    pub problem: Problem,
}

/// What is wrong with a photo. Its text ends with what to do and is meant to
/// follow the file's name.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Problem {
    /// Nothing has that name.
    #[error("there is no such file; check the name and the folder")]
    NotFound,
    /// A folder was named.
    #[error("it is a folder; name the photos in it one by one")]
    Folder,
    /// A device, a pipe or the like was named.
    #[error("it is not an ordinary file; save the photo as a file first")]
    NotAFile,
    /// The system refused to read the file.
    #[error("it could not be read ({0}); check its permissions and that its disk is connected")]
    Unreadable(#[source] std::io::Error),
    /// The file has no bytes.
    #[error("the file is empty; copy it from the phone again")]
    Empty,
    /// More bytes than [`Limits::max_file_bytes`](super::Limits::max_file_bytes).
    #[error(
        "the file has {} MB and the limit is {} MB; save the photo as an ordinary JPEG",
        megabytes(*bytes),
        megabytes(*limit)
    )]
    FileTooLarge {
        /// Bytes in the file (at least).
        bytes: u64,
        /// Bytes allowed.
        limit: u64,
    },
    /// The content is of no kind that we know.
    #[error(
        "its content is not a JPEG, PNG or HEIC picture, whatever its name says; \
         give the photo as the phone saved it"
    )]
    NotAPicture,
    /// A known kind of file that is not read.
    #[error("it is {kind}, which is not supported; {remedy}")]
    OtherKind {
        /// The kind with its article, such as `a WebP picture`.
        kind: &'static str,
        /// What to do.
        remedy: &'static str,
    },
    /// HEIC, but this program was built without the `heic` feature.
    #[error(
        "it is a HEIC picture and this program was built without HEIC support; export it as JPEG, \
         or set the phone's camera to save JPEG (often called 'most compatible')"
    )]
    HeicLeftOut,
    /// The file ends before the picture does.
    #[error(
        "this {0} file ends before its picture does, so only a part of the photo is there; \
         copy it from the phone again"
    )]
    Truncated(Format),
    /// The coded picture is inconsistent.
    #[error("this {format} file is damaged ({detail}); copy it from the phone again")]
    Damaged {
        /// The file's format.
        format: Format,
        /// What is wrong in it, in our own words.
        detail: &'static str,
    },
    /// A variant of the format that is not read.
    #[error("it is {what}, which is not supported; save it again as an ordinary 8-bit RGB JPEG")]
    Unsupported {
        /// The variant with its article, such as `a CMYK JPEG`.
        what: String,
    },
    /// PQ or HLG coding, whose values are not those of an ordinary photo.
    #[error(
        "it is a high-dynamic-range picture ({0}), whose colours cannot be compared with the \
         card's; turn HDR off in the camera, or export it as an ordinary JPEG"
    )]
    HighDynamicRange(&'static str),
    /// More pixels than [`Limits::max_pixels`](super::Limits::max_pixels).
    #[error(
        "it says that it is {width} x {height} pixels and the limit is {} megapixels; \
         save it at a smaller size",
        limit / 1_000_000
    )]
    TooLarge {
        /// Width as stored, px.
        width: u32,
        /// Height as stored, px.
        height: u32,
        /// Pixels allowed.
        limit: u64,
    },
    /// A picture that this program drew from a photo, see [`SIGNATURE`](super::SIGNATURE).
    #[error(
        "it is no photo but a picture that cuptally drew from {photo}, whose lines and words would be counted; \
         give that photo, or look at its sheet"
    )]
    Drawn {
        /// The photo's file name.
        photo: String,
    },
    /// A side longer than [`Limits::max_side`](super::Limits::max_side).
    #[error(
        "it says that it is {width} x {height} pixels and the limit for a side is {limit}; \
         save it at a smaller size, or give the part that shows the tray"
    )]
    TooLong {
        /// Width as stored, px.
        width: u32,
        /// Height as stored, px.
        height: u32,
        /// Pixels allowed for a side.
        limit: u32,
    },
    /// Decoding would take more than [`Limits::max_decoding_bytes`](super::Limits::max_decoding_bytes).
    #[error(
        "reading a picture of its size and kind takes {} MB of memory and the limit is {} MB; \
         save it as an ordinary (not progressive) JPEG, or at a smaller size",
        megabytes(*bytes),
        megabytes(*limit)
    )]
    TooMuchMemory {
        /// Bytes that it would take.
        bytes: u64,
        /// Bytes allowed.
        limit: u64,
    },
    /// A side shorter than [`Limits::min_side`](super::Limits::min_side).
    #[error(
        "it is only {width} x {height} pixels, too small to count pieces in (each side needs \
         {limit}); give the photo at its full size"
    )]
    TooSmall {
        /// Width as stored, px.
        width: u32,
        /// Height as stored, px.
        height: u32,
        /// Pixels that each side needs.
        limit: u32,
    },
}

impl Problem {
    /// A damaged picture. The words are ours: a decoder's own are about its inside.
    pub(super) fn damaged(format: Format, detail: &'static str) -> Self {
        Self::Damaged { format, detail }
    }
}

/// Rounded up, so that "more than the limit" never reads as equal to it.
fn megabytes(bytes: u64) -> u64 {
    bytes.div_ceil(1_000_000)
}
