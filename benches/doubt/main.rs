//! Fits what tells how sure a piece is, on `sample-photos/tune` and on photos drawn for it alone.
//!
//! ```text
//! python -m studio draw DIR --desks 301-320         the photos drawn for it (sample-photos/studio/drawn.py)
//! cargo bench --bench doubt -- --drawn DIR          what newly fitted maps say of worlds left out
//! cargo bench --bench doubt -- --drawn DIR --write  calibration/doubt.json made anew
//! ```
//! Each photo is counted twice, looking for the form that lies there and for any, photos of one tray also together, and colours are named three times:
//! with all that its desk taught, with one colour in eight left out, and as taught in one light alone. Counted pieces are matched with true
//! ones as in the accuracy table. A world is a desk with its camera and printed card; each is left out in turn, so
//! that the figures printed are of worlds that the map did not know.

// The parts of the accuracy table that find photos, teach and match; it uses more of them.
#![allow(dead_code)]

#[path = "../accuracy/decode.rs"]
mod decode;
mod drawn;
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
mod teaching;
#[path = "../accuracy/truth.rs"]
mod truth;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use clap::Parser;
use cuptally::count::features::{Feature, NAMED_SURELY, second_photo_features, whole_features};
use cuptally::count::fitted::{Fitted, Map};
use rayon::prelude::*;
use serde_json::{Value, json};

use fit::{Case, Fit, bins, fit};
use program::Homes;
use seen::{Counted, Judged, JudgedTogether, judged, kept};
use set::{Folder, Kind, Photo};
use teaching::Teaching;

/// Where the maps are kept.
const MAPS: &str = "calibration/doubt.json";

/// Fits the maps of doubt.
#[derive(Parser)]
#[command(bin_name = "cargo bench --bench doubt --")]
struct Args {
    /// Write calibration/doubt.json.
    #[arg(long)]
    write: bool,

    /// A folder with photos that were drawn for it, each with its truth beside it.
    #[arg(long, value_name = "DIR")]
    drawn: Option<PathBuf>,

    /// Take the colours as the last run taught them.
    #[arg(long)]
    taught: bool,

    /// Fit the pieces that the last runs counted.
    #[arg(long)]
    counted: bool,

    /// Count only these photos anew: `tune` or `drawn`.
    #[arg(long, value_name = "WHICH")]
    only: Option<String>,

    /// Count only trays that were taken from several places anew, for the maps of several photos; of one photo the pieces that
    /// the last run counted are taken.
    #[arg(long)]
    sets: bool,

    /// `cargo bench` adds this.
    #[arg(long, hide = true)]
    bench: bool,
}

fn main() -> Result<()> {
    let args = Args::parse();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("doubt");
    let mut counted = Counted::default();
    let mut named = Vec::new();
    let drawn = args.drawn.as_deref().map(drawn::drawn).transpose()?;
    let shipped = set::photos(root)?;
    let desks = |photos: &[Photo], folder: Folder| -> BTreeSet<String> {
        let of_folder = photos.iter().filter(|photo| photo.folder == folder);
        of_folder
            .filter_map(|photo| photo.truth.world.clone())
            .collect()
    };
    // Nothing is fitted on desks that photos to check with are from; tune's photos of drawn desks are among the drawn.
    let checked = desks(&shipped, Folder::Check);
    let among = drawn
        .as_deref()
        .map_or_else(BTreeSet::new, |all| desks(all, Folder::Tune));
    let sets = std::iter::once(("tune", shipped)).chain(drawn.map(|photos| ("drawn", photos)));
    for (name, photos) in sets {
        let used: Vec<&Photo> = (photos.iter())
            .filter(|p| {
                let world = p.truth.world.as_deref().unwrap_or_default();
                let elsewhere = match name {
                    "tune" => among.contains(world),
                    _ => checked.contains(world),
                };
                p.folder == Folder::Tune
                    && !elsewhere
                    && !matches!(
                        p.kind,
                        Kind::Teach | Kind::Expected | Kind::Empty | Kind::Together
                    )
            })
            .collect();
        let kept_at = folder.join(format!("{name}.json"));
        let again = args.only.as_deref().is_none_or(|only| only == name);
        let before = || -> Result<Counted> {
            let text = fs::read_to_string(&kept_at)
                .with_context(|| format!("reading {}", kept_at.display()))?;
            kept(&text)
        };
        let one = if args.counted || !again {
            before()?
        } else {
            let mut one = count(&used, &photos, folder.clone(), &args)?;
            if args.sets {
                one.alone = before()?.alone;
            }
            fs::write(&kept_at, serde_json::to_string(&one)?)?;
            one
        };
        counted.alone.extend(one.alone);
        counted.together.extend(one.together);
        named.extend(used.iter().map(|p| p.name.clone()));
    }
    let alone = fits(&counted.alone);
    let together = fits_together(&counted.together);
    let second_photo = second_photo(&counted, &alone, &together);
    println!("\n== what a second photo settles");
    let (fit, cases) = &second_photo;
    for (feature, weight) in &fit.map.weights {
        println!("  {feature:28} {weight:8.3}");
    }
    for bin in bins(cases, &fit.held_out) {
        println!(
            "  {:5} stated {:6.3} settled {:6.3}",
            bin.cases, bin.stated, bin.right
        );
    }
    for (of, (fits, sure_from)) in [("alone", &alone), ("together", &together)] {
        println!("\n== {of}");
        for (name, fit, cases) in fits {
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
    }
    if args.write {
        let worlds: BTreeSet<&str> = (counted.alone.iter())
            .map(|one| one.world.as_str())
            .collect();
        let maps = |of: &(Vec<Fitting>, f64)| -> serde_json::Map<String, Value> {
            let maps = of.0.iter();
            let mut object: serde_json::Map<String, Value> = maps
                .map(|(name, fit, _)| ((*name).to_owned(), json!(fit.map)))
                .collect();
            object.insert("sure_from".to_owned(), json!(of.1));
            object
        };
        let held_out = |of: &(Vec<Fitting>, f64)| -> BTreeMap<&str, _> {
            (of.0.iter())
                .map(|(name, fit, cases)| (*name, bins(cases, &fit.held_out)))
                .collect()
        };
        let date = jiff::Timestamp::now().to_string();
        let mut file = json!({
            "by": "cargo bench --bench doubt -- --drawn DIR --write",
            "on": date.get(..10),
            "photos": named,
            "worlds": worlds,
            "pieces": counted.alone.len(),
            "pieces together": counted.together.len(),
            "together": maps(&together),
            "second_photo": second_photo.0.map,
            "worlds left out": held_out(&alone),
            "worlds left out, together": held_out(&together),
            "worlds left out, second photo": bins(&second_photo.1, &second_photo.0.held_out),
        });
        if let Some(object) = file.as_object_mut() {
            object.extend(maps(&alone));
        }
        let text = serde_json::to_string_pretty(&file)? + "\n";
        // Held to what the program reads.
        let _: Fitted = serde_json::from_str(&text)?;
        fs::write(root.join(MAPS), text).with_context(|| format!("writing {MAPS}"))?;
        eprintln!("written: {MAPS}");
    }
    Ok(())
}

/// Counts these photos, their colours taught as a user would; views of one tray also together.
fn count(used: &[&Photo], photos: &[Photo], folder: PathBuf, args: &Args) -> Result<Counted> {
    let mut homes = Homes::new(folder, args.taught);
    let mut trays: BTreeMap<&str, Vec<&Photo>> = BTreeMap::new();
    for photo in used {
        homes.teach(&lessons::lessons(photo, photos))?;
        let of_scene = photo.truth.view.as_ref().map(|view| view.scene.as_str());
        trays
            .entry(of_scene.unwrap_or(&photo.name))
            .or_default()
            .push(photo);
    }
    let mut trays: Vec<Vec<&Photo>> = trays.into_values().collect();
    trays.retain(|tray| !args.sets || tray.len() > 1);
    let counted = (trays.par_iter())
        .map(|tray| {
            let Some(first) = tray.first() else {
                return Ok(Counted::default());
            };
            let home = homes.place(&lessons::lessons(first, photos));
            let counted = judged(tray, &home, args.sets)?;
            eprintln!("{}: {} pieces", first.name, counted.alone.len());
            Ok(counted)
        })
        .collect::<Result<Vec<_>>>()?;
    let mut all = Counted::default();
    for one in counted {
        all.alone.extend(one.alone);
        all.together.extend(one.together);
    }
    Ok(all)
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

/// The maps of several photos of a tray together, and from which probability on a piece is sure by them.
fn fits_together(judged: &[JudgedTogether]) -> (Vec<Fitting>, f64) {
    let case = |one: &JudgedTogether, features: &[Feature], right: bool| Case {
        features: features.to_vec(),
        right,
        world: one.world.clone(),
        weight: one.teaching.weight(),
    };
    let (mut shapes, mut of_shapes) = (Vec::new(), Vec::new());
    let (mut colours, mut of_colours) = (Vec::new(), Vec::new());
    for (k, one) in judged.iter().enumerate() {
        if one.teaching == Teaching::Whole {
            shapes.push(case(one, &one.shape, one.shape_right));
            of_shapes.push(one.place.clone());
        }
        if let Some(features) = one.colour.as_deref().filter(|_| one.is_there) {
            colours.push(case(one, features, one.colour_right));
            of_colours.push(k);
        }
    }
    let (by_shape, by_colour) = (fit(&shapes, &shapes), fit(&colours, &colours));
    let shape_of: BTreeMap<_, f64> = (of_shapes.into_iter())
        .zip(by_shape.held_out.iter().copied())
        .collect();
    let colour_of: BTreeMap<usize, f64> = (of_colours.into_iter())
        .zip(by_colour.held_out.iter().copied())
        .collect();
    let (mut whole, mut known) = (Vec::new(), Vec::new());
    for (k, one) in judged.iter().enumerate() {
        let (Some(of_colour), Some(shape)) = (&one.colour, shape_of.get(&one.place)) else {
            continue;
        };
        let shipped = by_shape.map.of(&one.shape) * by_colour.map.of(of_colour);
        let colour = (colour_of.get(&k).copied()).unwrap_or_else(|| by_colour.map.of(of_colour));
        let right = one.shape_right && one.colour_right;
        whole.push(case(
            one,
            &whole_features(shape * colour, one.surely),
            right,
        ));
        known.push(case(one, &whole_features(shipped, one.surely), right));
    }
    let of_whole = fit(&whole, &known);
    let sure_from = sure_from(&of_whole.map, &known);
    let fits = vec![
        ("shape", by_shape, shapes),
        ("colour", by_colour, colours),
        ("whole", of_whole, whole),
    ];
    (fits, sure_from)
}

/// What tells whether a second photo makes a piece sure that the first leaves doubtful, with the cases: by the maps as they are
/// fitted, of all sets of two photos.
fn second_photo(
    counted: &Counted,
    (alone, alone_from): &(Vec<Fitting>, f64),
    (together, together_from): &(Vec<Fitting>, f64),
) -> (Fit, Vec<Case>) {
    let map = |name: &str, of: &[Fitting]| -> Map {
        let found = of.iter().find(|(own, ..)| *own == name);
        found.map_or_else(Map::none, |(_, fit, _)| fit.map.clone())
    };
    let (size, form) = (map("size", alone), map("form", alone));
    let (colour, whole) = (map("colour", alone), map("whole", alone));
    let (shape_2, colour_2) = (map("shape", together), map("colour", together));
    let whole_2 = map("whole", together);
    let is_sure = |whole: &Map, product: f64, surely: bool, from: f64| {
        surely && whole.of(&whole_features(product, surely)) >= from
    };
    let mut settled: BTreeMap<(Teaching, &str, usize), bool> = BTreeMap::new();
    let mut firsts: BTreeSet<&str> = BTreeSet::new();
    for one in counted.together.iter().filter(|one| one.photos == 2) {
        let first = one.place.0.split(' ').next().unwrap_or_default();
        firsts.insert(first);
        let Some(of) = &one.colour else { continue };
        let product = shape_2.of(&one.shape) * colour_2.of(of);
        if let Some(k) = one.in_first {
            let sure = is_sure(&whole_2, product, one.surely, *together_from);
            settled.insert((one.teaching, first, k), sure);
        }
    }
    let mut cases = Vec::new();
    for one in &counted.alone {
        let (Some(of_size), Some(of)) = (&one.size, &one.colour) else {
            continue;
        };
        let (name, search, k) = &one.place;
        if *search != 0 || !firsts.contains(name.as_str()) {
            continue;
        }
        let of_form = one
            .form
            .as_deref()
            .map_or(1.0, |features| form.of(features));
        let (shape, named) = (size.of(of_size) * of_form, colour.of(of));
        if is_sure(&whole, shape * named, one.surely(), *alone_from) {
            continue;
        }
        cases.push(Case {
            features: second_photo_features(shape, named, one.surely()),
            right: settled.get(&(one.teaching, name, *k)) == Some(&true),
            world: one.world.clone(),
            weight: one.teaching.weight(),
        });
    }
    (fit(&cases, &cases), cases)
}
