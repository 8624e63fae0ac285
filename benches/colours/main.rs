//! Names the colours of pieces that were found once, so that a change of the naming is judged without counting again.
//!
//! ```text
//! cargo bench --bench colours -- --drawn DIR            finds the pieces of all photos, keeps what they show, names them
//! cargo bench --bench colours -- --drawn DIR --found    names them anew: after a change below `src/count`
//! cargo bench --bench colours -- --found --photos w30   only photos with this in their name, photo by photo
//! ```
//! The photos are those of `sample-photos/tune` and those drawn to fit by (`python -m studio draw`); pieces are matched with true
//! ones as in the accuracy table, and colours named with all that the desk taught, with one colour in eight left out, and as
//! taught in one light alone.

// The parts of the accuracy table that find photos, teach and match; it uses more of them.
#![allow(dead_code)]

#[path = "../accuracy/decode.rs"]
mod decode;
#[path = "../doubt/drawn.rs"]
mod drawn;
#[path = "../accuracy/foreign.rs"]
mod foreign;
#[path = "../accuracy/lessons.rs"]
mod lessons;
#[path = "../accuracy/matching.rs"]
mod matching;
#[path = "../accuracy/program.rs"]
mod program;
#[path = "../doubt/seen.rs"]
mod seen;
#[path = "../accuracy/set.rs"]
mod set;
#[path = "../doubt/teaching.rs"]
mod teaching;
#[path = "../accuracy/truth.rs"]
mod truth;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use clap::Parser;
use cuptally::colour::CardLook;
use cuptally::count::name_colours;
use cuptally::pieces::paint::Paint;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use program::Homes;
use seen::{Painted, shows};
use set::{Folder, Kind, Photo};
use teaching::Teaching;

/// A probability below this is taken as this where its logarithm is summed.
const LEAST: f64 = 1e-3;

/// Names colours anew.
#[derive(Parser)]
#[command(bin_name = "cargo bench --bench colours --")]
struct Args {
    /// A folder with photos that were drawn to fit by, each with its truth beside it.
    #[arg(long, value_name = "DIR")]
    drawn: Option<PathBuf>,

    /// Take the pieces that the last run found.
    #[arg(long)]
    found: bool,

    /// Only photos with this in their name, and a line for each.
    #[arg(long, value_name = "PART")]
    photos: Option<String>,

    /// `cargo bench` adds this.
    #[arg(long, hide = true)]
    bench: bool,
}

/// What a photo shows of its pieces' colours.
#[derive(Serialize, Deserialize)]
struct Shows {
    name: String,
    kind: String,
    home: PathBuf,
    card: CardLook,
    pieces: Vec<Painted>,
}

/// How many names are right.
#[derive(Clone, Copy, Default)]
struct Tally {
    pieces: usize,
    right: usize,
    sure: usize,
    sure_wrong: usize,
    loss: f64,
}

impl Tally {
    fn add(&mut self, other: &Self) {
        self.pieces += other.pieces;
        self.right += other.right;
        self.sure += other.sure;
        self.sure_wrong += other.sure_wrong;
        self.loss += other.loss;
    }

    fn print(&self, what: &str) {
        let share = |n: usize, of: usize| 100.0 * n as f64 / of.max(1) as f64;
        println!(
            "{what:44} {:5} pieces  right {:5.1} %  sure {:5.1} %, of these wrong {:3} ({:.2} %)  log loss {:.3}",
            self.pieces,
            share(self.right, self.pieces),
            share(self.sure, self.pieces),
            self.sure_wrong,
            share(self.sure_wrong, self.sure),
            self.loss / self.pieces.max(1) as f64,
        );
    }
}

fn main() -> Result<()> {
    let args = Args::parse();
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("colours");
    let kept = folder.join("found.json");
    let mut all: Vec<Shows> = if args.found {
        let text = fs::read_to_string(&kept)
            .with_context(|| format!("reading {}; run it without --found once", kept.display()))?;
        serde_json::from_str(&text)?
    } else {
        let found = find(&args, &folder)?;
        // A part would pass for all of them in the next run.
        if args.photos.is_none() {
            fs::write(&kept, serde_json::to_string(&found)?)?;
        }
        found
    };
    if let Some(part) = &args.photos {
        all.retain(|shows| shows.name.contains(part));
    }
    for teaching in Teaching::ALL {
        println!("\n== {teaching:?}");
        let tallies = (all.par_iter())
            .map(|shows| named(shows, teaching))
            .collect::<Result<Vec<_>>>()?;
        let mut by_kind: BTreeMap<&str, Tally> = BTreeMap::new();
        for (shows, tally) in all.iter().zip(&tallies) {
            if args.photos.is_some() {
                tally.print(&shows.name);
            }
            by_kind.entry(&shows.kind).or_default().add(tally);
            by_kind.entry("all").or_default().add(tally);
        }
        for (kind, tally) in by_kind {
            tally.print(kind);
        }
    }
    Ok(())
}

/// Finds the pieces of all photos to fit by, each with the colours of its desk taught.
fn find(args: &Args, folder: &Path) -> Result<Vec<Shows>> {
    let mut found = Vec::new();
    let mut homes = Homes::new(folder.to_path_buf(), false);
    let drawn = args.drawn.as_deref().map(drawn::drawn).transpose()?;
    let shipped = set::photos(Path::new(env!("CARGO_MANIFEST_DIR")))?;
    for photos in std::iter::once(shipped).chain(drawn) {
        let used = |photo: &&Photo| {
            let other = matches!(photo.kind, Kind::Expected | Kind::Empty | Kind::Together);
            let wanted = (args.photos.as_ref()).is_none_or(|part| photo.name.contains(part));
            photo.folder == Folder::Tune && !other && wanted
        };
        let used: Vec<&Photo> = photos.iter().filter(used).collect();
        for photo in &used {
            homes.teach(&lessons::lessons(photo, &photos))?;
        }
        let of_photos = (used.par_iter())
            .map(|photo| {
                let home = homes.place(&lessons::lessons(photo, &photos));
                let shown = shows(photo, &home)?;
                eprintln!("{}", photo.name);
                Ok(shown.map(|(card, pieces)| Shows {
                    name: photo.name.clone(),
                    kind: format!("{:?}", photo.kind),
                    home,
                    card,
                    pieces,
                }))
            })
            .collect::<Result<Vec<_>>>()?;
        found.extend(of_photos.into_iter().flatten());
    }
    Ok(found)
}

/// How well a photo's pieces are named with that teaching; nothing where nothing was taught.
fn named(shows: &Shows, teaching: Teaching) -> Result<Tally> {
    let mut tally = Tally::default();
    let Ok(text) = fs::read_to_string(shows.home.join("calibration/swatches.json")) else {
        return Ok(tally);
    };
    let Some(book) = teaching.of(&text, &shows.name)? else {
        return Ok(tally);
    };
    let paints: Vec<Paint> = shows.pieces.iter().map(|(paint, _)| *paint).collect();
    let colours = name_colours(&paints, Some(&book), &shows.card);
    for ((_, is), named) in shows.pieces.iter().zip(&colours.named) {
        let Some(is) = is else {
            continue;
        };
        let right = *is == named.name;
        let sure = named.is_sure(colours.unlike);
        let stated = match right {
            true => named.probability,
            false => 1.0 - named.probability,
        };
        tally.add(&Tally {
            pieces: 1,
            right: usize::from(right),
            sure: usize::from(sure),
            sure_wrong: usize::from(sure && !right),
            loss: -stated.max(LEAST).ln(),
        });
    }
    Ok(tally)
}
