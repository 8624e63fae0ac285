//! `cuptally calibrate`: how a light shows the card, kept for later.

use std::path::PathBuf;

use serde::Serialize;

use super::atomic::write_files;
use super::look;
use super::say::{self, Column};
use super::{Context, Failure, Outcome, home};
use crate::card::design::CardDesign;
use crate::colour::Exclusion;
use crate::pipeline::{self, Scene, round2};
use crate::sheet::file::{CardReport, ColourReport, PhotoRef};

/// Arguments of `cuptally calibrate`.
#[derive(clap::Args)]
pub struct Args {
    /// Photo of the card on the tray under this light.
    #[arg(value_name = "PHOTO")]
    photo: PathBuf,

    /// Name of the light, such as `kitchen` or `daylight`.
    #[arg(long, value_name = "NAME")]
    light: String,

    /// Print what is kept as JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// What is kept of a light, `calibration/lights/NAME.json`.
#[derive(Serialize)]
struct LightFile {
    light: &'static str,
    name: String,
    photo: PhotoRef,
    card: CardReport,
    colour: ColourReport,
    /// Change of light across the tray, percent per 100 mm along the card's x and y.
    fall_off_percent: [f64; 2],
    patches: Vec<PatchReport>,
}

#[derive(Serialize)]
struct PatchReport {
    name: String,
    /// Mean in the photo, linear sRGB as decoded.
    seen_rgb: [f64; 3],
    /// What it should look like, CIELAB D65.
    target_lab: [f64; 3],
    /// What the correction makes of it.
    corrected_lab: [f64; 3],
    /// CIEDE2000 with the patch left out of the fit.
    de00: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    excluded: Option<&'static str>,
}

/// Measures the card under a light, prints the report and keeps it.
///
/// # Errors
/// When the photo cannot be measured or the file cannot be written.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    let name = home::file_name("light", &args.light)?;
    let photo = look::open(&args.photo)?;
    let targets = home::targets();
    let scene = pipeline::measure(&photo, &targets).map_err(|e| look::trouble(&args.photo, &e))?;
    let file = LightFile {
        light: "v1",
        name: name.clone(),
        photo: pipeline::photo_ref(&photo),
        card: pipeline::card_report(&scene),
        colour: pipeline::colour_report(&scene, &targets),
        fall_off_percent: scene
            .correction
            .light_slope()
            .map(|slope| round2(100.0 * (slope * 100.0).exp_m1())),
        patches: patch_reports(&scene),
    };
    let folder = home::calibration(&context.home).join("lights");
    let mut text = serde_json::to_string_pretty(&file)?;
    text.push('\n');
    let written = write_files(&folder, &[(&format!("{name}.json"), text.as_bytes())])?;
    if args.json {
        say::print_json(&file)?;
    } else {
        tell(&file)?;
        for path in written {
            say::print(&format!("kept: {}", path.display()))?;
        }
    }
    let whole = scene.patches.len() == CardDesign::v1().patches.len();
    Ok(if whole {
        Outcome::Done
    } else {
        Outcome::NeedsALook
    })
}

fn patch_reports(scene: &Scene) -> Vec<PatchReport> {
    let residuals = &scene.correction.residuals().patches;
    scene
        .patches
        .iter()
        .zip(residuals)
        .map(|(patch, residual)| PatchReport {
            name: patch.name.clone(),
            seen_rgb: patch.rgb.map(|v| (f64::from(v) * 1e4).round() / 1e4),
            target_lab: patch.target,
            corrected_lab: residual.lab.map(round2),
            de00: round2(residual.de00),
            excluded: residual.excluded.map(|why| match why {
                Exclusion::Clipped => "clipped",
                Exclusion::Uneven => "uneven",
                Exclusion::Outlier => "outlier",
            }),
        })
        .collect()
}

fn tell(file: &LightFile) -> Result<(), Failure> {
    say::print(&format!("light '{}', from {}", file.name, file.photo.file))?;
    let mut table = say::table(&[
        ("patch", Column::Short),
        ("should be L* a* b*", Column::Number),
        ("looks L* a* b*", Column::Number),
        ("dE00", Column::Number),
        ("", Column::Short),
    ]);
    for patch in &file.patches {
        let lab = |v: [f64; 3]| format!("{:.1} {:.1} {:.1}", v[0], v[1], v[2]);
        let bar = "▪".repeat((patch.de00 * 2.0).round().clamp(0.0, 20.0) as usize);
        table.add_row(vec![
            patch.name.clone(),
            lab(patch.target_lab),
            lab(patch.corrected_lab),
            format!("{:.2}", patch.de00),
            patch.excluded.map_or(bar, |why| format!("not used: {why}")),
        ]);
    }
    say::print_table(&table)?;
    say::print(&format!(
        "dE00, each patch left out in turn: mean {:.2}, 95 % below {:.2}, worst {:.2} ({}, nominal card values)",
        file.colour.mean_de00, file.colour.p95_de00, file.colour.max_de00, file.colour.method
    ))?;
    say::print(&format!(
        "light changes by {:+.0} % per 100 mm along the card and {:+.0} % across it",
        file.fall_off_percent[0], file.fall_off_percent[1]
    ))?;
    say::print(&format!(
        "camera {:.0} mm above the tray, tilted by {:.1} degrees; tags off by {:.2} px",
        file.card.camera_height_mm, file.card.tilt_deg, file.card.reprojection_px
    ))
}
