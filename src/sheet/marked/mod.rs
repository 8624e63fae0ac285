//! The marked-up picture of one counted photo, for a person to look at.
//!
//! The photo stands with each piece outlined; beside it, or below when the photo is
//! upright or the lists are long, a panel says in words what was counted and what is
//! doubtful. Sure pieces have a thin light line. Doubtful ones have a thick dashed
//! amber line and a badge with the piece's number, under which the panel says why.
//! Places that no piece explains have a ring and a letter.
//!
//! The panel is laid out in millimetres at [`PX_PER_MM`], so that a whole picture
//! printed on A3 has letters of 8 to 9 points.

mod reduce;
mod place;
mod words;
mod outlines;
mod labels;
mod badges;
mod flow;
mod header;
mod table;
mod notes;
mod compose;

use crate::drawing::{DrawingError, Ink, Lettering};
use crate::photo::LinearPicture;
use crate::sheet::SURE;
use crate::sheet::file::{Piece, Sheet};
use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;

/// The longest side of the photo in the marked-up picture, px. A 1x1 is still
/// 25 px wide there when the tray is half a metre long.
pub const LONG_SIDE_PX: u32 = 2400;

/// Scale of the panel and of all lettering.
pub const PX_PER_MM: f64 = 8.0;

/// JPEG quality at which the outlines keep clean edges.
const JPEG_QUALITY: u8 = 90;

const INK: Ink = Ink([30, 34, 38]);
const GREY: Ink = Ink([100, 106, 112]);
const HAIRLINE: Ink = Ink([216, 219, 222]);
/// Doubtful pieces, and a dark shade of it for words on paper.
const AMBER: Ink = Ink([255, 182, 30]);
const DARK_AMBER: Ink = Ink([140, 88, 0]);
/// Places that no piece explains, and a dark shade of it.
const ROSE: Ink = Ink([255, 110, 160]);
const DARK_ROSE: Ink = Ink([168, 28, 84]);

/// Why a marked-up picture could not be made.
#[derive(Debug, thiserror::Error)]
pub enum MarkedError {
    /// The sheet was counted from another picture.
    #[error(
        "the sheet of {file} was counted from a photo of {sheet_width_px} x {sheet_height_px} \
         pixels, but the photo to mark has {width_px} x {height_px}; mark the photo that the \
         sheet was counted from, or count this one"
    )]
    OtherPhoto {
        /// The photo that the sheet names.
        file: String,
        /// Its width.
        sheet_width_px: u32,
        /// Its height.
        sheet_height_px: u32,
        /// Width of the photo that was to be marked.
        width_px: usize,
        /// Its height.
        height_px: usize,
    },
    /// The picture could not be drawn.
    #[error(transparent)]
    Drawing(#[from] DrawingError),
    /// The picture could not be packed.
    #[error(
        "the marked-up picture could not be packed as JPEG ({0}); close other programs and try again"
    )]
    Jpeg(#[from] image::ImageError),
}

/// Draws what a sheet says over the photo that it was counted from.
///
/// `picture` is the upright photo; its own colours are shown, not the corrected
/// ones. Places on the sheet that are not numbers or lie far outside are left out
/// or drawn at the edge. The same input gives the same pixels.
///
/// # Errors
/// [`MarkedError::OtherPhoto`] when the sheet's size is not the picture's,
/// [`MarkedError::Drawing`] when memory runs out.
pub fn marked(picture: &LinearPicture, sheet: &Sheet) -> Result<RgbImage, MarkedError> {
    let (width_px, height_px) = (picture.width(), picture.height());
    let (sheet_width_px, sheet_height_px) = (sheet.photo.width_px, sheet.photo.height_px);
    if (width_px, height_px) != (sheet_width_px as usize, sheet_height_px as usize) {
        return Err(MarkedError::OtherPhoto {
            file: sheet.photo.file.clone(),
            sheet_width_px,
            sheet_height_px,
            width_px,
            height_px,
        });
    }
    let lettering = Lettering::load()?;
    let mut photo = reduce::photo(picture, LONG_SIDE_PX)?;
    let view = place::View::of(&photo, sheet_width_px);
    let shown = place::Shown::of(sheet, &view);
    outlines::draw(&mut photo, &view, &shown);
    labels::draw(&mut photo, &shown, &lettering);
    badges::draw(&mut photo, &view, &shown, &lettering);

    let mut blocks = header::blocks(sheet, &lettering);
    blocks.extend(table::blocks(sheet, &lettering));
    blocks.extend(notes::blocks(sheet, &lettering));
    Ok(compose::picture(&photo, &blocks)?)
}

/// Packs a marked-up picture as JPEG.
///
/// # Errors
/// [`MarkedError::Jpeg`] when memory runs out.
pub fn to_jpeg(picture: &RgbImage) -> Result<Vec<u8>, MarkedError> {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, JPEG_QUALITY).encode_image(picture)?;
    Ok(bytes)
}

/// Whether a person should look at this piece. Written so that a `sure` that is
/// not a number is doubtful.
fn is_doubtful(piece: &Piece) -> bool {
    piece.sure.is_nan() || piece.sure < SURE
}

/// What a place that no piece explains is called: A to Z, then AA, AB.
fn letter(index: usize) -> String {
    let mut rest = index;
    let mut letters = Vec::new();
    loop {
        letters.push(char::from(b'A' + (rest % 26) as u8));
        if rest < 26 {
            break;
        }
        rest = rest / 26 - 1;
    }
    letters.iter().rev().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_go_on_after_z() {
        assert_eq!(
            [0, 25, 26, 51, 52, 701, 702].map(letter),
            ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]
        );
    }
}
