//! `cuptally stock undo`, `confirm`, `check` and `restore`.

use super::history;
use super::say;
use crate::cli::{Context, Failure, Outcome, author};
use crate::stock::check::{self, Difference};
use crate::stock::confirm::{self, Which};
use crate::stock::file::{Purpose, StockFile};
use crate::stock::kind::Name;
use crate::stock::model::PendingSheet;
use crate::stock::restore::Restored;
use crate::stock::tally::Tally;
use crate::stock::undo;
use jiff::Timestamp;
use serde::Serialize;
use std::collections::BTreeSet;
use std::path::Path;

/// Arguments of `cuptally stock undo`.
#[derive(clap::Args)]
pub struct UndoArgs {
    /// The entry to undo; an undo too, which brings its change back. Default: the
    /// last change that stands.
    #[arg(value_name = "ENTRY")]
    entry: Option<u64>,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// Arguments of `cuptally stock confirm`.
#[derive(clap::Args)]
pub struct ConfirmArgs {
    /// Entries whose pending pieces are taken, or the first six or more digits of a photo's hash.
    /// Default: the pending sheet, where there is only one.
    #[arg(value_name = "ENTRY|HASH")]
    which: Vec<String>,

    /// Everything that is pending in this place.
    #[arg(long, value_name = "NAME", value_parser = Name::new)]
    place: Option<Name>,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// Arguments of `cuptally stock check`.
#[derive(clap::Args)]
pub struct CheckArgs {
    /// Where contents and history differ, keep the one and put the other right.
    #[arg(long, value_enum)]
    keep: Option<Keep>,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// Arguments of `cuptally stock restore`.
#[derive(clap::Args)]
pub struct RestoreArgs {
    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Keep {
    /// The numbers as they stand in the file (you put them right by hand).
    Contents,
    /// What the history leads to (the numbers were changed by mistake).
    History,
}

/// Undoes a change.
///
/// # Errors
/// When later changes stand on it, or the stock cannot be written.
pub fn undo(args: &UndoArgs, context: &Context) -> Result<Outcome, Failure> {
    let stamp = author::stamp(context, false)?;
    let (telling, new) = StockFile::in_home(&context.home).update(
        Purpose::Amend,
        &mut say::waiting,
        |stock| -> Result<_, Failure> {
            let undone = undo::undo(stock, args.entry, &stamp)?;
            let new = undone.recorded.entry;
            let what = match stock.entry(undone.root) {
                Some(root) => history::what(root)?,
                None => String::new(),
            };
            let sentence = if undone.stands {
                format!("Entry {new}: brought back entry {} ({what}).", undone.root)
            } else {
                format!(
                    "Entry {new}: undid entry {} ({what}). To bring it back: {}",
                    undone.root,
                    context.call(&format!("stock undo {new}"))
                )
            };
            Ok((say::telling(stock, new, args.json, sentence)?, new))
        },
    )?;
    say::stands(say::entry(new), telling.print())?;
    Ok(Outcome::Done)
}

/// Takes pending pieces as they were counted.
///
/// # Errors
/// When nothing such is pending, or the stock cannot be written.
pub fn confirm(args: &ConfirmArgs, context: &Context) -> Result<Outcome, Failure> {
    let stamp = author::stamp(context, false)?;
    let marks = args.which.iter().cloned().map(Which::Mark);
    let mut which: Vec<Which> = marks.chain(args.place.clone().map(Which::Place)).collect();
    if which.is_empty() {
        which.push(Which::Only);
    }
    let (sheets, recorded, left) = StockFile::in_home(&context.home).update(
        Purpose::Amend,
        &mut say::waiting,
        |stock| -> Result<_, Failure> {
            let (sheets, recorded) = confirm::confirm(stock, &which, &stamp)?;
            Ok((sheets, recorded, stock.contents.pending.len()))
        },
    )?;
    let entry = recorded.entry;
    let told = if args.json {
        say::print_json(&ConfirmJson {
            entry,
            taken_as_counted: &sheets,
            still_pending: left,
        })
    } else {
        tell_confirmed(entry, &sheets, context)
    };
    say::stands(say::entry(entry), told)?;
    if left > 0 {
        let sheets = say::plural(left, "sheet is", "sheets are");
        say::note(&format!(
            "{sheets} still pending; `{}` lists them",
            context.call("stock")
        ));
        return Ok(Outcome::NeedsALook);
    }
    Ok(Outcome::Done)
}

fn tell_confirmed(
    entry: u64,
    sheets: &BTreeSet<PendingSheet>,
    context: &Context,
) -> Result<(), Failure> {
    say::print(&format!(
        "Entry {entry}: taken as counted, with the range and a mark that nobody looked:"
    ))?;
    for sheet in sheets {
        say::print(&format!(
            "  {} {} from {}",
            sheet.place,
            pieces(sheet.lots.total()?.unmarked()),
            sheet.file
        ))?;
    }
    // A table has no photo to look at.
    if sheets.iter().any(|sheet| sheet.hash.is_some()) {
        say::print(&format!(
            "To look after all: {}, then {}.",
            context.call(&format!("stock undo {entry}")),
            context.call("review")
        ))?;
    }
    Ok(())
}

/// `1 piece`, `41 (40-42) pieces`.
pub fn pieces(tally: Tally) -> String {
    let one = tally.low() == 1 && tally.high() == 1;
    format!("{tally} {}", if one { "piece" } else { "pieces" })
}

#[derive(Serialize)]
struct ConfirmJson<'a> {
    entry: u64,
    taken_as_counted: &'a BTreeSet<PendingSheet>,
    still_pending: usize,
}

#[derive(Serialize)]
struct CheckJson {
    entries: usize,
    places: usize,
    differences: Vec<String>,
}

/// Recomputes the contents from the history and says where they differ.
///
/// # Errors
/// When the stock file cannot be read, or written where it was to be put right.
pub fn check(args: &CheckArgs, context: &Context) -> Result<Outcome, Failure> {
    let file = StockFile::in_home(&context.home);
    if let Some(keep) = args.keep {
        return mend(&file, keep, args.json, context);
    }
    let stock = file.read()?;
    if stock.is_none() && !args.json {
        say::nothing_yet(&file, context);
        return Ok(Outcome::Done);
    }
    let stock = stock.unwrap_or_default();
    let differences = check::differences(&stock);
    let report = CheckJson {
        entries: stock.history.len(),
        places: stock.contents.place_names().len(),
        differences: differences.iter().map(ToString::to_string).collect(),
    };
    if args.json {
        say::print_json(&report)?;
    } else if differences.is_empty() {
        say::print(&format!(
            "The contents of {} follow from {} of history.",
            say::plural(report.places, "place", "places"),
            say::plural(report.entries, "entry", "entries"),
        ))?;
    } else {
        for line in &report.differences {
            say::print(line)?;
        }
        say::note(&if history_is_broken(&differences) {
            format!(
                "the history does not fit on itself; `{}` goes back to the last good copy",
                context.call("stock restore")
            )
        } else {
            format!(
                "if you changed the numbers on purpose: {}; if not: {}",
                context.call("stock check --keep contents"),
                context.call("stock check --keep history")
            )
        });
    }
    Ok(if differences.is_empty() {
        Outcome::Done
    } else {
        Outcome::NeedsALook
    })
}

/// Puts the last good copy back.
///
/// # Errors
/// When the file is good, there is no copy, or the folder cannot be written.
pub fn restore(args: &RestoreArgs, context: &Context) -> Result<Outcome, Failure> {
    let file = StockFile::in_home(&context.home);
    let Restored { copy, damaged } = file.restore(&mut say::waiting)?;
    let entries = say::plural(copy.entries, "entry", "entries");
    let time = copy.time.map_or_else(String::new, |time| {
        format!(", the last of {}", say::minutes(time))
    });
    let told = if args.json {
        say::print_json(&RestoreJson {
            stock: file.path(),
            copy: &copy.path,
            entries: copy.entries,
            time: copy.time,
            damaged: damaged.as_deref(),
        })
    } else {
        say::print(&format!(
            "{} is the copy {} again: {entries} of history{time}.",
            file.path().display(),
            copy.path.display(),
        ))
    };
    say::stands("what was put back", told)?;
    if let Some(damaged) = damaged {
        say::note(&format!(
            "the damaged file is kept as {}; what was done after that copy was made has to be \
             done again",
            damaged.display()
        ));
    }
    Ok(Outcome::NeedsALook)
}

#[derive(Serialize)]
struct RestoreJson<'a> {
    stock: &'a Path,
    copy: &'a Path,
    entries: usize,
    time: Option<Timestamp>,
    damaged: Option<&'a Path>,
}

#[derive(Serialize)]
struct MendJson {
    put_right: usize,
    /// The entry that took the contents over; none where the history was kept.
    entry: Option<u64>,
}

fn history_is_broken(differences: &[Difference]) -> bool {
    differences
        .iter()
        .any(|difference| matches!(difference, Difference::History(..)))
}

fn mend(
    file: &StockFile,
    keep: Keep,
    as_json: bool,
    context: &Context,
) -> Result<Outcome, Failure> {
    let stamp = author::stamp(context, false)?;
    let (report, text) = file.update(
        Purpose::Repair,
        &mut say::waiting,
        |stock| -> Result<(MendJson, String), Failure> {
            let differences = check::differences(stock);
            if differences.is_empty() {
                let report = MendJson {
                    put_right: 0,
                    entry: None,
                };
                let text = "Contents and history agree; nothing was changed.";
                return Ok((report, text.to_owned()));
            }
            if history_is_broken(&differences) {
                return Err(Failure::failed(
                    "the history does not fit on itself, so neither side can be kept; \
                     `cuptally stock restore` goes back to the last good copy",
                ));
            }
            let places = say::plural(differences.len(), "difference", "differences");
            let (entry, text) = match keep {
                Keep::History => {
                    check::keep_history(stock);
                    (None, format!("Put {places} right by the history."))
                }
                Keep::Contents => {
                    let entry = check::keep_contents(stock, &stamp).entry;
                    let text = format!("Entry {entry}: took over {places} from the contents.");
                    (Some(entry), text)
                }
            };
            let report = MendJson {
                put_right: differences.len(),
                entry,
            };
            Ok((report, text))
        },
    )?;
    let told = if as_json {
        say::print_json(&report)
    } else {
        say::print(&text)
    };
    say::stands("what was put right", told)?;
    Ok(Outcome::Done)
}
