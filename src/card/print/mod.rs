//! Printing the card: one drawing in millimetres, written as PDF, SVG and PNG.
//!
//! [`card`] draws the card alone and [`page`] a sheet of paper with the card, crop
//! marks and directions. [`pdf`] and [`svg`] write the sheet, [`png`] the card alone.

pub mod drawing;
pub mod lettering;
pub mod card;
mod picture;
pub mod page;
pub mod pdf;
pub mod svg;
pub mod png;

/// A sheet of paper to print on, upright.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Paper {
    /// ISO A4, 210 x 297 mm.
    A4,
    /// US Letter, 8.5 x 11 inches.
    Letter,
}

impl Paper {
    /// Width and height in mm.
    pub fn size_mm(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        }
    }

    /// What it is called.
    pub fn name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "US Letter",
        }
    }
}

/// Why the card could not be drawn or written. None of these depends on what the
/// user did: they mean that this build is damaged or the machine is out of memory.
#[derive(Debug, thiserror::Error)]
pub enum PrintError {
    /// A built-in font does not parse.
    #[error(
        "the card's built-in lettering is damaged ({0}); install cuptally again from a fresh copy"
    )]
    Lettering(#[from] ttf_parser::FaceParsingError),
    /// The picture has no room in memory, or no size at all.
    #[error(
        "there was no room to draw the card as a picture of {width_px} x {height_px} pixels; \
         close other programs and try again"
    )]
    Canvas {
        /// Width that was asked for.
        width_px: u32,
        /// Height that was asked for.
        height_px: u32,
    },
    /// The PNG could not be packed.
    #[error("the card's picture could not be packed as PNG ({0}); try again")]
    Png(#[from] ::png::EncodingError),
}
