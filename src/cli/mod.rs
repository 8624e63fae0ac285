//! One file a command. No logic here: arguments in, tables and files out.

pub mod atomic;
pub mod failure;
pub mod home;
pub mod look;
pub mod say;

pub mod demo;
pub mod card;
pub mod calibrate;
pub mod teach;
pub mod shapes;
pub mod count;
pub mod review;
pub mod post;
pub mod stock;
pub mod plan;
pub mod cover;

use clap::{Parser, Subcommand};
use std::path::PathBuf;
use std::process::ExitCode;

pub use failure::{Failure, Outcome};

/// Counts loose building bricks on a tray from one overhead photo.
#[derive(Parser)]
#[command(name = "cuptally", version, propagate_version = true)]
struct Args {
    /// Folder that holds calibration and stock.
    #[arg(
        long,
        global = true,
        env = "CUPTALLY_HOME",
        default_value = ".",
        value_name = "DIR"
    )]
    home: PathBuf,

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
    /// Show the shapes that pieces may have: those that come along, and your own.
    Shapes(shapes::Args),
    /// Count the pieces in photos.
    Count(count::Args),
    /// Put sheets right on a page in the browser, before they reach the stock.
    Review(review::Args),
    /// Merge counted sheets into the stock file.
    Post(post::Args),
    /// Show, search and undo the stock.
    Stock(stock::Args),
    /// Look at a plan of what is to be built.
    Plan(plan::Args),
    /// Say how far the stock reaches for a plan, and what is missing.
    Cover(cover::Args),
}

/// What every command knows.
pub struct Context {
    /// Folder that holds calibration and stock.
    pub home: PathBuf,
}

/// Runs the program; the only place that turns a failure into an exit code.
pub fn main() -> ExitCode {
    let args = Args::parse();
    let context = Context { home: args.home };
    let result = match args.command {
        Command::Demo(args) => demo::run(&args),
        Command::Card(args) => card::run(&args, &context),
        Command::Calibrate(args) => calibrate::run(&args, &context),
        Command::Teach(args) => teach::run(&args, &context),
        Command::Shapes(args) => shapes::run(&args, &context),
        Command::Count(args) => count::run(&args, &context),
        Command::Review(args) => review::run(&args, &context),
        Command::Post(args) => post::run(&args, &context),
        Command::Stock(args) => stock::run(&args, &context),
        Command::Plan(args) => plan::run(&args, &context),
        Command::Cover(args) => cover::run(&args, &context),
    };
    match result {
        Ok(outcome) => outcome.into(),
        Err(failure) => {
            say::note(&failure.to_string());
            failure.exit_code()
        }
    }
}
