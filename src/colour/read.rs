//! Reads the card's patches from a photo.

use super::correct::Patch;
use crate::card::design::CardDesign;
use crate::photo::Photo;
use crate::units::Mm;
use crate::view::Camera;

/// Left out along a patch's sides, mm: the lens' blur, and sharpening's rims.
const INSET_MM: f64 = 2.0;
/// Samples along each side of a patch.
const SAMPLES: usize = 16;
/// Share of samples dropped at the dark and at the light end: dust, a scratch, a glint.
const TRIM: f64 = 0.1;
/// Share of clipped samples from which a patch is clipped.
const CLIPPED_SHARE: f64 = 0.2;

/// Bare paper between the tags at either end of card v1: left, top, width, height in mm.
const PAPER_MM: [[f64; 4]; 2] = [[7.0, 29.0, 20.0, 12.0], [163.0, 29.0, 20.0, 12.0]];

/// The patches that lie wholly in the photo, as it shows them.
///
/// `targets` says what each patch of the card should look like (CIELAB D65), in the card's order.
pub fn read_patches(photo: &Photo, camera: &Camera, targets: &[[f64; 3]]) -> Vec<Patch> {
    let patches = CardDesign::v1().patches.iter().zip(targets);
    patches
        .filter_map(|(patch, target)| {
            let square = [patch.x_mm, patch.y_mm, patch.width_mm, patch.height_mm];
            read_square(photo, camera, patch.name, square, *target)
        })
        .collect()
}

/// The card's bare paper, where it lies wholly in the photo, as if it should look like `target`.
pub fn read_paper(photo: &Photo, camera: &Camera, target: [f64; 3]) -> Vec<Patch> {
    PAPER_MM
        .iter()
        .filter_map(|square| read_square(photo, camera, "paper", *square, target))
        .collect()
}

fn read_square(
    photo: &Photo,
    camera: &Camera,
    name: &str,
    [left, top, width, height]: [f64; 4],
    target: [f64; 3],
) -> Option<Patch> {
    let mut samples: Vec<[f32; 3]> = Vec::with_capacity(SAMPLES * SAMPLES);
    let mut clipped = 0usize;
    for i in 0..SAMPLES {
        for j in 0..SAMPLES {
            let along = |start: f64, length: f64, k: usize| {
                let share = (k as f64 + 0.5) / SAMPLES as f64;
                start + INSET_MM + (length - 2.0 * INSET_MM) * share
            };
            let at = Mm::new(along(left, width, i), along(top, height, j));
            let px = camera.project(at, 0.0)?;
            samples.push(photo.pixels.sample(px.x, px.y)?);
            // Not negative: `sample` gave a colour, so the place is in the photo.
            let (row, column) = (px.y as usize, px.x as usize);
            let ends = photo.clipped.flags(row, column) != 0;
            clipped += usize::from(ends);
        }
    }
    let share = clipped as f64 / samples.len() as f64;
    let (rgb, spread) = trimmed(samples);
    Some(Patch {
        name: name.to_owned(),
        rgb,
        spread,
        clipped: share > CLIPPED_SHARE,
        place: Mm::new(left + width / 2.0, top + height / 2.0),
        illumination: 1.0,
        target,
    })
}

/// Mean and standard deviation of the samples between the dark and light ends.
fn trimmed(mut samples: Vec<[f32; 3]>) -> ([f32; 3], [f32; 3]) {
    samples.sort_by(|a, b| (a[0] + a[1] + a[2]).total_cmp(&(b[0] + b[1] + b[2])));
    let drop = (samples.len() as f64 * TRIM) as usize;
    let kept = &samples[drop..samples.len() - drop];
    let n = kept.len().max(1) as f32;
    let mut mean = [0.0f32; 3];
    let mut spread = [0.0f32; 3];
    for c in 0..3 {
        mean[c] = kept.iter().map(|s| s[c]).sum::<f32>() / n;
        let variance = kept.iter().map(|s| (s[c] - mean[c]).powi(2)).sum::<f32>() / n;
        spread[c] = variance.sqrt();
    }
    (mean, spread)
}
