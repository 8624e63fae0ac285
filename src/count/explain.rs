//! How well a body colour explains what one piece shows.
//!
//! A glossy surface sends back s = m B + g W: the body's colour B in the light m on it,
//! and the lamp's, walls' and ceiling's mirror image g, which the card's correction has
//! made neutral (dichromatic reflection, Shafer, 'Using color to separate reflection
//! components', 1985). Neither m nor g is known; both are summed over, weighted by how
//! likely the piece's neighbours make them.

use super::even::{Even, even};
use crate::colour::lab::lab_from_linear;
use crate::pieces::paint::{Paint, luminance};

/// Log gloss is counted from here, share of a white's light: below, it makes no visible difference.
pub const GLOSS_FLOOR: f64 = 0.01;
/// Values of g that are tried: none, and from hardly visible to nearly all the light.
const GLOSSES: [f64; 16] = [
    0.0, 0.004, 0.0058, 0.0084, 0.012, 0.0175, 0.0253, 0.0366, 0.0529, 0.0766, 0.111, 0.16, 0.232,
    0.335, 0.484, 0.7,
];
/// Deviations of log m that are tried, in standard deviations.
const LIGHTS: [f64; 7] = [-2.1, -1.4, -0.7, 0.0, 0.7, 1.4, 2.1];
/// Share of pieces whose gloss has nothing to do with their neighbours': the edge of a lamp's
/// image lies between them.
const ALONE: f64 = 0.1;
/// Standard deviation of a piece about its colour in its photo, even units: lightness (the
/// light's own deviation apart), chromatic. Medians over the sample photos: 0.1, 0.25; doubled for
/// other cameras' noise.
const SPREAD: Even = [0.3, 0.5, 0.5];
/// How far gloss of strength 1 is from neutral, even units in each chromatic direction: walls
/// tint it, and the correction of neutrals errs by about 1 dE00.
const GLOSS_TINT: f64 = 1.0;
/// Degrees of freedom of Student's t for the deviations: tails for what is not modelled.
const TAILS: f64 = 8.0;

/// What one piece shows.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    paint: Paint,
    even: Even,
}

impl Look {
    /// Of a paint.
    pub fn of(paint: &Paint) -> Self {
        Self {
            paint: *paint,
            even: even(paint.lab),
        }
    }

    /// The paint.
    pub fn paint(&self) -> &Paint {
        &self.paint
    }
}

/// What the neighbours say of a piece: mean and standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Given {
    /// Of log(g + [`GLOSS_FLOOR`]).
    pub gloss: (f64, f64),
    /// Of log m.
    pub light: (f64, f64),
}

/// How a colour explains a piece.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Explanation {
    /// Log probability density, relative to that of a perfect match.
    pub log: f64,
    /// Mean and variance of log(g + [`GLOSS_FLOOR`]).
    pub gloss: (f64, f64),
    /// Mean and variance of log m.
    pub light: (f64, f64),
    /// What the piece shows less what the colour predicts, even units.
    pub residual: Even,
    /// Share of the piece's light that is the body's own.
    pub hold: f64,
}

/// Sums over light and gloss. `width` widens the deviations, for a first look; 1 as they are.
pub fn explain(look: &Look, body: [f64; 3], given: &Given, width: f64) -> Explanation {
    let gloss_log: [f64; GLOSSES.len()] = GLOSSES.map(|g| (g + GLOSS_FLOOR).ln());
    let mut gloss_prior =
        gloss_log.map(|h| (-0.5 * ((h - given.gloss.0) / given.gloss.1).powi(2)).exp());
    let sum: f64 = gloss_prior.iter().sum::<f64>().max(1e-300);
    for p in &mut gloss_prior {
        *p = (1.0 - ALONE) * *p / sum + ALONE / GLOSSES.len() as f64;
    }
    let light_prior = LIGHTS.map(|q| (-0.5 * q * q).exp());
    let light_sum: f64 = light_prior.iter().sum();
    let spread = SPREAD.map(|s| s * width);
    let any_clipped = look.paint.clipped.iter().any(|c| *c);

    let mut cells = [[(0.0f64, [0.0f64; 3], 0.0f64); GLOSSES.len()]; LIGHTS.len()];
    let mut top = f64::NEG_INFINITY;
    for (row, (q, light_p)) in cells.iter_mut().zip(LIGHTS.iter().zip(light_prior)) {
        let m = (given.light.0 + given.light.1 * q).exp();
        for (cell, (g, gloss_p)) in row.iter_mut().zip(GLOSSES.iter().zip(gloss_prior)) {
            let predicted = body.map(|v| m * v + g);
            let predicted_even = even(lab_from_linear(predicted));
            let shown = if any_clipped {
                // A cut-off channel only says that there was at least so much light.
                even(lab_from_linear(std::array::from_fn(|c| {
                    if look.paint.clipped[c] {
                        look.paint.measured[c].max(predicted[c])
                    } else {
                        look.paint.measured[c]
                    }
                })))
            } else {
                look.even
            };
            let glossy = (g / luminance(predicted).max(1e-3)).clamp(0.0, 1.0);
            let tint = GLOSS_TINT * width * glossy;
            let mut far = 0.0;
            let mut narrower = 0.0;
            let mut residual = [0.0; 3];
            for c in 0..3 {
                residual[c] = shown[c] - predicted_even[c];
                let mut variance = spread[c] * spread[c];
                if c > 0 {
                    variance += tint * tint;
                    narrower += 0.5 * (variance / (spread[c] * spread[c])).ln();
                }
                far += residual[c] * residual[c] / variance;
            }
            let log = -0.5 * (TAILS + 3.0) * (far / TAILS).ln_1p() - narrower
                + (light_p / light_sum).ln()
                + gloss_p.ln();
            *cell = (log, residual, (TAILS + 3.0) / (TAILS + far));
            top = top.max(log);
        }
    }
    let mut found = Explanation::default();
    let (mut all, mut trusted) = (0.0, 0.0);
    let (mut gloss, mut gloss2, mut light, mut light2, mut plain_gloss) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (row, q) in cells.iter().zip(LIGHTS) {
        let m = given.light.0 + given.light.1 * q;
        for ((log, residual, trust), (g, h)) in row.iter().zip(GLOSSES.iter().zip(gloss_log)) {
            let w = (log - top).exp();
            all += w;
            gloss += w * h;
            gloss2 += w * h * h;
            light += w * m;
            light2 += w * m * m;
            plain_gloss += w * g;
            trusted += w * trust;
            for (sum, off) in found.residual.iter_mut().zip(residual) {
                *sum += w * trust * off;
            }
        }
    }
    found.log = top + all.ln();
    found.gloss = (gloss / all, (gloss2 / all - (gloss / all).powi(2)).max(0.0));
    found.light = (light / all, (light2 / all - (light / all).powi(2)).max(0.0));
    for r in &mut found.residual {
        *r /= trusted;
    }
    let own = luminance(body).max(1e-3);
    found.hold = own / (own + plain_gloss / all);
    found
}

/// Variance about a colour, even units squared, of a piece without gloss.
pub fn variance(channel: usize, width: f64) -> f64 {
    (SPREAD[channel] * width).powi(2)
}
