//! What the stock commands say alike.

pub use crate::cli::say::*;
use crate::cli::{Context, Failure};
use crate::stock::file::StockFile;
use crate::stock::model::{Recorded, Stock};

/// What is told of a change that is made.
pub enum Telling {
    /// In words.
    Sentence(String),
    /// For programs.
    Json(serde_json::Value),
}

impl Telling {
    /// Prints it.
    ///
    /// # Errors
    /// When nothing can be written to standard output.
    pub fn print(&self) -> Result<(), Failure> {
        match self {
            Self::Sentence(sentence) => print(sentence),
            Self::Json(entry) => print_json(entry),
        }
    }
}

/// How a change is told: by its sentence, or for programs by its entry of the history.
///
/// # Errors
/// When the history contradicts itself.
pub fn telling(
    stock: &Stock,
    number: u64,
    as_json: bool,
    sentence: String,
) -> Result<Telling, Failure> {
    match stock.entry(number).filter(|_| as_json) {
        Some(written) => {
            let ledger = stock.ledger()?;
            let entry = serde_json::to_value(super::history::json(written, &ledger)?)?;
            Ok(Telling::Json(entry))
        }
        None => Ok(Telling::Sentence(sentence)),
    }
}

/// Says that another process is being waited for.
pub fn waiting() {
    note("waiting for another cuptally to finish writing the stock file");
}

/// Points out new names that are easily mistaken for others.
pub fn lookalikes(recorded: &Recorded, context: &Context) {
    for (new, old) in &recorded.lookalikes {
        note(&format!(
            "'{new}' is new and differs from '{old}' only in upper and lower case; \
             the two are kept apart (to take this back: {})",
            context.call(&format!("stock undo {}", recorded.entry))
        ));
    }
}

/// Says where nothing was found, so that a mistyped folder is seen, and how a stock begins.
pub fn nothing_yet(file: &StockFile, context: &Context) {
    note(&format!(
        "there is no stock file {} yet; begin with `{}` and `{}`, or with `{}`, or name another folder with --home",
        file.path().display(),
        context.call("count PHOTO"),
        context.call("review"),
        context.call("stock put"),
    ));
}
