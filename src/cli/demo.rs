//! `cuptally demo`: the main job on the shipped photos, from teaching to the stock table.

use std::path::{Path, PathBuf};

use serde::Deserialize;

use super::count::{self, Counted};
use super::look;
use super::{Context, Failure, Outcome, cover, post, say, stock, teach};
use crate::colour::SwatchBook;
use crate::pieces::{Form, Search, Shapes};
use crate::pipeline::Targets;

/// Arguments of `cuptally demo`.
#[derive(clap::Args)]
pub struct Args {
    /// Folder for everything that the demo makes; it must be new or a former demo's.
    #[arg(long, value_name = "DIR", default_value = "cuptally-demo")]
    out: PathBuf,

    /// Folder with the sample photos [default: sample-photos/tune of the project].
    #[arg(long, value_name = "DIR")]
    photos: Option<PathBuf>,
}

/// The photos that teach the colours, and the light each shows.
const TEACH: [(&str, &str); 2] = [
    ("teach-daylight-24", "daylight"),
    ("teach-warm-led-24", "evening-lamp"),
];

/// The club's cups: photo, form, and where the pieces live. Our own scenario: a
/// club that builds a tidal harbour.
const CUPS: [(&str, Form, &str); 6] = [
    (
        "plates-sorted-d65-window-48",
        Form::PLATE,
        "cup 1, quay decks",
    ),
    ("plates-sorted-d50-42", Form::PLATE, "cup 2, quay decks"),
    ("bricks-sorted-fl2-36", Form::BRICK, "cup 3, sea wall"),
    ("bricks-display-p3-32", Form::BRICK, "cup 4, warehouses"),
    ("tiles-sorted-led-b3-55", Form::TILE, "cup 5, wet paving"),
    ("plates-stored-turned-40", Form::PLATE, "cup 6, ferry ramp"),
];

/// What the club wants to build of it.
const PLAN: &str = include_str!("../../docs/examples/harbour/ramp.plan.csv");

/// Marks a folder as made by the demo, so that it may be made anew.
pub const MARK: &str = "made-by-cuptally-demo";

#[derive(Deserialize)]
struct Names {
    names: Vec<String>,
}

/// Runs the demo.
///
/// # Errors
/// When the sample photos are not there, the folder is somebody else's, or a
/// step fails.
pub fn run(args: &Args, given: &Context) -> Result<Outcome, Failure> {
    if given.named {
        return Err(Failure::wrong_use(
            "the demo makes a home folder of its own; leave --home out, and name that folder with --out",
        ));
    }
    let photos = match &args.photos {
        Some(folder) => folder.clone(),
        None => sample_photos()?,
    };
    fresh_folder(&args.out)?;
    let context = Context {
        home: args.out.clone(),
        named: true,
    };
    let progress = say::Progress::of(TEACH.len() + CUPS.len());
    let shapes = Shapes::shipped();
    let mut book = SwatchBook::default();
    for (photo, light) in TEACH {
        let path = photos.join(format!("{photo}.jpg"));
        progress.begin(&path);
        let names = taught_names(&photos.join(format!("{photo}.json")))?;
        let (lesson, _) = teach::learn(
            &path,
            &names,
            light,
            &teach::each_form(shapes),
            &Targets::nominal(),
            &progress,
        )?;
        book.learn(&lesson)?;
        progress.done();
    }
    teach::keep(&context.home, &book)?;

    let sheets = context.home.join("sheets");
    let mut counted: Vec<Counted> = Vec::new();
    for (photo, form, place) in CUPS {
        let path = photos.join(format!("{photo}.jpg"));
        progress.begin(&path);
        let open = look::open(&path)?;
        counted.push(count::count_open(
            &open,
            &path,
            &Search::of_form(shapes, form),
            place,
            &book,
            &sheets,
            &progress,
        )?);
        progress.done();
    }
    drop(progress);

    say::print("Counted the sample photos (rendered, see sample-photos/README.md):")?;
    for one in &counted {
        let sure = one
            .sheet
            .pieces
            .iter()
            .filter(|p| p.sure >= crate::sheet::SURE)
            .count();
        say::print(&format!(
            "  {:34} {:3} pieces, {:3} sure, {:2} to look at",
            one.sheet.photo.file,
            one.sheet.pieces.len(),
            sure,
            one.sheet.pieces.len() - sure
        ))?;
    }
    say::print("")?;
    let paths: Vec<PathBuf> = counted.iter().map(|c| c.sheet_path.clone()).collect();
    post::run(&post::Args::plain(paths), &context)?;
    say::print("")?;
    stock::run(&stock::Args::by_colour(), &context)?;
    say::print("\nWhat the stock covers of ramp.plan.csv, three ferry ramps:\n")?;
    let plan = context.home.join("ramp.plan.csv");
    std::fs::write(&plan, PLAN).map_err(|e| {
        Failure::failed(format!(
            "cannot write {}: {e}; name another folder with --out",
            plan.display()
        ))
    })?;
    cover::run(&cover::Args::plain(plan), &context)?;
    say::print("\nOpen these pictures to see what was counted and what is doubtful:")?;
    for one in &counted {
        say::print(&format!("  {}", one.marked_path.display()))?;
    }
    say::print(&format!(
        "\nPut right what is doubtful, in the browser: {}",
        context.call("review")
    ))?;
    Ok(Outcome::Done)
}

/// The project's own photos: beside the working folder, or where cargo says the project is.
fn sample_photos() -> Result<PathBuf, Failure> {
    let below = Path::new("sample-photos").join("tune");
    let project = std::env::var_os("CARGO_MANIFEST_DIR").map(PathBuf::from);
    [Some(PathBuf::from(".")), project]
        .into_iter()
        .flatten()
        .map(|folder| folder.join(&below))
        .find(|folder| folder.is_dir())
        .ok_or_else(|| {
            Failure::failed(
                "the sample photos are not here; run the demo in the project's folder, or name their folder with --photos",
            )
        })
}

fn taught_names(path: &Path) -> Result<Vec<String>, Failure> {
    let text = std::fs::read_to_string(path).map_err(|e| {
        Failure::failed(format!(
            "cannot read {}: {e}; name the folder of the sample photos with --photos",
            path.display()
        ))
    })?;
    let names: Names = serde_json::from_str(&text).map_err(|e| {
        Failure::failed(format!(
            "{} does not list the colours' names: {e}",
            path.display()
        ))
    })?;
    Ok(names.names)
}

/// Makes the folder anew; one that the demo did not make is left alone.
fn fresh_folder(folder: &Path) -> Result<(), Failure> {
    let failed = |e: std::io::Error| {
        Failure::failed(format!(
            "cannot make the folder {}: {e}; name another with --out",
            folder.display()
        ))
    };
    if folder.exists() {
        if !folder.join(MARK).is_file() {
            return Err(Failure::failed(format!(
                "{} exists and was not made by the demo; name another folder with --out",
                folder.display()
            )));
        }
        std::fs::remove_dir_all(folder).map_err(failed)?;
    }
    std::fs::create_dir_all(folder).map_err(failed)?;
    std::fs::write(
        folder.join(MARK),
        "This folder is made anew by `cuptally demo`.\n",
    )
    .map_err(failed)
}
