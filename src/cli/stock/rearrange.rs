//! `cuptally stock move` and `rename`: the same pieces elsewhere, or called otherwise.

use super::history::what;
use super::say;
use super::take::{remark, singular};
use crate::cli::{Context, Failure, Outcome, author, home};
use crate::pieces::Shapes;
use crate::stock::file::{Purpose, StockFile};
use crate::stock::kind::{Label, Name};
use crate::stock::model::{Recorded, Stock};
use crate::stock::moving::move_pieces;
use crate::stock::portion::{self, Piece};
use crate::stock::rename::{self, Renamed, Subject};
use crate::stock::shell::quoted;
use crate::stock::stamp::Stamp;

/// Arguments of `cuptally stock move`.
#[derive(clap::Args)]
pub struct MoveArgs {
    /// What to move, each kind in quotes, with a number or all of it: "8 plate 2x4
    /// rose", "plate 2x4 rose". Nothing named: everything in the place.
    #[arg(value_name = "PIECES")]
    pieces: Vec<String>,

    /// Where the pieces are.
    #[arg(long, value_name = "PLACE", value_parser = Name::new)]
    from: Name,

    /// Where they go; what lies there stays.
    #[arg(long, value_name = "PLACE", value_parser = Name::new)]
    to: Name,

    /// What to remember about it, such as why; kept in the history.
    #[arg(long, value_name = "TEXT", value_parser = remark)]
    note: Option<Label>,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// Arguments of `cuptally stock rename`.
#[derive(clap::Args)]
pub struct RenameArgs {
    /// What has another name now.
    #[arg(value_enum)]
    what: SubjectArg,

    /// The name until now.
    #[arg(value_parser = Name::new)]
    old: Name,

    /// The name from now on.
    #[arg(value_parser = Name::new)]
    new: Name,

    /// The new name is in use already, and the two are one: put them together.
    #[arg(long)]
    merge: bool,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum SubjectArg {
    /// A place.
    Place,
    /// A colour, in all places.
    Colour,
}

/// Moves pieces from a place to another.
///
/// # Errors
/// When they are not there, or the stock cannot be written; nothing is moved then.
pub fn move_between(args: &MoveArgs, context: &Context) -> Result<Outcome, Failure> {
    let mut pieces: Vec<Piece> =
        portion::named(&args.pieces).map_err(|error| Failure::wrong_use(error.to_string()))?;
    let shapes = home::shapes(&context.home).unwrap_or_else(|_| Shapes::shipped());
    for piece in &mut pieces {
        piece.kind.form = singular(&piece.kind.form, shapes);
    }
    change(context, args.json, |stock, stamp| {
        let MoveArgs { from, to, note, .. } = args;
        Ok(move_pieces(stock, from, to, &pieces, note.clone(), stamp)?)
    })
}

/// Gives a place or a colour another name.
///
/// # Errors
/// When nothing is called so, or the stock cannot be written; nothing is renamed then.
pub fn rename(args: &RenameArgs, context: &Context) -> Result<Outcome, Failure> {
    let renamed = Renamed {
        what: match args.what {
            SubjectArg::Place => Subject::Place,
            SubjectArg::Colour => Subject::Colour,
        },
        from: args.old.clone(),
        to: args.new.clone(),
    };
    let is_colour = renamed.what == Subject::Colour;
    let outcome = rename_in_stock(renamed, args.merge, args.json, context)?;
    if is_colour {
        warn_of_a_taught_name(args, context);
    }
    Ok(outcome)
}

/// Renames in the stock alone, as one entry of its history.
///
/// # Errors
/// As [`rename`].
pub fn rename_in_stock(
    renamed: Renamed,
    merge: bool,
    as_json: bool,
    context: &Context,
) -> Result<Outcome, Failure> {
    change(context, as_json, |stock, stamp| {
        rename::rename(stock, renamed, merge, stamp).map_err(|error| {
            if error.is_wrong_use() {
                Failure::wrong_use(error.to_string())
            } else {
                error.into()
            }
        })
    })
}

/// The stock's colours are renamed, those that were taught are not: the next count
/// would bring the old name back.
fn warn_of_a_taught_name(args: &RenameArgs, context: &Context) {
    let Ok(book) = home::swatches(&context.home) else {
        return;
    };
    let names = book.names();
    if names.contains(&args.old.as_str()) {
        let one = if names.contains(&args.new.as_str()) {
            "merge"
        } else {
            "rename"
        };
        let [old, new] = [&args.old, &args.new].map(|name| quoted(name.as_str()));
        let call = context.call(&format!("colours {one} {old} {new}"));
        say::note(&format!(
            "'{}' is still the name of a taught colour, so counts will go on to use it; \
             `{call}` gives that the new name too",
            args.old
        ));
    }
}

fn change(
    context: &Context,
    as_json: bool,
    work: impl FnOnce(&mut Stock, &Stamp) -> Result<Recorded, Failure>,
) -> Result<Outcome, Failure> {
    let stamp = author::stamp(context, false)?;
    let (telling, recorded) = StockFile::in_home(&context.home).update(
        Purpose::Amend,
        &mut say::waiting,
        |stock| -> Result<_, Failure> {
            let recorded = work(stock, &stamp)?;
            let number = recorded.entry;
            let sentence = match stock.entry(number) {
                Some(entry) => format!("Entry {number}: {}.", what(entry)?),
                None => String::new(),
            };
            let telling = say::telling(stock, number, as_json, sentence)?;
            Ok((telling, recorded))
        },
    )?;
    say::lookalikes(&recorded, context);
    say::stands(say::entry(recorded.entry), telling.print())?;
    Ok(Outcome::Done)
}
