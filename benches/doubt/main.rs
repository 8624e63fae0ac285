//! Fits what tells how sure a piece is, on `sample-photos/tune` alone.
//!
//! ```text
//! cargo bench --bench doubt                 what the shipped maps and newly fitted ones say of worlds left out
//! cargo bench --bench doubt -- --write      calibration/doubt.json made anew
//! ```
//! Each photo is counted twice, looking for the form that lies there and for any, and its colours are named three times:
//! with all that its desk taught, with one colour in eight left out, and as taught in one light alone. Counted pieces are matched with true
//! ones as in the accuracy table. A world is a desk with its camera and printed card; each is left out in turn, so
//! that the figures printed are of worlds that the map did not know.

// The parts of the accuracy table that find photos, teach and match; it uses more of them.
#![allow(dead_code)]

#[path = "../accuracy/decode.rs"]
mod decode;
mod fit;
#[path = "../accuracy/foreign.rs"]
mod foreign;
#[path = "../accuracy/lessons.rs"]
mod lessons;
#[path = "../accuracy/matching.rs"]
mod matching;
#[path = "../accuracy/program.rs"]
mod program;
mod seen;
#[path = "../accuracy/set.rs"]
mod set;
#[path = "../accuracy/truth.rs"]
mod truth;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use clap::Parser;
use cuptally::count::fitted::{Feature, Fitted, Map, NAMED_SURELY, whole_features};
use rayon::prelude::*;
use serde_json::json;

use fit::{Case, Fit, bins, fit};
use program::Homes;
use seen::{Judged, Teaching, judged, kept};
use set::{Folder, Kind, Photo};

/// Where the maps are kept.
const MAPS: &str = "calibration/doubt.json";

/// Fits the maps of doubt.
#[derive(Parser)]
#[command(bin_name = "cargo bench --bench doubt --")]
struct Args {
    /// Write calibration/doubt.json.
    #[arg(long)]
    write: bool,

    /// Take the colours as the last run taught them.
    #[arg(long)]
    taught: bool,

    /// Fit the pieces that the last run counted.
    #[arg(long)]
    counted: bool,

    /// `cargo bench` adds this.
    #[arg(long, hide = true)]
    bench: bool,
}

fn main() -> Result<()> {
    let args = Args::parse();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let photos = set::photos(root)?;
    let used: Vec<&Photo> = (photos.iter())
        .filter(|p| {
            p.folder == Folder::Tune
                && !matches!(p.kind, Kind::Teach | Kind::Expected | Kind::Empty)
        })
        .collect();
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("doubt");
    let counted = folder.join("counted.json");
    let judged = if args.counted {
        let text = fs::read_to_string(&counted)
            .with_context(|| format!("reading {}", counted.display()))?;
        kept(&text)?
    } else {
        let judged = count(&used, &photos, folder, args.taught)?;
        fs::write(&counted, serde_json::to_string(&judged)?)?;
        judged
    };
    let (fits, sure_from) = fits(&judged);
    for (name, fit, cases) in &fits {
        println!("\n{name}: {} cases, most {:.4}", cases.len(), fit.map.most);
        for (feature, weight) in &fit.map.weights {
            println!("  {feature:28} {weight:8.3}");
        }
        for bin in bins(cases, &fit.held_out) {
            println!(
                "  {:5} stated {:6.3} right {:6.3}",
                bin.cases, bin.stated, bin.right
            );
        }
    }
    println!("\nsure from {sure_from:.3}");
    if args.write {
        let worlds: BTreeSet<&str> = judged.iter().map(|one| one.world.as_str()).collect();
        let maps: BTreeMap<&str, _> = (fits.iter())
            .map(|(name, fit, _)| (*name, &fit.map))
            .collect();
        let held_out: BTreeMap<&str, _> = (fits.iter())
            .map(|(name, fit, cases)| (*name, bins(cases, &fit.held_out)))
            .collect();
        let date = jiff::Timestamp::now().to_string();
        let file = json!({
            "by": "cargo bench --bench doubt -- --write",
            "on": date.get(..10),
            "photos": used.iter().map(|p| &p.name).collect::<Vec<_>>(),
            "worlds": worlds,
            "pieces": judged.len(),
            "size": maps["size"],
            "form": maps["form"],
            "colour": maps["colour"],
            "whole": maps["whole"],
            "sure_from": sure_from,
            "worlds left out": held_out,
        });
        let text = serde_json::to_string_pretty(&file)? + "\n";
        // Held to what the program reads.
        let _: Fitted = serde_json::from_str(&text)?;
        fs::write(root.join(MAPS), text).with_context(|| format!("writing {MAPS}"))?;
        eprintln!("written: {MAPS}");
    }
    Ok(())
}

/// Counts these photos, their colours taught as a user would.
fn count(used: &[&Photo], photos: &[Photo], folder: PathBuf, taught: bool) -> Result<Vec<Judged>> {
    let mut homes = Homes::new(folder, taught);
    for photo in used {
        homes.teach(&lessons::lessons(photo, photos))?;
    }
    let judged = (used.par_iter())
        .map(|photo| {
            let home = homes.place(&lessons::lessons(photo, photos));
            let judged = judged(photo, &home)?;
            eprintln!("{}: {} pieces", photo.name, judged.len());
            Ok(judged)
        })
        .collect::<Result<Vec<_>>>()?;
    Ok(judged.into_iter().flatten().collect())
}

/// Of the pieces that are called sure no more than this share may be wrong, those of colours that nobody taught among them.
const MOST_WRONG: f64 = 0.004;

/// The lowest probability, in thousandths, from which on no more than [`MOST_WRONG`] are wrong of the pieces whose colour is
/// named surely.
fn sure_from(map: &Map, cases: &[Case]) -> f64 {
    let surely = |case: &&Case| case.features.contains(&(NAMED_SURELY, 1.0));
    let said: Vec<(f64, &Case)> = (cases.iter().filter(surely))
        .map(|case| (map.of(&case.features), case))
        .collect();
    let holds = |least: f64| {
        let sure = || said.iter().filter(|(said, _)| *said >= least);
        let weight = |case: &Case| case.weight;
        let wrong: f64 = sure()
            .filter(|(_, case)| !case.right)
            .map(|(_, case)| weight(case))
            .sum();
        let all: f64 = sure().map(|(_, case)| weight(case)).sum();
        all > 0.0 && wrong <= MOST_WRONG * all
    };
    (900..1000)
        .map(|step| f64::from(step) / 1000.0)
        .find(|least| holds(*least))
        .unwrap_or(1.0)
}

/// A map's name, how it was fitted, and on what.
type Fitting = (&'static str, Fit, Vec<Case>);

/// The four maps, each with its cases, and from which probability on a piece is sure. What tells of shapes is the same for each teaching, and counts once.
fn fits(judged: &[Judged]) -> (Vec<Fitting>, f64) {
    let case = |one: &Judged, features: &[Feature], right: bool| Case {
        features: features.to_vec(),
        right,
        world: one.world.clone(),
        weight: one.teaching.weight(),
    };
    // Of each piece what a map says that did not know its world.
    let (mut sizes, mut forms, mut colours) = (Vec::new(), Vec::new(), Vec::new());
    let (mut of_sizes, mut of_forms, mut of_colours) = (Vec::new(), Vec::new(), Vec::new());
    for (k, one) in judged.iter().enumerate() {
        let once = one.teaching == Teaching::Whole;
        if let Some(features) = one.size.as_deref().filter(|_| once) {
            sizes.push(case(one, features, one.size_right));
            of_sizes.push(one.place.clone());
        }
        if let Some(features) = one.form.as_deref().filter(|_| once && one.size_right) {
            forms.push(case(one, features, one.form_right));
            of_forms.push(one.place.clone());
        }
        if let Some(features) = one.colour.as_deref().filter(|_| one.is_there) {
            colours.push(case(one, features, one.colour_right));
            of_colours.push(k);
        }
    }
    let (by_size, by_form, by_colour) = (
        fit(&sizes, &sizes),
        fit(&forms, &forms),
        fit(&colours, &colours),
    );
    let size_of: BTreeMap<_, f64> = of_sizes
        .into_iter()
        .zip(by_size.held_out.iter().copied())
        .collect();
    let form_of: BTreeMap<_, f64> = of_forms
        .into_iter()
        .zip(by_form.held_out.iter().copied())
        .collect();
    let colour_of: BTreeMap<usize, f64> = of_colours
        .into_iter()
        .zip(by_colour.held_out.iter().copied())
        .collect();
    // The whole is fitted on what maps say that did not know the world, and held to what all of them say that ship.
    let (mut whole, mut known) = (Vec::new(), Vec::new());
    for (k, one) in judged.iter().enumerate() {
        let (Some(size), Some(of_colour)) = (&one.size, &one.colour) else {
            continue;
        };
        let of_form = one.form.as_deref();
        let shipped = by_size.map.of(size)
            * of_form.map_or(1.0, |features| by_form.map.of(features))
            * by_colour.map.of(of_colour);
        let Some(size) = size_of.get(&one.place) else {
            continue;
        };
        let form = of_form.map_or(1.0, |features| {
            (form_of.get(&one.place).copied()).unwrap_or_else(|| by_form.map.of(features))
        });
        let colour = (colour_of.get(&k).copied()).unwrap_or_else(|| by_colour.map.of(of_colour));
        let right = one.size_right && one.form_right && one.colour_right;
        let features = whole_features(size * form * colour, one.surely());
        whole.push(case(one, &features, right));
        let features = whole_features(shipped, one.surely());
        known.push(case(one, &features, right));
    }
    let of_whole = fit(&whole, &known);
    let sure_from = sure_from(&of_whole.map, &known);
    let fits = vec![
        ("size", by_size, sizes),
        ("form", by_form, forms),
        ("colour", by_colour, colours),
        ("whole", of_whole, whole),
    ];
    (fits, sure_from)
}
