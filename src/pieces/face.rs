//! Which way a piece lies, and the box that it then is.

use super::shape::{STUD_HEIGHT_MM, Shape};

/// Which way a piece lies on the tray.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Face {
    /// Studs, or a tile's smooth top, up.
    Up,
    /// The hollow underside up.
    Down,
    /// On a long side.
    Side,
    /// On a short end.
    End,
}

/// Length, width and height of a piece as it lies, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Body {
    /// Along the side that its turn names: the long side, or on an end the short one.
    pub along: f64,
    /// Across it.
    pub across: f64,
    /// Above the tray.
    pub height: f64,
}

impl Face {
    /// All ways to lie.
    pub const ALL: [Face; 4] = [Face::Up, Face::Down, Face::Side, Face::End];

    /// The word for files and tables.
    pub fn name(self) -> &'static str {
        match self {
            Face::Up => "up",
            Face::Down => "down",
            Face::Side => "side",
            Face::End => "end",
        }
    }

    /// The way to lie of that name, if there is one.
    pub fn called(name: &str) -> Option<Face> {
        Face::ALL.into_iter().find(|face| face.name() == name)
    }

    /// The box of a shape that lies so. Studs that point sideways belong to its footprint; those
    /// that point up or into the tray's plane do not count as height.
    pub fn body(self, shape: Shape) -> Body {
        let studs = if shape.form.has_studs() {
            STUD_HEIGHT_MM
        } else {
            0.0
        };
        let (long, short) = (shape.long_mm(), shape.short_mm());
        let thick = shape.form.height_mm();
        let (along, across, height) = match self {
            Face::Up | Face::Down => (long, short, thick),
            Face::Side => (long, thick + studs, short),
            Face::End => (short, thick + studs, long),
        };
        Body {
            along,
            across,
            height,
        }
    }

    /// Whether a quarter turn leaves the footprint as it was.
    pub fn is_square(self, shape: Shape) -> bool {
        matches!(self, Face::Up | Face::Down) && shape.is_square()
    }
}
