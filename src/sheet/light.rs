//! The light file (`calibration/lights/NAME.json`), version 1. Schema: `docs/light-v1.schema.json`.

use serde::{Deserialize, Serialize};

use super::file::{CardReport, ColourReport, PhotoRef, Version, Warning};
use crate::colour::Exclusion;
use crate::colour::drift::{Drift, Shown, drift};

/// What is kept of a light.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LightFile {
    /// Format version, always `v1`.
    pub light: Version,
    /// The light's name.
    pub name: String,
    /// The photo it was measured by.
    pub photo: PhotoRef,
    /// The card in it.
    pub card: CardReport,
    /// How well the colours were corrected.
    pub colour: ColourReport,
    /// Change of light across the tray, percent per 100 mm along the card's x and y.
    pub fall_off_percent: [f64; 2],
    /// The patches that are in the photo.
    pub patches: Vec<PatchReport>,
}

/// A patch under a light.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PatchReport {
    /// The patch's name on the card.
    pub name: String,
    /// Mean in the photo, linear sRGB as decoded.
    pub seen_rgb: [f64; 3],
    /// What it should look like, CIELAB D65.
    pub target_lab: [f64; 3],
    /// By the greys alone: tone curve and white balance undone, channels not mixed, CIELAB.
    pub balanced_lab: [f64; 3],
    /// What the correction makes of it, CIELAB D65.
    pub corrected_lab: [f64; 3],
    /// CIEDE2000 with the patch left out of the fit.
    pub de00: f64,
    /// Why it had no say in the correction, if it had none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub excluded: Option<Exclusion>,
}

impl LightFile {
    /// How far today's patches are from these.
    fn drift(&self, today: &[PatchReport]) -> Option<Drift> {
        drift(&shown(&self.patches), &shown(today))
    }
}

/// The patches that can be compared.
fn shown(patches: &[PatchReport]) -> Vec<Shown<'_>> {
    (patches.iter())
        .filter(|p| !p.excluded.is_some_and(Exclusion::hides_light))
        .map(|p| Shown {
            name: &p.name,
            balanced: p.balanced_lab,
            de00: p.de00,
        })
        .collect()
}

/// The kept light that is nearest to today's patches, and how far they are from it.
fn nearest<'a>(kept: &'a [LightFile], today: &[PatchReport]) -> Option<(&'a LightFile, Drift)> {
    kept.iter()
        .filter_map(|light| Some((light, light.drift(today)?)))
        .min_by(|a, b| a.1.light.total_cmp(&b.1.light))
}

/// Name of the light that is on, if it is one of those that were kept.
pub fn light_on<'a>(kept: &'a [LightFile], today: &[PatchReport]) -> Option<&'a str> {
    let (light, found) = nearest(kept, today)?;
    (!found.other_light()).then_some(light.name.as_str())
}

/// What a person should know when today's patches are compared with the lights that were kept: all of them, or the one
/// that the user says is on.
pub fn drift_warnings(kept: &[LightFile], today: &[PatchReport]) -> Vec<Warning> {
    let Some((light, found)) = nearest(kept, today) else {
        return Vec::new();
    };
    let mut out = Vec::new();
    if found.other_light() {
        let which = if kept.len() == 1 {
            format!("the light is not '{}' as it was measured", light.name)
        } else {
            format!(
                "the light is none of the {} that were measured (nearest: '{}')",
                kept.len(),
                light.name
            )
        };
        out.push(Warning {
            code: "light-drifted".to_owned(),
            text: format!(
                "{which}: the card's colours are off by {:.1} dE00 before correction; switch that light on alone, or measure this one with `cuptally calibrate` and teach the colours under it",
                found.light
            ),
        });
    } else if let Some((patch, worse)) = found.patches.first() {
        let more = match found.patches.len() {
            1 => String::new(),
            n => format!(" and {} more", n - 1),
        };
        out.push(Warning {
            code: "card-drifted".to_owned(),
            text: format!(
                "the card's patch {patch}{more} looks {worse:.1} dE00 worse than when '{}' was measured; wipe the card and take it out of shadow or gloss, and if that does not help print a new one and measure it with `cuptally calibrate --print`",
                light.name
            ),
        });
    }
    out
}
