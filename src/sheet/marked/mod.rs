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
mod named;

pub use named::{Label, named};

use crate::drawing::{DrawingError, Ink, Lettering};
use crate::photo::{LinearPicture, signed};
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
        "the marked-up picture could not be packed as JPEG; close other programs and try again"
    )]
    Jpeg,
}

/// Draws what a sheet says over the photo that it was counted from.
///
/// `picture` is the upright photo as it was counted (see [`Photo::full_px`](crate::photo::Photo::full_px)); its own colours are shown, not the corrected
/// ones. Places on the sheet that are not numbers or lie far outside are left out
/// or drawn at the edge. The same input gives the same pixels.
///
/// # Errors
/// [`MarkedError::OtherPhoto`] when the sheet's size is not the picture's,
/// [`MarkedError::Drawing`] when memory runs out.
pub fn marked(picture: &LinearPicture, sheet: &Sheet) -> Result<RgbImage, MarkedError> {
    let (width_px, height_px) = (picture.width(), picture.height());
    let (sheet_width_px, sheet_height_px) =
        (sheet.photos.first.width_px, sheet.photos.first.height_px);
    let counted = sheet.photos.first.counted_at_px;
    let [kept_width, kept_height] = counted.unwrap_or([sheet_width_px, sheet_height_px]);
    if (width_px, height_px) != (kept_width as usize, kept_height as usize) {
        return Err(MarkedError::OtherPhoto {
            file: sheet.photos.first.file.clone(),
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

/// Packs a marked-up picture as JPEG, signed as one that was drawn from the file `photo`.
///
/// # Errors
/// [`MarkedError::Jpeg`] when memory runs out.
pub fn to_jpeg(picture: &RgbImage, photo: &str) -> Result<Vec<u8>, MarkedError> {
    let mut bytes = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut bytes, JPEG_QUALITY);
    encoder
        .encode_image(picture)
        .map_err(|_| MarkedError::Jpeg)?;
    Ok(signed(&bytes, photo))
}

/// Whether a person should look at this piece.
fn is_doubtful(piece: &Piece) -> bool {
    !is_sure(piece.sure)
}

/// Whether this probability is enough; one that is not a number is not.
fn is_sure(share: f64) -> bool {
    share >= SURE
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
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::sheet::file::{Group, Unexplained, Warning};
    use flow::Block;
    use serde_json::json;

    #[test]
    fn places_go_on_after_z() {
        assert_eq!(
            [0, 25, 26, 51, 52, 701, 702].map(letter),
            ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]
        );
    }

    fn sheet() -> Sheet {
        serde_json::from_value(json!({
            "sheet": "v1",
            "photo": {"file": "slip.jpg", "width_px": 8, "height_px": 8, "hash": ""},
            "card": {"version": "v1", "tags": [], "corners_px": [[0, 0], [0, 0], [0, 0], [0, 0]],
                "reprojection_px": 0, "mm_per_px": 1, "tilt_deg": 0, "camera_height_mm": 1,
                "patches": 0},
            "colour": {"mean_de00": 0, "p95_de00": 0, "max_de00": 0, "print_profile": false,
                "method": "matrix"},
            "pieces": [], "groups": [], "warnings": []
        }))
        .unwrap()
    }

    fn group(colour: &str, form: &str, size: &str, [count, low, high]: [u32; 3]) -> Group {
        Group {
            form: form.into(),
            size: size.into(),
            colour: colour.into(),
            count,
            low,
            high,
            sure: 0.5,
        }
    }

    /// Everything that blocks say, in order.
    fn said(blocks: &[Block]) -> Vec<&str> {
        let shapes = blocks.iter().flat_map(|block| &block.shapes);
        shapes.filter_map(|shape| shape.words.as_deref()).collect()
    }

    #[test]
    fn the_table_goes_by_colour_form_and_size_as_a_number() {
        let mut sheet = sheet();
        sheet.groups = vec![
            group("tar", "plate", "1x2", [4, 4, 4]),
            group("kelp", "plate", "1x10", [2, 1, 3]),
            group("kelp", "plate", "1x2", [7, 7, 7]),
            group("kelp", "brick", "2x4", [1, 1, 1]),
        ];
        let blocks = table::blocks(&sheet, &Lettering::load().unwrap());
        let said = said(&blocks);
        assert_eq!(
            said,
            [
                "Groups", "colour", "form", "size", "count", "range", // heads
                "kelp", "brick", "2×4", "1", "?", // in doubt, though only one
                "plate", "1×2", "7", "?", // the colour's name once
                "plate", "1×10", "2", "1–3", //
                "tar", "plate", "1×2", "4", "?", //
                "total", "14",
            ]
        );
    }

    #[test]
    fn every_doubt_place_and_warning_is_told() {
        let mut sheet = sheet();
        let doubts = ["could be a tile", "its colour is new"].map(String::from);
        sheet.pieces = vec![
            Piece {
                id: 9,
                form: "plate".into(),
                size: "2x4".into(),
                colour: "kelp".into(),
                sure: 0.879,
                doubts: doubts.to_vec(),
                ..Piece::default()
            },
            Piece {
                id: 10,
                sure: 0.95,
                ..Piece::default()
            },
        ];
        sheet.unexplained = vec![Unexplained {
            x_px: 0.0,
            y_px: 0.0,
            x_mm: 12.4,
            y_mm: -3.2,
            area_mm2: 61.0,
            sides_mm: Some([6.0, 14.0]),
            colour: Some("dark grayish green".into()),
            lab: Some([30.0, -9.0, 4.0]),
        }];
        sheet.warnings = vec![Warning {
            code: "card-partial".into(),
            text: "move the card".into(),
        }];
        let blocks = notes::blocks(&sheet, &Lettering::load().unwrap());
        assert_eq!(
            said(&blocks),
            [
                "Doubtful pieces",
                "?\u{a0}9",
                "87\u{a0}% sure",
                "plate 2×4, kelp",
                "could be a tile",
                "its colour is new",
                "Not explained by any piece",
                "measured from the card’s corner with the light dot",
                "A",
                "about 6\u{a0}×\u{a0}14\u{a0}mm, dark grayish green, at x\u{a0}12,",
                "y\u{a0}−3\u{a0}mm",
                "Warnings",
                "card-partial",
                "move the card",
            ]
        );
    }

    /// When not all doubts have room, the least sure have, and the rest is counted.
    #[test]
    fn what_is_left_out_is_said() {
        let mut sheet = sheet();
        sheet.pieces = (1..=75)
            .map(|id| Piece {
                id,
                sure: 0.8 - f64::from(id) / 100.0,
                ..Piece::default()
            })
            .collect();
        sheet.groups = (0..250)
            .map(|i| group(&format!("shade {i:03}"), "tile", "1x1", [1, 1, 1]))
            .collect();
        let lettering = Lettering::load().unwrap();
        let notes = notes::blocks(&sheet, &lettering);
        let notes = said(&notes);
        assert!(!notes.contains(&"?\u{a0}15"));
        let last = "and 15 more doubtful pieces, surer than these";
        for words in ["?\u{a0}16", "?\u{a0}75", last] {
            assert!(notes.contains(&words), "{words}");
        }
        let table = table::blocks(&sheet, &lettering);
        let table = said(&table);
        assert!(table.contains(&"shade 239") && !table.contains(&"shade 240"));
        assert!(table.contains(&"and 10 more groups, in the sheet file"));
        // The total is of all groups, not of those listed.
        assert_eq!(table.last(), Some(&"250"));
    }
}
