//! Forms and sizes, with their dimensions.
//!
//! Dimensions are common practice, no source: 8.0 mm pitch, 0.1 mm clearance a
//! side, plates and tiles 3.2 mm high, bricks 9.6 mm, studs 4.8 mm across and
//! 1.7 mm high.

use std::fmt;

/// Distance between neighbouring studs, mm.
pub const PITCH_MM: f64 = 8.0;
/// What a row of n studs lacks to 8 n mm.
pub const CLEARANCE_MM: f64 = 0.2;
/// Radius of a stud, mm.
pub const STUD_RADIUS_MM: f64 = 2.4;
/// Height of a stud above the top face, mm.
pub const STUD_HEIGHT_MM: f64 = 1.7;

/// What kind of piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Form {
    /// 9.6 mm high, with studs.
    Brick,
    /// 3.2 mm high, with studs.
    Plate,
    /// 3.2 mm high, smooth.
    Tile,
}

impl Form {
    /// All forms.
    pub const ALL: [Form; 3] = [Form::Brick, Form::Plate, Form::Tile];

    /// Height of the body without studs, mm.
    pub fn height_mm(self) -> f64 {
        match self {
            Form::Brick => 9.6,
            Form::Plate | Form::Tile => 3.2,
        }
    }

    /// Whether studs stand on the top face.
    pub fn has_studs(self) -> bool {
        self != Form::Tile
    }

    /// The word for files and tables.
    pub fn name(self) -> &'static str {
        match self {
            Form::Brick => "brick",
            Form::Plate => "plate",
            Form::Tile => "tile",
        }
    }
}

/// A form in a size.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Shape {
    /// What kind.
    pub form: Form,
    /// Studs along the short side.
    pub short: u8,
    /// Studs along the long side.
    pub long: u8,
}

impl Shape {
    /// Length of the short side, mm.
    pub fn short_mm(self) -> f64 {
        f64::from(self.short) * PITCH_MM - CLEARANCE_MM
    }

    /// Length of the long side, mm.
    pub fn long_mm(self) -> f64 {
        f64::from(self.long) * PITCH_MM - CLEARANCE_MM
    }

    /// Whether a quarter turn leaves the shape as it was.
    pub fn is_square(self) -> bool {
        self.short == self.long
    }

    /// The size as in sheets: small side first.
    pub fn size(self) -> String {
        format!("{}x{}", self.short, self.long)
    }
}

impl fmt::Display for Shape {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.form.name(), self.size())
    }
}

/// Sizes in use, short side first.
pub const SIZES: [(u8, u8); 18] = [
    (1, 1),
    (1, 2),
    (1, 3),
    (1, 4),
    (1, 5),
    (1, 6),
    (1, 7),
    (1, 8),
    (2, 2),
    (2, 3),
    (2, 4),
    (2, 5),
    (2, 6),
    (2, 7),
    (2, 8),
    (4, 4),
    (4, 6),
    (6, 6),
];

/// Every shape of one form.
pub fn shapes_of(form: Form) -> Vec<Shape> {
    SIZES
        .iter()
        .map(|&(short, long)| Shape { form, short, long })
        .collect()
}
