//! How dark a piece's dark places are.
//!
//! Stud flanks, seams and sides are in part turned away from the light and from the lamp's image.
//! In one photo they are a steady share of the body's own lightness, so a piece that looks light
//! but is black in its corners is a dark one with a lamp on it.

use super::explain::Look;
use crate::pieces::paint::luminance;

/// Typical gloss of dark places, share of a white's light; see [`shade_of`].
const DARK_GLOSS: f64 = 0.02;
/// Degrees of freedom of Student's t for shade.
const SHADE_TAILS: f64 = 4.0;
/// Log of how dark a piece's dark places are against its body. Gloss that they mirror
/// goes with the body, or dark bodies would seem less shaded than light ones.
pub fn shade_of(look: &Look, body: [f64; 3], gloss: f64) -> f64 {
    let own = luminance(body).max(1e-3);
    (look.paint().dark.max(1e-3) / (own + DARK_GLOSS + gloss)).ln()
}

/// Log probability of a piece's dark places under a colour.
pub fn shade_log(look: &Look, body: [f64; 3], gloss: f64, (middle, spread): (f64, f64)) -> f64 {
    // The dark places may mirror as much as the top does, or less.
    let (least, most) = (shade_of(look, body, gloss), shade_of(look, body, 0.0));
    let off = if most < middle {
        most - middle
    } else {
        (least - middle).max(0.0)
    };
    let z = off / spread;
    -0.5 * (SHADE_TAILS + 1.0) * (z * z / SHADE_TAILS).ln_1p()
}
