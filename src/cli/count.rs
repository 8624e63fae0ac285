//! `cuptally count`: photos in, sheets and marked-up pictures out.

use std::path::{Path, PathBuf};

use super::look;
use super::say::{self, Progress};
use super::{Context, Failure, Outcome, home};
use crate::colour::SwatchBook;
use crate::count::record::HomeMap;
use crate::count::weigh::{Masses, Reading};
use crate::photo::Photo;
use crate::pieces::{ANY, ExpectError, Search, Shapes};
use crate::pipeline::{self, Targets};
use crate::sheet::SURE;
use crate::sheet::advice::UNTAUGHT;
use crate::sheet::marked;
use crate::sheet::{LightFile, Sheet, drift_warnings, light_on};
use crate::stock::inbox::SHEET_ENDING;
use crate::stock::kind::Name;

mod expect;
mod folders;
mod keep;
mod scale;
mod tell;
mod together;

use keep::{Files, Kept};

/// Arguments of `cuptally count`.
#[derive(clap::Args)]
pub struct Args {
    /// Photos of a tray with the card beside the pieces, or folders of them.
    #[arg(value_name = "PHOTO", required = true)]
    photos: Vec<PathBuf>,

    /// What kind of pieces lie on the tray: brick, plate, tile, or another form of the list of shapes; of any, what cannot be told apart is doubtful.
    #[arg(long, value_name = "FORM", default_value = ANY)]
    form: String,

    /// What the cup can hold, where that is known: only these are looked for, such as `--expect "plate 2x4, plate 1x2"`; a size or a form alone will do, and so will a file that lists them.
    #[arg(long, value_name = "FILE|PIECES", value_delimiter = ',')]
    expect: Vec<String>,

    /// The photos are of one tray at rest, taken from two places or more: count them into one sheet, which knows more than each of them alone.
    #[arg(long)]
    together: bool,

    /// Where these pieces live (a cup, a drawer); kept in the sheets for `post`.
    #[arg(long, value_name = "NAME", value_parser = Name::new)]
    place: Option<Name>,

    /// Name of the light that is on: warns when it is not as `calibrate` measured it [default: the nearest measured one].
    #[arg(long, value_name = "NAME")]
    light: Option<String>,

    /// The photos are of the sample pieces: know their colours, which come along, instead of those that were taught.
    #[arg(long, conflicts_with_all = ["light", "card"])]
    sample_colours: bool,

    /// Which measured copy of the card lies on the tray, where several were measured.
    #[arg(long, value_name = "COPY")]
    card: Option<String>,

    /// The taught colours are all there are: no piece is doubted as one of a colour that nobody taught, or called by a general name.
    #[arg(long)]
    only_taught: bool,

    /// What the pieces of this one photo weigh together, as the scale shows it: tells whether the count agrees.
    #[arg(long, value_name = "GRAMS", allow_negative_numbers = true)]
    grams: Option<Reading>,

    /// Folder for sheets and pictures [default: `sheets` in the home folder].
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,

    /// Count a photo anew whose sheet a person put right; that sheet is put aside.
    #[arg(long)]
    again: bool,

    /// Print every kind and every doubt; without it a photo takes some ten lines.
    #[arg(long)]
    all: bool,

    /// Print the sheets as JSON and nothing else.
    #[arg(long)]
    json: bool,

    /// Say on stderr how long each stage took.
    #[arg(long)]
    timings: bool,
}

/// A counted photo with where its files lie.
pub struct Counted {
    /// The sheet.
    pub sheet: Sheet,
    /// `NAME.sheet.json`.
    pub sheet_path: PathBuf,
    /// `NAME.marked.jpg`.
    pub marked_path: PathBuf,
    /// The marked pictures of further photos of the tray, `NAME.marked-2.jpg` and so on.
    pub further_paths: Vec<PathBuf>,
}

/// What the user wants looked for.
///
/// # Errors
/// When a form or a piece is none of the list, or a file of them cannot be used.
fn search(args: &Args, shapes: Shapes, colours: &[&str]) -> Result<Search, Failure> {
    let wrong = |error: ExpectError| Failure::wrong_use(error.to_string());
    let search = Search::called(shapes, &args.form).map_err(wrong)?;
    let expected = expect::expected(&args.expect, shapes, colours)?;
    search.expecting(&expected).map_err(wrong)
}

/// Counts every photo; one bad photo does not stop the others.
///
/// # Errors
/// When a photo could not be counted or written; the others are done all the same.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    let photos = folders::photos(&args.photos)?;
    if args.together {
        together::check(&photos)?;
    } else {
        scale::one_photo(args.grams, photos.len())?;
    }
    let shapes = home::shapes(&context.home)?;
    let known = if args.sample_colours {
        Known::sample()?
    } else {
        Known {
            book: home::swatches(&context.home)?,
            targets: home::targets(&context.home, args.card.as_deref())?,
            lights: home::known_lights(&context.home, args.light.as_deref())?,
            record: home::record(&context.home),
        }
    };
    if args.only_taught && known.book.names().is_empty() {
        return Err(Failure::wrong_use(
            "no colour was taught, so none can be all there are; teach yours with `cuptally teach`, or leave --only-taught out",
        ));
    }
    let out = args
        .out
        .clone()
        .unwrap_or_else(|| context.home.join("sheets"));
    let order = Order {
        search: &search(args, shapes, &known.book.names())?,
        known: &known,
        only_taught: args.only_taught,
        place: args.place.as_ref(),
        out: &out,
        again: args.again,
    };
    let masses = scale::masses(args.grams, &context.home, shapes)?;
    let scale = args.grams.map(|grams| (grams, &masses));
    let progress = Progress::of(photos.len());
    let mut counted: Vec<Counted> = Vec::new();
    let mut failures: Vec<Failure> = Vec::new();
    if args.together {
        let one = together::count(&photos, &order, scale, &progress)?;
        if !args.json {
            progress.pause(|| tell::tell(&one, args.all))?;
        }
        counted.push(one);
        if args.timings {
            let lines = progress.timings().join("\n");
            progress.pause(|| say::note(&format!("time taken\n{lines}")));
        }
    }
    for path in photos.iter().filter(|_| !args.together) {
        progress.begin(path);
        match count_one(path, &order, scale, &progress) {
            Ok(one) => {
                if !args.json {
                    progress.pause(|| tell::tell(&one, args.all))?;
                }
                counted.push(one);
            }
            Err(failure) => failures.push(failure),
        }
        if args.timings {
            let lines = progress.timings().join("\n");
            progress.pause(|| say::note(&format!("time taken\n{lines}")));
        }
        progress.done();
    }
    drop(progress);
    if args.json {
        let sheets: Vec<&Sheet> = counted.iter().map(|c| &c.sheet).collect();
        say::print_json(&sheets)?;
    } else {
        tell::sum_up(&counted, args.all, &out, context)?;
    }
    let needs_a_look = counted.iter().any(|c| needs_a_look(&c.sheet));
    match failures.len() {
        0 if needs_a_look => Ok(Outcome::NeedsALook),
        0 => Ok(Outcome::Done),
        1 => Err(failures.remove(0)),
        n => {
            for failure in &failures {
                say::note(&failure.to_string());
            }
            Err(Failure::failed(format!(
                "{n} of {} photos could not be counted",
                photos.len()
            )))
        }
    }
}

/// What was taught and measured before.
pub struct Known {
    book: SwatchBook,
    targets: Targets,
    lights: Vec<LightFile>,
    record: Option<HomeMap>,
}

impl Known {
    /// What comes along of the sample pieces. Their card is the nominal one, and they are photographed in more lights
    /// than were measured, so that none is compared with those.
    ///
    /// # Errors
    /// When what was built in is damaged.
    pub fn sample() -> Result<Self, Failure> {
        Ok(Self {
            book: home::sample::swatches()?,
            targets: Targets::nominal(),
            lights: Vec::new(),
            record: None,
        })
    }
}

/// How photos are to be counted.
pub struct Order<'a> {
    /// What is looked for.
    pub search: &'a Search,
    /// What was taught and measured.
    pub known: &'a Known,
    /// Whether the taught colours are all there are.
    pub only_taught: bool,
    /// Where the pieces live.
    pub place: Option<&'a Name>,
    /// Where the files go.
    pub out: &'a Path,
    /// Whether to count anew what a person put right.
    pub again: bool,
}

/// Counts a photo and writes its files.
///
/// # Errors
/// When the photo cannot be read, measured or weighed, or the files cannot be written.
pub fn count_one(
    path: &Path,
    order: &Order,
    scale: Option<(Reading, &Masses)>,
    progress: &Progress,
) -> Result<Counted, Failure> {
    let photo = look::open(path)?;
    let stem = stem(path);
    let files = Files {
        out: order.out,
        stem: &stem,
        hash: &photo.hash,
        again: order.again,
    };
    files.refuse_corrected()?;
    let Known {
        book,
        targets,
        lights,
        record,
    } = order.known;
    let told = |stage| progress.stage(stage);
    let scene = pipeline::measure(&photo, targets, &told).map_err(|e| look::trouble(path, &e))?;
    let colours = pipeline::Known {
        book: Some(book),
        only_taught: order.only_taught,
        record: record.as_ref(),
    };
    let mut sheet = pipeline::count_scene(&photo, &scene, targets, order.search, &colours, &told);
    complete(&mut sheet, &scene, order, lights);
    if let Some((grams, masses)) = scale {
        scale::weigh(&mut sheet, masses, order.search, grams)
            .map_err(|error| look::fault(path, &error))?;
    }
    progress.say("drawing the picture");
    write(&[(&photo, path)], sheet, &files, progress)
}

/// What a sheet has beside what its photo shows.
fn complete(sheet: &mut Sheet, scene: &pipeline::Scene, order: &Order, lights: &[LightFile]) {
    let patches = pipeline::patch_reports(scene);
    let drifted = drift_warnings(lights, &patches);
    sheet.light = light_on(lights, &patches).map(str::to_owned);
    sheet.warnings.extend(drifted);
    sheet.place = order.place.map(ToString::to_string);
}

/// Writes a sheet, and what it says over each of its photos.
fn write(
    photos: &[(&Photo, &Path)],
    sheet: Sheet,
    files: &Files,
    progress: &Progress,
) -> Result<Counted, Failure> {
    let pictures = (1..)
        .zip(photos)
        .map(|(number, (photo, _))| {
            let picture = marked::marked(&photo.pixels, &sheet.in_photo(number))?;
            Ok(marked::to_jpeg(&picture, &photo.file)?)
        })
        .collect::<Result<Vec<Vec<u8>>, Failure>>()?;
    let paths = photos.iter().map(|(_, path)| *path);
    let sheet = located(sheet, paths, files.out);
    let mut text = serde_json::to_string_pretty(&sheet)?;
    text.push('\n');
    let Kept { name, note } = files.write(text.as_bytes(), &pictures)?;
    if let Some(note) = note {
        progress.pause(|| say::note(&note));
    }
    Ok(Counted {
        sheet,
        sheet_path: files.out.join(format!("{name}{SHEET_ENDING}")),
        marked_path: files.out.join(keep::picture_name(&name, 1)),
        further_paths: (2..=pictures.len())
            .map(|number| files.out.join(keep::picture_name(&name, number)))
            .collect(),
    })
}

/// Notes in the sheet where its photos are, seen from the sheet's folder: the review page
/// shows them from there. Where that cannot be told, the review looks beside the sheet.
fn located<'a>(mut sheet: Sheet, photos: impl Iterator<Item = &'a Path>, out: &Path) -> Sheet {
    let whole = |path: &Path| std::path::absolute(path).ok();
    // Links are followed as far as the way exists, so that `..` leads where it seems to.
    let real = |path: PathBuf| {
        let there = path.ancestors().find_map(|above| {
            let real = above.canonicalize().ok()?;
            Some(real.join(path.strip_prefix(above).ok()?))
        });
        there.unwrap_or(path)
    };
    let out = whole(out).map(real);
    for (photo, of) in photos.zip(sheet.photos.each_mut()) {
        of.path = (whole(photo).map(real))
            .zip(out.as_ref())
            .and_then(|(photo, out)| pathdiff::diff_paths(photo, out))
            .and_then(|path| Some(path.to_str()?.replace(std::path::MAIN_SEPARATOR, "/")));
    }
    sheet
}

/// Whether a person should look before relying on a sheet.
pub fn needs_a_look(sheet: &Sheet) -> bool {
    sheet.pieces.iter().any(|p| p.sure < SURE) || sheet.warnings.iter().any(|w| w.code != UNTAUGHT)
}

fn stem(path: &Path) -> String {
    path.file_stem()
        .unwrap_or(path.as_os_str())
        .to_string_lossy()
        .into_owned()
}
