//! How much light reaches each place of the tray.
//!
//! The tray is one colour, so where it looks darker there is less light: less
//! than on the card, for which the colours are corrected.

use palette::white_point::D65;
use palette::{FromColor, Lab, LinSrgb};

use super::ground::Ground;
use crate::card::design::CardDesign;
use crate::colour::Correction;
use crate::units::Mm;

/// Light over the tray relative to that on the middle of the card's patches.
pub struct Light<'a> {
    ground: &'a Ground,
    correction: &'a Correction,
    on_card: f64,
}

impl<'a> Light<'a> {
    /// Reads the light off the empty tray.
    pub fn of(ground: &'a Ground, correction: &'a Correction) -> Self {
        let design = CardDesign::v1();
        // The tray under the card is not seen, but its surface runs smoothly below it.
        let n = design.patches.len().max(1) as f64;
        let on_card = design
            .patches
            .iter()
            .map(|p| tray_light(ground, correction, p.middle()))
            .sum::<f64>()
            / n;
        Self {
            ground,
            correction,
            on_card,
        }
    }

    /// Light at a place, 1 on the card; kept within what a fall-off can be.
    pub fn at(&self, place: Mm) -> f64 {
        let here = tray_light(self.ground, self.correction, place);
        let share = here / self.on_card;
        if share.is_finite() {
            share.clamp(0.2, 5.0)
        } else {
            1.0
        }
    }
}

/// Luminance of the empty tray, in corrected units.
fn tray_light(ground: &Ground, correction: &Correction, place: Mm) -> f64 {
    let [l, a, b] = ground.at(place);
    let rgb: LinSrgb<f32> = LinSrgb::from_color(Lab::<D65, f32>::new(l, a, b));
    let linear = correction.linear_d65([rgb.red, rgb.green, rgb.blue], 1.0);
    // Luminance weights of sRGB's primaries (IEC 61966-2-1).
    0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
}
