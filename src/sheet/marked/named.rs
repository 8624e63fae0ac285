//! The pieces of a teaching photo with their numbers and names, so that a person sees which is which.

use super::outlines::{Line, line};
use super::place::closed_path;
use super::{INK, LONG_SIDE_PX, MarkedError, PX_PER_MM, reduce, words};
use crate::drawing::DrawingError;
use crate::drawing::lettering::{Style, Weight};
use crate::drawing::{Ink, Lettering, Outline, Shape, paint, round_rect_path};
use crate::photo::LinearPicture;
use crate::units::{Mm, Px};
use image::RgbImage;
use tiny_skia::Pixmap;

/// Em of the lettering, height of a label, and room on either side of its words, px.
const TEXT_PX: f64 = 24.0;
const HEIGHT_PX: f64 = 32.0;
const PADDING_PX: f64 = 8.0;
/// From an outline to its label, px.
const GAP_PX: f64 = 4.0;

const EDGE: Line = Line {
    ink: Ink::WHITE,
    width: 2.6,
    casing: 1.4,
    casing_alpha: 200,
    dash: None,
};

/// A piece and the words that stand below it.
#[derive(Clone, Debug, PartialEq)]
pub struct Label {
    /// Corners around it in the upright photo, px.
    pub outline_px: Vec<[f64; 2]>,
    /// Its number and name.
    pub words: String,
}

/// Draws labels over the upright photo.
///
/// # Errors
/// [`MarkedError::Drawing`] when memory runs out.
pub fn named(picture: &LinearPicture, labels: &[Label]) -> Result<RgbImage, MarkedError> {
    let lettering = Lettering::load()?;
    let mut photo = reduce::photo(picture, LONG_SIDE_PX)?;
    let scale = f64::from(photo.width()) / picture.width().max(1) as f64;
    for label in labels {
        let corners: Vec<Px> = (label.outline_px.iter())
            .map(|[x, y]| Px::new(x * scale, y * scale))
            .collect();
        line(&mut photo, closed_path(&corners), EDGE, 1.0);
    }
    // Words last: a neighbour's outline must not cross them.
    for label in labels {
        tag(&mut photo, label, scale, &lettering);
    }
    let (width_px, height_px) = (photo.width(), photo.height());
    let drawn = RgbImage::from_raw(width_px, height_px, paint::rgb(&photo));
    Ok(drawn.ok_or(DrawingError::Canvas {
        width_px,
        height_px,
    })?)
}

/// Words on white below the outline, inside the photo.
fn tag(photo: &mut Pixmap, label: &Label, scale: f64, lettering: &Lettering) {
    let style = Style {
        weight: Weight::SemiBold,
        size_mm: words::mm(TEXT_PX),
        ink: INK,
    };
    let text = lettering.width_mm(&label.words, style) * PX_PER_MM;
    let width = text + 2.0 * PADDING_PX;
    let bound = |of: fn(&[f64; 2]) -> f64, better: fn(f64, f64) -> f64, start: f64| {
        label.outline_px.iter().map(of).fold(start, better) * scale
    };
    let left = bound(|p| p[0], f64::min, f64::INFINITY);
    let right = bound(|p| p[0], f64::max, f64::NEG_INFINITY);
    let bottom = bound(|p| p[1], f64::max, f64::NEG_INFINITY);
    if !(left.is_finite() && right.is_finite() && bottom.is_finite()) {
        return;
    }
    let within = |at: f64, size: f64, all: u32| at.min(f64::from(all) - size).max(0.0);
    let x = within((left + right - width) / 2.0, width, photo.width());
    let y = within(bottom + GAP_PX, HEIGHT_PX, photo.height());
    let corner = Mm::new(words::mm(x), words::mm(y));
    let round = words::mm(HEIGHT_PX / 4.0);
    let block = round_rect_path(corner, words::mm(width), words::mm(HEIGHT_PX), round);
    let block = Shape {
        outline: Outline::Path(block),
        ink: Ink::WHITE,
        words: None,
    };
    paint::fill(photo, &block, PX_PER_MM);
    // Capitals are 0.7 em high.
    let base = y + HEIGHT_PX / 2.0 + 0.35 * TEXT_PX;
    let at = Mm::new(words::mm(x + PADDING_PX), words::mm(base));
    paint::fill(photo, &lettering.line(&label.words, style, at), PX_PER_MM);
}
