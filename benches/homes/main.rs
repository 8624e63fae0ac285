//! Does what reviews taught a home hold there? On desks that nothing was fitted on.
//!
//! ```text
//! cargo bench --bench homes                  counts, reviews, counts again: a quarter of an hour and more
//! cargo bench --bench homes -- --counted     with the sheets of the last run
//! ```
//! A home is a desk of `sample-photos/check`, or that of the foreign photos where `CUPTALLY_FOREIGN` names them: a printed
//! card, a camera or two, a maker's pieces, lights and trays of its own, taught as a user would. Its trays are dealt out; in turn each hand is
//! left aside, and of the others twenty photos, or as many as there are, are reviewed: put right through the real server by a
//! scripted person who has the tray before them, and so knows of every counted piece what it is. Then the photos left aside
//! are counted again, with what the reviews left in `calibration/record.json`.
//! Printed is how often what was stated of pieces came true on those, before and after.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, dead_code)]

#[path = "../accuracy/decode.rs"]
mod decode;
#[path = "../accuracy/foreign.rs"]
mod foreign;
mod home;
#[path = "../accuracy/lessons.rs"]
mod lessons;
#[path = "../accuracy/matching.rs"]
mod matching;
#[path = "../accuracy/program.rs"]
mod program;
mod reliability;
#[path = "../accuracy/set.rs"]
mod set;
#[path = "../../tests/review/support.rs"]
mod support;
#[path = "../accuracy/truth.rs"]
mod truth;

use std::collections::BTreeMap;
use std::path::Path;

use clap::Parser;
use home::Home;
use reliability::Told;
use set::{Folder, Kind, Photo};

#[derive(Parser)]
#[command(bin_name = "cargo bench --bench homes --")]
struct Args {
    /// Take what the last run taught, counted and reviewed.
    #[arg(long)]
    counted: bool,

    /// So many photos are counted at once.
    #[arg(long, default_value_t = 2)]
    jobs: usize,

    /// Only homes whose name has this in it.
    #[arg(long, default_value = "")]
    only: String,

    /// What cargo adds.
    #[arg(long, hide = true)]
    bench: bool,
}

fn main() {
    let args = Args::parse();
    rayon::ThreadPoolBuilder::new()
        .num_threads(args.jobs)
        .build_global()
        .unwrap();
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR"));
    let photos = set::photos(manifest).unwrap();
    let mut worlds: BTreeMap<&str, Vec<&Photo>> = BTreeMap::new();
    for photo in &photos {
        // The first world's lights and print are those that the program was first written on.
        let Some(world) = photo.truth.world.as_deref() else {
            continue;
        };
        let is_counted = photo.kind.is_in_sum() && !matches!(photo.kind, Kind::Teach | Kind::Empty);
        if photo.folder != Folder::Tune && is_counted {
            worlds.entry(world).or_default().push(photo);
        }
    }
    let root = manifest.join("target/homes");
    let (mut before, mut after) = (Vec::new(), Vec::new());
    reliability::head();
    for (world, of_world) in worlds {
        if !world.contains(&args.only) {
            continue;
        }
        let home = Home::new(world, root.join(world), of_world);
        let [then, now] = home.told(&photos, args.counted);
        reliability::row(world, &home.reviewed(), &then, &now);
        if home.is_full() {
            reliability::tables(&[("before", &then), ("after", &now)]);
            reliability::head();
        }
        before.extend(then);
        after.extend(now);
    }
    println!("\nall of them together");
    reliability::tables(&[("before", &before), ("after", &after)]);
}

/// All pieces that were counted on photos, what was stated of them and whether it is so.
type All = Vec<Told>;
