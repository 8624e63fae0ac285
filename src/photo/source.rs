//! What is known about where the pixels came from.

use std::fmt;

/// Where a photo's pixels came from; for reports, not for computing with.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceInfo {
    /// What the content is, whatever the file is called.
    pub format: Format,
    /// The colour profile the pixels were read with, such as `Display P3`, `sRGB`
    /// or `untagged, read as sRGB`.
    pub profile: String,
    /// The turn that made the picture upright, as an EXIF orientation 1 to 8
    /// (CIPA DC-008, tag 274); 1 is none. It has been applied.
    pub orientation: u8,
    /// What a person should know about how the file was read.
    pub notes: Vec<Note>,
}

/// A picture format that is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// JPEG (ITU-T T.81), baseline or progressive.
    Jpeg,
    /// PNG (ISO/IEC 15948).
    Png,
    /// HEIC: an HEVC still in a HEIF container (ISO/IEC 23008-12).
    Heic,
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
            Self::Heic => "HEIC",
        })
    }
}

/// Something about the file that may make its colours less right than they look.
/// The text is one sentence with a remedy, to be shown as a warning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Note {
    /// There is a colour profile, but it cannot be used; sRGB was taken instead.
    BrokenProfile,
    /// Some pixels are see-through; they were laid on white.
    Transparent,
    /// A PNG states a gamma far from sRGB's, without a profile; sRGB was taken.
    GammaIgnored,
}

impl Note {
    /// A short stable code for programs.
    pub fn code(self) -> &'static str {
        match self {
            Self::BrokenProfile => "photo-profile-broken",
            Self::Transparent => "photo-transparent",
            Self::GammaIgnored => "photo-gamma-ignored",
        }
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::BrokenProfile => {
                "The photo's colour profile cannot be used, so it was read as sRGB; if its colours \
                 come out wrong, give the file as the phone saved it."
            }
            Self::Transparent => {
                "The photo has see-through parts, which were taken as white; give the file as the \
                 phone saved it."
            }
            Self::GammaIgnored => {
                "The PNG states a gamma unlike sRGB's and has no colour profile, so it was read as \
                 sRGB; if its colours come out wrong, save it with a profile."
            }
        })
    }
}
