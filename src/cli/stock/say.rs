//! What the stock commands say alike.

use crate::cli::Context;
pub use crate::cli::say::*;
use crate::stock::file::StockFile;
use crate::stock::model::Recorded;

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
