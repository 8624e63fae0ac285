//! `cuptally stock history`: what became of the stock, and by whom.

use super::say::{self, Cell, Column, Table};
use crate::cli::{Context, Failure, Outcome};
use crate::stock::change::Change;
use crate::stock::file::StockFile;
use crate::stock::history::{Entry, Ledger, Turnover, What};
use crate::stock::lots::Lots;
use crate::stock::rename::Renamed;
use crate::stock::tally::Tally;
use serde::Serialize;

/// Arguments of `cuptally stock history`.
#[derive(clap::Args)]
pub struct HistoryArgs {
    /// Show every step of this one entry.
    #[arg(value_name = "ENTRY")]
    entry: Option<u64>,

    /// How many entries to show, newest first.
    #[arg(long, value_name = "N", default_value_t = 20, conflicts_with = "entry")]
    last: usize,

    /// Show all entries.
    #[arg(long, conflicts_with_all = ["entry", "last"])]
    all: bool,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// An entry, for programs.
#[derive(Serialize)]
pub struct Json<'a> {
    #[serde(flatten)]
    entry: &'a Entry,
    /// Whether the stock is as this entry made it: false once it is undone.
    in_force: bool,
    /// What it did, in a sentence.
    told: String,
}

/// Shows the history.
///
/// # Errors
/// When the stock file cannot be read, or there is no such entry.
pub fn run(args: &HistoryArgs, context: &Context) -> Result<Outcome, Failure> {
    let file = StockFile::in_home(&context.home);
    let stock = file.read()?;
    if stock.is_none() && !args.json && args.entry.is_none() {
        say::nothing_yet(&file, context);
        return Ok(Outcome::Done);
    }
    let stock = stock.unwrap_or_default();
    let ledger = stock.ledger()?;
    if let Some(number) = args.entry {
        let entry = stock.entry(number).ok_or_else(|| {
            Failure::failed(format!(
                "there is no entry {number}; the history ends at {}",
                stock.history.len()
            ))
        })?;
        if args.json {
            say::print_json(&json(entry, &ledger)?)?;
        } else {
            say::print(&format!(
                "Entry {number}, {}, by {}: {}",
                say::minutes(entry.time),
                entry.who,
                what_and_fate(entry, &ledger)?
            ))?;
            say::print_table(&steps(entry))?;
        }
        return Ok(Outcome::Done);
    }
    let most = if args.all { usize::MAX } else { args.last };
    let shown: Vec<&Entry> = stock.history.iter().rev().take(most).collect();
    if args.json {
        let list = shown.iter().map(|entry| json(entry, &ledger));
        say::print_json(&list.collect::<Result<Vec<Json>, Failure>>()?)?;
        return Ok(Outcome::Done);
    }
    let mut table = say::table(&[
        ("Entry", Column::Number),
        ("Time", Column::Short),
        ("Who", Column::Text),
        ("What", Column::Text),
    ]);
    let room = say::file_name_room(&table);
    for entry in &shown {
        let cell: fn(String) -> Cell = if ledger.in_force(entry.number) {
            |text| Cell::new(text)
        } else {
            |text| say::faint(text)
        };
        table.add_row([
            cell(entry.number.to_string()),
            cell(say::minutes(entry.time)),
            cell(entry.who.to_string()),
            cell(told_in_lines(entry, &ledger, room)?),
        ]);
    }
    say::print_table(&table)?;
    let earlier = stock.history.len() - shown.len();
    if earlier > 0 {
        let text = say::plural(earlier, "earlier entry", "earlier entries");
        say::note(&format!("{text} not shown; --all shows all"));
    }
    Ok(Outcome::Done)
}

/// An entry as `--json` shows it.
///
/// # Errors
/// When there are too many of one kind to add up.
pub fn json<'a>(entry: &'a Entry, ledger: &Ledger) -> Result<Json<'a>, Failure> {
    Ok(Json {
        entry,
        in_force: ledger.in_force(entry.number),
        told: what(entry)?,
    })
}

/// One sentence on an entry.
pub fn what(entry: &Entry) -> Result<String, Failure> {
    Ok(told(entry)?.in_one())
}

fn told(entry: &Entry) -> Result<Told, Failure> {
    let begin = match &entry.what {
        // Where the pieces are, or what they are called, is all that changed.
        What::Rename => {
            return Ok(Told {
                begin: renamed(entry),
                places: Vec::new(),
                files: Vec::new(),
            });
        }
        What::Add => "added".to_owned(),
        What::Recount => "recounted".to_owned(),
        What::Check => "checked".to_owned(),
        What::Confirm => "took as counted".to_owned(),
        What::Import => {
            let verb = if entry.recounts.is_empty() {
                "imported"
            } else {
                "recounted by import of"
            };
            let from = entry.from.as_ref().map_or("a table", |from| from.as_str());
            format!("{verb} {from}")
        }
        What::Take => remarked("took", entry),
        What::Put => remarked("put in", entry),
        What::Move => remarked("moved", entry),
        What::Settle => "settled what both stocks had changed".to_owned(),
        What::Adopt => "took over numbers changed by hand".to_owned(),
        What::Other(verb) => verb.to_string(),
        What::Undo => format!("undid entry {}", entry.undoes.unwrap_or_default()),
    };
    Ok(Told {
        begin,
        places: (entry.turnover()?.into_iter())
            .map(|(place, turnover)| format!("{place} {}", step(turnover)))
            .collect(),
        files: entry.sheets.iter().map(|s| s.file.to_string()).collect(),
    })
}

/// What an entry did, in parts.
struct Told {
    begin: String,
    /// Each place and what became of it.
    places: Vec<String>,
    /// The photos it is from.
    files: Vec<String>,
}

impl Told {
    /// `added: cup 3 +40 (cup-3.jpg)`.
    fn in_one(&self) -> String {
        let Self {
            begin,
            places,
            files,
        } = self;
        if places.is_empty() && files.is_empty() {
            return begin.clone();
        }
        let files = match files.as_slice() {
            [] => String::new(),
            [..] if files.len() <= FILES_TOLD => format!(" ({})", files.join(", ")),
            _ => format!(" ({} photos)", files.len()),
        };
        format!("{begin}: {}{files}", places.join("; "))
    }

    /// The same; where that is long, with a line for each place and each photo.
    fn in_lines(&self, room: usize) -> String {
        let Self {
            begin,
            places,
            files,
        } = self;
        let one = self.in_one();
        let short = |file: &String| file.chars().count() <= room;
        let is_plain = places.len() <= 1 && files.len() <= 1 && files.iter().all(short);
        // A quarter more than a file's name may have is left beside number, time and person.
        if is_plain || one.chars().count() <= room + room / 4 {
            return one;
        }
        let mut lines = match places.as_slice() {
            [one] => vec![format!("{begin}: {one}")],
            several => [&[format!("{begin}:")], several].concat(),
        };
        match files.as_slice() {
            several if several.len() > FILES_TOLD => {
                lines.push(format!("({} photos)", several.len()))
            }
            few => lines.extend(
                few.iter()
                    .map(|file| format!("({})", say::file_name(file, room))),
            ),
        }
        lines.join("\n")
    }
}

/// More photos than these are not named.
const FILES_TOLD: usize = 3;

/// `renamed the colour rose to hull-red`.
fn renamed(entry: &Entry) -> String {
    match &entry.renamed {
        Some(Renamed { what, from, to }) => format!("renamed the {what} {from} to {to}"),
        None => "renamed".to_owned(),
    }
}

/// `took (for the ferry ramp)`.
fn remarked(verb: &str, entry: &Entry) -> String {
    match &entry.remark {
        Some(remark) => format!("{verb} ({remark})"),
        None => verb.to_owned(),
    }
}

/// The same, and what became of it.
fn what_and_fate(entry: &Entry, ledger: &Ledger) -> Result<String, Failure> {
    Ok(what(entry)? + &fate(entry, ledger, " "))
}

/// The same for a table, in lines.
fn told_in_lines(entry: &Entry, ledger: &Ledger, room: usize) -> Result<String, Failure> {
    let told = told(entry)?.in_lines(room);
    let between = if told.contains('\n') { "\n" } else { " " };
    Ok(told + &fate(entry, ledger, between))
}

fn fate(entry: &Entry, ledger: &Ledger, between: &str) -> String {
    match ledger.end(entry.number) {
        Some(by) if !ledger.in_force(entry.number) => format!("{between}[undone by {by}]"),
        _ => String::new(),
    }
}

fn step(turnover: Turnover) -> String {
    let mut parts = Vec::new();
    let (was, now) = (turnover.was, turnover.now);
    if was.is_zero() && !now.is_zero() {
        parts.push(format!("+{now}"));
    } else if now.count() >= was.count() {
        if was != now {
            parts.push(format!("+{}", now.count() - was.count()));
        }
    } else {
        parts.push(format!("-{}", was.count() - now.count()));
    }
    if !turnover.unpended.is_zero() {
        parts.push(format!("-{} pending", turnover.unpended));
    }
    if !turnover.pended.is_zero() {
        parts.push(format!("+{} pending", turnover.pended));
    }
    if parts.is_empty() {
        parts.push("as before".to_owned());
    }
    parts.join(", ")
}

/// Every step of one entry.
fn steps(entry: &Entry) -> Table {
    let mut table = say::table(&[
        ("Place", Column::Text),
        ("Piece", Column::Text),
        ("Colour", Column::Text),
        ("Was", Column::Number),
        ("Now", Column::Number),
        ("Status", Column::Short),
    ]);
    for change in &entry.changes {
        match change {
            Change::Count(count) => {
                table.add_row([
                    count.place.to_string(),
                    format!("{} {}", count.form, count.size),
                    count.colour.to_string(),
                    count.was.unmarked().to_string(),
                    count.now.unmarked().to_string(),
                    if count.now.as_counted() > count.was.as_counted() {
                        "as counted".to_owned()
                    } else {
                        "checked".to_owned()
                    },
                ]);
            }
            Change::Pend(sheet) => pending_steps(&mut table, &sheet.lots, &sheet.place, true),
            Change::Unpend(sheet) => pending_steps(&mut table, &sheet.lots, &sheet.place, false),
        }
    }
    table
}

fn pending_steps(table: &mut Table, lots: &Lots, place: &impl ToString, begins: bool) {
    for (kind, tally) in lots.iter() {
        let (was, now) = if begins {
            (Tally::ZERO, tally)
        } else {
            (tally, Tally::ZERO)
        };
        table.add_row([
            Cell::new(place.to_string()),
            Cell::new(format!("{} {}", kind.form, kind.size)),
            Cell::new(&kind.colour),
            Cell::new(was),
            Cell::new(now),
            say::open("pending"),
        ]);
    }
}
