//! `cuptally card` (to be written).

use super::{Context, Failure, Outcome};

/// Arguments of `cuptally card`.
#[derive(clap::Args)]
pub struct Args {}

/// Runs the command.
///
/// # Errors
/// When the work cannot be done; the text says why.
pub fn run(_args: &Args, _context: &Context) -> Result<Outcome, Failure> {
    Err(Failure::failed("not built yet"))
}
