//! Filled shapes in millimetres.
//!
//! A drawing is a list of filled shapes, painted in order. Straight lines are thin
//! rectangles and lettering is outlines, so a writer needs to know how to fill and
//! nothing else, and the three formats cannot disagree about fonts or line ends.

use crate::units::Mm;

/// A colour as it is sent to the printer, encoded sRGB.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ink(pub [u8; 3]);

impl Ink {
    /// Black.
    pub const BLACK: Self = Self([0, 0, 0]);
    /// The bare paper.
    pub const WHITE: Self = Self([255, 255, 255]);
}

/// Filled shapes on a sheet; places are [`Mm`] from the sheet's own top left.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// Width of the sheet.
    pub width_mm: f64,
    /// Height of the sheet.
    pub height_mm: f64,
    /// What to paint, first to last.
    pub shapes: Vec<Shape>,
}

/// One filled shape.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// Where its edge runs.
    pub outline: Outline,
    /// What it is filled with.
    pub ink: Ink,
    /// What it says, when the outline is lettering: for search and reading aloud.
    pub words: Option<String>,
}

/// The edge of a shape.
#[derive(Clone, Debug, PartialEq)]
pub enum Outline {
    /// An upright rectangle.
    Rect {
        /// Its top-left corner.
        corner: Mm,
        /// Its width.
        width_mm: f64,
        /// Its height.
        height_mm: f64,
    },
    /// Closed curves, filled by the non-zero winding rule.
    Path(Vec<Segment>),
}

/// One step along a path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Segment {
    /// Start a new curve here.
    Move(Mm),
    /// Straight on to here.
    Line(Mm),
    /// Quadratic Bézier curve: control point, end.
    Quad(Mm, Mm),
    /// Cubic Bézier curve: two control points, end.
    Cubic(Mm, Mm, Mm),
    /// Straight back to the start of the curve.
    Close,
}

impl Drawing {
    /// A bare white sheet.
    pub fn sheet(width_mm: f64, height_mm: f64) -> Self {
        let mut drawing = Self {
            width_mm,
            height_mm,
            shapes: Vec::new(),
        };
        drawing.rect(Mm::new(0.0, 0.0), width_mm, height_mm, Ink::WHITE);
        drawing
    }

    /// Adds a filled rectangle.
    pub fn rect(&mut self, corner: Mm, width_mm: f64, height_mm: f64, ink: Ink) {
        self.shapes.push(Shape {
            outline: Outline::Rect {
                corner,
                width_mm,
                height_mm,
            },
            ink,
            words: None,
        });
    }

    /// Adds a level line of this thickness, from `from` to the right.
    pub fn level_line(&mut self, from: Mm, length_mm: f64, thick_mm: f64, ink: Ink) {
        let corner = Mm::new(from.x, from.y - thick_mm / 2.0);
        self.rect(corner, length_mm, thick_mm, ink);
    }

    /// Adds an upright line of this thickness, from `from` down.
    pub fn upright_line(&mut self, from: Mm, length_mm: f64, thick_mm: f64, ink: Ink) {
        let corner = Mm::new(from.x - thick_mm / 2.0, from.y);
        self.rect(corner, thick_mm, length_mm, ink);
    }

    /// Adds a filled path.
    pub fn path(&mut self, segments: Vec<Segment>, ink: Ink) {
        self.shapes.push(Shape {
            outline: Outline::Path(segments),
            ink,
            words: None,
        });
    }

    /// Adds everything of another drawing, its top left at `at`.
    pub fn place(&mut self, other: Drawing, at: Mm) {
        let shapes = other.shapes.into_iter();
        self.shapes.extend(shapes.map(|shape| shape.moved(at)));
    }
}

impl Shape {
    /// The same shape, `by` further right and down.
    pub fn moved(self, by: Mm) -> Self {
        let shift = |p: Mm| Mm::new(p.x + by.x, p.y + by.y);
        let outline = match self.outline {
            Outline::Rect {
                corner,
                width_mm,
                height_mm,
            } => Outline::Rect {
                corner: shift(corner),
                width_mm,
                height_mm,
            },
            Outline::Path(segments) => {
                Outline::Path(segments.iter().map(|s| s.map(shift)).collect())
            }
        };
        Self { outline, ..self }
    }
}

impl Segment {
    /// The same step with every point moved by `to`.
    pub fn map(self, to: impl Fn(Mm) -> Mm) -> Self {
        match self {
            Self::Move(p) => Self::Move(to(p)),
            Self::Line(p) => Self::Line(to(p)),
            Self::Quad(a, p) => Self::Quad(to(a), to(p)),
            Self::Cubic(a, b, p) => Self::Cubic(to(a), to(b), to(p)),
            Self::Close => Self::Close,
        }
    }
}

/// A rectangle as a path, clockwise.
pub fn rect_path(corner: Mm, width_mm: f64, height_mm: f64) -> [Segment; 5] {
    let (right, bottom) = (corner.x + width_mm, corner.y + height_mm);
    [
        Segment::Move(corner),
        Segment::Line(Mm::new(right, corner.y)),
        Segment::Line(Mm::new(right, bottom)),
        Segment::Line(Mm::new(corner.x, bottom)),
        Segment::Close,
    ]
}

/// How far a cubic's control points stand off to draw a quarter circle of radius 1
/// (4/3 (√2 − 1), off by less than 0.03 %).
const QUARTER_ARC: f64 = 0.552_284_75;

/// A rectangle with round corners as a path, clockwise.
pub fn round_rect_path(corner: Mm, width_mm: f64, height_mm: f64, radius_mm: f64) -> Vec<Segment> {
    let (l, t) = (corner.x, corner.y);
    let (r, b) = (l + width_mm, t + height_mm);
    let radius = radius_mm.min(width_mm / 2.0).min(height_mm / 2.0);
    let slack = radius * (1.0 - QUARTER_ARC);
    let at = Mm::new;
    let mut path = vec![Segment::Move(at(l + radius, t))];
    // Each side, then the turn into the next one.
    path.extend([
        Segment::Line(at(r - radius, t)),
        Segment::Cubic(at(r - slack, t), at(r, t + slack), at(r, t + radius)),
        Segment::Line(at(r, b - radius)),
        Segment::Cubic(at(r, b - slack), at(r - slack, b), at(r - radius, b)),
        Segment::Line(at(l + radius, b)),
        Segment::Cubic(at(l + slack, b), at(l, b - slack), at(l, b - radius)),
        Segment::Line(at(l, t + radius)),
        Segment::Cubic(at(l, t + slack), at(l + slack, t), at(l + radius, t)),
        Segment::Close,
    ]);
    path
}

/// A circle as a path, clockwise.
pub fn circle_path(middle: Mm, radius_mm: f64) -> Vec<Segment> {
    let corner = Mm::new(middle.x - radius_mm, middle.y - radius_mm);
    round_rect_path(corner, 2.0 * radius_mm, 2.0 * radius_mm, radius_mm)
}
