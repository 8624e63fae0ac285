//! `cuptally stock take` and `put`: pieces that go into a build, and pieces bought by count.

use super::history::what;
use super::say::{self, Column};
use crate::cli::{Context, Failure, Outcome, home};
use crate::cover::remarks::Known;
use crate::pieces::Shapes;
use crate::stock::file::{Purpose, StockFile};
use crate::stock::kind::{Label, Name, Size};
use crate::stock::model::{Recorded, Stock};
use crate::stock::stamp::Stamp;
use crate::stock::take::{self, Source, TakeError};
use crate::stock::{Change, Portion, Tally, Wanted};
use serde::Serialize;

/// Arguments of `cuptally stock take`.
#[derive(clap::Args)]
pub struct TakeArgs {
    /// How many of what, each kind in quotes: "8 plate 2x4 rose".
    #[arg(value_name = "PIECES", required = true)]
    pieces: Vec<Wanted>,

    /// Where to take them from; said more than once, the first place is emptied
    /// before the next. Not needed for pieces that lie in one place only.
    #[arg(long, value_name = "PLACE", value_parser = Name::new)]
    from: Vec<Name>,

    /// Take them wherever they are: places in the order of their names.
    #[arg(long, conflicts_with = "from")]
    anywhere: bool,

    /// What they are for; kept in the history.
    #[arg(long = "for", value_name = "TEXT", value_parser = remark)]
    purpose: Option<Label>,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// Arguments of `cuptally stock put`.
#[derive(clap::Args)]
pub struct PutArgs {
    /// How many of what, each kind in quotes: "20 plate 2x4 rose".
    #[arg(value_name = "PIECES", required = true)]
    pieces: Vec<Wanted>,

    /// Where they go.
    #[arg(long, value_name = "PLACE", value_parser = Name::new)]
    place: Name,

    /// What to remember about them, such as where they were bought.
    #[arg(long, value_name = "TEXT", value_parser = remark)]
    note: Option<Label>,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// A remark as typed; longer ones are refused rather than cut.
pub fn remark(text: &str) -> Result<Label, String> {
    let text = text.trim();
    if text.is_empty() {
        return Err("it is empty; leave the option out".to_owned());
    }
    let label = Label::new(text);
    if label.as_str() == text {
        Ok(label)
    } else {
        Err(format!(
            "it is longer than {} characters or holds invisible ones; write it shorter",
            Label::MAX_CHARS
        ))
    }
}

#[derive(Serialize)]
struct Report {
    entry: u64,
    #[serde(skip)]
    sentence: String,
    pieces: Vec<Line>,
}

#[derive(Serialize)]
struct Line {
    place: Name,
    form: Name,
    size: Size,
    colour: Name,
    /// How many went or came.
    moved: u64,
    /// How many are there now.
    now: Tally,
}

/// Takes pieces out for a build.
///
/// # Errors
/// When they are not there, or the stock cannot be written; nothing is taken then.
pub fn take(args: &TakeArgs, context: &Context) -> Result<Outcome, Failure> {
    let source = match (args.from.as_slice(), args.anywhere) {
        (_, true) => Source::Anywhere,
        ([], false) => Source::OnlyPlace,
        (places, false) => Source::Places(places.to_vec()),
    };
    change(
        context,
        Purpose::Amend,
        args.json,
        "Left",
        |stock, stamp| {
            let portions = take::find(&stock.contents, &args.pieces, &source)?;
            take::take(stock, &portions, args.purpose.clone(), stamp)
        },
    )
}

/// Puts pieces in by count.
///
/// # Errors
/// When the stock cannot be written; nothing is put then.
pub fn put(args: &PutArgs, context: &Context) -> Result<Outcome, Failure> {
    let portions: Vec<Portion> = args
        .pieces
        .iter()
        .map(|wanted| Portion {
            place: args.place.clone(),
            kind: wanted.kind.clone(),
            count: wanted.count,
        })
        .collect();
    // Only a remark hangs on the user's list: one that is damaged does not keep pieces out.
    let shapes = home::shapes(&context.home).unwrap_or_else(|_| Shapes::shipped());
    let mut doubts = Vec::new();
    let outcome = change(context, Purpose::Bring, args.json, "Now", |stock, stamp| {
        doubts = doubtful(&args.pieces, stock, shapes);
        take::put(stock, &portions, args.note.clone(), stamp)
    })?;
    for doubt in doubts {
        say::note(&format!(
            "{doubt} (to take this back: {})",
            context.call("stock undo")
        ));
    }
    Ok(outcome)
}

/// What looks mistyped in these pieces, by what is listed or was in stock before. They are put in
/// all the same: anybody may have pieces that are in no list.
fn doubtful(pieces: &[Wanted], stock: &Stock, shapes: Shapes) -> Vec<String> {
    let unlisted = pieces.iter().map(|wanted| &wanted.kind);
    let unlisted: Vec<_> = unlisted
        .filter(|kind| {
            let size = kind.size.to_string();
            shapes.named(kind.form.as_str(), &size).is_none()
        })
        .collect();
    if unlisted.is_empty() {
        // The history may be long, and need not be looked through.
        return Vec::new();
    }
    let known = Known::new(stock, None, std::iter::empty(), shapes);
    let doubts = unlisted.iter().filter_map(|kind| {
        let doubt = known.doubt_form(&kind.form);
        doubt.or_else(|| known.doubt_size(&kind.form, kind.size))
    });
    let mut once: Vec<String> = doubts.collect();
    once.sort();
    once.dedup();
    once
}

fn change(
    context: &Context,
    purpose: Purpose,
    as_json: bool,
    now: &str,
    work: impl FnOnce(&mut Stock, &Stamp) -> Result<Recorded, TakeError>,
) -> Result<Outcome, Failure> {
    let stamp = Stamp::of_environment().map_err(|e| Failure::wrong_use(e.to_string()))?;
    let (report, recorded) = StockFile::in_home(&context.home).update(
        purpose,
        &mut say::waiting,
        |stock| -> Result<_, Failure> {
            let recorded = work(stock, &stamp).map_err(|error| {
                if error.is_wrong_use() {
                    Failure::wrong_use(error.to_string())
                } else {
                    error.into()
                }
            })?;
            let report = report(stock, recorded.entry)?;
            Ok((report, recorded))
        },
    )?;
    say::lookalikes(&recorded, context);
    if as_json {
        say::print_json(&report)?;
        return Ok(Outcome::Done);
    }
    say::print(&report.sentence)?;
    let mut table = say::table(&[
        ("Place", Column::Text),
        ("Piece", Column::Text),
        ("Colour", Column::Text),
        ("Pieces", Column::Number),
        (now, Column::Number),
    ]);
    for line in &report.pieces {
        table.add_row([
            line.place.to_string(),
            format!("{} {}", line.form, line.size),
            line.colour.to_string(),
            line.moved.to_string(),
            line.now.to_string(),
        ]);
    }
    say::print_table(&table)?;
    Ok(Outcome::Done)
}

fn report(stock: &Stock, entry: u64) -> Result<Report, Failure> {
    let sentence = match stock.entry(entry) {
        Some(written) => format!("Entry {entry}: {}.", what(written)?),
        None => String::new(),
    };
    let steps = stock
        .changes(entry)
        .iter()
        .filter_map(|change| match change {
            Change::Count(step) => Some(step),
            Change::Pend(_) | Change::Unpend(_) => None,
        });
    Ok(Report {
        entry,
        sentence,
        pieces: steps
            .map(|step| Line {
                place: step.place.clone(),
                form: step.form.clone(),
                size: step.size,
                colour: step.colour.clone(),
                moved: step.was.count().abs_diff(step.now.count()),
                now: step.now,
            })
            .collect(),
    })
}
