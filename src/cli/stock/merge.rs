//! `cuptally stock merge`: two stock files from two machines become one.

use super::say::{self, Cell, Column, Table};
use crate::cli::{Context, Failure, Outcome, author};
use crate::stock::file::{Purpose, StockFile};
use crate::stock::kind::{Label, Name};
use crate::stock::reconcile::{self, Conflict, Decisions, How, ReconcileError, Reconciled, Side};
use crate::stock::shell::quoted;
use crate::stock::view::Numbers;
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::PathBuf;

/// Arguments of `cuptally stock merge`.
#[derive(clap::Args)]
#[command(
    after_help = "Where one stock counted a place anew and the other changed it too, nothing is merged until \
                  you say whose word counts: the answer lists such places."
)]
pub struct MergeArgs {
    /// The other stock file, or the folder that holds it. It is only read.
    #[arg(value_name = "FILE")]
    file: PathBuf,

    /// In this place this stock's word counts.
    #[arg(long, value_name = "PLACE", value_parser = Name::new)]
    mine: Vec<Name>,

    /// In this place the other stock's word counts.
    #[arg(long, value_name = "PLACE", value_parser = Name::new)]
    theirs: Vec<Name>,

    /// Whose word counts in all other places that are in conflict.
    #[arg(long, value_enum)]
    keep: Option<SideArg>,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum SideArg {
    /// This stock's.
    Mine,
    /// The other stock's.
    Theirs,
}

#[derive(Serialize)]
#[serde(untagged)]
enum Json<'a> {
    Merged {
        merged: bool,
        #[serde(flatten)]
        outcome: &'a Reconciled,
    },
    Open {
        merged: bool,
        conflicts: &'a [Conflict],
    },
}

/// Why it did not come about, before it is told.
enum Fault {
    Reconcile(ReconcileError),
    Other(Failure),
}

impl<E: Into<Failure>> From<E> for Fault {
    fn from(error: E) -> Self {
        Self::Other(error.into())
    }
}

/// Merges another stock file into this one.
///
/// # Errors
/// When places are in conflict and nobody decided, or a file cannot be read or
/// written; nothing is merged then.
pub fn run(args: &MergeArgs, context: &Context) -> Result<Outcome, Failure> {
    let stamp = author::stamp(context, true)?;
    let decisions = decisions(args)?;
    let shown = args.file.display().to_string();
    let name = args.file.file_name().unwrap_or_default().to_string_lossy();
    let from = Label::new(&name);
    let theirs = StockFile::at(&args.file).read()?.ok_or_else(|| {
        Failure::failed(format!(
            "there is no stock file {shown}; name the other machine's stock.json, or its folder"
        ))
    })?;
    let result = StockFile::in_home(&context.home).update(
        Purpose::Replace,
        &mut say::waiting,
        |stock| -> Result<Reconciled, Fault> {
            reconcile::reconcile(stock, &theirs, &decisions, &from, &stamp)
                .map_err(Fault::Reconcile)
        },
    );
    match result {
        Ok(outcome) => say::stands("the merge", tell(&outcome, &shown, args.json, context)),
        Err(Fault::Other(failure)) => Err(failure),
        Err(Fault::Reconcile(error)) => {
            if let ReconcileError::Conflicts(conflicts) = &error {
                show(conflicts, args.json)?;
            }
            Err(match error {
                ReconcileError::NoConflict(_) => Failure::wrong_use(error.to_string()),
                _ => error.into(),
            })
        }
    }
}

fn decisions(args: &MergeArgs) -> Result<Decisions, Failure> {
    let mut places = BTreeMap::new();
    let mine = args.mine.iter().map(|place| (place, Side::Mine));
    let theirs = args.theirs.iter().map(|place| (place, Side::Theirs));
    for (place, side) in mine.chain(theirs) {
        if places
            .insert(place.clone(), side)
            .is_some_and(|other| other != side)
        {
            return Err(Failure::wrong_use(format!(
                "{place} is named with --mine and with --theirs; name it once"
            )));
        }
    }
    Ok(Decisions {
        others: args.keep.map(|side| match side {
            SideArg::Mine => Side::Mine,
            SideArg::Theirs => Side::Theirs,
        }),
        places,
    })
}

fn tell(
    outcome: &Reconciled,
    shown: &str,
    as_json: bool,
    context: &Context,
) -> Result<Outcome, Failure> {
    let done = if outcome.needs_a_look() {
        Outcome::NeedsALook
    } else {
        Outcome::Done
    };
    if as_json {
        say::print_json(&Json::Merged {
            merged: true,
            outcome,
        })?;
        return Ok(done);
    }
    let entries = say::plural(outcome.entries, "entry", "entries");
    say::print(&match outcome.how {
        How::NothingNew => format!("{shown} has nothing that is not here already."),
        How::TookOver => format!(
            "Took over {shown} with {entries} that {} not here; all that was here is in it.",
            if outcome.entries == 1 { "was" } else { "were" }
        ),
        How::Merged => format!("Merged {entries} of {shown}."),
    })?;
    for (place, side) in &outcome.settled {
        let side = match side {
            Side::Mine => "this stock's word counts",
            Side::Theirs => "the other stock's word counts",
        };
        say::print(&format!("  {place}: {side}"))?;
    }
    for both in &outcome.both {
        say::note(&format!(
            "both stocks changed {} in {}, and both changes count: it is {} now",
            both.kind, both.place, both.now
        ));
    }
    for pair in &outcome.alike {
        say::note(&format!(
            "look: {} here and {} there ({}) seem to show the same tray: {} of {} pieces lie in the \
             same spots, so they may count twice",
            pair.mine, pair.theirs, pair.place, pair.common.same, pair.common.of
        ));
    }
    for renamed in &outcome.still_used {
        say::note(&format!(
            "the {what} {from} was renamed to {to} on one machine and is in use again by what the other \
             did; to put them together: {}",
            context.call(&format!(
                "stock rename {} {} {} --merge",
                renamed.what,
                quoted(renamed.from.as_str()),
                quoted(renamed.to.as_str())
            )),
            what = renamed.what,
            from = renamed.from,
            to = renamed.to
        ));
    }
    Ok(done)
}

fn show(conflicts: &[Conflict], as_json: bool) -> Result<(), Failure> {
    if as_json {
        return say::print_json(&Json::Open {
            merged: false,
            conflicts,
        });
    }
    say::print_table(&table(conflicts))?;
    say::print("")?;
    for conflict in conflicts {
        let why: Vec<String> = conflict.why.iter().map(ToString::to_string).collect();
        say::print(&format!(" {}: {}", conflict.place, why.join("; ")))?;
    }
    Ok(())
}

/// Kinds of which the two sides hold different numbers.
fn table(conflicts: &[Conflict]) -> Table {
    let mut table = say::table(&[
        ("Place", Column::Text),
        ("Piece", Column::Text),
        ("Colour", Column::Text),
        ("Mine", Column::Number),
        ("Theirs", Column::Number),
    ]);
    for conflict in conflicts {
        let mut place = say::bold(&conflict.place);
        for row in &conflict.rows {
            table.add_row([
                std::mem::replace(&mut place, Cell::new("")),
                Cell::new(format!("{} {}", row.form, row.size)),
                Cell::new(&row.colour),
                Cell::new(number(row.mine)),
                Cell::new(number(row.theirs)),
            ]);
        }
    }
    table
}

fn number(numbers: Numbers) -> String {
    match (numbers.checked.is_zero(), numbers.pending.is_zero()) {
        (_, true) => numbers.checked.to_string(),
        (true, false) => format!("{} pending", numbers.pending),
        (false, false) => format!("{}, {} pending", numbers.checked, numbers.pending),
    }
}
