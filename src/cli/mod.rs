//! One file a command. No logic here: arguments in, tables and files out.

pub mod atomic;
pub mod author;
pub mod failure;
pub mod home;
pub mod look;
pub mod page;
pub mod say;

pub mod demo;
pub mod card;
pub mod calibrate;
pub mod teach;
pub mod colours;
pub mod shapes;
pub mod count;
pub mod review;
pub mod record;
pub mod post;
pub mod stock;
pub mod plan;
pub mod cover;
pub mod desk;

use crate::stock::portion::{Piece, PieceError};
use crate::stock::shell::quoted_path;
use clap::error::ErrorKind;
use clap::{Parser, Subcommand};
use home::choose::{Home, Why};
use std::cell::Cell;
use std::path::PathBuf;
use std::process::ExitCode;

pub use failure::{Failure, Outcome};

/// Counts loose building bricks on a tray from one overhead photo.
#[derive(Parser)]
#[command(
    name = "cuptally",
    bin_name = "cuptally",
    version,
    propagate_version = true
)]
struct Args {
    /// Folder that holds calibration, stock and sheets [env: CUPTALLY_HOME] [default: this folder or the nearest above it that is marked by `cuptally.toml`, else one of your own].
    #[arg(long, global = true, value_name = "DIR")]
    home: Option<PathBuf>,

    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Do the main job on the shipped sample photos, into a folder.
    Demo(demo::Args),
    /// Write the reference card as PDF, SVG and PNG.
    Card(card::Args),
    /// Measure a light by the card and keep what was measured.
    Calibrate(calibrate::Args),
    /// Learn colours and their names from a photo of one piece of each, or what a piece weighs.
    Teach(teach::Args),
    /// Show the taught colours; rename, merge and forget them.
    Colours(colours::Args),
    /// Show the shapes that pieces may have: those that come along, and your own.
    Shapes(shapes::Args),
    /// Count the pieces in photos.
    Count(count::Args),
    /// Put sheets right on a page in the browser, before they reach the stock.
    Review(review::Args),
    /// Say how far what was called sure could be trusted in your photos.
    Record(record::Args),
    /// Merge counted sheets into the stock file.
    Post(post::Args),
    /// Show, search and undo the stock.
    Stock(stock::Args),
    /// Look at a plan of what is to be built.
    Plan(plan::Args),
    /// Say how far the stock reaches for a plan, and what is missing.
    Cover(cover::Args),
    /// Do the whole job on one page in the browser.
    Desk(desk::Args),
}

impl Command {
    /// Whether it has to do with a home folder.
    fn uses_home(&self) -> bool {
        !matches!(self, Self::Demo(_) | Self::Card(_))
    }

    /// Whether it may begin a home folder; the others look at one or amend it, so that one that
    /// is not there is a name mistyped.
    fn begins_home(&self) -> bool {
        match self {
            Self::Calibrate(_)
            | Self::Teach(_)
            | Self::Count(_)
            | Self::Post(_)
            | Self::Desk(_) => true,
            Self::Stock(args) => args.brings(),
            // These look at no home folder.
            Self::Demo(_) | Self::Card(_) => true,
            Self::Colours(_)
            | Self::Shapes(_)
            | Self::Review(_)
            | Self::Record(_)
            | Self::Plan(_)
            | Self::Cover(_) => false,
        }
    }
}

/// What every command knows.
pub struct Context {
    /// Folder that holds calibration and stock.
    pub home: PathBuf,
    why: Why,
    told: Cell<bool>,
}

impl Context {
    /// Work in this home folder.
    pub fn new(Home { folder, why }: Home) -> Self {
        Self {
            home: folder,
            why,
            told: Cell::new(false),
        }
    }

    /// Whether `--home` named it, so that commands which the user is told need it too.
    pub fn is_named(&self) -> bool {
        self.why == Why::Named
    }

    /// Says once which home folder is used, and why that one.
    pub fn tell_home(&self) {
        if !self.told.replace(true) {
            let home = std::path::absolute(&self.home);
            let home = home.as_deref().unwrap_or(&self.home).display();
            say::note(&format!("home: {home} ({})", self.why));
        }
    }

    /// A command as the user can type it to go on in the same home folder.
    pub fn call(&self, rest: &str) -> String {
        if self.is_named() {
            let home = quoted_path(&self.home);
            // What begins with a hyphen would be taken for an option.
            let between = if home.starts_with('-') { '=' } else { ' ' };
            format!("cuptally --home{between}{home} {rest}")
        } else {
            format!("cuptally {rest}")
        }
    }
}

/// A named home folder must be there, unless the command may begin one.
fn require_home(context: &Context, begins: bool) -> Result<(), Failure> {
    let shown = context.home.display();
    if !context.is_named() || begins || context.home.is_dir() {
        return Ok(());
    }
    Err(Failure::failed(if context.home.exists() {
        format!(
            "{shown} is a file, not a folder; name the folder of stock and calibration with --home"
        )
    } else {
        format!("there is no folder {shown}; check the name after --home, or leave it out")
    }))
}

/// A count below 0 begins like an option, and would be told as an unknown one.
fn below_zero(args: impl Iterator<Item = String>) -> Option<PieceError> {
    let mut several = args.filter(|arg| arg.trim().contains(char::is_whitespace));
    several.find_map(|arg| match arg.parse::<Piece>() {
        Err(error @ PieceError::BelowZero(_)) => Some(error),
        _ => None,
    })
}

/// Runs the program; the only place that turns a failure into an exit code.
pub fn main() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(error) => {
            let given = std::env::args_os().map(|arg| arg.to_string_lossy().into_owned());
            let unknown = error.kind() == ErrorKind::UnknownArgument;
            let Some(below) = below_zero(given).filter(|_| unknown) else {
                say::arguments(&error);
                return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2));
            };
            let failure = Failure::wrong_use(below.to_string());
            say::note(&failure.to_string());
            return failure.exit_code();
        }
    };
    match in_home(args) {
        Ok(outcome) => outcome.into(),
        Err(failure) => {
            say::note(&failure.to_string());
            failure.exit_code()
        }
    }
}

fn in_home(Args { home, command }: Args) -> Result<Outcome, Failure> {
    let uses_home = command.uses_home();
    let context = Context::new(home::of_user(home)?);
    require_home(&context, command.begins_home())?;
    // One that nobody named in this call is told first, so that it is known whatever comes of it; else it may wait
    // until all has gone well, and a fault stays one sentence.
    let is_chosen = matches!(context.why, Why::Marked(_) | Why::Own);
    if uses_home && is_chosen {
        context.tell_home();
    }
    let outcome = run(command, &context)?;
    if uses_home {
        context.tell_home();
    }
    Ok(outcome)
}

fn run(command: Command, context: &Context) -> Result<Outcome, Failure> {
    match command {
        Command::Demo(args) => demo::run(&args, context),
        Command::Card(args) => card::run(&args, context),
        Command::Calibrate(args) => calibrate::run(&args, context),
        Command::Teach(args) => teach::run(&args, context),
        Command::Colours(args) => colours::run(&args, context),
        Command::Shapes(args) => shapes::run(&args, context),
        Command::Count(args) => count::run(&args, context),
        Command::Review(args) => review::run(&args, context),
        Command::Record(args) => record::run(&args, context),
        Command::Post(args) => post::run(&args, context),
        Command::Stock(args) => stock::run(&args, context),
        Command::Plan(args) => plan::run(&args, context),
        Command::Cover(args) => cover::run(&args, context),
        Command::Desk(args) => desk::run(&args, context),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_told_command_names_the_home_folder_where_it_was_named() {
        let call = |home: &str, named| {
            let why = if named { Why::Named } else { Why::Own };
            let folder = PathBuf::from(home);
            Context::new(Home { folder, why }).call("stock undo 3")
        };
        assert_eq!(call("club", false), "cuptally stock undo 3");
        assert_eq!(call("club", true), "cuptally --home club stock undo 3");
        assert_eq!(
            call("my club", true),
            "cuptally --home \"my club\" stock undo 3"
        );
        assert_eq!(call("a\"b", true), "cuptally --home 'a\"b' stock undo 3");
        assert_eq!(call("-quay", true), "cuptally --home=-quay stock undo 3");
    }

    #[test]
    fn only_a_count_of_pieces_is_told_to_be_below_zero() {
        let told = |args: &[&str]| below_zero(args.iter().map(|&arg| arg.to_owned()));
        assert!(told(&["put", "2 plate 2x4 tar", "-3 plate 2x4 tar"]).is_some());
        assert!(told(&["undo", "-1"]).is_none());
        assert!(told(&["put", "-x plate 2x4 tar"]).is_none());
    }
}
