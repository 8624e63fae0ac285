//! Filled shapes as pixels.

use super::{Drawing, DrawingError, Ink, Outline, Segment, Shape};
use tiny_skia::{Color, FillRule, Paint, Path, PathBuilder, Pixmap, Rect, Transform};

/// A canvas of one colour.
///
/// # Errors
/// [`DrawingError::Canvas`] when a side is zero or there is no memory for it.
pub fn canvas(width_px: u32, height_px: u32, ink: Ink) -> Result<Pixmap, DrawingError> {
    let mut pixmap = Pixmap::new(width_px, height_px).ok_or(DrawingError::Canvas {
        width_px,
        height_px,
    })?;
    let Ink([red, green, blue]) = ink;
    pixmap.fill(Color::from_rgba8(red, green, blue, u8::MAX));
    Ok(pixmap)
}

/// Paints a whole drawing, its top left on the canvas's.
///
/// # Errors
/// As [`canvas`].
pub fn paint(drawing: &Drawing, px_per_mm: f64) -> Result<Pixmap, DrawingError> {
    let pixels = |mm: f64| (mm * px_per_mm).round() as u32;
    let (width_px, height_px) = (pixels(drawing.width_mm), pixels(drawing.height_mm));
    let mut pixmap = canvas(width_px, height_px, Ink::WHITE)?;
    for shape in &drawing.shapes {
        fill(&mut pixmap, shape, px_per_mm);
    }
    Ok(pixmap)
}

/// Paints one shape.
pub fn fill(pixmap: &mut Pixmap, shape: &Shape, px_per_mm: f64) {
    // A shape without any area has no path, and leaves no mark.
    if let Some(path) = path(&shape.outline, px_per_mm) {
        let transform = Transform::identity();
        pixmap.fill_path(
            &path,
            &opaque(shape.ink),
            FillRule::Winding,
            transform,
            None,
        );
    }
}

/// This ink, with nothing shining through.
pub fn opaque(ink: Ink) -> Paint<'static> {
    let Ink([red, green, blue]) = ink;
    let mut paint = Paint::default();
    paint.set_color_rgba8(red, green, blue, u8::MAX);
    paint
}

/// The outline in pixels; `None` when it has no extent or a place is not finite.
pub fn path(outline: &Outline, px_per_mm: f64) -> Option<Path> {
    let px = |mm: f64| (mm * px_per_mm) as f32;
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
pub fn rgb(pixmap: &Pixmap) -> Vec<u8> {
    let pixels = pixmap.pixels().iter();
    pixels
        .flat_map(|pixel| [pixel.red(), pixel.green(), pixel.blue()])
        .collect()
}
