//! `cuptally teach`: one piece of each colour, and what the colours are called; or what pieces weigh.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use super::atomic::write_files;
use super::say::{self, Column, Progress};
use super::{Context, Failure, Outcome, home};
use crate::card::print::svg::svg;
use crate::colour::lab::de00;
use crate::colour::swatch::CLOSE_DE00;
use crate::colour::{Flaw, Lesson, Replaced, Swatch};
use crate::pieces::ANY;
use crate::pipeline::Targets;
use crate::review::swatches;
use crate::sheet::chart;
use crate::stock::Stamp;
use crate::stock::kind::Name;

mod from;
mod lesson;
mod weigh;

use lesson::sweep;

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

    /// A place on each named piece, in pixels of the upright photo and in the order of the names, said once a piece: then the
    /// order in which they lie does not matter, and pieces without a name are left out.
    #[arg(long, value_name = "X,Y", value_parser = place, requires = "names")]
    at: Vec<[f64; 2]>,

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
    let how = from::How {
        json: args.json,
        figures: args.verbose,
    };
    if let Some(outcome) = from::run(&args.sheets, light, how, &context.home) {
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

/// `812.5,400`.
pub(super) fn place(text: &str) -> Result<[f64; 2], String> {
    let number = |text: &str| text.trim().parse().ok().filter(|v: &f64| v.is_finite());
    let both = text.split_once(',').map(|(x, y)| [number(x), number(y)]);
    match both {
        Some([Some(x), Some(y)]) => Ok([x, y]),
        _ => {
            Err("say a place as two numbers with a comma between them, such as 812,400".to_owned())
        }
    }
}

fn colours(photo: &Path, args: &Args, context: &Context) -> Result<Outcome, Failure> {
    let light = args.light.as_deref().unwrap_or("usual").to_owned();
    let names: Vec<String> = args.names.iter().map(ToString::to_string).collect();
    // A book that cannot be used is told before the photo is looked at.
    home::swatches(&context.home)?;
    let targets = home::targets(&context.home, args.card.as_deref())?;
    let searches = lesson::searches(&args.form, context)?;
    let stamp = Stamp::of_environment().map_err(|e| Failure::wrong_use(e.to_string()))?;
    let progress = Progress::of(1);
    progress.begin(photo);
    let called = lesson::Called {
        names: &names,
        at: &args.at,
    };
    let read = lesson::read(photo, called, &light, &searches, &targets, &progress)
        .map_err(|unread| unread.told(photo, names.len(), &context.home))?;
    drop(progress);
    let lesson = Lesson {
        time: Some(stamp.time),
        ..read.lesson
    };
    let taught = &lesson.swatches;
    let listed = listed(taught);
    // Into the book as it is by now: the review page may have written to it meanwhile.
    let (book, replaced, alike) = swatches::change(
        &context.home,
        |book| -> Result<_, swatches::SwatchFileError> {
            let replaced = book.learn(&lesson)?;
            let alike = book.light_alike(&lesson).map(str::to_owned);
            Ok((book.clone(), replaced, alike))
        },
    )?;
    let lights = book.lights();
    sweep(
        &context.home,
        replaced
            .lights
            .iter()
            .filter(|l| !lights.contains(&l.as_str())),
    );
    let mut paths = vec![swatches::path(&context.home)];
    let file = photo.file_name().unwrap_or(photo.as_os_str());
    let drawn = chart::of_swatches(&light, &file.to_string_lossy(), &listed, &read.map)?;
    let drawn = svg(&drawn, &format!("Colours taught in light {light}"));
    let files: [(&str, &[u8]); 2] = [
        (&format!("swatches-{light}.svg"), drawn.as_bytes()),
        (&lesson::picture_of(&light), &read.picture),
    ];
    paths.extend(write_files(&home::calibration(&context.home), &files)?);
    // What it numbered was put right.
    let _ = std::fs::remove_file(home::calibration(&context.home).join(lesson::NOT_TAUGHT));
    let outcome = if taught.iter().any(|swatch| swatch.flaw.is_some()) {
        Outcome::NeedsALook
    } else {
        Outcome::Done
    };
    if args.json {
        say::print_json(taught)?;
        return Ok(outcome);
    }
    tell(&lesson, &listed, args.verbose.then_some(&targets))?;
    tell_left_out(read.left_out, &lesson::picture_of(&light))?;
    tell_replaced(&lesson, &replaced)?;
    tell_light(&lesson, alike.as_deref(), book.has_several_lights())?;
    tell_flaws(taught)?;
    for path in paths {
        say::print(&format!("kept: {}", path.display()))?;
    }
    Ok(outcome)
}

/// Says that not all that was seen was given a name.
fn tell_left_out(things: usize, picture: &str) -> Result<(), Failure> {
    if things == 0 {
        return Ok(());
    }
    let things = say::plural(things, "thing", "things");
    say::print_wrapped(
        &format!(
            "left out {things} of another shape, such as a shadow or the tray's rim; check in {picture} that each name is on its piece"
        ),
        2,
    )
}

/// Says what was taught so far and is so no more.
fn tell_replaced(lesson: &Lesson, replaced: &Replaced) -> Result<(), Failure> {
    let light = &lesson.light;
    let listed = |names: &BTreeSet<String>| {
        names
            .iter()
            .map(String::as_str)
            .collect::<Vec<_>>()
            .join(", ")
    };
    if !replaced.lights.is_empty() {
        let before = listed(&replaced.lights);
        say::print_wrapped(
            &format!(
                "this photo was taught before, as light '{before}': a photo shows one light, so it stands for '{light}' alone now"
            ),
            2,
        )?;
    }
    let mut by_day: BTreeMap<Option<String>, Vec<&str>> = BTreeMap::new();
    for (name, time) in &replaced.colours {
        let day = time.map(|time| time.strftime("%Y-%m-%d").to_string());
        by_day.entry(day).or_default().push(name);
    }
    for (day, names) in by_day {
        let what = if names.len() > 1 && names.len() == lesson.swatches.len() {
            format!("all {} colours", names.len())
        } else {
            names.join(", ")
        };
        let when = day.map_or_else(|| "before".to_owned(), |day| format!("on {day}"));
        say::print_wrapped(
            &format!("{what} in '{light}': replaces what was taught {when}"),
            2,
        )?;
    }
    if !replaced.gone.is_empty() {
        say::print_wrapped(
            &format!(
                "no longer taught: {}, which this photo called so before",
                listed(&replaced.gone)
            ),
            2,
        )?;
    }
    Ok(())
}

/// Says what the light is where it is known, and whether another is needed.
fn tell_light(lesson: &Lesson, alike: Option<&str>, several: bool) -> Result<(), Failure> {
    if let Some(alike) = alike {
        say::print_wrapped(
            &format!(
                "by the card this is the light of '{alike}': '{}' and '{alike}' count as one",
                lesson.light
            ),
            2,
        )?;
    }
    if several {
        return Ok(());
    }
    say::print_wrapped(
        "taught in one light only: of colours that lie close together none will be sure in photos under another light; teach them again under another, with another --light NAME",
        2,
    )
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
    lesson: &Lesson,
    listed: &[chart::Taught],
    figures_by: Option<&Targets>,
) -> Result<(), Failure> {
    say::print(&format!(
        "taught {} in light '{}'",
        say::plural(listed.len(), "colour", "colours"),
        lesson.light
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
