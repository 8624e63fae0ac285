//! Photo and panel on one canvas.

use super::PX_PER_MM;
use super::flow::{self, Block, COLUMN_MM};
use crate::drawing::{DrawingError, Ink, paint};
use crate::units::Mm;
use image::RgbImage;
use tiny_skia::Pixmap;

const MARGIN_MM: f64 = 9.0;
const GUTTER_MM: f64 = 9.0;
/// Beside a photo, no more columns than this; longer lists go below it.
const MOST_COLUMNS: usize = 3;
/// Beside a small photo, columns are at least this high.
const LEAST_HEIGHT_MM: f64 = 150.0;

/// The photo with the panel beside it, or below when the photo is upright or the
/// panel is long.
///
/// # Errors
/// [`DrawingError::Canvas`] when there is no memory for it.
pub fn picture(photo: &Pixmap, blocks: &[Block]) -> Result<RgbImage, DrawingError> {
    let (width_px, height_px) = (photo.width(), photo.height());
    let (width, height) = (
        f64::from(width_px) / PX_PER_MM,
        f64::from(height_px) / PX_PER_MM,
    );
    let step = COLUMN_MM + GUTTER_MM;
    let room = (height - 2.0 * MARGIN_MM).max(LEAST_HEIGHT_MM);
    let below = height_px > width_px || flow::needed(blocks, room) > MOST_COLUMNS;
    let columns = if below {
        let fit = ((width - 2.0 * MARGIN_MM + GUTTER_MM) / step).floor() as usize;
        flow::columns(blocks, flow::least_height(blocks, fit.max(1)))
    } else {
        flow::columns(blocks, room)
    };
    let panel_width = columns.len() as f64 * step - GUTTER_MM + 2.0 * MARGIN_MM;
    let panel_height = 2.0 * MARGIN_MM + columns.iter().map(|c| c.height_mm).fold(0.0, f64::max);
    let px = |mm: f64| (mm * PX_PER_MM).ceil() as u32;
    let (size, corner) = if below {
        let size = (width_px.max(px(panel_width)), height_px + px(panel_height));
        (size, Mm::new(MARGIN_MM, height + MARGIN_MM))
    } else {
        let size = (width_px + px(panel_width), height_px.max(px(panel_height)));
        (size, Mm::new(width + MARGIN_MM, MARGIN_MM))
    };
    let mut canvas = paint::canvas(size.0, size.1, Ink::WHITE)?;
    let row = size.0 as usize * 4;
    let lines = photo.data().chunks_exact(width_px as usize * 4);
    for (to, from) in canvas.data_mut().chunks_exact_mut(row).zip(lines) {
        for (to, from) in to.iter_mut().zip(from) {
            *to = *from;
        }
    }
    for (index, column) in columns.into_iter().enumerate() {
        let at = Mm::new(corner.x + index as f64 * step, corner.y);
        for shape in column.shapes {
            paint::fill(&mut canvas, &shape.moved(at), PX_PER_MM);
        }
    }
    RgbImage::from_raw(size.0, size.1, paint::rgb(&canvas)).ok_or(DrawingError::Canvas {
        width_px: size.0,
        height_px: size.1,
    })
}
