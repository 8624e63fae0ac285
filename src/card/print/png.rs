//! A drawing as a PNG that says how large it is.

use super::PrintError;
use super::drawing::{Drawing, Ink, Outline, Segment, Shape};
use tiny_skia::{Color, FillRule, Paint, Path, PathBuilder, Pixmap, Rect, Transform};

/// Resolution of the written picture (508 dpi), at which every edge of the card's
/// tags and patches falls between two pixels.
pub const PX_PER_MM: u32 = 20;

const MM_PER_METRE: u32 = 1000;

/// Writes a drawing as an RGB PNG at [`PX_PER_MM`], marked as sRGB and with its
/// resolution, so that a program that heeds it prints true size.
///
/// # Errors
/// [`PrintError::Canvas`] or [`PrintError::Png`] when memory runs out.
pub fn png(drawing: &Drawing) -> Result<Vec<u8>, PrintError> {
    let pixmap = paint(drawing)?;
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

fn paint(drawing: &Drawing) -> Result<Pixmap, PrintError> {
    let pixels = |mm: f64| (mm * f64::from(PX_PER_MM)).round() as u32;
    let (width_px, height_px) = (pixels(drawing.width_mm), pixels(drawing.height_mm));
    let mut pixmap = Pixmap::new(width_px, height_px).ok_or(PrintError::Canvas {
        width_px,
        height_px,
    })?;
    pixmap.fill(Color::WHITE);
    for shape in &drawing.shapes {
        fill(&mut pixmap, shape);
    }
    Ok(pixmap)
}

fn fill(pixmap: &mut Pixmap, shape: &Shape) {
    let Ink([red, green, blue]) = shape.ink;
    let mut paint = Paint::default();
    paint.set_color_rgba8(red, green, blue, u8::MAX);
    // A shape without any area has no path, and leaves no mark.
    if let Some(path) = outline(&shape.outline) {
        let transform = Transform::identity();
        pixmap.fill_path(&path, &paint, FillRule::Winding, transform, None);
    }
}

/// The outline in pixels.
fn outline(outline: &Outline) -> Option<Path> {
    let px = |mm: f64| (mm * f64::from(PX_PER_MM)) as f32;
    let segments = match outline {
        Outline::Rect {
            corner,
            width_mm,
            height_mm,
        } => {
            let (x, y) = (px(corner.x), px(corner.y));
            let rect = Rect::from_xywh(x, y, px(*width_mm), px(*height_mm))?;
            return Some(PathBuilder::from_rect(rect));
        }
        Outline::Path(segments) => segments,
    };
    let mut path = PathBuilder::new();
    for segment in segments {
        match segment {
            Segment::Move(p) => path.move_to(px(p.x), px(p.y)),
            Segment::Line(p) => path.line_to(px(p.x), px(p.y)),
            Segment::Quad(c, p) => path.quad_to(px(c.x), px(c.y), px(p.x), px(p.y)),
            Segment::Cubic(a, b, p) => {
                path.cubic_to(px(a.x), px(a.y), px(b.x), px(b.y), px(p.x), px(p.y));
            }
            Segment::Close => path.close(),
        }
    }
    path.finish()
}

/// The colours without their opacity, which is full everywhere.
fn rgb(pixmap: &Pixmap) -> Vec<u8> {
    let pixels = pixmap.pixels().iter();
    pixels
        .flat_map(|pixel| [pixel.red(), pixel.green(), pixel.blue()])
        .collect()
}
