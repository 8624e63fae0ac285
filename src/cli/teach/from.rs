//! `teach --from`: what people put right on sheets; `teach --forget` takes it back.

use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::cli::say::{self, Column};
use crate::cli::{Failure, Outcome, home};
use crate::colour::{Origin, SwatchBook};
use crate::review::feed;
use crate::review::learn::{Learned, Lesson};
use crate::review::swatches;
use crate::review::witness::LeftOut;
use crate::stock::inbox;

/// Sheets that teach, as the user names them.
#[derive(clap::Args)]
pub struct Args {
    /// Instead of a photo: learn from sheets in which somebody set or confirmed colours. Only what a sheet says is used, the photo is not needed; again replaces what it taught before.
    #[arg(
        long,
        value_name = "SHEET",
        num_args = 1..,
        conflicts_with_all = ["photo", "names", "form", "card", "weigh", "of", "grams"]
    )]
    from: Vec<PathBuf>,

    /// Take back what was learned from sheets; where a sheet is gone, name its photo.
    #[arg(
        long,
        value_name = "SHEET",
        num_args = 1..,
        conflicts_with_all = ["photo", "names", "light", "form", "card", "from", "weigh", "of", "grams"]
    )]
    forget: Vec<PathBuf>,
}

/// How it is told.
#[derive(Clone, Copy, Debug)]
pub struct How {
    /// For programs.
    pub json: bool,
    /// With what was measured.
    pub figures: bool,
}

/// Learns from sheets or takes back what they taught; `None` where neither is asked for.
pub fn run(
    args: &Args,
    light: Option<&str>,
    how: How,
    home: &Path,
) -> Option<Result<Outcome, Failure>> {
    if !args.from.is_empty() {
        Some(learn(&args.from, light, how, home))
    } else if !args.forget.is_empty() {
        Some(forget(&args.forget, how.json, home))
    } else {
        None
    }
}

/// A photo, for programs.
#[derive(Serialize)]
struct Photo {
    file: String,
    hash: String,
}

impl Photo {
    fn of(origin: &Origin) -> Self {
        Self {
            file: origin.file.clone(),
            hash: origin.photo.clone(),
        }
    }
}

/// What a sheet taught, for programs.
#[derive(Serialize)]
struct Told<'a> {
    photo: Photo,
    light: &'a str,
    colours: &'a [Learned],
    left_out: &'a [LeftOut],
}

fn learn(
    paths: &[PathBuf],
    light: Option<&str>,
    how: How,
    home: &Path,
) -> Result<Outcome, Failure> {
    let sheets: Vec<_> = paths
        .iter()
        .map(|path| inbox::read_sheet(path))
        .collect::<Result<_, _>>()?;
    let lessons = feed::feed(home, &sheets, light)?;
    let silent: Vec<&PathBuf> = (paths.iter().zip(&lessons))
        .filter_map(|(path, lesson)| lesson.is_empty().then_some(path))
        .collect();
    if silent.len() == lessons.len() {
        return Err(Failure::failed(format!(
            "nobody has set or confirmed a colour in {}; put colours right in `cuptally review`, piece by piece, then learn from that",
            listed(&silent)
        )));
    }
    if how.json {
        let told = lessons.iter().map(|lesson| Told {
            photo: Photo::of(&lesson.origin),
            light: &lesson.light,
            colours: &lesson.colours,
            left_out: &lesson.left_out,
        });
        say::print_json(&told.collect::<Vec<_>>())?;
    } else {
        for (path, lesson) in paths.iter().zip(&lessons).filter(|(_, l)| !l.is_empty()) {
            tell(path, lesson, how.figures)?;
        }
        say::print(&format!("kept: {}", swatches::path(home).display()))?;
    }
    if !silent.is_empty() {
        say::note(&format!(
            "nobody has set or confirmed a colour in {}",
            listed(&silent)
        ));
    }
    let done = silent.is_empty() && !lessons.iter().any(Lesson::needs_a_look);
    Ok(if done {
        Outcome::Done
    } else {
        Outcome::NeedsALook
    })
}

fn listed(paths: &[&PathBuf]) -> String {
    let names: Vec<String> = paths
        .iter()
        .map(|path| path.display().to_string())
        .collect();
    names.join(", ")
}

fn tell(path: &Path, lesson: &Lesson, figures: bool) -> Result<(), Failure> {
    let light = if lesson.light == lesson.origin.own_light() {
        "in a light without a name".to_owned()
    } else {
        format!("in light '{}'", lesson.light)
    };
    let file = &lesson.origin.file;
    if lesson.colours.is_empty() {
        say::print_wrapped(&format!("{file}: no colour learned"), 4)?;
    } else {
        say::print_wrapped(
            &format!("{file}: learned {}, {light}", lesson.in_words()),
            4,
        )?;
        tell_pieces(lesson, figures)?;
    }
    for colour in &lesson.colours {
        if let Some(near) = &colour.near {
            let how_near = if figures {
                format!("{:.1} dE00 from {}", near.de00, near.name)
            } else {
                format!("looks like {}", near.name)
            };
            say::print_wrapped(
                &format!(
                    "  look: {} is new and {how_near}; if they are one colour, take this back and call it that",
                    colour.name
                ),
                4,
            )?;
        }
    }
    for left in &lesson.left_out {
        let look = if left.why.is_doubtful() { "look: " } else { "" };
        say::print_wrapped(
            &format!(
                "  {look}piece {}, {}, left out: {}",
                left.piece, left.colour, left.why
            ),
            4,
        )?;
    }
    if lesson.left_out.iter().any(|left| left.why.is_doubtful()) {
        say::print_wrapped(
            "  if such a piece has its name by right, its light is another: teach that colour by a photo in it",
            4,
        )?;
    }
    if lesson.colours.is_empty() {
        return Ok(());
    }
    say::print(&format!(
        "  to take it back: cuptally teach --forget {}",
        crate::stock::shell::quoted_path(path)
    ))
}

/// By which pieces each colour was learned; with figures, what was measured too.
fn tell_pieces(lesson: &Lesson, figures: bool) -> Result<(), Failure> {
    let listed = |colour: &Learned| -> String {
        let pieces: Vec<String> = colour.pieces.iter().map(u32::to_string).collect();
        pieces.join(", ")
    };
    if !figures {
        for colour in &lesson.colours {
            let pieces = if colour.pieces.len() == 1 {
                "piece"
            } else {
                "pieces"
            };
            let line = format!("  {}: by {pieces} {}", colour.name, listed(colour));
            say::print_wrapped(&line, 4)?;
        }
        return Ok(());
    }
    let mut table = say::table(&[
        ("colour", Column::Text),
        ("pieces", Column::Text),
        ("L*", Column::Number),
        ("a*", Column::Number),
        ("b*", Column::Number),
    ]);
    for (colour, swatch) in lesson.colours.iter().zip(lesson.swatches()) {
        let [l, a, b] = swatch.middle().map(|v| format!("{v:.1}"));
        table.add_row([&colour.name, &listed(colour), &l, &a, &b]);
    }
    say::print_table(&table)
}

/// What was taken back, for programs.
#[derive(Serialize)]
struct Gone {
    photo: Photo,
    colours: Vec<String>,
}

fn forget(paths: &[PathBuf], json: bool, home: &Path) -> Result<Outcome, Failure> {
    let book = home::swatches(home)?;
    let origins: Vec<Origin> = paths
        .iter()
        .map(|path| origin(path, &book))
        .collect::<Result<_, _>>()?;
    let mut gone = Vec::new();
    for origin in &origins {
        let colours = feed::forget(home, &origin.photo)?
            .into_iter()
            .map(|swatch| swatch.name);
        gone.push(Gone {
            photo: Photo::of(origin),
            colours: colours.collect(),
        });
    }
    if json {
        say::print_json(&gone)?;
        return Ok(Outcome::Done);
    }
    let left = home::swatches(home)?;
    for Gone { photo, colours } in &gone {
        say::print(&format!("{}: took back {}", photo.file, colours.join(", ")))?;
        let unknown: Vec<&str> = (colours.iter().map(String::as_str))
            .filter(|name| !left.names().contains(name))
            .collect();
        if !unknown.is_empty() {
            say::print(&format!("  not taught any more: {}", unknown.join(", ")))?;
        }
    }
    say::print(&format!("kept: {}", swatches::path(home).display()))?;
    Ok(Outcome::Done)
}

/// The photo that something was learned from, named by its sheet or, as that may be gone, by its own
/// file's name.
fn origin(path: &Path, book: &SwatchBook) -> Result<Origin, Failure> {
    let origins = book.origins();
    let is_named = |origin: &&&Origin| {
        [&origin.file, &origin.photo]
            .iter()
            .any(|text| Path::new(text) == path)
    };
    let named: Vec<&&Origin> = origins.iter().filter(is_named).collect();
    let found = match named.as_slice() {
        [one] => Some(*one),
        [] if path.exists() => {
            let hash = inbox::read_sheet(path)?.photos.first.hash;
            origins.iter().find(|origin| origin.photo == hash)
        }
        [] => None,
        _ => {
            return Err(Failure::wrong_use(format!(
                "something was learned from several photos called {}; name the sheet, or the photo's hash as swatches.json has it",
                path.display()
            )));
        }
    };
    found.map(|origin| (*origin).clone()).ok_or_else(|| {
        Failure::failed(format!(
            "nothing was learned from {}; the photos that something was learned from stand in {}, under `from`",
            path.display(),
            swatches::path(Path::new("")).display()
        ))
    })
}
