//! Who changes the stock: asked once, on a terminal, and kept in the home folder.

use super::{Context, Failure, demo, say};
use crate::stock::file::StockFile;
use crate::stock::kind::Label;
use crate::stock::{Stamp, author};
use std::io::{self, BufRead, IsTerminal};

/// Who and when. Where nobody was asked yet and somebody sits before a terminal, they are asked now;
/// else it is the system's name for them. A stock that is yet to begin has nobody in its history, so
/// that only a command that `brings` pieces asks then.
///
/// # Errors
/// When the time cannot be told.
pub fn stamp(context: &Context, brings: bool) -> Result<Stamp, Failure> {
    let home = &context.home;
    let stamp = Stamp::in_home(home).map_err(|e| Failure::wrong_use(e.to_string()))?;
    // The demo runs by itself, and is made anew each time.
    let is_asked = author::path(home).exists() || home.join(demo::MARK).exists();
    let begins = brings || StockFile::in_home(home).path().exists();
    if is_asked || !begins || !io::stdin().is_terminal() || !say::is_heard() {
        return Ok(stamp);
    }
    let who = ask(&stamp.who);
    if let Err(cause) = author::keep(home, &who) {
        say::note(&format!(
            "your name cannot be kept in {}: {}; it stands in this entry all the same",
            author::path(home).display(),
            crate::stock::why::why(&cause)
        ));
    }
    Ok(Stamp { who, ..stamp })
}

/// Asks for a name; `usual` where nothing is answered.
fn ask(usual: &Label) -> Label {
    // Where it cannot be asked the answer is the usual one, too.
    say::ask(&format!(
        "by which name shall you stand in the stock's history? [{usual}]"
    ));
    let mut line = String::new();
    let _ = io::stdin().lock().read_line(&mut line);
    match line.trim() {
        "" => usual.clone(),
        name => Label::new(name),
    }
}
