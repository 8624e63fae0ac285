//! `cuptally demo`: the main job on the shipped photos, from counting to what the stock covers.

mod folder;

use std::path::{Path, PathBuf};

use serde::Serialize;

pub use folder::MARK;
use folder::State;

use super::atomic::write_files;
use super::count::{self, Counted, Known, Order};
use super::home::choose::{Home, MARKER, MARKER_TEXT, Why};
use super::home::sample;
use super::{Context, Failure, Outcome, cover, post, say, stock};
use crate::colour::SwatchBook;
use crate::cover::report::Report as Cover;
use crate::pieces::{Form, Search, Shapes};
use crate::sheet::SURE;
use crate::stock::kind::Name;

/// Arguments of `cuptally demo`.
#[derive(clap::Args)]
pub struct Args {
    /// Folder for everything that the demo makes; it must be new or a former demo's.
    #[arg(long, value_name = "DIR", default_value = "cuptally-demo")]
    out: PathBuf,

    /// Folder with the sample photos [default: sample-photos/tune of the project].
    #[arg(long, value_name = "DIR")]
    photos: Option<PathBuf>,

    /// Print what was counted, posted and covered as JSON and nothing else.
    #[arg(long)]
    json: bool,
}

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
const PLAN: (&str, &str) = (
    "ramp.plan.csv",
    include_str!("../../docs/examples/harbour/ramp.plan.csv"),
);

/// What `--json` prints.
#[derive(Serialize)]
struct Report<'a> {
    demo: &'static str,
    /// The home folder that it made.
    home: &'a Path,
    /// How many colours it knew.
    colours: usize,
    photos: Vec<Photo<'a>>,
    posted: post::Report,
    cover: Cover,
}

/// A counted photo.
#[derive(Serialize)]
struct Photo<'a> {
    file: &'a str,
    place: Option<&'a str>,
    pieces: usize,
    sure: usize,
    sheet: &'a Path,
    picture: &'a Path,
}

/// Runs the demo.
///
/// # Errors
/// When the sample photos are not there, the folder is somebody else's, or a
/// step fails.
pub fn run(args: &Args, given: &Context) -> Result<Outcome, Failure> {
    if given.is_named() {
        return Err(Failure::wrong_use(
            "the demo makes a home folder of its own; leave --home out, and name that folder with --out",
        ));
    }
    let photos = match &args.photos {
        Some(folder) => folder.clone(),
        None => sample_photos()?,
    };
    all_there(&photos)?;
    folder::begin(&args.out)?;
    begin_home(&args.out)?;
    let context = Context::new(Home {
        folder: args.out.clone(),
        why: Why::Named,
    });
    sample::keep(&context.home)?;
    folder::seal(&context.home, State::Begun)?;
    let counted = count_cups(&photos, &context.home)?;
    let sheets: Vec<PathBuf> = counted.iter().map(|c| c.sheet_path.clone()).collect();
    let sheets = post::Args::plain(sheets);
    let plan = cover::Args::plain(context.home.join(PLAN.0));
    if args.json {
        let posted = post::post(&sheets, &context)?;
        folder::seal(&context.home, State::Done)?;
        say::print_json(&Report {
            demo: "v1",
            home: &context.home,
            colours: sample::swatches()?.names().len(),
            photos: counted.iter().map(photo).collect(),
            posted,
            cover: cover::report(&plan, &context)?,
        })?;
        return Ok(Outcome::Done);
    }
    tell(&counted, &sample::swatches()?)?;
    post::run(&sheets, &context)?;
    folder::seal(&context.home, State::Done)?;
    say::print("")?;
    stock::totals(&context)?;
    say::print_wrapped(
        &format!(
            "\n`{}` shows every kind of piece. What the stock covers of ramp.plan.csv, three ferry ramps:",
            context.call("stock")
        ),
        0,
    )?;
    say::print("")?;
    cover::run(&plan, &context)?;
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

fn count_cups(photos: &Path, home: &Path) -> Result<Vec<Counted>, Failure> {
    let (known, out) = (Known::sample()?, home.join("sheets"));
    let progress = say::Progress::of(CUPS.len());
    let mut counted = Vec::with_capacity(CUPS.len());
    for (number, (photo, form, place)) in CUPS.into_iter().enumerate() {
        let path = file_of(photos, photo);
        progress.begin(&path);
        if !progress.is_seen() {
            let number = number + 1;
            say::note(&format!("counting {photo}.jpg, {number} of {}", CUPS.len()));
        }
        let order = Order {
            search: &Search::of_form(Shapes::shipped(), form),
            known: &known,
            only_taught: false,
            place: Some(&Name::new(place)?),
            out: &out,
            again: false,
        };
        counted.push(count::count_one(&path, &order, None, &progress)?);
        folder::seal(home, State::Begun)?;
        progress.done();
    }
    Ok(counted)
}

fn photo(counted: &Counted) -> Photo<'_> {
    let pieces = &counted.sheet.pieces;
    Photo {
        file: &counted.sheet.photos.first.file,
        place: counted.sheet.place.as_deref(),
        pieces: pieces.len(),
        sure: pieces.iter().filter(|piece| piece.sure >= SURE).count(),
        sheet: &counted.sheet_path,
        picture: &counted.marked_path,
    }
}

fn tell(counted: &[Counted], book: &SwatchBook) -> Result<(), Failure> {
    let lights = book.lights().len();
    say::print_wrapped(
        &format!(
            "Knows the colours of the sample pieces: {} names, taught in {} (calibration/README.md).",
            book.names().len(),
            say::plural(lights, "light", "lights")
        ),
        2,
    )?;
    say::print("Counted the sample photos (rendered, see sample-photos/README.md):")?;
    for Photo {
        file, pieces, sure, ..
    } in counted.iter().map(photo)
    {
        say::print(&format!(
            "  {file:34} {pieces:3} pieces, {sure:3} sure, {:2} to look at",
            pieces - sure
        ))?;
    }
    say::print("")
}

/// The project's own photos: beside the working folder, or where cargo says the project is.
///
/// # Errors
/// When they are at neither.
pub fn sample_photos() -> Result<PathBuf, Failure> {
    let below = Path::new("sample-photos").join("tune");
    let project = std::env::var_os("CARGO_MANIFEST_DIR").map(PathBuf::from);
    [Some(PathBuf::from(".")), project]
        .into_iter()
        .flatten()
        .map(|folder| folder.join(&below))
        .find(|folder| folder.is_dir())
        .ok_or_else(|| {
            Failure::failed(
                "the demo counts the sample photos of the source code, and there is no folder sample-photos/tune here; run it in the folder that the program was built from, or name the folder sample-photos/tune of it with --photos",
            )
        })
}

fn file_of(photos: &Path, name: &str) -> PathBuf {
    photos.join(format!("{name}.jpg"))
}

/// Before anything is made or made anew: that every photo is there.
fn all_there(photos: &Path) -> Result<(), Failure> {
    let missing = |(name, ..): &&(&str, Form, &str)| !file_of(photos, name).is_file();
    match CUPS.iter().find(missing) {
        None => Ok(()),
        Some((name, ..)) => Err(Failure::failed(format!(
            "there is no {name}.jpg in the folder {}; name the folder sample-photos/tune of the source code with --photos",
            photos.display()
        ))),
    }
}

/// Makes the folder a home, with the plan in it: whoever goes on there works with its stock and colours.
fn begin_home(folder: &Path) -> Result<(), Failure> {
    let files = [
        (MARKER, MARKER_TEXT.as_bytes()),
        (PLAN.0, PLAN.1.as_bytes()),
    ];
    write_files(folder, &files)?;
    Ok(())
}
