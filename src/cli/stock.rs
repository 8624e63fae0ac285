//! `cuptally stock`: show, search and mend the stock.

mod exchange;
mod history;
mod mend;
mod merge;
mod rearrange;
mod say;
mod show;
mod take;

use super::{Context, Failure, Outcome};

pub(super) use exchange::{ChangeError, ModeArgs};
pub(super) use mend::pieces;
pub(super) use rearrange::rename_in_stock;
pub(super) use say::{
    entry, lookalikes, note, nothing_yet, plural, print, print_json, print_wrapped, stands, waiting,
};
pub(super) use show::totals;

/// Arguments of `cuptally stock`.
#[derive(clap::Args)]
#[command(
    args_conflicts_with_subcommands = true,
    after_help = "Without a command, shows the stock; exit code 3 while something shown is pending."
)]
pub struct Args {
    #[command(subcommand)]
    action: Option<Action>,

    #[command(flatten)]
    show: show::ShowArgs,
}

impl Args {
    /// Whether it brings pieces, and so may begin a stock.
    pub fn brings(&self) -> bool {
        matches!(
            self.action,
            Some(Action::Put(_) | Action::Import(_) | Action::Merge(_))
        )
    }
}

#[derive(clap::Subcommand)]
enum Action {
    /// Show who changed what and when.
    History(history::HistoryArgs),
    /// Take out pieces that go into a build.
    Take(take::TakeArgs),
    /// Put in pieces that you bought or found, by count.
    Put(take::PutArgs),
    /// Move pieces to another place.
    Move(rearrange::MoveArgs),
    /// Give a place or a colour another name, or make two one.
    Rename(rearrange::RenameArgs),
    /// Undo a change, or an undo.
    Undo(mend::UndoArgs),
    /// Take pending pieces as they were counted: they count, and keep their range and a mark.
    Confirm(mend::ConfirmArgs),
    /// Write the stock as a CSV table.
    Export(exchange::ExportArgs),
    /// Read a CSV table into the stock.
    Import(exchange::ImportArgs),
    /// Merge the stock file of another machine into this one.
    Merge(merge::MergeArgs),
    /// Recompute the contents from the history and say where they differ.
    Check(mend::CheckArgs),
    /// Go back to the last good copy of a stock file that is damaged or gone.
    Restore(mend::RestoreArgs),
}

/// Runs the command.
///
/// # Errors
/// When the work cannot be done; the text says why.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    match &args.action {
        None => show::run(&args.show, context),
        Some(Action::History(args)) => history::run(args, context),
        Some(Action::Take(args)) => take::take(args, context),
        Some(Action::Put(args)) => take::put(args, context),
        Some(Action::Move(args)) => rearrange::move_between(args, context),
        Some(Action::Rename(args)) => rearrange::rename(args, context),
        Some(Action::Undo(args)) => mend::undo(args, context),
        Some(Action::Confirm(args)) => mend::confirm(args, context),
        Some(Action::Export(args)) => exchange::export(args, context),
        Some(Action::Import(args)) => exchange::import(args, context),
        Some(Action::Merge(args)) => merge::run(args, context),
        Some(Action::Check(args)) => mend::check(args, context),
        Some(Action::Restore(args)) => mend::restore(args, context),
    }
}
