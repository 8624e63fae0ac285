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

    /// Whether the footprint is what the list of shapes has.
    pub fn is_flat(self) -> bool {
        matches!(self, Face::Up | Face::Down)
    }

    /// The way to lie of that name, if there is one.
    pub fn called(name: &str) -> Option<Face> {
        Face::ALL.into_iter().find(|face| face.name() == name)
    }

    /// The box of a shape that lies so. Studs that point sideways belong to its footprint; those
    /// that point up or down do not count as height.
    pub fn body(self, shape: Shape) -> Body {
        let studs = if shape.has_studs() {
            STUD_HEIGHT_MM
        } else {
            0.0
        };
        let (long, short) = (shape.long_mm(), shape.short_mm());
        let thick = shape.height_mm();
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

    /// A direction in degrees brought into [0, 180), or into as much as it takes for the
    /// footprint to look as it was.
    pub fn turn_within(self, shape: Shape, turn_deg: f64) -> f64 {
        let whole = if self.is_flat() {
            shape.same_after_deg()
        } else {
            180.0
        };
        if whole == 0.0 {
            return 0.0;
        }
        // Rounding may reach the whole turn again.
        (turn_deg.rem_euclid(whole) * 100.0).round() / 100.0 % whole
    }
}

#[cfg(test)]
mod tests {
    use super::super::list::tests::shape;
    use super::*;

    #[test]
    fn bodies_are_those_of_a_piece_in_the_hand() {
        let body = |face: Face, shape| {
            let body = face.body(shape);
            [body.along, body.across, body.height].map(|mm| (mm * 10.0).round() / 10.0)
        };
        let brick = shape("brick", "2x4");
        assert_eq!(body(Face::Up, brick), [31.8, 15.8, 9.6]);
        assert_eq!(body(Face::Down, brick), [31.8, 15.8, 9.6]);
        assert_eq!(body(Face::Side, brick), [31.8, 11.3, 15.8]);
        assert_eq!(body(Face::End, brick), [15.8, 11.3, 31.8]);
        assert_eq!(body(Face::Side, shape("tile", "1x2")), [15.8, 3.2, 7.8]);
    }

    #[test]
    fn only_a_square_that_lies_flat_looks_the_same_after_a_quarter_turn() {
        let square = shape("plate", "2x2");
        assert_eq!(Face::Up.turn_within(square, 120.0), 30.0);
        assert_eq!(Face::Side.turn_within(square, 120.0), 120.0);
        assert_eq!(Face::Up.turn_within(shape("plate", "2x4"), -10.0), 170.0);
        assert_eq!(Face::Up.turn_within(square, 89.999), 0.0);
        let corner = shape("corner", "2x2");
        assert_eq!(Face::Up.turn_within(corner, -10.0), 350.0);
        assert_eq!(Face::Up.turn_within(shape("round", "1x1"), 77.0), 0.0);
    }
}
