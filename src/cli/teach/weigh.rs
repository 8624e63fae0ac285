//! `teach --weigh`: what pieces of one shape weigh.

use std::path::Path;

use serde::Serialize;

use crate::cli::atomic::write_files;
use crate::cli::{Failure, Outcome, home, say};
use crate::count::weigh::{MOST_PIECES, Masses, Reading, Weighed, estimate_g};
use crate::pieces::{Expected, Shape, Shapes};

/// Pieces on a scale, as the user says it.
#[derive(clap::Args)]
pub struct Args {
    /// Instead of a photo: learn what a piece weighs, such as `--weigh "plate 2x4" --of 10 --grams 11.3`.
    #[arg(
        long,
        value_name = "PIECE",
        requires = "grams",
        conflicts_with_all = ["photo", "names", "light", "form", "card"]
    )]
    pub weigh: Option<String>,

    /// How many such pieces lie on the scale.
    #[arg(
        long,
        value_name = "NUMBER",
        requires = "weigh",
        conflicts_with_all = ["photo", "names"],
        default_value_t = 1,
        allow_negative_numbers = true,
        value_parser = clap::value_parser!(u32).range(1..=i64::from(MOST_PIECES))
    )]
    of: u32,

    /// What they weigh together, with all digits that the scale shows.
    #[arg(
        long,
        value_name = "GRAMS",
        requires = "weigh",
        conflicts_with_all = ["photo", "names"],
        allow_negative_numbers = true
    )]
    grams: Option<Reading>,
}

/// A form in a size, both said.
fn shape(text: &str, shapes: Shapes) -> Result<Shape, Failure> {
    let said =
        Expected::parse(text, shapes).map_err(|error| Failure::wrong_use(error.to_string()))?;
    said.shape(shapes).ok_or_else(|| {
        Failure::wrong_use(format!(
            "'{text}' leaves form or size open; say both, such as 'plate 2x4'"
        ))
    })
}

/// A weight so far from its estimate that something else lay on the scale: walls and roofs do
/// not differ by a third.
const FAR: f64 = 1.5;
/// A weight so far from its estimate that no piece has it, and something was mistyped. Estimates
/// of hollow and of solid pieces of one outline differ by three; a larger factor lets more through.
const IMPOSSIBLE: f64 = 5.0;
/// An error beyond this share of the mass is no better than the estimate.
const COARSE: f64 = 0.09;

/// What is told of a weighing.
#[derive(Serialize)]
struct Told<'a> {
    #[serde(flatten)]
    weighed: &'a Weighed,
    each_g: f64,
    each_sd_g: f64,
    estimate_g: f64,
}

/// Learns a weight and keeps it; an earlier one of the same shape goes.
///
/// # Errors
/// When the file of weights cannot be used or written.
pub fn run(piece: &str, args: &Args, json: bool, folder: &Path) -> Result<Outcome, Failure> {
    let Some(reading) = args.grams else {
        return Err(Failure::wrong_use(
            "--weigh needs --grams: what the scale shows",
        ));
    };
    let shapes = home::shapes(folder)?;
    let shape = shape(piece, shapes)?;
    let mut book = home::weights(folder, shapes)?;
    let before = Masses::of_book(&book).of(shape);
    let weighed = Weighed::new(shape, args.of, reading);
    require_possible(shape, weighed.each_g())?;
    let replaced = book.keep(shape, args.of, reading)?;
    let mut text = book.to_json()?;
    text.push('\n');
    let paths = write_files(
        &home::calibration(folder),
        &[(home::WEIGHTS, text.as_bytes())],
    )?;
    let (each, sd) = (weighed.each_g(), weighed.each_sd_g());
    if json {
        say::print_json(&Told {
            weighed: &weighed,
            each_g: milligrams(each),
            each_sd_g: milligrams(sd),
            estimate_g: milligrams(estimate_g(shape)),
        })?;
    } else {
        let was = match &replaced {
            Some(old) => format!(
                "{:.2} g by the earlier weighing, which this replaces",
                old.each_g()
            ),
            None => format!("{:.2} g by estimate", before.grams),
        };
        say::print(&format!(
            "{shape}: {each:.2} g each, give or take {sd:.2} g ({was})"
        ))?;
        for path in &paths {
            say::print(&format!("kept: {}", path.display()))?;
        }
    }
    Ok(doubt(shape, each, sd))
}

/// A weight that no such piece has is not kept: every later weighing would be judged by it.
fn require_possible(shape: Shape, each: f64) -> Result<(), Failure> {
    let estimate = estimate_g(shape);
    if (estimate / IMPOSSIBLE..=estimate * IMPOSSIBLE).contains(&each) {
        return Ok(());
    }
    Err(Failure::wrong_use(format!(
        "a {shape} should weigh about {estimate:.2} g, and this is {each:.2} g each, so it was not kept; check the piece, --of and --grams"
    )))
}

/// Says what makes a weight doubtful.
fn doubt(shape: Shape, each: f64, sd: f64) -> Outcome {
    let estimate = estimate_g(shape);
    let mut outcome = Outcome::Done;
    if each > FAR * estimate || each < estimate / FAR {
        outcome = Outcome::NeedsALook;
        say::note(&format!(
            "a {shape} should weigh about {estimate:.2} g, and this is {each:.2} g; check the piece and --of, and weigh it again if one was wrong"
        ));
    }
    if sd > COARSE * each {
        outcome = Outcome::NeedsALook;
        say::note(&format!(
            "{each:.2} g give or take {sd:.2} g is known no better than the estimate; put more of these pieces on the scale at once and say how many with --of"
        ));
    }
    outcome
}

/// Three decimals.
fn milligrams(grams: f64) -> f64 {
    (grams * 1000.0).round() / 1000.0
}
