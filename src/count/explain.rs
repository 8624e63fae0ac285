//! How well a body colour explains what one piece shows.
//!
//! A glossy surface sends back s = m B + g W: the body's colour B in the light m on it,
//! and the lamp's, walls' and ceiling's mirror image g, which the card's correction has
//! made neutral (dichromatic reflection, Shafer, 'Using color to separate reflection
//! components', 1985). Neither m nor g is known; both are summed over, weighted by how
//! likely the piece's neighbours make them.

use std::sync::LazyLock;

use nalgebra::{Matrix3, Vector3};

use super::even::{Even, even};
use crate::colour::lab::lab_from_linear;
use crate::pieces::paint::{Paint, luminance};

/// Gloss that the taught piece may have had itself, share of a white's light: plastic mirrors
/// 4.5 % (index 1.54) of walls about a quarter as bright as a white. A piece may show as much less.
const GLOSS_TAUGHT: f64 = 0.01;
/// Log gloss is counted from here: twice that, so that differences below it hardly count.
pub const GLOSS_FLOOR: f64 = 2.0 * GLOSS_TAUGHT;
/// Most gloss, share of a white's light: beyond it every channel is cut off.
const GLOSS_MOST: f64 = 2.0;
/// Steps across the gloss that a lightness allows, and how many standard deviations it spans to
/// either side.
const GLOSS_STEPS: usize = 5;
const GLOSS_SPAN: f64 = 2.5;
/// Deviations of log m that are tried, in standard deviations.
const LIGHTS: [f64; 9] = [-2.4, -1.8, -1.2, -0.6, 0.0, 0.6, 1.2, 1.8, 2.4];
/// Log of the light that a shadow leaves, in steps, each as likely.
const SHADES: [f64; 6] = [-0.12, -0.27, -0.45, -0.65, -0.9, -1.2];
/// How far a shadow tints, even units in each chromatic direction, where it leaves no light: what
/// comes from other pieces has their colours. Set by hand.
const SHADE_TINT: f64 = 4.0;
/// Share of pieces whose gloss has nothing to do with their neighbours': the edge of a lamp's
/// image lies between them.
const ALONE: f64 = 0.1;
/// Standard deviation of a piece about its colour in its photo, even units: lightness (the
/// light's own deviation apart), chromatic. Over the sample photos to tune on 0.1, and 0.15 to 0.4
/// where gloss is weak; more for other cameras' noise.
const SPREAD: Even = [0.3, 0.7, 0.7];
/// How far gloss of strength 1 is from neutral, even units in each chromatic direction: walls
/// tint it, and at its brightness the tone curve and the camera's own colouring differ from those at
/// the body's. Over the sample photos to tune on pieces with half their light mirrored are off by about 1.
const GLOSS_TINT: f64 = 2.0;
/// Error of linear light that noise, the camera's black and the correction leave, share of a
/// white's light: it tints what is dark.
const BLACK_ERROR: f64 = 0.0004;
/// How far a cut-off channel tints the others, even units: the camera colours after the cut.
const CUT_OFF_TINT: f64 = 1.5;
/// Degrees of freedom of Student's t for the deviations: tails for what is not modelled.
const TAILS: f64 = 8.0;

/// What one piece shows.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    paint: Paint,
    even: Even,
    /// From the camera's own channels to those of the paint, and back.
    mixing: Matrix3<f64>,
    unmixing: Matrix3<f64>,
}

impl Look {
    /// Of a paint.
    pub fn of(paint: &Paint) -> Self {
        let mixing = Matrix3::from_fn(|r, c| paint.mixing[r][c]);
        let (mixing, unmixing) = mixing.try_inverse().map_or_else(
            || (Matrix3::identity(), Matrix3::identity()),
            |inverse| (mixing, inverse),
        );
        let shown = if paint.clipped.contains(&true) {
            lab_from_linear(paint.measured)
        } else {
            paint.lab
        };
        Self {
            paint: *paint,
            even: even(shown),
            mixing,
            unmixing,
        }
    }

    /// Luminance of the piece as it looks; endless where a channel was cut off, because there
    /// may have been any amount of light more.
    pub fn luminance(&self) -> f64 {
        if self.paint.clipped.contains(&true) {
            f64::INFINITY
        } else {
            luminance(self.paint.measured)
        }
    }

    /// How a colour would show: a channel that the camera cut off shows no more than the cut.
    fn cut(&self, predicted: [f64; 3]) -> [f64; 3] {
        let clipped = self.paint.clipped;
        if clipped == [false; 3] {
            return predicted;
        }
        let measured = Vector3::from(self.paint.measured);
        let mut over = self.unmixing * (Vector3::from(predicted) - measured);
        for c in 0..3 {
            if clipped[c] {
                over[c] = over[c].min(0.0);
            }
        }
        (measured + self.mixing * over).into()
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
    let shaded = look.paint.shaded;
    let open = (1.0 - shaded).ln()
        - LIGHTS
            .map(|q| (-0.5 * q * q).exp())
            .iter()
            .sum::<f64>()
            .ln();
    let shade = (shaded / SHADES.len() as f64).ln();
    let (mean, deviation) = given.light;
    let lights = LIGHTS
        .map(|q| Lit {
            light: mean + deviation * q,
            told: (mean + deviation * q, 0.0),
            tint: 0.0,
            log: open - 0.5 * q * q,
        })
        .into_iter();
    // What a shadow leaves says nothing of the light around.
    let shades = SHADES
        .map(|m| Lit {
            light: mean + m,
            told: (mean, deviation * deviation),
            tint: SHADE_TINT * (1.0 - m.exp()),
            log: shade,
        })
        .into_iter();
    let mut sum = Sum::default();
    for lit in lights.chain(shades) {
        let light = lit.light.exp();
        let shown = body.map(|v| light * v);
        let (least, step) = gloss_range(look, shown, width);
        let log_step = step.ln();
        for k in 0..GLOSS_STEPS {
            let gloss = least + step * (k as f64 + 0.5);
            let log_gloss = (gloss + GLOSS_FLOOR).ln();
            let predicted = shown.map(|v| v + gloss);
            let (match_log, residual, trust) = compare(look, predicted, (gloss, lit.tint), width);
            let density = gloss_density((gloss, log_gloss), given).ln();
            let log = match_log + lit.log + density + log_step;
            sum.add(log, lit.told, (gloss, log_gloss), residual, trust);
        }
    }
    sum.explanation(luminance(body))
}

/// A light that may be on a piece.
struct Lit {
    /// Its log.
    light: f64,
    /// Mean and variance of what it says of the log of the light around.
    told: (f64, f64),
    /// How far it tints, even units.
    tint: f64,
    /// Its log probability.
    log: f64,
}

/// From where, in steps of what, gloss brings a lit body to the lightness that is seen.
fn gloss_range(look: &Look, lit: [f64; 3], width: f64) -> (f64, f64) {
    const WEIGHTS: [f64; 3] = [0.2126, 0.7152, 0.0722];
    let paint = &look.paint;
    let mut over = Vector3::from(paint.measured) - Vector3::from(lit);
    if paint.clipped.contains(&true) {
        // Neutral gloss is neutral to the camera too.
        over = look.unmixing * over;
    }
    let (mut all, mut off) = (0.0, 0.0);
    for c in 0..3 {
        if !paint.clipped[c] {
            all += WEIGHTS[c];
            off += WEIGHTS[c] * over[c];
        }
    }
    if all == 0.0 {
        // All that is known is that no channel holds less.
        let least = over.iter().copied().fold(0.0, f64::max).min(GLOSS_MOST);
        return (least, (GLOSS_MOST + 0.1 - least) / GLOSS_STEPS as f64);
    }
    let middle = (off / all).clamp(-GLOSS_TAUGHT, GLOSS_MOST);
    // One even unit of lightness in luminance: CIELAB's cube root, and the stretch.
    let seen = luminance(paint.measured).max(1e-3);
    let per_lightness = 3.0 * seen.powf(2.0 / 3.0) / 116.0;
    let stretch = 1.0 + 0.015 * (paint.lab[0] - 50.0).abs();
    let deviation = SPREAD[0] * width * per_lightness * stretch;
    let least = (middle - GLOSS_SPAN * deviation).max(-GLOSS_TAUGHT);
    let most = middle + GLOSS_SPAN * deviation;
    (least, (most - least) / GLOSS_STEPS as f64)
}

/// Probability density of a gloss, given with the log of it and [`GLOSS_FLOOR`].
fn gloss_density((gloss, log): (f64, f64), given: &Given) -> f64 {
    let (mean, deviation) = given.gloss;
    let z = (log - mean) / deviation;
    let like = (-0.5 * z * z).exp() / (deviation * (2.0 * std::f64::consts::PI).sqrt());
    ((1.0 - ALONE) * like + ALONE * *ANY_GLOSS) / (gloss + GLOSS_FLOOR)
}

/// Density over log gloss of one that has nothing to do with the neighbours'.
static ANY_GLOSS: LazyLock<f64> =
    LazyLock::new(|| 1.0 / ((GLOSS_MOST + GLOSS_FLOOR) / (GLOSS_FLOOR - GLOSS_TAUGHT)).ln());

/// Log density of what is seen where `predicted` should be, relative to its peak; the residual in
/// even units; and how far to trust it. `shade` is how far a shadow tints.
fn compare(
    look: &Look,
    predicted: [f64; 3],
    (gloss, shade): (f64, f64),
    width: f64,
) -> (f64, Even, f64) {
    let paint = &look.paint;
    let expected = even(lab_from_linear(look.cut(predicted)));
    let seen = look.even;
    let bright = luminance(predicted).max(1e-3);
    let tint = GLOSS_TINT * width * (gloss / bright).clamp(0.0, 1.0);
    let cut = if paint.clipped.contains(&true) {
        CUT_OFF_TINT
    } else {
        0.0
    };
    // Slopes of a* and b* against one channel's light: 500 / 3 and 200 / 3 Y^(-2/3), the latter
    // for two channels.
    let black = BLACK_ERROR * bright.powf(-2.0 / 3.0);
    let noise = [0.0, 500.0 / 3.0 * black, 283.0 / 3.0 * black];
    let (mut far, mut wider) = (0.0, 1.0);
    let mut residual = [0.0; 3];
    for c in 0..3 {
        residual[c] = seen[c] - expected[c];
        let plain = variance(c, width);
        let mut all = plain + noise[c] * noise[c];
        if c > 0 {
            all += tint * tint + cut * cut + shade * shade;
        }
        wider *= all / plain;
        far += residual[c] * residual[c] / all;
    }
    let log = -0.5 * (TAILS + 3.0) * (far / TAILS).ln_1p() - 0.5 * wider.ln();
    (log, residual, (TAILS + 3.0) / (TAILS + far))
}

/// Weighted sums, relative to the greatest term so far.
#[derive(Default)]
struct Sum {
    top: Option<f64>,
    all: f64,
    gloss: [f64; 3],
    light: [f64; 2],
    residual: Even,
    trusted: f64,
}

impl Sum {
    fn add(
        &mut self,
        log: f64,
        light: (f64, f64),
        (gloss, log_gloss): (f64, f64),
        residual: Even,
        trust: f64,
    ) {
        let top = *self.top.get_or_insert(log);
        if log > top {
            self.scale((top - log).exp());
            self.top = Some(log);
        }
        let w = (log - top.max(log)).exp();
        let h = log_gloss;
        self.all += w;
        self.gloss[0] += w * gloss;
        self.gloss[1] += w * h;
        self.gloss[2] += w * h * h;
        self.light[0] += w * light.0;
        self.light[1] += w * (light.0 * light.0 + light.1);
        self.trusted += w * trust;
        for (sum, off) in self.residual.iter_mut().zip(residual) {
            *sum += w * trust * off;
        }
    }

    fn scale(&mut self, by: f64) {
        self.all *= by;
        self.trusted *= by;
        let sums = self.gloss.iter_mut().chain(&mut self.light);
        sums.chain(&mut self.residual).for_each(|v| *v *= by);
    }

    fn explanation(&self, own: f64) -> Explanation {
        let spread = |first: f64, second: f64| (second - first * first).max(0.0);
        let [gloss, log_gloss, log_gloss2] = self.gloss.map(|v| v / self.all);
        let [light, light2] = self.light.map(|v| v / self.all);
        let own = own.max(1e-3);
        Explanation {
            log: self.top.unwrap_or(f64::NEG_INFINITY) + self.all.ln(),
            gloss: (log_gloss, spread(log_gloss, log_gloss2)),
            light: (light, spread(light, light2)),
            residual: self.residual.map(|r| r / self.trusted),
            hold: own / (own + gloss),
        }
    }
}

/// Variance about a colour, even units squared, of a piece without gloss.
pub fn variance(channel: usize, width: f64) -> f64 {
    (SPREAD[channel] * width).powi(2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Mm;

    fn log_of(shown: f64, shaded: f64) -> f64 {
        let body = [0.3, 0.2, 0.1];
        let measured = body.map(|v| shown * v);
        let paint = Paint {
            lab: lab_from_linear(measured),
            spread: 0.0,
            light: 1.0,
            measured,
            clipped: [false; 3],
            mixing: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            dark: 0.1,
            at: Mm::new(0.0, 0.0),
            shaded,
        };
        let given = Given {
            gloss: ((2.0 * GLOSS_FLOOR).ln(), 1.0),
            light: (0.0, 0.06),
        };
        explain(&Look::of(&paint), body, &given, 1.0).log
    }

    /// By hand: what only a shadow explains gains as much as a shadow is likelier, ln(0.25 / 0.005) = 3.91;
    /// what lies in the light loses ln(0.995 / 0.75) = 0.28.
    #[test]
    fn a_shadow_is_believed_as_far_as_one_is_likely() {
        let half = log_of(0.52, 0.25) - log_of(0.52, 0.005);
        assert!((half - 3.91).abs() < 0.1, "{half}");
        let full = log_of(1.0, 0.25) - log_of(1.0, 0.005);
        assert!((full + 0.28).abs() < 0.1, "{full}");
    }
}
