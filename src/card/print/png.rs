//! A drawing as a PNG that says how large it is.

use super::PrintError;
use crate::drawing::Drawing;
use crate::drawing::paint::{paint, rgb};

/// Resolution of the written picture (508 dpi), at which every edge of the card's
/// tags and patches falls between two pixels.
pub const PX_PER_MM: u32 = 20;

const MM_PER_METRE: u32 = 1000;

/// Writes a drawing as an RGB PNG at [`PX_PER_MM`], marked as sRGB and with its
/// resolution, so that a program that heeds it prints true size.
///
/// # Errors
/// [`PrintError::Drawing`] or [`PrintError::Png`] when memory runs out.
pub fn png(drawing: &Drawing) -> Result<Vec<u8>, PrintError> {
    let pixmap = paint(drawing, f64::from(PX_PER_MM))?;
    let mut bytes = Vec::new();
    let mut encoder = ::png::Encoder::new(&mut bytes, pixmap.width(), pixmap.height());
    encoder.set_color(::png::ColorType::Rgb);
    encoder.set_depth(::png::BitDepth::Eight);
    encoder.set_source_srgb(::png::SrgbRenderingIntent::RelativeColorimetric);
    encoder.set_pixel_dims(Some(::png::PixelDimensions {
        xppu: PX_PER_MM * MM_PER_METRE,
        yppu: PX_PER_MM * MM_PER_METRE,
        unit: ::png::Unit::Meter,
    }));
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&rgb(&pixmap))?;
    writer.finish()?;
    Ok(bytes)
}
