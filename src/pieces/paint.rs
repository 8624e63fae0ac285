//! What a piece's surface shows, for its colour to be told from.
//!
//! A glossy piece sends back its own colour in all directions and the lamp's in
//! one (dichromatic reflection, Shafer 1985). Flat tops all mirror the same place of the
//! room, and a lamp there can bleach them; stud flanks, seams and sides are turned away and in
//! part shaded, so they stay dark where the body is dark.

use super::face::Face;
use super::heap::Around;
use super::polygon::{inside, narrowed};
use super::shape::{STUD_HEIGHT_MM, STUD_RADIUS_MM};
use super::stance::Stance;
use crate::colour::Correction;
use crate::colour::lab::{lab_from_linear, possible};
use crate::tray::Light;
use crate::units::Mm;
use crate::view::{Camera, MetricView};

/// Distance between samples, mm.
const STEP_MM: f64 = 0.5;
/// Left out along the top's sides, mm.
const INSET_MM: f64 = 1.0;
/// Left out on both sides of a stud's rim, mm.
const RIM_MM: f64 = 0.8;
/// Left out along the silhouette where dark places are sought, mm: the lens' blur and
/// sharpening mix the tray in.
const EDGE_MM: f64 = 0.8;
/// Between these shares of the top, dark to light, the body is read: above the studs' shadows,
/// below glints.
const BODY: (f64, f64) = (0.3, 0.6);
/// Share of the silhouette that is darker than its dark places.
const DARK: f64 = 0.04;
/// A channel of the photo beyond this share of where the sensor is full is cut off (254 of 255 codes is 0.991; resampling
/// blends).
const CUT_OFF: f32 = 0.97;
/// Share of the body's samples from which a channel counts as cut off.
const CUT_OFF_SHARE: f64 = 0.3;
/// The same for an underside's rims, which the hollows beside them darken through the lens' blur.
const RIM_BODY: (f64, f64) = (0.5, 0.85);
/// Thickness of the walls around a hollow underside, mm (common practice, no source).
const WALL_MM: f64 = 1.5;
/// Left out along a wall's outer edge, and along its inner one, mm.
const WALL_EDGES_MM: (f64, f64) = (0.4, 0.3);
/// Distance between samples across a wall, mm.
const WALL_STEP_MM: f64 = 0.2;
/// With fewer samples of the top than this the colour is not told.
const FEWEST: usize = 12;

/// What a piece looks like in the card's light.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Paint {
    /// CIELAB D65 of the top, gloss and all.
    pub lab: [f64; 3],
    /// Spread of the top's lightness (half the distance between its quartiles, L*).
    pub spread: f64,
    /// Light at the piece relative to that on the card.
    pub light: f64,
    /// The top in linear sRGB (D65), light divided out; a cut-off channel as it was cut.
    pub measured: [f64; 3],
    /// Channels that the camera cut off: there was at least so much light.
    pub clipped: [bool; 3],
    /// Slopes of `measured` (rows) against the camera's own channels (columns): what was cut off
    /// was cut in those.
    pub mixing: [[f64; 3]; 3],
    /// Luminance of the darkest places within the silhouette, 1 for white.
    pub dark: f64,
    /// Middle of the footprint.
    pub at: Mm,
    /// Probability that another piece stands in its light.
    pub shaded: f64,
}

/// Spread of a smooth top, L*, from which on a lamp's image ends on it. Over the sample photos to tune
/// on it is 0.2 to 0.6 otherwise.
const SMOOTH_SPREAD: f64 = 1.0;
/// Spread of any other, from which on gloss or shade lies on it.
const ROUGH_SPREAD: f64 = 3.0;

impl Paint {
    /// Whether it is of a smooth top on which a lamp's image ends.
    pub fn mirrors_lamp(&self, stance: &Stance) -> bool {
        let smooth = stance.face == Face::Up && !stance.studs_up();
        smooth && self.spread > SMOOTH_SPREAD
    }

    /// Whether it is so uneven that gloss or shade lies on the piece.
    pub fn uneven(&self) -> bool {
        self.spread > ROUGH_SPREAD
    }
}

/// The colour of the piece that stands so; `None` where too little of its top is in the photo.
/// What lies over it is not read, unless nothing else is left.
pub fn paint(
    view: &MetricView,
    camera: &Camera,
    correction: &Correction,
    light: &Light<'_>,
    stance: &Stance,
    around: &Around,
) -> Option<Paint> {
    let share = light.at(stance.at);
    let corrected = |raw: [f32; 3]| corrected(correction, raw, share);
    let is_free = |at: &Mm| !around.over.iter().any(|outline| inside(outline, *at));
    let pixels = |places: Vec<Mm>| -> Vec<[f32; 3]> {
        let free = places.iter().filter(|at| is_free(at));
        let free: Vec<[f32; 3]> = free.filter_map(|at| pixel(view, *at)).collect();
        if free.len() < FEWEST {
            places.iter().filter_map(|at| pixel(view, *at)).collect()
        } else {
            free
        }
    };
    let (shown, (least, most)) = if stance.face == Face::Down {
        (rim_places(camera, stance), RIM_BODY)
    } else {
        (top_places(camera, stance), BODY)
    };
    let samples = by_light(pixels(shown), &corrected)?;
    let lightness = |q: f64| lab_from_linear(samples[rank(&samples, q)].1)[0];
    let spread = (lightness(0.75) - lightness(0.25)) / 2.0;
    let Body {
        measured,
        clipped,
        raw,
    } = Body::of(&samples, (least, most), view.saturation());
    let mut dark: Vec<f64> = pixels(inner_places(camera, stance))
        .into_iter()
        .filter_map(corrected)
        .map(luminance)
        .collect();
    dark.sort_by(f64::total_cmp);
    let darkest = ((dark.len().max(1) - 1) as f64 * DARK).round() as usize;
    Some(Paint {
        lab: lab_from_linear(restored(measured, clipped)),
        spread,
        light: share,
        measured,
        clipped,
        mixing: correction.mixing(raw, share),
        dark: dark.get(darkest).copied().unwrap_or(luminance(measured)),
        at: stance.at,
        shaded: around.shaded,
    })
}

/// The colour of something that no piece explains, CIELAB D65, read at places spread over it; `None` where too few of them
/// are in the photo.
pub fn colour_at(
    view: &MetricView,
    correction: &Correction,
    share: f64,
    places: &[Mm],
) -> Option<[f64; 3]> {
    let pixels = places.iter().filter_map(|at| pixel(view, *at)).collect();
    let samples = by_light(pixels, &|raw| corrected(correction, raw, share))?;
    let body = Body::of(&samples, BODY, view.saturation());
    Some(lab_from_linear(restored(body.measured, body.clipped)))
}

/// A pixel as the camera gave it, and in linear sRGB with the light divided out.
type Sample = ([f32; 3], [f64; 3]);

fn corrected(correction: &Correction, raw: [f32; 3], share: f64) -> Option<[f64; 3]> {
    let linear = correction.linear_d65(raw, share);
    linear.iter().all(|v| v.is_finite()).then_some(linear)
}

/// Pixels from dark to light; `None` of too few.
fn by_light(
    pixels: Vec<[f32; 3]>,
    corrected: &dyn Fn([f32; 3]) -> Option<[f64; 3]>,
) -> Option<Vec<Sample>> {
    let mut samples: Vec<Sample> = (pixels.into_iter())
        .filter_map(|raw| Some((raw, corrected(raw)?)))
        .collect();
    samples.sort_by(|a, b| luminance(a.1).total_cmp(&luminance(b.1)));
    (samples.len() >= FEWEST).then_some(samples)
}

/// The place of a share of the samples among them.
fn rank(samples: &[Sample], share: f64) -> usize {
    (samples.len().saturating_sub(1) as f64 * share).round() as usize
}

/// The mean of the samples that show a thing's own colour.
struct Body {
    measured: [f64; 3],
    clipped: [bool; 3],
    raw: [f32; 3],
}

impl Body {
    fn of(samples: &[Sample], (least, most): (f64, f64), full: [f32; 3]) -> Self {
        let body = &samples[rank(samples, least)..=rank(samples, most)];
        let n = body.len() as f64;
        let cut = |c: usize| body.iter().filter(|s| s.0[c] > CUT_OFF * full[c]).count();
        let raw = |c: usize| body.iter().map(|s| s.0[c]).sum::<f32>() / n as f32;
        let measured = |c: usize| body.iter().map(|s| s.1[c]).sum::<f64>() / n;
        Self {
            measured: possible(std::array::from_fn(measured)),
            clipped: std::array::from_fn(|c| cut(c) as f64 > CUT_OFF_SHARE * n),
            raw: std::array::from_fn(raw),
        }
    }
}

/// A cut-off channel held at least as strong as the others: highlights are the likelier neutral.
fn restored(linear: [f64; 3], clipped: [bool; 3]) -> [f64; 3] {
    let others = |c: usize| linear[(c + 1) % 3].max(linear[(c + 2) % 3]);
    std::array::from_fn(|c| {
        if clipped[c] {
            linear[c].max(others(c))
        } else {
            linear[c]
        }
    })
}

/// Luminance of linear sRGB (IEC 61966-2-1), 1 for white.
pub fn luminance(linear: [f64; 3]) -> f64 {
    0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
}

/// Where the piece's top face and stud tops are seen, off rims and sides.
fn top_places(camera: &Camera, stance: &Stance) -> Vec<Mm> {
    let body = stance.body();
    let outline = stance.local_footprint();
    let studs = if stance.studs_up() {
        stance.shape.studs()
    } else {
        &[]
    };
    let steps = |side: f64| ((side / 2.0 - INSET_MM) / STEP_MM).floor() as i32;
    let mut places = Vec::new();
    for i in -steps(body.along)..=steps(body.along) {
        for j in -steps(body.across)..=steps(body.across) {
            let (along, across) = (f64::from(i) * STEP_MM, f64::from(j) * STEP_MM);
            if !is_within(&outline, (along, across), INSET_MM) {
                continue;
            }
            let mut height = body.height;
            let to_stud = studs.iter().map(|(x, y)| (along - x).hypot(across - y));
            let off = to_stud.fold(f64::MAX, f64::min);
            if off < STUD_RADIUS_MM - RIM_MM {
                height += STUD_HEIGHT_MM;
            } else if off < STUD_RADIUS_MM + RIM_MM {
                continue;
            }
            places.push(camera.shadow_on_plane(stance.local(along, across), height));
        }
    }
    places
}

/// Whether a place lies within an outline and at least so far from its sides.
fn is_within(outline: &[(f64, f64)], (x, y): (f64, f64), inset_mm: f64) -> bool {
    let corners: Vec<Mm> = outline.iter().map(|p| Mm::new(p.0, p.1)).collect();
    let far = |k: usize| {
        let (a, b) = (outline[k], outline[(k + 1) % outline.len()]);
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let length = dx.hypot(dy).max(1e-9);
        let t = (((x - a.0) * dx + (y - a.1) * dy) / (length * length)).clamp(0.0, 1.0);
        (x - a.0 - t * dx).hypot(y - a.1 - t * dy) > inset_mm - 1e-9
    };
    inside(&corners, Mm::new(x, y)) && (0..outline.len()).all(far)
}

/// Where the rims of the walls around an underside are seen: what lies deeper has little light,
/// and most of it by way of the piece itself, which colours it twice.
fn rim_places(camera: &Camera, stance: &Stance) -> Vec<Mm> {
    let height = stance.body().height;
    let outline = stance.local_footprint();
    let mut places = Vec::new();
    let mut inset = WALL_EDGES_MM.0;
    while inset <= WALL_MM - WALL_EDGES_MM.1 {
        let rim = narrowed(&outline, inset).unwrap_or_default();
        for (k, from) in rim.iter().enumerate() {
            let to = rim[(k + 1) % rim.len()];
            let half = (to.0 - from.0).hypot(to.1 - from.1) / 2.0;
            let steps = (half / STEP_MM).floor() as i32;
            for i in -steps..=steps {
                let t = 0.5 + f64::from(i) * STEP_MM / (2.0 * half.max(1e-9));
                let along = from.0 + (to.0 - from.0) * t;
                let across = from.1 + (to.1 - from.1) * t;
                let at = stance.local(along, across);
                places.push(camera.shadow_on_plane(at, height));
            }
        }
        inset += WALL_STEP_MM;
    }
    places
}

/// Places all over the silhouette but its edge.
fn inner_places(camera: &Camera, stance: &Stance) -> Vec<Mm> {
    let outline = stance.silhouette(camera);
    let (mut low, mut high) = (stance.at, stance.at);
    for p in &outline {
        low = Mm::new(low.x.min(p.x), low.y.min(p.y));
        high = Mm::new(high.x.max(p.x), high.y.max(p.y));
    }
    let around: Vec<(f64, f64)> = (0..8)
        .map(|k| (f64::from(k) * std::f64::consts::FRAC_PI_4).sin_cos())
        .collect();
    let mut places = Vec::new();
    let steps = |from: f64, to: f64| ((to - from) / STEP_MM).floor() as i32;
    for i in 0..=steps(low.y, high.y) {
        for j in 0..=steps(low.x, high.x) {
            let at = Mm::new(
                low.x + f64::from(j) * STEP_MM,
                low.y + f64::from(i) * STEP_MM,
            );
            let inner = around.iter().all(|(sin, cos)| {
                inside(
                    &outline,
                    Mm::new(at.x + EDGE_MM * cos, at.y + EDGE_MM * sin),
                )
            });
            if inner {
                places.push(at);
            }
        }
    }
    places
}

fn pixel(view: &MetricView, at: Mm) -> Option<[f32; 3]> {
    let (column, row) = view.to_view(at);
    let (rows, columns) = view.size();
    if column < 0.0 || row < 0.0 || column >= columns as f64 || row >= rows as f64 {
        return None;
    }
    view.at(row as usize, column as usize)
}

#[cfg(test)]
mod tests {
    use nalgebra::{Rotation3, Vector3};

    use super::super::list::tests::shape;
    use super::*;
    use crate::units::Px;

    /// From a lens that is very far above, a rim is seen where it lies: 0.4 to 1.2 mm from the
    /// outer edge of a 2x4, that is of 31.8 mm by 15.8 mm.
    #[test]
    fn rims_lie_on_the_walls_and_not_over_the_hollow() {
        let camera = Camera {
            focal_px: 1e6,
            centre: Px::new(0.0, 0.0),
            k1: 0.0,
            rotation: Rotation3::identity(),
            translation: Vector3::new(0.0, 0.0, 1e6),
        };
        let stance = Stance {
            shape: shape("plate", "2x4"),
            face: Face::Down,
            at: Mm::new(0.0, 0.0),
            turn: 0.0,
        };
        let places = rim_places(&camera, &stance);
        for place in &places {
            let edge = (15.9 - place.x.abs()).min(7.9 - place.y.abs());
            assert!((0.39..1.21).contains(&edge), "{place:?}");
        }
        for side in [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)] {
            let reached = |p: &&Mm| p.x * side.0 > 14.5 || p.y * side.1 > 6.5;
            assert!(places.iter().filter(reached).count() > 50, "{side:?}");
        }
    }
}
