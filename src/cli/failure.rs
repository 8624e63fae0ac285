//! How a command ends: exit codes 0 done, 1 failed, 2 wrong use, 3 needs a look.

use std::fmt;
use std::process::ExitCode;

/// A command that did its work.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Nothing left to do.
    Done,
    /// Done, but a person should look before relying on it.
    NeedsALook,
}

impl From<Outcome> for ExitCode {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Done => ExitCode::SUCCESS,
            Outcome::NeedsALook => ExitCode::from(3),
        }
    }
}

/// A command that could not do its work: one sentence saying what, where and what to do.
#[derive(Debug)]
pub struct Failure {
    wrong_use: bool,
    text: String,
}

impl Failure {
    /// The work failed (exit code 1).
    pub fn failed(text: impl Into<String>) -> Self {
        Self {
            wrong_use: false,
            text: text.into(),
        }
    }

    /// The command was called wrongly (exit code 2).
    pub fn wrong_use(text: impl Into<String>) -> Self {
        Self {
            wrong_use: true,
            text: text.into(),
        }
    }

    /// The process exit code for this failure.
    pub fn exit_code(&self) -> ExitCode {
        ExitCode::from(if self.wrong_use { 2 } else { 1 })
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// Every library error already reads as what, where and what to do.
impl<E: std::error::Error> From<E> for Failure {
    fn from(error: E) -> Self {
        Self::failed(error.to_string())
    }
}
