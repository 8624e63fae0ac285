//! How many pieces a cup holds: an estimate from its volume and from how densely
//! things lie that were poured at random. A cup that was counted once is better, and
//! overrides it.

use crate::pieces::shape::{CLEARANCE_MM, PITCH_MM, STUD_HEIGHT_MM};
use crate::pieces::{Shape, Shapes};
use crate::stock::kind::{Name, Size};
use serde::Serialize;

/// The part of the volume that poured plastic cubes fill at the loosest, and at the
/// densest after shaking: 0.54 and 0.67, each with a standard deviation of about
/// 0.01. Baker and Kudrolli, Maximum and minimum stable random packings of Platonic
/// solids, Physical Review E 82, 061304 (2010). Bricks are no cubes: they are hollow
/// below and have studs above, and thin plates lie in other ways. No source was found
/// for those, which is one more reason for the range and for counting a cup.
pub const LOOSEST: f64 = 0.54;
/// See [`LOOSEST`].
pub const DENSEST: f64 = 0.67;

/// How many pieces a cup holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Holds {
    /// No fewer than this.
    pub low: u64,
    /// No more than this.
    pub high: u64,
    /// Whether somebody counted a cup, rather than this program estimating it.
    pub measured: bool,
}

/// Cubic millimetres in a millilitre.
const MM3_IN_ML: f64 = 1000.0;

/// How many bodies of a volume a cup of another holds, loosest and densest.
pub fn bodies(cup_ml: f64, smallest_mm3: f64, largest_mm3: f64) -> (u64, u64) {
    let cup = cup_ml * MM3_IN_ML;
    (
        (cup * LOOSEST / largest_mm3).floor() as u64,
        (cup * DENSEST / smallest_mm3).floor() as u64,
    )
}

/// Estimates a cup. A studded piece takes up at least its body, when studs sit in the
/// hollows of others, and at most the box around body and studs. A size that the list of
/// shapes lacks is taken as a rectangle of its form's height; none when the list has not the form.
pub fn estimate(cup_ml: f64, form: &Name, size: Size, list: Shapes) -> Option<Holds> {
    let listed = list.named(form.as_str(), &size.to_string());
    let like = listed.or_else(|| list.of_form(list.form(form.as_str())?).first().copied())?;
    let (short, long) = size.studs();
    let side = |studs: u16| f64::from(studs) * PITCH_MM - CLEARANCE_MM;
    let base = listed.map_or(side(short) * side(long), Shape::area_mm2);
    let body = base * like.height_mm();
    let studs = if like.has_studs() {
        STUD_HEIGHT_MM
    } else {
        0.0
    };
    let (low, high) = bodies(cup_ml, body, body + base * studs);
    Some(Holds {
        low,
        high,
        measured: false,
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// Baker and Kudrolli 2010: plastic cubes fill 0.54 of the volume at the loosest
    /// and 0.67 at the densest, each within about 0.01.
    const PUBLISHED: [(f64, f64); 2] = [(0.54, 0.01), (0.67, 0.01)];

    #[test]
    fn poured_cubes_fill_what_was_published() {
        // A litre of cubes with sides of 10 mm: a thousand of them fill it without gaps.
        let (low, high) = bodies(1000.0, 1000.0, 1000.0);
        for (number, (published, spread)) in [low, high].into_iter().zip(PUBLISHED) {
            let filled = number as f64 * 1000.0 / 1e6;
            assert!((filled - published).abs() <= spread, "{filled}");
        }
    }

    #[test]
    fn a_cup_of_bricks_by_hand() {
        let of = |form, size| {
            let (form, size) = (Name::new(form).unwrap(), Size::new(size).unwrap());
            estimate(900.0, &form, size, Shapes::shipped())
        };
        // Body 15.8 x 31.8 x 9.6 = 4823.4 mm3; with studs 15.8 x 31.8 x 11.3 = 5677.6 mm3.
        // 900 ml: 900000 x 0.54 / 5677.6 = 85.6; 900000 x 0.67 / 4823.4 = 125.0.
        let holds = of("brick", "2x4").unwrap();
        assert_eq!((holds.low, holds.high, holds.measured), (85, 125, false));
        assert_eq!(of("slope", "2x4"), None);
        // A disc of 15.8 mm is 0.785 of its square, so more of them go in than plates.
        let (disc, square) = (of("round", "2x2").unwrap(), of("plate", "2x2").unwrap());
        let more = disc.low as f64 / square.low as f64;
        assert!((1.25..1.30).contains(&more), "{more}");
    }
}
