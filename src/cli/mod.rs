//! One file a command. No logic here: arguments in, tables and files out.

pub mod atomic;
pub mod card;
pub mod failure;
pub mod post;
pub mod say;
pub mod stock;

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
    /// Write the reference card as PDF, SVG and PNG.
    Card(card::Args),
    /// Merge counted sheets into the stock file.
    Post(post::Args),
    /// Show, search and undo the stock.
    Stock(stock::Args),
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
        Command::Card(args) => card::run(&args, &context),
        Command::Post(args) => post::run(&args, &context),
        Command::Stock(args) => stock::run(&args, &context),
    };
    match result {
        Ok(outcome) => outcome.into(),
        Err(failure) => {
            eprintln!("cuptally: {failure}");
            failure.exit_code()
        }
    }
}
