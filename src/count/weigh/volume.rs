//! How much plastic a shape is, and so what it weighs by estimate.
//!
//! All dimensions here are common practice, no source, as those in `pieces::shape`. Real walls
//! and roofs vary from piece to piece, which [`super::masses`] allows for.

use std::f64::consts::PI;

use crate::pieces::polygon::{area_and_middle, crossings, narrowed};
use crate::pieces::shape::{STUD_HEIGHT_MM, STUD_RADIUS_MM};
use crate::pieces::{Below, Shape};

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
    let height = shape.height_mm();
    let hollow_height = (height - ROOF_MM).max(0.0);
    // A piece too narrow to be hollow is solid.
    let room = narrowed(shape.outline(), WALL_MM).unwrap_or_default();
    let is_open = shape.below() == Below::Hollow;
    let is_hollow = is_open && shape.short_mm() > 2.0 * WALL_MM && !crossings(&room);
    let hollow = if is_hollow {
        area_and_middle(&room).0 * hollow_height
    } else {
        0.0
    };
    // A slope is taken for a block of its mean height: walls and roof shrink with it.
    let shell = (shape.area_mm2() * height - hollow) * shape.filled();
    let studs = shape.studs().len() as f64 * disc(2.0 * STUD_RADIUS_MM) * STUD_HEIGHT_MM;
    let (rows, columns) = shape.studs_box();
    let (rows, columns) = (f64::from(rows), f64::from(columns));
    let supports = if !shape.is_block() || !is_open {
        0.0
    } else if rows < 2.0 {
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
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::pieces::Shapes;
    use crate::pieces::list::tests::shape;

    fn near(got: f64, want: f64) {
        assert!((got - want).abs() < 0.01, "{got} is not {want}");
    }

    /// By hand, from the same common practice (no source):
    /// outside 15.8 · 31.8 · 9.6 = 4823.424, hollow 12.8 · 28.8 · 8.4 = 3096.576, so the shell
    /// is 1726.848; eight studs of 18.0956 · 1.7 = 30.7625 are 246.100; three tubes of
    /// (33.1831 - 18.0956) · 8.4 = 126.735 are 380.205. In all 2353.153 mm³, or 2.4708 g.
    #[test]
    fn a_brick_2x4_by_hand() {
        let brick = shape("brick", "2x4");
        near(volume_mm3(brick), 2353.153);
        near(estimate_g(brick), 2.4708);
    }

    /// By hand: outside 7.8 · 23.8 · 3.2 = 594.048, hollow 4.8 · 20.8 · 2 = 199.68, two pins of
    /// 7.0686 · 2 = 14.137 are 28.274, no studs: 422.642 mm³. As a plate three studs of 30.7625
    /// more: 514.930.
    #[test]
    fn a_tile_and_a_plate_1x3_by_hand() {
        near(volume_mm3(shape("tile", "1x3")), 422.642);
        near(volume_mm3(shape("plate", "1x3")), 514.930);
    }

    /// By hand: outside 15.8² - 8.0² = 185.64 by 3.2 is 594.048; hollow 12.8² - 8.0² = 99.84 by 2
    /// is 199.68; three studs of 30.7625 are 92.288: 486.656 mm³.
    #[test]
    fn a_corner_by_hand() {
        near(volume_mm3(shape("corner", "2x2")), 486.656);
    }

    /// By hand: a tile 2x2 is 15.8² · 3.2 - 12.8² · 2 = 471.168; one that falls from 3.2 to 0 fills half of that;
    /// one that is closed below is 15.8² · 3.2 = 798.848.
    #[test]
    fn a_slope_weighs_what_it_fills_and_a_closed_one_all_of_it() {
        let text = r#"{"shapes": "v2", "pieces": [
            {"form": "wedge", "sizes": ["2x2"], "height_mm": 3.2, "studs": "none",
             "profile": {"top": [[0, 3.2], [2, 0]], "bottom": [[0, 0], [2, 0]]}},
            {"form": "slab", "sizes": ["2x2"], "height_mm": 3.2, "studs": "none", "below": "solid"}]}"#;
        let list = Shapes::shipped().extended(text).unwrap();
        near(
            volume_mm3(list.named("wedge", "2x2").unwrap()),
            471.168 / 2.0,
        );
        near(volume_mm3(list.named("slab", "2x2").unwrap()), 798.848);
    }

    #[test]
    fn more_studs_weigh_more() {
        for form in Shapes::shipped().forms() {
            let shapes = Shapes::shipped().of_form(form);
            let is_longer = |pair: &&[Shape]| pair[0].studs_box().0 == pair[1].studs_box().0;
            for pair in shapes.windows(2).filter(is_longer) {
                assert!(estimate_g(pair[0]) < estimate_g(pair[1]), "{}", pair[1]);
            }
        }
    }
}
