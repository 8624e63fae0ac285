//! What files keep of a measured photo besides its pieces.

use super::{Scene, Targets};
use crate::card::design::CardDesign;
use crate::colour::{CardLook, Exclusion, Patch};
use crate::numbers::{round2, round3};
use crate::photo::Photo;
use crate::sheet::chart::LightMap;
use crate::sheet::file::{CardReport, ColourReport, PhotoRef, Version};
use crate::sheet::{LightFile, PatchReport};
use crate::tray::Light;
use crate::units::Mm;

/// The photo as sheets name it.
pub fn photo_ref(photo: &Photo) -> PhotoRef {
    let kept = [photo.pixels.width(), photo.pixels.height()].map(|side| side as u32);
    PhotoRef {
        file: photo.file.clone(),
        width_px: photo.full_px[0],
        height_px: photo.full_px[1],
        counted_at_px: (kept != photo.full_px).then_some(kept),
        hash: photo.hash.clone(),
        path: None,
        card: None,
    }
}

/// How the card was found.
pub fn card_report(scene: &Scene) -> CardReport {
    let camera = &scene.pose.camera;
    let corner = |mm: Mm| {
        let px = camera.project(mm, 0.0).unwrap_or_default();
        scene.full_px(px.x, px.y)
    };
    let design = CardDesign::v1();
    let middle = Mm::new(design.width_mm / 2.0, design.height_mm / 2.0);
    CardReport {
        version: "v1".to_owned(),
        tags: scene.card.tags.iter().map(|t| t.id).collect(),
        corners_px: design.corners_mm().map(corner),
        reprojection_px: round3(scene.pose.median_residual_px() * scene.full[0]),
        mm_per_px: (camera.mm_per_px(middle).unwrap_or(0.0) / scene.full[0] * 1e5).round() / 1e5,
        tilt_deg: round2(camera.tilt_deg()),
        camera_height_mm: camera.height_mm().round(),
        lens_k1: (camera.k1 * 1e5).round() / 1e5,
        patches: scene.patches.len() as u8,
    }
}

/// How well the colours were corrected.
pub fn colour_report(scene: &Scene, targets: &Targets) -> ColourReport {
    let residuals = scene.correction.residuals();
    ColourReport {
        mean_de00: round2(residuals.mean),
        p95_de00: round2(residuals.p95),
        max_de00: round2(residuals.max),
        print_profile: targets.print_profile,
        method: scene.correction.method().as_str().to_owned(),
    }
}

/// How the photo shows each of the card's patches.
pub fn patch_reports(scene: &Scene) -> Vec<PatchReport> {
    let residuals = &scene.correction.residuals().patches;
    (scene.patches.iter().zip(residuals))
        .map(|(patch, residual)| PatchReport {
            name: patch.name.clone(),
            seen_rgb: patch.rgb.map(|v| (f64::from(v) * 1e4).round() / 1e4),
            target_lab: patch.target,
            balanced_lab: balanced(scene, patch),
            corrected_lab: residual.lab.map(round2),
            de00: round2(residual.de00),
            excluded: residual.excluded,
        })
        .collect()
}

/// How the photo shows the card's patches, but for those that tell nothing of the light.
pub fn card_look(scene: &Scene) -> CardLook {
    let residuals = &scene.correction.residuals().patches;
    (scene.patches.iter().zip(residuals))
        .filter(|(_, residual)| !residual.excluded.is_some_and(Exclusion::hides_light))
        .map(|(patch, _)| (patch.name.clone(), balanced(scene, patch)))
        .collect()
}

/// A patch by the greys alone, CIELAB.
fn balanced(scene: &Scene, patch: &Patch) -> [f64; 3] {
    let light = scene.correction.light_at(patch.place);
    scene.correction.balanced_lab(patch.rgb, light).map(round2)
}

/// What is kept of the light in a photo.
pub fn light_file(photo: &Photo, scene: &Scene, targets: &Targets, name: &str) -> LightFile {
    LightFile {
        light: Version::V1,
        name: name.to_owned(),
        photo: photo_ref(photo),
        card: card_report(scene),
        colour: colour_report(scene, targets),
        fall_off_percent: scene
            .correction
            .light_slope()
            .map(|slope| round2(100.0 * (slope * 100.0).exp_m1())),
        patches: patch_reports(scene),
    }
}

/// Cells of [`light_map`] along the longer side of the view.
const MAP_CELLS: f64 = 36.0;

/// The light over the part of the tray that is in the photo.
pub fn light_map(scene: &Scene) -> LightMap {
    let light = Light::of(&scene.ground, &scene.correction);
    let (rows, columns) = scene.view.size();
    let step = (rows.max(columns) as f64 / MAP_CELLS).max(1.0);
    let mut cells = Vec::new();
    let count = |side: usize| (side as f64 / step).floor() as usize;
    for row in 0..count(rows) {
        for column in 0..count(columns) {
            let (x, y) = ((column as f64 + 0.5) * step, (row as f64 + 0.5) * step);
            if scene.lab.inside.get((y as usize, x as usize)) == Some(&true) {
                let place = scene.view.to_mm(x, y);
                cells.push((place, light.at(place)));
            }
        }
    }
    LightMap {
        cell_mm: step * scene.view.mm_per_px,
        cells,
    }
}
