//! `cuptally post`: merge counted sheets into the stock file.

use super::stock::{self as say, ChangeError, ModeArgs};
use super::{Context, Failure, Outcome, author};
use crate::stock::alike::Alike;
use crate::stock::file::{Purpose, StockFile};
use crate::stock::incoming::from_sheet;
use crate::stock::kind::{Label, Name};
use crate::stock::merge::{self, Incoming, Posted};
use crate::stock::view::{By, Numbers, view};
use crate::stock::{Stock, inbox};
use serde::Serialize;
use std::path::PathBuf;

/// Arguments of `cuptally post`.
#[derive(clap::Args)]
pub struct Args {
    /// Sheet files, as `cuptally count` writes them, or folders of them; of a folder those are left out
    /// that were posted before.
    #[arg(value_name = "SHEET", required = true)]
    sheets: Vec<PathBuf>,

    /// Where the pieces live (a cup, a drawer); goes before what the sheets say.
    #[arg(long, value_name = "NAME", value_parser = Name::new)]
    place: Option<Name>,

    #[command(flatten)]
    mode: ModeArgs,

    /// Leave out photos that were posted before, instead of refusing them.
    #[arg(long, conflicts_with = "recount")]
    skip_posted: bool,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

impl Args {
    /// As `cuptally post SHEET...` without options.
    pub fn plain(sheets: Vec<PathBuf>) -> Self {
        Self {
            sheets,
            place: None,
            mode: ModeArgs::default(),
            skip_posted: false,
            json: false,
        }
    }
}

/// What was posted, and what it made of the places.
#[derive(Serialize)]
pub struct Report {
    entry: Option<u64>,
    places: Vec<Place>,
    skipped: Vec<String>,
    /// Sheets that look like the tray of another posted photo.
    alike: Vec<Alike>,
}

#[derive(Serialize)]
struct Place {
    name: Name,
    sheets: usize,
    /// Sheets of this post that nobody has looked at.
    unchecked: usize,
    #[serde(flatten)]
    now: Numbers,
}

/// Runs the command.
///
/// # Errors
/// When a sheet is no good, its photo was posted before, or the stock cannot be
/// written; nothing is posted then.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    let report = post(args, context)?;
    let told = if args.json {
        say::print_json(&report)
    } else {
        tell(&report)
    };
    match report.entry {
        Some(entry) => say::stands(say::entry(entry), told)?,
        None => told?,
    }
    for alike in &report.alike {
        point_out(alike, report.entry, context);
    }
    let unchecked: usize = report.places.iter().map(|place| place.unchecked).sum();
    match report.entry {
        Some(entry) if unchecked > 0 => {
            let sheets = say::plural(unchecked, "sheet is", "sheets are");
            say::note(&format!(
                "{sheets} pending until a person has looked: put them right with `{}`, or take \
                 them as counted, doubt and all, with `{}`",
                context.call("review"),
                context.call(&format!("stock confirm {entry}"))
            ));
            Ok(Outcome::NeedsALook)
        }
        _ if report.alike.is_empty() => Ok(Outcome::Done),
        _ => Ok(Outcome::NeedsALook),
    }
}

/// Posts, and says on stderr what was left out or looks alike.
///
/// # Errors
/// As [`run`].
pub fn post(args: &Args, context: &Context) -> Result<Report, Failure> {
    let stamp = author::stamp(context, true)?;
    let sheets = files(&args.sheets)?
        .iter()
        .map(|(path, is_named)| {
            let sheet = inbox::read_sheet(path)?;
            let from = Label::new(&path.to_string_lossy());
            let mut sheet = from_sheet(&sheet, &from, args.place.as_ref())?;
            sheet.may_be_posted =
                args.skip_posted || !is_named && args.mode.mode() != Some(merge::Mode::Recount);
            Ok(sheet)
        })
        .collect::<Result<Vec<Incoming>, Failure>>()?;
    let mode = args.mode.mode();
    let (posted, report) = StockFile::in_home(&context.home)
        .update(Purpose::Bring, &mut say::waiting, |stock| {
            let posted = merge::post(stock, &sheets, mode, &stamp)?;
            let report = report(stock, &posted);
            Ok::<_, ChangeError>((posted, report))
        })
        .map_err(ChangeError::failure)?;
    let report = report?;
    for (from, entry) in &posted.skipped {
        say::note(&format!(
            "left out {from}: its photo was posted by entry {entry}"
        ));
    }
    if let Some(recorded) = &posted.recorded {
        say::lookalikes(recorded, context);
    }
    Ok(report)
}

/// The files that are meant, and whether they were named one by one rather than with their folder.
fn files(named: &[PathBuf]) -> Result<Vec<(PathBuf, bool)>, Failure> {
    let mut files = Vec::new();
    for path in named {
        if !path.is_dir() {
            files.push((path.clone(), true));
            continue;
        }
        let sheets = inbox::sheets_in(path)?;
        if sheets.is_empty() {
            return Err(Failure::failed(format!(
                "there is no sheet in {}; count a photo first, or name the sheets",
                path.display()
            )));
        }
        files.extend(sheets.into_iter().map(|path| (path, false)));
    }
    Ok(files)
}

/// Says that pieces may have been counted twice. They were posted: only the user
/// knows whether the tray was filled anew in between.
fn point_out(alike: &Alike, entry: Option<u64>, context: &Context) {
    let Alike {
        sheet,
        photo,
        place,
        entry: other,
        common,
    } = alike;
    let by = if entry == Some(*other) {
        "of this post".to_owned()
    } else {
        format!("posted by entry {other}")
    };
    say::note(&format!(
        "look: {sheet} seems to show the same tray as {photo} ({place}), {by}: {} of {} pieces lie in \
         the same spots. If these are the same pieces they now count twice; take it back with \
         `{}`",
        common.same,
        common.of,
        context.call(&format!("stock undo {}", entry.unwrap_or_default())),
    ));
}

/// What the post did to each place.
fn report(stock: &Stock, posted: &Posted) -> Result<Report, Failure> {
    let entry = posted.recorded.as_ref().map(|recorded| recorded.entry);
    let mut places = Vec::new();
    if let Some(entry) = entry.and_then(|number| stock.entry(number)) {
        for place in entry.places() {
            let sheets = || entry.sheets.iter().filter(|sheet| sheet.place == *place);
            places.push(Place {
                name: place.clone(),
                sheets: sheets().count(),
                unchecked: sheets().filter(|sheet| !sheet.checked).count(),
                now: view(&stock.contents.only(place), By::Place, "")?.total,
            });
        }
    }
    let skipped = posted.skipped.iter().map(|(from, _)| from.to_string());
    Ok(Report {
        entry,
        places,
        skipped: skipped.collect(),
        alike: posted.alike.clone(),
    })
}

fn tell(report: &Report) -> Result<(), Failure> {
    let Some(entry) = report.entry else {
        return say::print("Nothing was posted: every photo was in the stock already.");
    };
    let several = report.places.len() > 1;
    if several {
        let sheets = report.places.iter().map(|place| place.sheets).sum();
        let sheets = say::plural(sheets, "sheet", "sheets");
        say::print(&format!("Entry {entry}: {sheets} posted."))?;
    }
    for place in &report.places {
        let sheets = say::plural(place.sheets, "sheet", "sheets");
        let Numbers { checked, pending } = place.now;
        let now = match (checked.is_zero(), pending.is_zero()) {
            (_, true) => say::pieces(checked),
            (true, false) => format!("{}, pending", say::pieces(pending.unmarked())),
            (false, false) => {
                format!(
                    "{}, and {} pending",
                    say::pieces(checked),
                    pending.unmarked()
                )
            }
        };
        let told = if several {
            format!("  {}: {sheets}; it now holds {now}.", place.name)
        } else {
            format!(
                "Entry {entry}: {sheets} posted to {}, which now holds {now}.",
                place.name
            )
        };
        say::print_wrapped(&told, if several { 4 } else { 2 })?;
    }
    Ok(())
}
