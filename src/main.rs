//! Arguments in, exit code out.

use std::process::ExitCode;

fn main() -> ExitCode {
    cuptally::cli::main()
}
