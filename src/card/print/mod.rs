//! Printing the card: one drawing in millimetres, written as PDF, SVG and PNG.
//!
//! [`card`] draws the card alone and [`page`] a sheet of paper with the card, crop
//! marks and directions. [`pdf`] and [`svg`] write the sheet, [`png`] the card alone.

pub mod card;
mod picture;
pub mod page;
pub mod pdf;
pub mod svg;
pub mod png;

use crate::drawing::DrawingError;

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
    /// The card could not be drawn.
    #[error(transparent)]
    Drawing(#[from] DrawingError),
    /// The PNG could not be packed.
    #[error("the card's picture could not be packed as PNG ({0}); try again")]
    Png(#[from] ::png::EncodingError),
}
