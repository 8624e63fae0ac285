//! `cuptally stock export` and `import`: tables for other programs.

use super::say;
use crate::cli::{Context, Failure, Outcome, author};
use crate::stock::durable;
use crate::stock::file::{FileError, Purpose, StockFile};
use crate::stock::inbox;
use crate::stock::kind::Label;
use crate::stock::merge::{self, Mode, PostError};
use crate::stock::model::Contents;
use crate::stock::table;
use crate::stock::why::why;
use std::io;
use std::path::{Path, PathBuf};

/// Arguments of `cuptally stock export`.
#[derive(clap::Args)]
pub struct ExportArgs {
    /// Write to this file instead of standard output.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,

    /// Print JSON and nothing else: the rows, or the file that they were written to.
    #[arg(long)]
    json: bool,
}

/// Arguments of `cuptally stock import`.
#[derive(clap::Args)]
pub struct ImportArgs {
    /// CSV with the columns place, form, size, colour, count and, if wanted, low,
    /// high and status.
    #[arg(value_name = "FILE")]
    file: PathBuf,

    #[command(flatten)]
    mode: ModeArgs,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// What happens to what a place already holds.
#[derive(clap::Args, Default)]
#[group(multiple = false)]
pub struct ModeArgs {
    /// The pieces come on top of what is in the place.
    #[arg(long)]
    add: bool,

    /// The pieces are all there is in the place: what was there is replaced.
    #[arg(long)]
    recount: bool,
}

impl ModeArgs {
    /// What was said, if anything.
    pub fn mode(&self) -> Option<Mode> {
        match (self.add, self.recount) {
            (true, _) => Some(Mode::Add),
            (_, true) => Some(Mode::Recount),
            _ => None,
        }
    }
}

/// Why a change did not come about, before it is told.
pub enum ChangeError {
    /// The file.
    File(FileError),
    /// What was to be merged.
    Post(PostError),
    /// The table.
    Table(Failure),
}

impl From<FileError> for ChangeError {
    fn from(error: FileError) -> Self {
        Self::File(error)
    }
}

impl From<PostError> for ChangeError {
    fn from(error: PostError) -> Self {
        Self::Post(error)
    }
}

impl ChangeError {
    /// As the program ends.
    pub fn failure(self) -> Failure {
        match self {
            Self::File(error) => error.into(),
            Self::Post(error) if error.is_wrong_use() => Failure::wrong_use(error.to_string()),
            Self::Post(error) => error.into(),
            Self::Table(failure) => failure,
        }
    }
}

/// Writes the stock as CSV.
///
/// # Errors
/// When the stock cannot be read or the table not be written.
pub fn export(args: &ExportArgs, context: &Context) -> Result<Outcome, Failure> {
    let file = StockFile::in_home(&context.home);
    let stock = file.read()?;
    if stock.is_none() && !args.json {
        say::nothing_yet(&file, context);
    }
    let contents = stock.unwrap_or_default().contents;
    let bytes = table::write(&contents)?;
    match &args.out {
        None if args.json => say::print_json(&table::rows(&contents)?)?,
        None => say::print_bytes(&bytes)?,
        Some(path) => {
            if file.owns(path) {
                return Err(Failure::wrong_use(format!(
                    "{} belongs to the stock itself; export to another file",
                    path.display()
                )));
            }
            durable::resolve(path)
                .and_then(|path| durable::replace(&path, &bytes))
                .map_err(|cause| {
                    Failure::failed(format!(
                        "cannot write {}: {}; name another file with --out",
                        path.display(),
                        unwritable(path, &cause)
                    ))
                })?;
            if args.json {
                say::print_json(&serde_json::json!({ "wrote": path }))?;
            } else {
                say::print(&format!("Wrote {}.", path.display()))?;
            }
        }
    }
    Ok(Outcome::Done)
}

/// Why a file cannot be made. The system's `no such file` does not mean the file, which is yet to
/// be made, but its folder, or that the folder takes no files.
fn unwritable(path: &Path, cause: &io::Error) -> String {
    let folder = durable::folder_of(path);
    match cause.kind() {
        io::ErrorKind::NotFound if folder.is_dir() => {
            format!("no file can be made in {}", folder.display())
        }
        io::ErrorKind::NotFound => format!("there is no folder {}", folder.display()),
        _ if path.is_dir() => why(&io::ErrorKind::IsADirectory.into()),
        _ => why(cause),
    }
}

/// Reads a CSV into the stock.
///
/// # Errors
/// When the table is wrong (all faults are told) or the stock cannot be written.
pub fn import(args: &ImportArgs, context: &Context) -> Result<Outcome, Failure> {
    let shown = args.file.display();
    let stamp = author::stamp(context, true)?;
    let bytes = inbox::read_bytes(&args.file)?;
    let wrong = |cause: table::TableError| {
        let between = if matches!(cause, table::TableError::Lines(_)) {
            "\n  "
        } else {
            " "
        };
        Failure::failed(format!(
            "cannot import {shown}, nothing was changed:{between}{cause}"
        ))
    };
    let table = table::read(&bytes).map_err(wrong)?;
    for column in &table.ignored {
        say::note(&format!(
            "{shown}: the column '{column}' means nothing here and was left out"
        ));
    }
    let name = args.file.file_name().unwrap_or_default().to_string_lossy();
    let name = Label::new(&name);
    let places = say::plural(table.places(), "place", "places");
    let (recorded, telling, is_pending) = StockFile::in_home(&context.home)
        .update(Purpose::Bring, &mut say::waiting, |stock| {
            // What comes on top is no changed copy of what is there.
            let listing = match args.mode.mode() {
                Some(Mode::Add) => table.listing(&Contents::default()),
                _ => table.listing(&stock.contents),
            };
            let listing = listing.map_err(|cause| ChangeError::Table(wrong(cause)))?;
            let recorded = merge::import(stock, &listing, &name, args.mode.mode(), &stamp)?;
            let entry = recorded.entry;
            let sentence = format!("Entry {entry}: imported {places} from {shown}.");
            let telling = say::telling(stock, entry, args.json, sentence);
            Ok::<_, ChangeError>((recorded, telling, !listing.pending.is_empty()))
        })
        .map_err(ChangeError::failure)?;
    say::lookalikes(&recorded, context);
    let told = telling.and_then(|telling| telling.print());
    say::stands(say::entry(recorded.entry), told)?;
    Ok(if is_pending {
        Outcome::NeedsALook
    } else {
        Outcome::Done
    })
}
