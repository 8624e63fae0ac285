//! `cuptally calibrate`: how a light shows the card, and what a printed copy looks like.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::atomic::write_files;
use super::look;
use super::say::{self, Column, Progress};
use super::{Context, Failure, Outcome, home};
use crate::card::design::CardDesign;
use crate::card::print::svg::svg;
use crate::colour::print_profile::PAPER;
use crate::colour::{Exclusion, PrintProfile, read_paper};
use crate::photo::Photo;
use crate::pipeline::{self, Scene, Targets};
use crate::sheet::advice::POOR_COLOUR_DE00;
use crate::sheet::verdict::GOOD_COLOUR_DE00;
use crate::sheet::{LightFile, chart, verdict};

/// Arguments of `cuptally calibrate`.
#[derive(clap::Args)]
pub struct Args {
    /// Photo of the card on the tray under this light.
    #[arg(value_name = "PHOTO")]
    photo: PathBuf,

    /// Name of the light, such as `kitchen` or `daylight`.
    #[arg(long, value_name = "NAME")]
    light: String,

    /// Also measure this printed copy of the card, in soft daylight, and keep it under this
    /// name; every later photo is read with it.
    #[arg(long, value_name = "COPY", num_args = 0..=1, require_equals = true, default_missing_value = "card")]
    print: Option<String>,

    /// Which measured copy of the card lies on the tray, where several were measured.
    #[arg(long, value_name = "COPY", conflicts_with = "print")]
    card: Option<String>,

    /// Print the figures too: every patch, by how much colours are off, light and camera.
    #[arg(long, short)]
    verbose: bool,

    /// Print what is kept as JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// What `--json` prints.
#[derive(Serialize)]
struct Kept<'a> {
    #[serde(flatten)]
    light: &'a LightFile,
    #[serde(skip_serializing_if = "Option::is_none")]
    print: Option<&'a PrintProfile>,
}

/// Measures the card under a light, prints the report, draws it and keeps it.
///
/// # Errors
/// When the photo or the print cannot be measured, or a file cannot be written.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    let name = home::file_name("light", &args.light)?;
    let progress = Progress::of(1);
    progress.begin(&args.photo);
    let photo = look::open(&args.photo)?;
    let profile = match &args.print {
        Some(copy) => Some(measure_print(&args.photo, &photo, copy, &progress)?),
        None => None,
    };
    let targets = match &profile {
        Some(profile) => Targets::of(profile),
        None => home::targets(&context.home, args.card.as_deref())?,
    };
    let told = |stage| progress.stage(stage);
    let scene =
        pipeline::measure(&photo, &targets, &told).map_err(|e| look::trouble(&args.photo, &e))?;
    let file = pipeline::light_file(&photo, &scene, &targets, &name);
    let warnings = pipeline::card_warnings(&photo, &scene);
    drop(progress);
    let mut written = keep_light(&context.home, &file, &scene)?;
    if let Some(profile) = &profile {
        written.extend(keep_print(&context.home, profile)?);
    }
    if args.json {
        say::print_json(&Kept {
            light: &file,
            print: profile.as_ref(),
        })?;
    } else {
        let from = format!("measured '{}' from {}", file.name, file.photo.file);
        say::print_wrapped(&from, 2)?;
        if args.verbose {
            tell_figures(&file)?;
        }
        say::print_wrapped(&verdict::sentence(&warnings, &file.colour), 2)?;
        for warning in verdict::others(&warnings) {
            say::print_wrapped(&format!("  note: {} [{}]", warning.text, warning.code), 4)?;
        }
        if let Some(profile) = &profile {
            tell_print(profile, args.verbose, &context.home)?;
        }
        for path in written {
            say::print(&format!("kept: {}", path.display()))?;
        }
    }
    Ok(if warnings.is_empty() {
        Outcome::Done
    } else {
        Outcome::NeedsALook
    })
}

/// What this copy of the card looks like.
fn measure_print(
    path: &Path,
    photo: &Photo,
    copy: &str,
    progress: &Progress,
) -> Result<PrintProfile, Failure> {
    let told = |stage| progress.stage(stage);
    let copy = home::file_name("copy", copy)?;
    let scene = pipeline::measure(photo, &Targets::nominal(), &told)
        .map_err(|e| look::trouble(path, &e))?;
    let paper = read_paper(photo, &scene.pose.camera, PAPER);
    let all = CardDesign::v1().patches.len();
    PrintProfile::measure(&copy, &scene.patches, &paper, all)
        .map_err(|e| Failure::failed(format!("{}: {e}", path.display())))
}

fn keep_light(home: &Path, file: &LightFile, scene: &Scene) -> Result<Vec<PathBuf>, Failure> {
    let picture = chart::of_light(file, &pipeline::light_map(scene))?;
    let picture = svg(&picture, &format!("Light {}", file.name));
    let mut text = serde_json::to_string_pretty(file)?;
    text.push('\n');
    let (json, drawn) = (format!("{}.json", file.name), format!("{}.svg", file.name));
    let files: [(&str, &[u8]); 2] = [(&json, text.as_bytes()), (&drawn, picture.as_bytes())];
    Ok(write_files(&home::lights(home), &files)?)
}

fn keep_print(home: &Path, profile: &PrintProfile) -> Result<Vec<PathBuf>, Failure> {
    let mut text = serde_json::to_string_pretty(profile)?;
    text.push('\n');
    let name = format!("{}.json", profile.copy);
    Ok(write_files(
        &home::prints(home),
        &[(&name, text.as_bytes())],
    )?)
}

fn tell_figures(file: &LightFile) -> Result<(), Failure> {
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
        let why = |why| match why {
            Exclusion::Clipped => "clipped",
            Exclusion::Uneven => "uneven",
            Exclusion::Outlier => "outlier",
        };
        table.add_row(vec![
            patch.name.clone(),
            lab(patch.target_lab),
            lab(patch.corrected_lab),
            format!("{:.2}", patch.de00),
            (patch.excluded).map_or(bar, |e| format!("not used: {}", why(e))),
        ]);
    }
    say::print_table(&table)?;
    let values = if file.colour.print_profile {
        "this copy's print profile"
    } else {
        "nominal card values"
    };
    say::print_wrapped(
        &format!(
            "dE00, each patch left out in turn: mean {:.2}, 95 % below {:.2}, worst {:.2} ({}, {values})",
            file.colour.mean_de00, file.colour.p95_de00, file.colour.max_de00, file.colour.method
        ),
        2,
    )?;
    say::print(&format!(
        "a mean is good up to {GOOD_COLOUR_DE00:.0} and poor above {POOR_COLOUR_DE00:.0}"
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

fn tell_print(profile: &PrintProfile, verbose: bool, home: &Path) -> Result<(), Failure> {
    say::print_wrapped(
        &format!(
            "printed copy '{}' measured; later photos are read by what it looks like",
            profile.copy
        ),
        2,
    )?;
    if verbose {
        tell_print_figures(profile)?;
    }
    if !home::swatches(home)?.names().is_empty() {
        say::print_wrapped(
            "the colours in swatches.json were taught before: teach them again, so that teaching and counting read the card alike",
            2,
        )?;
    }
    Ok(())
}

fn tell_print_figures(profile: &PrintProfile) -> Result<(), Failure> {
    let off = profile.off();
    let mean = off.iter().sum::<f64>() / off.len().max(1) as f64;
    let worst = (off.iter().zip(&profile.patches)).max_by(|a, b| a.0.total_cmp(b.0));
    let (most, which) = worst.map_or((0.0, ""), |(off, patch)| (*off, patch.name.as_str()));
    say::print_wrapped(
        &format!(
            "its patches are {mean:.1} dE00 from their nominal values on average, {most:.1} at most ({which})"
        ),
        2,
    )
}
