//! `cuptally teach`: one piece of each colour, and what the colours are called; or what pieces weigh.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::atomic::write_files;
use super::look;
use super::say::{self, Column, Progress};
use super::{Context, Failure, Outcome, home};
use crate::card::print::svg::svg;
use crate::colour::lab::de00;
use crate::colour::swatch::CLOSE_DE00;
use crate::colour::{Flaw, Lesson, Swatch, SwatchBook};
use crate::count::flaws;
use crate::numbers::round2;
use crate::pieces::paint::Paint;
use crate::pieces::{ANY, Search, Shapes};
use crate::pipeline::{self, Seen, Stage, Targets};
use crate::review::swatches;
use crate::sheet::chart::{self, LightMap};
use crate::sheet::reading_order;
use crate::stock::kind::Name;

mod from;
mod weigh;

/// Arguments of `cuptally teach`.
#[derive(clap::Args)]
#[command(override_usage = "cuptally teach [OPTIONS] --names <A,B,C> <PHOTO>
       cuptally teach [OPTIONS] --from <SHEET>...
       cuptally teach [OPTIONS] --forget <SHEET>...
       cuptally teach [OPTIONS] --weigh <PIECE> [--of <NUMBER>] --grams <GRAMS>")]
pub struct Args {
    /// Photo of one piece of each colour beside the card, in rows.
    #[arg(value_name = "PHOTO", required_unless_present_any = ["weigh", "from", "forget"])]
    photo: Option<PathBuf>,

    /// The colours' names in reading order: rows from the top of the upright
    /// photo, each from left to right.
    #[arg(long, value_name = "A,B,C", value_delimiter = ',', required_unless_present_any = ["weigh", "from", "forget"], value_parser = Name::new)]
    names: Vec<Name>,

    /// Name of the light [default: usual; with --from the one that the sheet knows].
    #[arg(long, value_name = "NAME")]
    light: Option<String>,

    /// What kind of pieces lie on the tray: brick, plate, tile, or another form of the list of shapes.
    #[arg(long, value_name = "FORM", default_value = ANY)]
    form: String,

    /// Which measured copy of the card lies on the tray, where several were measured.
    #[arg(long, value_name = "COPY")]
    card: Option<String>,

    #[command(flatten)]
    sheets: from::Args,

    #[command(flatten)]
    scale: weigh::Args,

    /// Print what was measured of each colour, and which other is nearest to it.
    #[arg(long, short)]
    verbose: bool,

    /// Print the swatches, or the weight, as JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// Learns the colours, or a weight, and keeps them.
///
/// # Errors
/// When the photo cannot be measured, pieces and names differ in number, or a
/// file cannot be used or written.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    let light = args.light.as_deref();
    if let Some(light) = light {
        home::file_name("light", light)?;
    }
    if let Some(outcome) = from::run(&args.sheets, light, args.json, &context.home) {
        return outcome;
    }
    match (args.scale.weigh.as_deref(), &args.photo) {
        (Some(piece), _) => weigh::run(piece, &args.scale, args.json, &context.home),
        (None, Some(photo)) => colours(photo, args, context),
        (None, None) => Err(Failure::wrong_use(
            "teach needs a photo with --names, --from or --forget with sheets, or --weigh with --grams",
        )),
    }
}

fn colours(photo: &Path, args: &Args, context: &Context) -> Result<Outcome, Failure> {
    let light = args.light.as_deref().unwrap_or("usual").to_owned();
    let names: Vec<String> = args.names.iter().map(ToString::to_string).collect();
    // A book that cannot be used is told before the photo is looked at.
    home::swatches(&context.home)?;
    let targets = home::targets(&context.home, args.card.as_deref())?;
    let searches = searches(&args.form, context)?;
    let progress = Progress::of(1);
    progress.begin(photo);
    let (lesson, map) = learn(photo, &names, &light, &searches, &targets, &progress)?;
    drop(progress);
    let taught = &lesson.swatches;
    let listed = listed(taught);
    // Into the book as it is by now: the review page may have written to it meanwhile.
    let book = swatches::change(
        &context.home,
        |book| -> Result<_, swatches::SwatchFileError> {
            book.learn(&lesson)?;
            Ok(book.clone())
        },
    )?;
    let mut paths = vec![swatches::path(&context.home)];
    let file = photo.file_name().unwrap_or(photo.as_os_str());
    let drawn = chart::of_swatches(&light, &file.to_string_lossy(), &listed, &map)?;
    let drawn = svg(&drawn, &format!("Colours taught in light {light}"));
    paths.extend(write_files(
        &home::calibration(&context.home),
        &[(&format!("swatches-{light}.svg"), drawn.as_bytes())],
    )?);
    let outcome = if taught.iter().any(|swatch| swatch.flaw.is_some()) {
        Outcome::NeedsALook
    } else {
        Outcome::Done
    };
    if args.json {
        say::print_json(taught)?;
        return Ok(outcome);
    }
    let taught_in = book
        .swatches()
        .iter()
        .filter(|swatch| swatch.from.is_none());
    let lights: BTreeSet<&str> = taught_in.map(|swatch| swatch.light.as_str()).collect();
    tell(
        &light,
        &listed,
        args.verbose.then_some(&targets),
        lights.len(),
    )?;
    tell_flaws(taught)?;
    for path in paths {
        say::print(&format!("kept: {}", path.display()))?;
    }
    Ok(outcome)
}

/// Names the colours that have to be taught again, and says why.
fn tell_flaws(taught: &[Swatch]) -> Result<(), Failure> {
    for (flaw, what) in [
        (
            Flaw::Lamp,
            "a lamp mirrors in {}; until taught without it, in this light or another, a colour is not used: turn the tray and teach again",
        ),
        (
            Flaw::CutOff,
            "{} came out too bright for the camera; take the photo darker and teach again",
        ),
    ] {
        let names: Vec<&str> = (taught.iter())
            .filter(|swatch| swatch.flaw == Some(flaw))
            .map(|swatch| swatch.name.as_str())
            .collect();
        if !names.is_empty() {
            say::print_wrapped(&what.replace("{}", &names.join(", ")), 2)?;
        }
    }
    Ok(())
}

/// Each colour with its nearest other.
fn listed(taught: &[Swatch]) -> Vec<chart::Taught> {
    taught
        .iter()
        .map(|swatch| {
            let lab = swatch.middle();
            let nearest = taught
                .iter()
                .filter(|other| other.name != swatch.name)
                .map(|other| (other.name.clone(), de00(lab, other.middle())))
                .min_by(|a, b| a.1.total_cmp(&b.1));
            let close = nearest.as_ref().is_some_and(|(_, off)| *off < CLOSE_DE00);
            chart::Taught {
                name: swatch.name.clone(),
                lab,
                nearest,
                close,
            }
        })
        .collect()
}

/// Pairs of colours that look alike, told one by one.
const PAIRS_TOLD: usize = 6;

/// Says what was taught; with what the card should look like, in figures too.
fn tell(
    light: &str,
    listed: &[chart::Taught],
    figures_by: Option<&Targets>,
    lights: usize,
) -> Result<(), Failure> {
    say::print(&format!(
        "taught {} in light '{light}'",
        say::plural(listed.len(), "colour", "colours")
    ))?;
    if let Some(targets) = figures_by {
        tell_figures(listed, targets)?;
    }
    let pairs = alike(listed);
    for (one, other) in pairs.iter().take(PAIRS_TOLD) {
        say::print_wrapped(&format!("  {one} and {other} look alike here"), 4)?;
    }
    if let Some(more) = pairs.len().checked_sub(PAIRS_TOLD).filter(|n| *n > 0) {
        say::print(&format!(
            "  and {}; -v shows which",
            say::plural(more, "more pair", "more pairs")
        ))?;
    }
    if !pairs.is_empty() {
        say::print("pieces of colours that look alike will often be doubtful")?;
    }
    if lights < 2 {
        say::print_wrapped(
            "taught in one light only: of colours that lie close together none will be sure in photos under another light; teach them again under another, with another --light NAME",
            2,
        )?;
    }
    Ok(())
}

/// Pairs of taught colours that are close to each other, each once.
fn alike(listed: &[chart::Taught]) -> BTreeSet<(&str, &str)> {
    let close = listed.iter().filter(|taught| taught.close);
    fn pair(taught: &chart::Taught) -> Option<(&str, &str)> {
        let (one, other) = (taught.name.as_str(), taught.nearest.as_ref()?.0.as_str());
        Some((one.min(other), one.max(other)))
    }
    close.filter_map(pair).collect()
}

fn tell_figures(listed: &[chart::Taught], targets: &Targets) -> Result<(), Failure> {
    let mut table = say::table(&[
        ("colour", Column::Text),
        ("L*", Column::Number),
        ("a*", Column::Number),
        ("b*", Column::Number),
        ("nearest other", Column::Text),
        ("dE00", Column::Number),
    ]);
    for swatch in listed {
        let (other, shown) = match &swatch.nearest {
            Some((other, off)) => (other.as_str(), format!("{off:.1}")),
            None => ("", String::new()),
        };
        let [l, a, b] = swatch.lab.map(|value| format!("{value:.1}"));
        table.add_row([
            say::Cell::new(&swatch.name),
            l.into(),
            a.into(),
            b.into(),
            other.into(),
            if swatch.close {
                say::open(shown)
            } else {
                shown.into()
            },
        ]);
    }
    say::print_table(&table)?;
    let values = if targets.print_profile {
        "the card's print profile"
    } else {
        "nominal card values"
    };
    say::print(&format!(
        "read by {values}; colours less than {CLOSE_DE00} dE00 apart look alike"
    ))
}

/// Reads the swatches off a photo, by the card's values as they are given; also gives the light over the tray.
///
/// # Errors
/// As [`run`], but nothing is written.
pub fn learn(
    path: &Path,
    names: &[String],
    light: &str,
    searches: &[Search],
    targets: &Targets,
    progress: &Progress,
) -> Result<(Lesson, LightMap), Failure> {
    for (k, name) in names.iter().enumerate() {
        if names[..k].contains(name) {
            return Err(Failure::wrong_use(format!(
                "the colour '{name}' is named twice; name each piece of the photo once"
            )));
        }
    }
    let photo = look::open(path)?;
    let scene = pipeline::measure(&photo, targets, &|stage| progress.stage(stage))
        .map_err(|e| look::trouble(path, &e))?;
    let mut seen = look_for(&scene, searches, names.len(), progress);
    if seen.len() != names.len() {
        return Err(Failure::wrong_use(format!(
            "{} shows {} and {}; lay one piece of each colour on a plain tray, apart from each other, and name each in reading order",
            path.display(),
            say::plural(seen.len(), "piece", "pieces"),
            say::plural(names.len(), "name was given", "names were given"),
        )));
    }
    let places: Vec<[f64; 2]> = seen.iter().map(|s| in_photo(&scene, s)).collect();
    let order = reading_order::reading_order(&places);
    let paints: Vec<Paint> = seen.iter().map(|s| s.paint).collect();
    let flaws = flaws(&paints);
    let mut slots: Vec<Option<Seen>> = seen.drain(..).map(Some).collect();
    let mut taught = Vec::with_capacity(names.len());
    for (name, index) in names.iter().zip(order) {
        let Some(seen) = slots.get_mut(index).and_then(Option::take) else {
            continue;
        };
        let flaw = flaws.get(index).copied().flatten();
        taught.push(Swatch {
            name: name.clone(),
            samples: vec![seen.paint.lab.map(round2)],
            light: light.to_owned(),
            flaw,
            from: None,
        });
    }
    let lesson = Lesson {
        light: light.to_owned(),
        swatches: taught,
        card: pipeline::card_look(&scene),
    };
    Ok((lesson, pipeline::light_map(&scene)))
}

/// One search for each form that may be.
///
/// # Errors
/// When there is no such form, or the user's list of shapes cannot be used.
fn searches(form: &str, context: &Context) -> Result<Vec<Search>, Failure> {
    let shapes = home::shapes(&context.home)?;
    if form == ANY {
        return Ok(each_form(shapes));
    }
    let search = Search::called(shapes, form);
    let search = search.map_err(|error| Failure::wrong_use(error.to_string()))?;
    Ok(vec![search])
}

/// One search for each form of a list.
pub fn each_form(shapes: Shapes) -> Vec<Search> {
    let forms = shapes.forms().into_iter();
    forms.map(|form| Search::of_form(shapes, form)).collect()
}

/// The pieces of a teaching photo. They are of one form as a rule: of the forms
/// that may be, the one is taken that finds just as many pieces as there are
/// names; among equals, the one that explains the photo best.
fn look_for(
    scene: &pipeline::Scene,
    searches: &[Search],
    names: usize,
    progress: &Progress,
) -> Vec<Seen> {
    let merit = |seen: &[Seen]| {
        let score: f64 = seen.iter().map(|s| s.piece.score).sum();
        (seen.len() == names, score)
    };
    let looks = (1..).zip(searches).map(|(number, search)| {
        // Nearly all of the time goes here, once a form.
        let told = |stage| match stage {
            Stage::Pieces if searches.len() > 1 => progress.say(&format!(
                "finding pieces, form {number} of {}",
                searches.len()
            )),
            _ => progress.stage(stage),
        };
        pipeline::look(scene, search, &told).0
    });
    looks
        .max_by(|a, b| {
            let (a, b) = (merit(a), merit(b));
            a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
        })
        .unwrap_or_default()
}

/// Writes the book into the home folder.
///
/// # Errors
/// When the file cannot be written.
pub fn keep(home: &Path, book: &SwatchBook) -> Result<Vec<PathBuf>, Failure> {
    let mut text = book.to_json()?;
    text.push('\n');
    Ok(write_files(
        &home::calibration(home),
        &[("swatches.json", text.as_bytes())],
    )?)
}

fn in_photo(scene: &pipeline::Scene, seen: &Seen) -> [f64; 2] {
    let px = scene
        .pose
        .camera
        .project(seen.piece.stance.at, 0.0)
        .unwrap_or_default();
    [px.x, px.y]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_that_look_alike_are_told_once_a_pair() {
        let taught = |name: &str, other: &str, off: f64| chart::Taught {
            name: name.to_owned(),
            lab: [50.0, 0.0, 0.0],
            nearest: Some((other.to_owned(), off)),
            close: off < CLOSE_DE00,
        };
        let listed = [
            taught("kelp", "eelgrass", 2.0),
            taught("eelgrass", "kelp", 2.0),
            taught("fog", "kelp", 30.0),
            taught("moss", "kelp", 3.0),
        ];
        let pairs: Vec<_> = alike(&listed).into_iter().collect();
        assert_eq!(pairs, [("eelgrass", "kelp"), ("kelp", "moss")]);
    }
}
