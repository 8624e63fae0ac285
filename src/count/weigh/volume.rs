//! How much plastic a shape is, and so what it weighs by estimate.
//!
//! All dimensions here are common practice, no source, as those in `pieces::shape`. Real walls
//! and roofs vary from piece to piece, which [`super::masses`] allows for.

use std::f64::consts::PI;

use crate::pieces::Shape;
use crate::pieces::shape::{STUD_HEIGHT_MM, STUD_RADIUS_MM};

/// Thickness of the outer walls, mm; all else is hollow from below.
const WALL_MM: f64 = 1.5;
/// Thickness of the top, mm.
const ROOF_MM: f64 = 1.2;
/// Outer diameter of the tubes that stand between four studs, mm.
const TUBE_MM: f64 = 6.5;
/// Bore of those tubes, mm: a stud fits in.
const BORE_MM: f64 = 4.8;
/// Diameter of the pins that stand between two studs of a narrow piece, mm.
const PIN_MM: f64 = 3.0;
/// Grams of a cubic millimetre of ABS: the middle of 1020 to 1080 kg/m³ (ABS (extrusion), polymer
/// data sheet of the MaterialUniverse module of Granta Design).
const DENSITY_G_MM3: f64 = 1.05e-3;

/// Plastic in a shape, mm³: walls and roof, solid studs, tubes or pins.
pub fn volume_mm3(shape: Shape) -> f64 {
    let (short, long) = (shape.short_mm(), shape.long_mm());
    let height = shape.form.height_mm();
    let hollow_height = height - ROOF_MM;
    let hollow = (short - 2.0 * WALL_MM) * (long - 2.0 * WALL_MM) * hollow_height;
    let shell = short * long * height - hollow;
    let (rows, columns) = (f64::from(shape.short), f64::from(shape.long));
    let studs = if shape.form.has_studs() {
        rows * columns * disc(2.0 * STUD_RADIUS_MM) * STUD_HEIGHT_MM
    } else {
        0.0
    };
    let supports = if shape.short < 2 {
        (columns - 1.0) * disc(PIN_MM)
    } else {
        (rows - 1.0) * (columns - 1.0) * (disc(TUBE_MM) - disc(BORE_MM))
    };
    shell + studs + supports * hollow_height
}

/// Estimated mass of a shape, g.
pub fn estimate_g(shape: Shape) -> f64 {
    volume_mm3(shape) * DENSITY_G_MM3
}

/// Area of a disc by its diameter.
fn disc(diameter: f64) -> f64 {
    PI / 4.0 * diameter * diameter
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pieces::{Form, shapes_of};

    fn near(got: f64, want: f64) {
        assert!((got - want).abs() < 0.01, "{got} is not {want}");
    }

    /// By hand, from the same common practice (no source):
    /// outside 15.8 · 31.8 · 9.6 = 4823.424, hollow 12.8 · 28.8 · 8.4 = 3096.576, so the shell
    /// is 1726.848; eight studs of 18.0956 · 1.7 = 30.7625 are 246.100; three tubes of
    /// (33.1831 - 18.0956) · 8.4 = 126.735 are 380.205. In all 2353.153 mm³, or 2.4708 g.
    #[test]
    fn a_brick_2x4_by_hand() {
        let brick = Shape {
            form: Form::Brick,
            short: 2,
            long: 4,
        };
        near(volume_mm3(brick), 2353.153);
        near(estimate_g(brick), 2.4708);
    }

    /// By hand: outside 7.8 · 23.8 · 3.2 = 594.048, hollow 4.8 · 20.8 · 2 = 199.68, two pins of
    /// 7.0686 · 2 = 14.137 are 28.274, no studs: 422.642 mm³. As a plate three studs of 30.7625
    /// more: 514.930.
    #[test]
    fn a_tile_and_a_plate_1x3_by_hand() {
        let of = |form| Shape {
            form,
            short: 1,
            long: 3,
        };
        near(volume_mm3(of(Form::Tile)), 422.642);
        near(volume_mm3(of(Form::Plate)), 514.930);
    }

    #[test]
    fn more_studs_weigh_more() {
        for form in Form::ALL {
            let mut shapes = shapes_of(form);
            shapes.sort_by_key(|s| (s.short, s.long));
            for pair in shapes.windows(2).filter(|p| p[0].short == p[1].short) {
                assert!(estimate_g(pair[0]) < estimate_g(pair[1]), "{}", pair[1]);
            }
        }
    }
}
