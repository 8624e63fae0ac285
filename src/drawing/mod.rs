//! Drawings and lettering, for what is printed and for what is looked at.
//!
//! A [`Drawing`] is in millimetres and knows no format. The card's print writes it
//! as PDF and SVG; [`paint`] turns it into pixels.

mod shapes;
pub mod lettering;
pub mod paint;

pub use lettering::Lettering;
pub use shapes::{Drawing, Ink, Outline, Segment, Shape, circle_path, rect_path, round_rect_path};

/// Why something could not be drawn. None of these depends on what the user did:
/// they mean that this build is damaged or the machine is out of memory.
#[derive(Debug, thiserror::Error)]
pub enum DrawingError {
    /// A built-in font does not parse.
    #[error("the built-in lettering is damaged ({0}); install cuptally again from a fresh copy")]
    Lettering(#[from] ttf_parser::FaceParsingError),
    /// The picture has no room in memory, or no size at all.
    #[error(
        "there was no room to draw a picture of {width_px} x {height_px} pixels; \
         close other programs and try again"
    )]
    Canvas {
        /// Width that was asked for.
        width_px: u32,
        /// Height that was asked for.
        height_px: u32,
    },
}
