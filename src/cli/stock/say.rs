//! What the stock commands say alike.

pub use crate::cli::say::*;
use crate::cli::{Context, Failure};
use crate::stock::file::StockFile;
use crate::stock::model::{Recorded, Stock};

/// How a change is told: by its sentence, or for programs by its entry of the history.
///
/// # Errors
/// When the history contradicts itself.
pub fn telling(
    stock: &Stock,
    number: u64,
    as_json: bool,
    sentence: String,
) -> Result<String, Failure> {
    match stock.entry(number).filter(|_| as_json) {
        Some(written) => {
            let ledger = stock.ledger()?;
            Ok(serde_json::to_string_pretty(&super::history::json(
                written, &ledger,
            ))?)
        }
        None => Ok(sentence),
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

/// Says where nothing was found, so that a mistyped folder is seen.
pub fn nothing_yet(file: &StockFile) {
    note(&format!(
        "there is no stock file {} yet; post a sheet first, or name another folder with --home",
        file.path().display()
    ));
}
