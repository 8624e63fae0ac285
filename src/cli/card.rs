//! `cuptally card`: the reference card as files to print.

use super::atomic::write_files;
use super::{Context, Failure, Outcome, say};
use crate::card::design::CardDesign;
use crate::card::print::Paper;
use crate::card::print::card::card;
use crate::card::print::page::page;
use crate::card::print::pdf::pdf;
use crate::card::print::png::png;
use crate::card::print::svg::svg;
use crate::drawing::Lettering;
use std::path::{Path, PathBuf};

const TITLE: &str = "cuptally reference card v1";

/// Arguments of `cuptally card`.
#[derive(clap::Args)]
pub struct Args {
    /// Folder to write card.pdf, card.svg and card.png into; made if missing.
    #[arg(long, value_name = "DIR", default_value = ".")]
    out: PathBuf,

    /// Paper that card.pdf and card.svg are laid out for.
    #[arg(long, value_enum, default_value_t = Paper::A4)]
    paper: Paper,

    /// Print the files' paths as JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// Writes card.pdf and card.svg (a page with directions) and card.png (the card
/// alone, 20 pixels a millimetre), and lists their paths.
///
/// # Errors
/// When the folder cannot be made or written; then none of the files has changed.
pub fn run(args: &Args, _context: &Context) -> Result<Outcome, Failure> {
    let paths = write_card(&args.out, args.paper)?;
    list(&paths, args.json).map_err(|cause| {
        Failure::failed(format!(
            "the card was written to {}, but the list of its files could not be printed: {cause}",
            args.out.display()
        ))
    })?;
    say::note(
        "print card.pdf at 100 %, then hold a ruler against its two bars: each must be 100 mm long",
    );
    Ok(Outcome::Done)
}

fn write_card(folder: &Path, paper: Paper) -> Result<Vec<PathBuf>, Failure> {
    let design = CardDesign::v1();
    let lettering = Lettering::load()?;
    let page = page(design, paper, &lettering);
    let pdf = pdf(&page, TITLE);
    let svg = svg(&page, TITLE);
    let png = png(&card(design, &lettering))?;
    let files: [(&str, &[u8]); 3] = [
        ("card.pdf", &pdf),
        ("card.svg", svg.as_bytes()),
        ("card.png", &png),
    ];
    Ok(write_files(folder, &files)?)
}

fn list(paths: &[PathBuf], json: bool) -> Result<(), Failure> {
    let shown = paths.iter().map(|path| path.display().to_string());
    if json {
        return say::print_json(&serde_json::json!({ "files": shown.collect::<Vec<_>>() }));
    }
    for path in shown {
        say::print(&path)?;
    }
    Ok(())
}
