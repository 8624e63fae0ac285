//! The correction of one photo: from the phone's RGB to CIELAB D65, learned from the card.

use serde::{Deserialize, Serialize};

use super::fit::{Freedom, Sample, fit, fit_robustly, left_out};
use super::lab::{de00, lab_from_linear};
use super::metric::metric;
use super::model::{Model, PARAMETERS};
use super::prints::patchness;
use super::residuals::{Exclusion, PatchResidual, Residuals};
use crate::numbers::median;
use crate::units::Mm;

/// Fewest patches that a correction is made from.
pub const FEWEST_PATCHES: usize = 6;
/// Standard deviation within a patch, relative to its brightness, from which it is uneven.
/// Sensor noise and print grain stay well below; half a patch in shadow exceeds it.
const UNEVEN: f64 = 0.25;
/// A patch this far off (dE00, predicted without it), and this many times the median, is an
/// outlier. Unlike reflectances alone reach about 8 under the worst lamps of the spectral test.
const OUTLIER: (f64, f64) = (10.0, 4.0);
/// How often outliers are looked for.
const OUTLIER_ROUNDS: usize = 3;
/// A freer correction must predict this much better to be preferred.
const WORTH: f64 = 0.99;

/// From stiff to free. `root: 0` is a 3x3 matrix; the first is all but a gain a channel.
const LADDER: [Freedom; 6] = [
    Freedom {
        linear: 0.03,
        root: 0.0,
    },
    Freedom {
        linear: 0.3,
        root: 0.0,
    },
    Freedom {
        linear: 1.0,
        root: 0.0,
    },
    Freedom {
        linear: 1.0,
        root: 0.1,
    },
    Freedom {
        linear: 1.0,
        root: 0.3,
    },
    Freedom {
        linear: 1.0,
        root: 1.0,
    },
];

/// A card patch as it was measured in the photo.
#[derive(Clone, Debug, PartialEq)]
pub struct Patch {
    /// The patch's name on the card.
    pub name: String,
    /// Mean in the photo, linear sRGB (the JPEG's numbers, sRGB decoded), white about 1.
    pub rgb: [f32; 3],
    /// Standard deviation within the patch, same unit.
    pub spread: [f32; 3],
    /// Whether a channel is at the end of its range in a good part of the patch.
    pub clipped: bool,
    /// Middle of the patch on the tray.
    pub place: Mm,
    /// Light on the patch relative to normal, where something else tells it; else 1.
    /// An even slope of the light over the card is found from the patches themselves.
    pub illumination: f64,
    /// What it should look like, CIELAB D65: nominal, or from the print profile.
    pub target: [f64; 3],
}

/// Which family a correction belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// Root-polynomial of degree 2.
    RootPolynomial,
    /// A 3x3 matrix.
    Matrix,
}

impl Method {
    /// As the sheet file says it: `root-polynomial` or `matrix`.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::RootPolynomial => "root-polynomial",
            Self::Matrix => "matrix",
        }
    }
}

/// Why no correction could be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CorrectionError {
    /// Not enough patches are left.
    #[error(
        "only {usable} of the {given} colour patches seen can be used ({clipped} over- or \
         underexposed, {uneven} partly covered or in a shadow's edge) and at least \
         {FEWEST_PATCHES} are needed; show more of the card and light it evenly"
    )]
    TooFewPatches {
        /// Patches given.
        given: usize,
        /// Patches left.
        usable: usize,
        /// Left out as clipped.
        clipped: usize,
        /// Left out as uneven.
        uneven: usize,
    },
    /// A number is missing, infinite or impossible.
    #[error(
        "colour patch {name} has an impossible {what} ({value}); measure the card again, or \
         leave the patch out"
    )]
    Impossible {
        /// The patch.
        name: String,
        /// Which number.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// The search ended in numbers that are not finite.
    #[error(
        "the colour patches do not determine a correction: what was measured does not rise with \
         what the card should look like; check that the card is version v1 and not covered"
    )]
    Undetermined,
}

/// A correction that was learned from one photo's card.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Correction {
    method: Method,
    model: Model,
    /// Middle of the patches, where the light is normal.
    origin: Mm,
    residuals: Residuals,
}

impl Correction {
    /// CIELAB D65 of a photo colour (linear sRGB as decoded) in normal light, which is
    /// the light at the middle of the card's patches.
    pub fn apply(&self, linear_rgb: [f32; 3]) -> [f64; 3] {
        self.apply_in_light(linear_rgb, 1.0)
    }

    /// CIELAB D65 of a photo colour in `light` times the normal light. The light is divided
    /// out after the tone curve is undone.
    pub fn apply_in_light(&self, linear_rgb: [f32; 3], light: f64) -> [f64; 3] {
        self.model.lab(linear_rgb.map(f64::from), light)
    }

    /// Linear sRGB (D65) of a photo colour in `light` times the normal light; may lie outside 0..1.
    pub fn linear_d65(&self, linear_rgb: [f32; 3], light: f64) -> [f64; 3] {
        self.model.linear_d65(linear_rgb.map(f64::from), light)
    }

    /// CIELAB of a photo colour by the greys alone: tone curve and gains undone, channels not
    /// mixed. It tells one lamp from another, which the whole correction hides.
    pub fn balanced_lab(&self, linear_rgb: [f32; 3], light: f64) -> [f64; 3] {
        lab_from_linear(self.model.balanced(linear_rgb.map(f64::from), light))
    }

    /// Slopes of linear sRGB (D65; rows) against the camera's own channels (columns), near a photo colour.
    pub fn mixing(&self, linear_rgb: [f32; 3], light: f64) -> [[f64; 3]; 3] {
        let balanced = self.model.balanced(linear_rgb.map(f64::from), light);
        self.model.mixing_at(balanced)
    }

    /// Light at a place by the slope found on the card, relative to normal. Far from the card it is a
    /// guess: what the tray itself tells is better.
    pub fn light_at(&self, place: Mm) -> f64 {
        self.model.light_at(from_middle(place, self.origin))
    }

    /// Change of log light per mm along the tray's x and y.
    pub fn light_slope(&self) -> [f64; 2] {
        self.model.light_slope().map(|v| v / MM)
    }

    /// Which family predicted best.
    pub fn method(&self) -> Method {
        self.method
    }

    /// Leave-one-out errors.
    pub fn residuals(&self) -> &Residuals {
        &self.residuals
    }
}

/// The fit's unit of place, mm.
const MM: f64 = 100.0;

/// Learns a correction from a card's patches, or part of them.
///
/// Of a ladder from gains to root polynomials, each with its own ridge, the one is taken that
/// predicts patches best that it was not fitted on. Clipped, uneven and outlying patches
/// have no say and are reported in [`Residuals`].
///
/// # Errors
///
/// When fewer than [`FEWEST_PATCHES`] usable patches are given, a number is impossible, or
/// no finite correction exists.
pub fn correct(patches: &[Patch]) -> Result<Correction, CorrectionError> {
    let mut excluded = patches
        .iter()
        .map(first_look)
        .collect::<Result<Vec<_>, _>>()?;
    let count = |why| excluded.iter().filter(|e| **e == Some(why)).count();
    let usable = excluded.iter().filter(|e| e.is_none()).count();
    if usable < FEWEST_PATCHES {
        return Err(CorrectionError::TooFewPatches {
            given: patches.len(),
            usable,
            clipped: count(Exclusion::Clipped),
            uneven: count(Exclusion::Uneven),
        });
    }
    let origin = middle(patches, &excluded);
    let all: Vec<Sample> = patches.iter().map(|p| sample(p, origin)).collect();

    let mut choice = choose(&used(&all, &excluded));
    // Once the worst are out, the next ones stand out.
    for _ in 0..OUTLIER_ROUNDS {
        let indices: Vec<usize> = (0..all.len()).filter(|&i| excluded[i].is_none()).collect();
        let found = outliers(&choice.left_out);
        let left = indices.len() - found.len();
        // Taking out more than a third would be choosing the answer.
        if found.is_empty() || left < FEWEST_PATCHES || 3 * left < 2 * usable {
            break;
        }
        for outlier in found {
            excluded[indices[outlier]] = Some(Exclusion::Outlier);
        }
        choice = choose(&used(&all, &excluded));
    }
    let model = Model::new(&choice.parameters);
    let residuals = report(patches, &all, &excluded, &choice);
    if !(model.is_finite() && residuals.max.is_finite()) {
        return Err(CorrectionError::Undetermined);
    }
    Ok(Correction {
        method: if choice.freedom.root > 0.0 {
            Method::RootPolynomial
        } else {
            Method::Matrix
        },
        model,
        origin,
        residuals,
    })
}

/// Rejects impossible numbers; says whether the patch can be used.
pub(super) fn first_look(patch: &Patch) -> Result<Option<Exclusion>, CorrectionError> {
    let impossible = |what, value| CorrectionError::Impossible {
        name: patch.name.clone(),
        what,
        value,
    };
    let measured = patch.rgb.iter().chain(&patch.spread).map(|v| f64::from(*v));
    for value in measured {
        if !value.is_finite() {
            return Err(impossible("measured colour", value));
        }
    }
    let possible = -200.0..=200.0;
    if let Some(value) = patch.target.into_iter().find(|v| !possible.contains(v)) {
        return Err(impossible("target colour", value));
    }
    if !(patch.illumination > 0.0 && patch.illumination.is_finite()) {
        return Err(impossible("light", patch.illumination));
    }
    if let Some(value) = [patch.place.x, patch.place.y]
        .into_iter()
        .find(|v| !v.is_finite())
    {
        return Err(impossible("place", value));
    }
    if patch.clipped {
        return Ok(Some(Exclusion::Clipped));
    }
    let sum = |v: [f32; 3]| f64::from(v[0] + v[1] + v[2]);
    // 0.06: noise of a dark patch is no unevenness.
    let uneven = sum(patch.spread) > UNEVEN * (sum(patch.rgb) + 0.06);
    Ok(uneven.then_some(Exclusion::Uneven))
}

/// Middle of the patches in use.
pub(super) fn middle(patches: &[Patch], excluded: &[Option<Exclusion>]) -> Mm {
    let used = || patches.iter().zip(excluded).filter(|(_, e)| e.is_none());
    let count = used().count().max(1) as f64;
    Mm {
        x: used().map(|(p, _)| p.place.x).sum::<f64>() / count,
        y: used().map(|(p, _)| p.place.y).sum::<f64>() / count,
    }
}

pub(super) fn sample(patch: &Patch, origin: Mm) -> Sample {
    Sample {
        rgb: patch.rgb.map(f64::from),
        light: patch.illumination,
        place: from_middle(patch.place, origin),
        target: patch.target,
        metric: metric(patch.target),
        print: patchness(patch.target),
        weight: 1.0,
    }
}

/// Place in the fit's unit.
fn from_middle(place: Mm, origin: Mm) -> [f64; 2] {
    [(place.x - origin.x) / MM, (place.y - origin.y) / MM]
}

fn used(all: &[Sample], excluded: &[Option<Exclusion>]) -> Vec<Sample> {
    let used = all.iter().zip(excluded).filter(|(_, e)| e.is_none());
    used.map(|(sample, _)| sample.clone()).collect()
}

/// A rung of the ladder with its fit.
struct Choice {
    freedom: Freedom,
    parameters: [f64; PARAMETERS],
    /// The samples with their final weights.
    samples: Vec<Sample>,
    left_out: Vec<f64>,
    score: f64,
}

/// The rung that predicts best; the stiffer one on a near tie.
fn choose(samples: &[Sample]) -> Choice {
    let rung = |freedom: Freedom| {
        let mut samples = samples.to_vec();
        let parameters = fit_robustly(&mut samples, freedom);
        let left_out = left_out(&samples, freedom, &parameters);
        // A wild patch counts as wild under every rung; it must not choose between them.
        let score = left_out.iter().map(|e| e.min(OUTLIER.0)).sum();
        Choice {
            freedom,
            parameters,
            samples,
            left_out,
            score,
        }
    };
    let [first, rest @ ..] = LADDER;
    rest.into_iter().map(rung).fold(rung(first), |best, next| {
        if next.score < WORTH * best.score {
            next
        } else {
            best
        }
    })
}

/// Indices of the samples that disagree with all the others.
fn outliers(left_out: &[f64]) -> Vec<usize> {
    let middle = median(left_out.iter().copied()).unwrap_or(0.0);
    let limit = OUTLIER.0.max(OUTLIER.1 * middle);
    (0..left_out.len())
        .filter(|&i| left_out[i] > limit)
        .collect()
}

/// Refits without each patch in turn and measures the true dE00.
fn report(
    patches: &[Patch],
    all: &[Sample],
    excluded: &[Option<Exclusion>],
    choice: &Choice,
) -> Residuals {
    let see = |model: &Model, s: &Sample| model.lab(s.rgb, s.light * model.light_at(s.place));
    let model = Model::new(&choice.parameters);
    let mut place_in_fit = 0;
    let one = |i: usize| {
        let lab = see(&model, &all[i]);
        let mut predicted = lab;
        if excluded[i].is_none() {
            let mut others = choice.samples.clone();
            others.remove(place_in_fit);
            place_in_fit += 1;
            let without = fit(&others, choice.freedom, &choice.parameters);
            predicted = see(&Model::new(&without), &all[i]);
        }
        PatchResidual {
            name: patches[i].name.clone(),
            lab,
            de00: de00(predicted, all[i].target),
            excluded: excluded[i],
        }
    };
    Residuals::new((0..all.len()).map(one).collect())
}
