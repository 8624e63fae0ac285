//! The colour of a piece's body.
//!
//! A glossy piece sends back its own colour in all directions and the lamp's in
//! one (dichromatic reflection, Shafer 1985). Gloss only adds light of the lamp's
//! colour, so the body is sought among the least glossy places of the top.

use super::shape::{PITCH_MM, STUD_RADIUS_MM};
use super::stance::Stance;
use crate::colour::Correction;
use crate::tray::Light;
use crate::units::Mm;
use crate::view::{Camera, MetricView};

/// Distance between samples, mm.
const STEP_MM: f64 = 0.5;
/// Left out along the top's sides, mm.
const INSET_MM: f64 = 1.0;
/// Left out on both sides of a stud's rim, mm.
const RIM_MM: f64 = 0.8;

/// What a piece's body looks like in the card's light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Paint {
    /// CIELAB D65.
    pub lab: [f64; 3],
    /// Spread of the top's lightness (half the distance between its quartiles, L*).
    pub spread: f64,
    /// Light at the piece relative to that on the card.
    pub light: f64,
}

impl Paint {
    /// Whether the top is so uneven that gloss or shade lies on it.
    pub fn glare(&self) -> bool {
        self.spread > 3.0
    }
}

/// The colour of the piece that stands so; `None` where too little of its top is in the photo.
pub fn paint(
    view: &MetricView,
    camera: &Camera,
    correction: &Correction,
    light: &Light<'_>,
    stance: &Stance,
) -> Option<Paint> {
    let share = light.at(stance.at);
    let mut labs: Vec<[f64; 3]> = top_samples(view, camera, stance)
        .into_iter()
        .map(|rgb| correction.apply_in_light(rgb, share))
        .filter(|lab| lab.iter().all(|v| v.is_finite()))
        .collect();
    if labs.len() < 12 {
        return None;
    }
    labs.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let at = |q: f64| ((labs.len() - 1) as f64 * q).round() as usize;
    let (low, high) = (labs[at(0.25)][0], labs[at(0.75)][0]);
    let body = &labs[at(0.2)..=at(0.6)];
    let mut lab = [0.0; 3];
    for c in 0..3 {
        lab[c] = body.iter().map(|l| l[c]).sum::<f64>() / body.len() as f64;
    }
    Some(Paint {
        lab,
        spread: (high - low) / 2.0,
        light: share,
    })
}

/// Linear RGB of the photo over the piece's top face and stud tops, off rims and sides.
fn top_samples(view: &MetricView, camera: &Camera, stance: &Stance) -> Vec<[f32; 3]> {
    let height = stance.shape.form.height_mm();
    let (half_long, half_short) = (
        stance.shape.long_mm() / 2.0 - INSET_MM,
        stance.shape.short_mm() / 2.0 - INSET_MM,
    );
    let steps = |half: f64| (half / STEP_MM).floor() as i32;
    let mut samples = Vec::new();
    for i in -steps(half_long)..=steps(half_long) {
        for j in -steps(half_short)..=steps(half_short) {
            let (along, across) = (f64::from(i) * STEP_MM, f64::from(j) * STEP_MM);
            if stance.shape.form.has_studs() {
                let off = stud_distance(along, stance.shape.long)
                    .hypot(stud_distance(across, stance.shape.short));
                if off < STUD_RADIUS_MM + RIM_MM {
                    continue;
                }
            }
            let seen = camera.shadow_on_plane(stance.local(along, across), height);
            samples.extend(pixel(view, seen));
        }
    }
    samples
}

/// Distance to the nearest stud's middle along one axis of n studs.
fn stud_distance(along: f64, studs: u8) -> f64 {
    let half = f64::from(studs) * PITCH_MM / 2.0;
    let phase = (along + half).rem_euclid(PITCH_MM);
    (phase - PITCH_MM / 2.0).abs()
}

fn pixel(view: &MetricView, at: Mm) -> Option<[f32; 3]> {
    let (column, row) = view.to_view(at);
    let (rows, columns) = view.size();
    if column < 0.0 || row < 0.0 || column >= columns as f64 || row >= rows as f64 {
        return None;
    }
    let (row, column) = (row as usize, column as usize);
    let pixels = &view.pixels;
    view.inside[(row, column)].then(|| {
        [
            pixels[(row, column, 0)],
            pixels[(row, column, 1)],
            pixels[(row, column, 2)],
        ]
    })
}
