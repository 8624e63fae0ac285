//! `cuptally review`: put sheets right in the browser, before they reach the stock.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use super::page::PageArgs;
use super::{Context, Failure, Outcome, home, say};
use crate::review::api::Work;
use crate::review::finish::Standing;
use crate::review::photos::Album;
use crate::review::routes::{Review, routes};
use crate::review::slots::{SlotError, Slots};
use crate::serve::site;
use crate::stock::{Stamp, inbox};

/// Arguments of `cuptally review`.
#[derive(clap::Args)]
pub struct Args {
    /// Sheet files, as `cuptally count` writes them, or folders of them, of which those are shown that
    /// nobody has checked [default: the home folder's `sheets`].
    #[arg(value_name = "SHEET")]
    sheets: Vec<PathBuf>,

    /// Folder to look for photos in, when they are no longer where they were counted.
    #[arg(long, value_name = "DIR")]
    photos: Option<PathBuf>,

    #[command(flatten)]
    page: PageArgs,
}

/// Serves the page until it is closed there or Ctrl+C is pressed.
///
/// # Errors
/// When a sheet or its photo is no good, or the server cannot run.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    Stamp::of_environment().map_err(|e| Failure::wrong_use(e.to_string()))?;
    let book = home::swatches(&context.home)?;
    let mut paths = Vec::new();
    let usual = [context.home.join("sheets")];
    let named = match args.sheets.as_slice() {
        [] => usual.as_slice(),
        named => named,
    };
    for path in named {
        if path.is_dir() || args.sheets.is_empty() {
            paths.extend(unchecked(path)?);
        } else {
            paths.push(path.clone());
        }
    }
    let slots = Slots::open(&paths, home::shapes(&context.home)?)?;
    // Of several printed copies nobody says here which one was photographed.
    let printed = home::targets(&context.home, None).ok();
    let album = Album::new(args.photos.clone(), printed);
    for index in 0..slots.len() {
        slots
            .with(index, |slot| {
                album
                    .seek(&slot.path, &slot.sheet)
                    .map_err(Failure::from)
                    .map_err(Said)
            })
            .map_err(|Said(failure)| failure)?;
    }
    let ready = site::listen(args.page.port())?;
    context.tell_home();
    let address = ready.address();
    say::print(&address)?;
    say::note("open this address in a browser; Ctrl+C ends");
    args.page.open(&ready);
    let work = Work {
        slots,
        album,
        home: context.home.clone(),
        book: Mutex::new(book),
        desk: false,
    };
    let site = ready.site();
    let review = Arc::new(Review::new(work, move || site.end()));
    ready.serve(routes("/{token}", Arc::clone(&review)))?;
    farewell(&review.work())
}

/// A failure that has passed through a sheet.
struct Said(Failure);

impl From<SlotError> for Said {
    fn from(error: SlotError) -> Self {
        Self(error.into())
    }
}

/// The sheets in a folder that nobody has checked, by name.
fn unchecked(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let none = || {
        Failure::failed(format!(
            "there is no sheet to review in {}; count a photo first, or name the sheets",
            folder.display()
        ))
    };
    let mut open = Vec::new();
    for path in inbox::sheets_in(folder).map_err(|_| none())? {
        if !inbox::read_sheet(&path)?.checked {
            open.push(path);
        }
    }
    if open.is_empty() {
        Err(none())
    } else {
        Ok(open)
    }
}

/// Says of each sheet how it stands.
fn farewell(work: &Work) -> Result<Outcome, Failure> {
    let mut open = false;
    for line in work.lines()? {
        let left = match line.left {
            0 => String::new(),
            1 => ", 1 thing left to look at".to_owned(),
            left => format!(", {left} things left to look at"),
        };
        let stands = match &line.standing {
            Standing::Checked { entry, place } if line.checked => {
                format!("checked and posted to {place}, entry {entry}")
            }
            // Counted again: what was posted is the sheet before.
            Standing::Checked { entry, place } => {
                open = true;
                format!(
                    "counted anew since it was posted to {place}; to post this count in its place, say `cuptally stock undo {entry}` first{left}"
                )
            }
            Standing::Pending { entry, place } => {
                open = true;
                format!("pending in {place}, entry {entry}{left}")
            }
            Standing::New => {
                open = true;
                format!("not posted{left}")
            }
        };
        say::print(&format!("{}: {stands}", line.file))?;
    }
    if open {
        Ok(Outcome::NeedsALook)
    } else {
        Ok(Outcome::Done)
    }
}
