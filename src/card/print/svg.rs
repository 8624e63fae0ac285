//! A drawing as SVG of true size, in millimetres.

use crate::drawing::{Drawing, Ink, Outline, Segment, Shape};
use crate::units::Mm;
use std::fmt::{self, Write};

/// Writes a drawing as SVG. The same drawing gives the same text.
pub fn svg(drawing: &Drawing, title: &str) -> String {
    let mut text = String::new();
    // Writing into a String cannot fail.
    let _ = document(&mut text, drawing, title);
    text
}

fn document(out: &mut String, drawing: &Drawing, title: &str) -> fmt::Result {
    let (width, height) = (Length::of(drawing.width_mm), Length::of(drawing.height_mm));
    writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" \
         viewBox=\"0 0 {width} {height}\">"
    )?;
    writeln!(out, "<title>{}</title>", escaped(title))?;
    for shape in &drawing.shapes {
        element(out, shape)?;
    }
    writeln!(out, "</svg>")
}

fn element(out: &mut String, shape: &Shape) -> fmt::Result {
    match &shape.outline {
        Outline::Rect {
            corner,
            width_mm,
            height_mm,
        } => {
            let [x, y, width, height] = [corner.x, corner.y, *width_mm, *height_mm].map(Length::of);
            write!(
                out,
                "<rect x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\""
            )?;
        }
        Outline::Path(segments) => {
            out.write_str("<path d=\"")?;
            path_data(out, segments)?;
            out.write_char('"')?;
        }
    }
    let Ink([red, green, blue]) = shape.ink;
    write!(out, " fill=\"#{red:02x}{green:02x}{blue:02x}\"")?;
    if let Some(words) = &shape.words {
        write!(out, " role=\"img\" aria-label=\"{}\"", escaped(words))?;
    }
    writeln!(out, "/>")
}

/// Path data with relative steps, which are shorter. The pen moves in whole
/// micrometres, so rounding does not add up along a path.
fn path_data(out: &mut String, segments: &[Segment]) -> fmt::Result {
    let mut start = Pen::default();
    let mut pen = Pen::default();
    for segment in segments {
        match segment {
            Segment::Move(p) => {
                pen = step(out, 'm', pen, &[*p])?;
                start = pen;
            }
            Segment::Line(p) => pen = step(out, 'l', pen, &[*p])?,
            Segment::Quad(c, p) => pen = step(out, 'q', pen, &[*c, *p])?,
            Segment::Cubic(a, b, p) => pen = step(out, 'c', pen, &[*a, *b, *p])?,
            Segment::Close => {
                out.write_char('z')?;
                pen = start;
            }
        }
    }
    Ok(())
}

/// Writes one command with its points relative to `pen`, and gives the last point.
fn step(out: &mut String, command: char, pen: Pen, points: &[Mm]) -> Result<Pen, fmt::Error> {
    let mut end = pen;
    for (index, point) in points.iter().enumerate() {
        let lead = if index == 0 { command } else { ' ' };
        end = Pen {
            x: Length::of(point.x),
            y: Length::of(point.y),
        };
        let (dx, dy) = (Length(end.x.0 - pen.x.0), Length(end.y.0 - pen.y.0));
        write!(out, "{lead}{dx} {dy}")?;
    }
    Ok(end)
}

#[derive(Clone, Copy, Default)]
struct Pen {
    x: Length,
    y: Length,
}

/// A length in whole micrometres, shown in millimetres.
#[derive(Clone, Copy, Default)]
struct Length(i64);

impl Length {
    fn of(mm: f64) -> Self {
        Self((mm * 1000.0).round() as i64)
    }
}

impl fmt::Display for Length {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // The shortest decimal of a float is exact enough for any length on paper.
        write!(f, "{}", self.0 as f64 / 1000.0)
    }
}

fn escaped(words: &str) -> String {
    words
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('"', "&quot;")
}
