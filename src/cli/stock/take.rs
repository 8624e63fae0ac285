//! `cuptally stock take` and `put`: pieces that go into a build, and pieces bought by count.

use super::history::what;
use super::say::{self, Column};
use crate::cli::{Context, Failure, Outcome, author, home};
use crate::cover::remarks::Known;
use crate::pieces::Shapes;
use crate::stock::file::{Purpose, StockFile};
use crate::stock::kind::{Label, Name, Size};
use crate::stock::model::{Recorded, Stock};
use crate::stock::near::nearest;
use crate::stock::portion;
use crate::stock::stamp::Stamp;
use crate::stock::take::{self, Source, TakeError};
use crate::stock::{Change, Portion, Tally, Wanted};
use serde::Serialize;
use std::collections::BTreeSet;

/// Arguments of `cuptally stock take`.
#[derive(clap::Args)]
pub struct TakeArgs {
    /// How many of what, each kind in quotes: "8 plate 2x4 rose".
    #[arg(value_name = "PIECES", required = true)]
    pieces: Vec<String>,

    /// Where to take them from; said more than once, the first place is emptied
    /// before the next. Not needed for pieces that lie in one place only.
    #[arg(long, value_name = "PLACE", value_parser = Name::new)]
    from: Vec<Name>,

    /// Take them wherever they are: places in the order of their names.
    #[arg(long, conflicts_with = "from")]
    anywhere: bool,

    /// What to remember about it, such as what they are for; kept in the history.
    #[arg(long, alias = "for", value_name = "TEXT", value_parser = remark)]
    note: Option<Label>,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// Arguments of `cuptally stock put`.
#[derive(clap::Args)]
pub struct PutArgs {
    /// How many of what, each kind in quotes: "20 plate 2x4 rose".
    #[arg(value_name = "PIECES", required = true)]
    pieces: Vec<String>,

    /// One of the colours is new: no piece was ever called so. Else it is taken for mistyped.
    #[arg(long)]
    new: bool,

    /// Where they go.
    #[arg(long, value_name = "PLACE", value_parser = Name::new)]
    place: Name,

    /// What to remember about it, such as where they were bought; kept in the history.
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
    let pieces = wanted(&args.pieces, context)?;
    change(
        context,
        Purpose::Amend,
        args.json,
        "Left",
        |stock, stamp| {
            let portions = take::find(&stock.contents, &pieces, &source)?;
            Ok(take::take(stock, &portions, args.note.clone(), stamp)?)
        },
    )
}

/// Puts pieces in by count.
///
/// # Errors
/// When the stock cannot be written; nothing is put then.
pub fn put(args: &PutArgs, context: &Context) -> Result<Outcome, Failure> {
    let pieces = wanted(&args.pieces, context)?;
    let portions: Vec<Portion> = pieces
        .iter()
        .map(|wanted| Portion {
            place: args.place.clone(),
            kind: wanted.kind.clone(),
            count: wanted.count,
        })
        .collect();
    // Only a remark hangs on the user's list: one that is damaged does not keep pieces out.
    let shapes = home::shapes(&context.home).unwrap_or_else(|_| Shapes::shipped());
    let taught = home::swatches(&context.home).unwrap_or_default();
    let taught: BTreeSet<Name> = taught
        .names()
        .into_iter()
        .filter_map(|name| Name::new(name).ok())
        .collect();
    let mut doubts = Vec::new();
    let outcome = change(context, Purpose::Bring, args.json, "Now", |stock, stamp| {
        doubts = doubtful(&pieces, stock, shapes);
        if !args.new {
            known_colours(&pieces, stock, &taught)?;
        }
        Ok(take::put(stock, &portions, args.note.clone(), stamp)?)
    })?;
    for doubt in doubts {
        say::note(&format!(
            "{doubt} (to take this back: {})",
            context.call("stock undo")
        ));
    }
    Ok(outcome)
}

/// Why nothing was taken or put, as the program ends.
struct Fault(Failure);

impl From<TakeError> for Fault {
    fn from(error: TakeError) -> Self {
        Self(if error.is_wrong_use() {
            Failure::wrong_use(error.to_string())
        } else {
            error.into()
        })
    }
}

/// The pieces that were named; forms in the plural are the same forms.
fn wanted(words: &[String], context: &Context) -> Result<Vec<Wanted>, Failure> {
    let mut pieces: Vec<Wanted> =
        portion::named(words).map_err(|error| Failure::wrong_use(error.to_string()))?;
    let shapes = home::shapes(&context.home).unwrap_or_else(|_| Shapes::shipped());
    for piece in &mut pieces {
        piece.kind.form = singular(&piece.kind.form, shapes);
    }
    Ok(pieces)
}

/// `plates` is `plate`, where that is in the list of shapes and the other is not.
pub fn singular(form: &Name, shapes: Shapes) -> Name {
    let is_listed = |name: &str| shapes.all().any(|shape| shape.form().name() == name);
    let one = form.as_str().strip_suffix('s');
    let one = one.filter(|one| is_listed(one) && !is_listed(form.as_str()));
    one.and_then(|one| Name::new(one).ok())
        .unwrap_or_else(|| form.clone())
}

/// A colour that nobody ever had is a slip rather than a new one, unless it is said to be new. Where
/// there is none yet, every one is.
fn known_colours(pieces: &[Wanted], stock: &Stock, taught: &BTreeSet<Name>) -> Result<(), Fault> {
    let is_held = |colour: &Name| {
        let mut lots = stock.contents.places.values();
        taught.contains(colour)
            || lots.any(|lots| lots.iter().any(|(kind, _)| kind.colour == *colour))
    };
    if pieces.iter().all(|piece| is_held(&piece.kind.colour)) {
        // The history may be long, and need not be looked through.
        return Ok(());
    }
    let known = Known::new(stock, None, taught.iter().cloned(), Shapes::shipped()).colours;
    let mut colours = pieces.iter().map(|piece| &piece.kind.colour);
    match colours.find(|colour| !known.contains(*colour)) {
        Some(colour) if !known.is_empty() => {
            let remedy = match nearest(colour, &known) {
                Some(near) => format!("did you mean '{near}'? For a new colour"),
                None => "for a new colour".to_owned(),
            };
            Err(Fault(Failure::wrong_use(format!(
                "nothing was put: no colour '{colour}' was ever in stock or taught; {remedy} say --new"
            ))))
        }
        _ => Ok(()),
    }
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
    work: impl FnOnce(&mut Stock, &Stamp) -> Result<Recorded, Fault>,
) -> Result<Outcome, Failure> {
    let stamp = author::stamp(context, purpose == Purpose::Bring)?;
    let (report, recorded) = StockFile::in_home(&context.home).update(
        purpose,
        &mut say::waiting,
        |stock| -> Result<_, Failure> {
            let recorded = work(stock, &stamp).map_err(|Fault(failure)| failure)?;
            let report = report(stock, recorded.entry)?;
            Ok((report, recorded))
        },
    )?;
    say::lookalikes(&recorded, context);
    say::stands(say::entry(report.entry), tell(&report, as_json, now))?;
    Ok(Outcome::Done)
}

fn tell(report: &Report, as_json: bool, now: &str) -> Result<(), Failure> {
    if as_json {
        return say::print_json(report);
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
    say::print_table(&table)
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
