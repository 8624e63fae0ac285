//! What one printed copy of the card really looks like.
//!
//! No printer meets the patches' values. In good light a phone renders colours nearly right by
//! itself, so a stiff correction (gains, tone curve, a mild 3x3) that leans on paper white and
//! on what all patches say together shows how far *each* patch is off. What the correction itself
//! gets wrong on prints is known on average (`prints`); only what goes beyond is taken
//! for the print's own (empirical Bayes: James and Stein, 'Estimation with quadratic loss', 1961).

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

use super::correct::{Patch, first_look, middle, sample};
use super::fit::{Freedom, Sample, fit_robustly};
use super::lab::de00;
use super::model::Model;

/// How far a print's patch may be off: standard deviation in each direction, dE00. Home printers
/// on plain paper reach 8; raising it trusts the nominal values less and the phone more.
const PRINT_OFF: f64 = 3.0;
/// The same for greys, whose ink is mostly black alone.
const GREY_OFF: f64 = 2.0;
/// White office paper, CIELAB D65 (common practice, no source), and how far it may be off:
/// lightness, and chroma by brighteners.
pub const PAPER: [f64; 3] = [94.0, 0.0, -1.0];
const PAPER_OFF: [f64; 2] = [1.5, 2.5];
/// In good light a phone's own rendering is a mild 3x3 away from right.
const GOOD_LIGHT: Freedom = Freedom {
    linear: 0.3,
    root: 0.0,
};
/// A patch of chroma below this is a grey.
const GREY_CHROMA: f64 = 5.0;
/// Error of the correction on a grey patch, dE00 in each direction.
const GREY_ERROR: f64 = 0.6;
/// With fewer of the card's patches than this the print is not measured. What a phone cuts off first is
/// the strong blue-greens' red. On five teaching photos of `sample-photos/tune` the ten patches of least red
/// were left out, so that 10 to 14 remained: these moved by 0.1 to 0.5 dE00 in the mean from where all
/// patches put them, less than the nominal values are off.
pub const FEWEST_MEASURED: usize = 14;
/// No print is further off than this (dE00): something else is wrong.
pub const MOST_OFF: f64 = 25.0;

/// The file's format version.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Version {
    /// The first version.
    #[default]
    #[serde(rename = "v1")]
    V1,
}

/// One patch of a printed copy.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PrintedPatch {
    /// The patch's name on the card.
    pub name: String,
    /// What was sent to the printer, CIELAB D65.
    pub nominal: [f64; 3],
    /// What this copy looks like, CIELAB D65; the nominal value where it could not be measured.
    pub lab: [f64; 3],
    /// Whether it was measured: a strong colour may leave the photo's range.
    pub measured: bool,
}

/// A measured copy of the card, `calibration/prints/COPY.json`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PrintProfile {
    /// Format version, always `v1`.
    print: Version,
    /// Name of the copy.
    pub copy: String,
    /// Every patch, in the card's order.
    pub patches: Vec<PrintedPatch>,
}

/// Why a copy could not be measured, or its file not be used.
#[derive(Debug, thiserror::Error)]
pub enum PrintError {
    /// The text is no print profile.
    #[error(
        "this is not a print profile of version v1 ({0}); measure the copy again with `cuptally calibrate --print`"
    )]
    Format(#[from] serde_json::Error),
    /// Not the card's patches.
    #[error(
        "this print profile does not hold the card's 24 patches; measure the copy again with `cuptally calibrate --print`"
    )]
    Patches,
    /// Some patches cannot be measured.
    #[error(
        "the print cannot be measured: {usable} of the card's {all} patches are wholly in the photo, \
         evenly lit and neither over- nor underexposed, and {FEWEST_MEASURED} are needed; lay the whole card flat in soft daylight and take the photo again"
    )]
    Unusable {
        /// Patches that can be used.
        usable: usize,
        /// Patches of the card.
        all: usize,
    },
    /// Far beyond any print.
    #[error(
        "patch {name} seems {off:.0} dE00 off, more than any print; take the photo in daylight, without coloured things close by"
    )]
    Impossible {
        /// The patch.
        name: String,
        /// By how much.
        off: f64,
    },
}

impl PrintProfile {
    /// Measures a copy from its patches in good light, with nominal targets, and its bare paper.
    ///
    /// # Errors
    /// When a patch of the card is missing, too few can be used, or one is off beyond all reason.
    pub fn measure(
        copy: &str,
        patches: &[Patch],
        paper: &[Patch],
        all: usize,
    ) -> Result<Self, PrintError> {
        let usable = |p: &&Patch| matches!(first_look(p), Ok(None));
        let good: Vec<Patch> = patches.iter().filter(usable).cloned().collect();
        if good.len() < FEWEST_MEASURED || patches.len() < all {
            return Err(PrintError::Unusable {
                usable: good.len(),
                all,
            });
        }
        let origin = middle(&good, &vec![None; good.len()]);
        let plain: Vec<Sample> = good.iter().map(|p| sample(p, origin)).collect();
        let mut samples: Vec<Sample> = plain.iter().map(as_printed).collect();
        for white in paper.iter().filter(usable) {
            let mut white = sample(white, origin);
            white.print.expected = Vector3::zeros();
            white.print.deviation = Vector3::new(PAPER_OFF[0], PAPER_OFF[1], PAPER_OFF[1]);
            samples.push(white);
        }
        let model = Model::new(&fit_robustly(&mut samples, GOOD_LIGHT));
        let seen: Vec<[f64; 3]> = (plain.iter())
            .map(|s| model.lab(s.rgb, s.light * model.light_at(s.place)))
            .collect();
        let labs = shrunk(&plain, &seen);
        let patches = patches
            .iter()
            .map(|patch| {
                let place = good.iter().position(|p| p.name == patch.name);
                let lab = place.and_then(|i| labs.get(i)).copied();
                let off = lab.map_or(0.0, |lab| de00(patch.target, lab));
                if off.is_nan() || off > MOST_OFF {
                    return Err(PrintError::Impossible {
                        name: patch.name.clone(),
                        off,
                    });
                }
                Ok(PrintedPatch {
                    name: patch.name.clone(),
                    nominal: patch.target,
                    lab: lab
                        .unwrap_or(patch.target)
                        .map(|v| (v * 100.0).round() / 100.0),
                    measured: lab.is_some(),
                })
            })
            .collect::<Result<_, _>>()?;
        Ok(Self {
            print: Version::V1,
            copy: copy.to_owned(),
            patches,
        })
    }

    /// Reads a profile and checks it against the card's patches, in order.
    ///
    /// # Errors
    /// When the text is not a v1 profile, or not of these patches.
    pub fn from_json<'a>(
        text: &str,
        names: impl ExactSizeIterator<Item = &'a str>,
    ) -> Result<Self, PrintError> {
        let profile: Self = serde_json::from_str(text)?;
        let possible = |v: &f64| v.abs() <= 200.0;
        let whole = profile.patches.len() == names.len()
            && (profile.patches.iter().zip(names))
                .all(|(p, name)| p.name == name && p.lab.iter().all(possible));
        if whole {
            Ok(profile)
        } else {
            Err(PrintError::Patches)
        }
    }

    /// How far each patch is from what was sent to the printer, dE00.
    pub fn off(&self) -> Vec<f64> {
        let off = |p: &PrintedPatch| de00(p.nominal, p.lab);
        self.patches.iter().map(off).collect()
    }
}

fn is_grey(target: [f64; 3]) -> bool {
    target[1].hypot(target[2]) < GREY_CHROMA
}

/// A patch whose own value is in doubt.
fn as_printed(sample: &Sample) -> Sample {
    let off = if is_grey(sample.target) {
        GREY_OFF
    } else {
        PRINT_OFF
    };
    let mut sample = sample.clone();
    sample.print.deviation = sample.print.deviation.map(|d| d.hypot(off));
    sample
}

/// What the patches look like: seen, less what the correction is expected to get wrong, drawn to the nominal
/// values as far as the differences can be the correction's own.
fn shrunk(samples: &[Sample], seen: &[[f64; 3]]) -> Vec<[f64; 3]> {
    let offs: Vec<Vector3<f64>> = (samples.iter().zip(seen))
        .map(|(s, lab)| {
            s.metric * (Vector3::from(*lab) - Vector3::from(s.target)) - s.print.expected
        })
        .collect();
    let trust = |grey: bool| {
        let (mut all, mut own, mut n) = (0.0, 0.0, 0.0f64);
        for (s, off) in samples.iter().zip(&offs) {
            if is_grey(s.target) == grey {
                all += off.norm_squared();
                own += if grey {
                    3.0 * GREY_ERROR * GREY_ERROR
                } else {
                    s.print.deviation.norm_squared()
                };
                n += 1.0;
            }
        }
        if n == 0.0 || all <= own {
            0.0
        } else {
            1.0 - own / all
        }
    };
    let (greys, colours) = (trust(true), trust(false));
    (samples.iter().zip(&offs))
        .map(|(s, off)| {
            let share = if is_grey(s.target) { greys } else { colours };
            let back = s.metric.try_inverse().unwrap_or_else(Matrix3::zeros);
            (Vector3::from(s.target) + back * off * share).into()
        })
        .collect()
}
