//! The pieces of one photo with what tells how sure they are, and whether they are right.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use anyhow::{Context, Result, anyhow};
use cuptally::card::design::CardDesign;
use cuptally::colour::{CardLook, PrintProfile, SwatchBook};
use cuptally::count::colours::Named;
use cuptally::count::features::{
    Feature, PhotoQuality, TOLD, colour_features, colour_together_features, form_features,
    shape_together_features, size_features, told,
};
use cuptally::count::spoils;
use cuptally::photo::{self, Limits};
use cuptally::pieces::paint::Paint;
use cuptally::pieces::polygon::area_and_middle;
use cuptally::pieces::{Search, Shapes, Witness};
use cuptally::pipeline::{
    Known, Scene, Seen, Shown, Targets, Unknown, card_look, join, look, measure, shape_odds_of,
    shown,
};
use cuptally::sheet::file::Spoilt;
use serde::{Deserialize, Serialize};

use crate::matching::matched;
use crate::program::SaidPiece;
use crate::set::Photo;
use crate::teaching::Teaching;

/// A counted piece, judged.
#[derive(Clone, Debug, Serialize)]
pub struct Judged {
    /// Which piece of which search of the photo: the same for each teaching.
    pub place: (String, usize, usize),
    /// How its colours were taught.
    pub teaching: Teaching,
    /// The desk that it was seen on.
    pub world: String,
    /// Whether a piece lies there.
    pub is_there: bool,
    /// Whether it is there and of that size.
    pub size_right: bool,
    /// Whether its form is right.
    pub form_right: bool,
    /// Whether its colour is.
    pub colour_right: bool,
    /// What tells of each; none where another rule speaks.
    pub size: Option<Vec<Feature>>,
    /// As above.
    pub form: Option<Vec<Feature>>,
    /// As above.
    pub colour: Option<Vec<Feature>>,
    /// Its colour as it is named.
    pub named: Named,
    /// Whether the photo is unlike the teaching.
    pub unlike: bool,
}

impl Judged {
    /// Whether its colour is named surely.
    pub fn surely(&self) -> bool {
        self.named.is_sure(self.unlike)
    }
}

/// As it stands in the file that keeps the last run's pieces.
#[derive(Deserialize)]
struct Kept {
    alone: Vec<KeptAlone>,
    together: Vec<KeptTogether>,
}

#[derive(Deserialize)]
struct KeptAlone {
    place: (String, usize, usize),
    teaching: Teaching,
    world: String,
    is_there: bool,
    size_right: bool,
    form_right: bool,
    colour_right: bool,
    size: Option<Vec<(String, f64)>>,
    form: Option<Vec<(String, f64)>>,
    colour: Option<Vec<(String, f64)>>,
    named: Named,
    unlike: bool,
}

#[derive(Deserialize)]
struct KeptTogether {
    place: (String, usize),
    photos: usize,
    teaching: Teaching,
    world: String,
    is_there: bool,
    shape_right: bool,
    colour_right: bool,
    shape: Vec<(String, f64)>,
    colour: Option<Vec<(String, f64)>>,
    surely: bool,
    spread_mm: f64,
    in_first: Option<usize>,
}

/// The pieces that the last run kept.
///
/// # Errors
/// When the text is another program's.
pub fn kept(text: &str) -> Result<Counted> {
    // A feature's name lives as long as the program; there are some sixty.
    let mut names: BTreeMap<String, &'static str> = BTreeMap::new();
    let mut all = |features: Vec<(String, f64)>| -> Vec<Feature> {
        let mut known =
            |name: String| *(names.entry(name)).or_insert_with_key(|name| name.clone().leak());
        features
            .into_iter()
            .map(|(name, v)| (known(name), v))
            .collect()
    };
    let kept: Kept = serde_json::from_str(text)?;
    let mut alone: Vec<Judged> = (kept.alone.into_iter())
        .map(|one| Judged {
            place: one.place,
            teaching: one.teaching,
            world: one.world,
            is_there: one.is_there,
            size_right: one.size_right,
            form_right: one.form_right,
            colour_right: one.colour_right,
            size: one.size.map(&mut all),
            form: one.form.map(&mut all),
            colour: one.colour.map(&mut all),
            named: one.named,
            unlike: one.unlike,
        })
        .collect();
    // What the rule of sureness makes of it may be another since.
    for one in &mut alone {
        for (name, value) in one.colour.iter_mut().flatten() {
            if *name == TOLD {
                *value = told(&one.named, one.unlike);
            }
        }
    }
    let together = (kept.together.into_iter())
        .map(|one| JudgedTogether {
            place: one.place,
            photos: one.photos,
            teaching: one.teaching,
            world: one.world,
            is_there: one.is_there,
            shape_right: one.shape_right,
            colour_right: one.colour_right,
            shape: all(one.shape),
            colour: one.colour.map(&mut all),
            surely: one.surely,
            spread_mm: one.spread_mm,
            in_first: one.in_first,
        })
        .collect();
    Ok(Counted { alone, together })
}

/// A piece as several photos of its tray tell of it, judged.
#[derive(Clone, Debug, Serialize)]
pub struct JudgedTogether {
    /// Which piece of which photos: the same for each teaching.
    pub place: (String, usize),
    /// How many photos there are.
    pub photos: usize,
    /// As of a piece by one photo.
    pub teaching: Teaching,
    /// The desk that it was seen on.
    pub world: String,
    /// Whether a piece lies there, found once.
    pub is_there: bool,
    /// Whether form and size are right.
    pub shape_right: bool,
    /// Whether its colour is.
    pub colour_right: bool,
    /// What tells of form and size.
    pub shape: Vec<Feature>,
    /// What tells of its colour; none where nobody taught it.
    pub colour: Option<Vec<Feature>>,
    /// Whether its colour is named surely in the photo that it is taken from.
    pub surely: bool,
    /// How far its places in the photos are from their middle, mm.
    pub spread_mm: f64,
    /// Which piece of the first photo alone it is, if it shows it.
    pub in_first: Option<usize>,
}

/// What was counted of one tray.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Counted {
    /// By each photo alone.
    pub alone: Vec<Judged>,
    /// By several together.
    pub together: Vec<JudgedTogether>,
}

/// A photo, measured, with what was found for one search after the other and which true piece each is.
struct Looked<'a> {
    photo: &'a Photo,
    pixels: photo::Photo,
    scene: Scene,
    found: Vec<Found>,
}

/// What one search found.
struct Found {
    seen: Vec<Seen>,
    unknown: Vec<Unknown>,
    /// The true piece that each found one is.
    is: Vec<Option<usize>>,
}

/// Counts the photos of a tray, each looking for the form that lies there and for any, and together, with each teaching; with
/// `sets` together alone.
///
/// # Errors
/// When a file of the home cannot be read. A photo that is refused has no pieces.
pub fn judged(photos: &[&Photo], home: &Path, sets: bool) -> Result<Counted> {
    let calibration = home.join("calibration");
    let mut books = Vec::new();
    let Some(first) = photos.first() else {
        return Ok(Counted::default());
    };
    if let Ok(text) = fs::read_to_string(calibration.join("swatches.json")) {
        for teaching in Teaching::ALL {
            if let Some(book) = teaching.of(&text, &first.name)? {
                books.push((teaching, Some(book)));
            }
        }
    } else {
        books.push((Teaching::Whole, None));
    }
    let targets = targets(&calibration)?;
    let mut looked = Vec::new();
    for photo in photos {
        looked.extend(look_at(photo, &targets, sets)?);
    }
    let mut counted = Counted::default();
    for (teaching, book) in &books {
        for one in &looked {
            for number in 1..one.found.len() {
                let shown = one.shown(number, book.as_ref());
                alone((one, number), &shown, *teaching, &mut counted.alone);
            }
        }
        let shown: Vec<Shown<'_>> = (looked.iter())
            .map(|one| one.shown(0, book.as_ref()))
            .collect();
        for (one, shown) in looked.iter().zip(&shown).filter(|_| !sets) {
            alone((one, 0), shown, *teaching, &mut counted.alone);
        }
        // Each pair of neighbours, and all of more than two.
        let n = looked.len();
        let mut ranges: Vec<_> = (1..n).map(|k| k - 1..k + 1).collect();
        if n > 2 {
            ranges.push(0..n);
        }
        for set in ranges {
            let photos = (&looked[set.clone()], &shown[set]);
            together(photos, *teaching, &mut counted.together);
        }
    }
    Ok(counted)
}

/// A found piece's colours, and what the true piece there is called, where one lies there.
pub type Painted = (Paint, Option<String>);

/// How a photo shows its card and the colours of what the search for any form finds, each with the true piece's name where one
/// lies there; none where it is refused.
///
/// # Errors
/// When a file of the home cannot be read.
pub fn shows(photo: &Photo, home: &Path) -> Result<Option<(CardLook, Vec<Painted>)>> {
    let targets = targets(&home.join("calibration"))?;
    let looked = look_at(photo, &targets, true)?;
    Ok(looked.map(|looked| {
        let found = &looked.found[0];
        let pieces = found.seen.iter().zip(&found.is).map(|(seen, is)| {
            let truth = is.and_then(|row| photo.truth.pieces.get(row));
            (seen.paint, truth.map(|piece| piece.colour.clone()))
        });
        (card_look(&looked.scene), pieces.collect())
    }))
}

/// Measures a photo and finds its pieces; none where it is refused.
fn look_at<'a>(photo: &'a Photo, targets: &Targets, sets: bool) -> Result<Option<Looked<'a>>> {
    let pixels = photo::open(&photo.root.join(&photo.path), &Limits::default())
        .with_context(|| format!("reading {}", photo.name))?;
    let Ok(mut scene) = measure(&pixels, targets, &|_| ()) else {
        return Ok(None);
    };
    let form = photo.truth.form_argument();
    let mut searches = vec![Search::of_all(Shapes::shipped())];
    if form != "any" && !sets {
        searches.push(Search::called(Shapes::shipped(), form)?);
    }
    let found = (searches.iter()).map(|search| {
        let (seen, unknown) = look(&scene, search, &|_| ());
        let said: Vec<SaidPiece> = (seen.iter())
            .map(|one| said(one, &scene.pose.camera, scene.full))
            .collect();
        let mut is = vec![None; seen.len()];
        for (row, column) in matched(&photo.truth, &said).into_iter().enumerate() {
            if let Some(column) = column {
                is[column] = Some(row);
            }
        }
        Found { seen, unknown, is }
    });
    let found = found.collect();
    scene.let_go_of_the_view();
    Ok(Some(Looked {
        photo,
        pixels,
        scene,
        found,
    }))
}

impl Looked<'_> {
    /// What a search found, its colours named by what was taught.
    fn shown(&self, number: usize, book: Option<&SwatchBook>) -> Shown<'_> {
        let known = Known {
            book,
            only_taught: false,
            record: None,
        };
        let found = &self.found[number];
        let found = (found.seen.clone(), found.unknown.clone());
        shown(&self.pixels, &self.scene, found, &known)
    }
}

/// The pieces of a photo by itself, as one of its searches found them.
fn alone(
    (one, number): (&Looked<'_>, usize),
    shown: &Shown<'_>,
    teaching: Teaching,
    judged: &mut Vec<Judged>,
) {
    let found = &one.found[number];
    for (k, told) in shown.told().enumerate() {
        let truth = found.is[k].and_then(|row| one.photo.truth.pieces.get(row));
        let (seen, named) = (told.seen, told.named);
        let (size, form) = shape_features(seen, shown.quality());
        let shape = seen.piece.stance.shape;
        judged.push(Judged {
            place: (one.photo.name.clone(), number, k),
            teaching,
            world: world(one.photo).to_owned(),
            is_there: truth.is_some(),
            size_right: truth.is_some_and(|t| t.size == shape.size()),
            form_right: truth.is_some_and(|t| t.form == shape.form().name()),
            colour_right: truth.is_some_and(|t| t.colour == named.name),
            size,
            form,
            colour: (!named.new && shown.is_taught()).then(|| {
                let spoilt = spoils(&seen.paint, &seen.piece.stance, told.flaw);
                let lamp = spoilt.contains(&Spoilt::Lamp);
                let around = (seen.piece.touched, seen.piece.covered());
                colour_features(named, &seen.paint, lamp, around, shown.quality())
            }),
            named: named.clone(),
            unlike: shown.quality().unlike,
        });
    }
}

/// The pieces of several photos of a tray together, found by the search for any form.
fn together(
    (set, shown): (&[Looked<'_>], &[Shown<'_>]),
    teaching: Teaching,
    judged: &mut Vec<JudgedTogether>,
) {
    let odds = shape_odds_of(shown);
    let Some(joined) = join(shown, &odds) else {
        return;
    };
    let names: Vec<&str> = set.iter().map(|one| one.photo.name.as_str()).collect();
    let mut evidence = joined.evidence();
    // What is found twice is there once: as what most photos show of it.
    let row = |(k, i): &(usize, usize)| set[*k].found[0].is[*i];
    evidence.sort_by_key(|one| std::cmp::Reverse(one.by.len()));
    let mut taken = BTreeSet::new();
    for (number, one) in evidence.into_iter().enumerate() {
        let rows: BTreeSet<usize> = one.by.iter().filter_map(row).collect();
        let own = (rows.len() == 1).then(|| rows.first().copied()).flatten();
        let own = own.filter(|row| taken.insert(*row));
        let truth = own.and_then(|row| set[0].photo.truth.pieces.get(row));
        let shape = one.stance.shape;
        judged.push(JudgedTogether {
            place: (names.join(" "), number),
            photos: set.len(),
            teaching,
            world: world(set[0].photo).to_owned(),
            is_there: truth.is_some(),
            shape_right: truth
                .is_some_and(|t| t.size == shape.size() && t.form == shape.form().name()),
            colour_right: truth.is_some_and(|t| t.colour == one.named),
            shape: shape_together_features(&one.shape),
            colour: (one.colour.as_ref().filter(|_| shown[0].is_taught()))
                .map(colour_together_features),
            surely: one.colour.is_some_and(|colour| colour.surely),
            spread_mm: one.shape.spread_mm,
            in_first: one.by.iter().find(|(k, _)| *k == 0).map(|(_, i)| *i),
        });
    }
}

/// The desk, camera and print that a photo was taken with.
fn world(photo: &Photo) -> &str {
    photo.truth.world.as_deref().unwrap_or("first")
}

/// What tells of size and form.
fn shape_features(
    one: &Seen,
    quality: &PhotoQuality,
) -> (Option<Vec<Feature>>, Option<Vec<Feature>>) {
    let piece = &one.piece;
    let size = match &piece.witness {
        Witness::Both(said) => Some(size_features(piece, &one.paint, said, true, quality)),
        Witness::Net(said) => Some(size_features(piece, &one.paint, said, false, quality)),
        _ => None,
    };
    let other = piece.other_form.filter(|_| piece.form_is_told());
    let form = other.map(|(other, _)| form_features(piece, &one.paint, other, quality));
    (size, form)
}

fn targets(calibration: &Path) -> Result<Targets> {
    let first = fs::read_dir(calibration.join("prints"))
        .ok()
        .and_then(|mut folder| folder.next());
    let Some(item) = first else {
        return Ok(Targets::nominal());
    };
    let text = fs::read_to_string(item?.path())?;
    let patches = CardDesign::v1().patches.iter().map(|p| p.name);
    let profile = PrintProfile::from_json(&text, patches).map_err(|e| anyhow!("{e}"))?;
    Ok(Targets::of(&profile))
}

/// As a sheet has it, as far as matching asks.
fn said(one: &Seen, camera: &cuptally::view::Camera, full: [f64; 2]) -> SaidPiece {
    let outline = one.piece.stance.silhouette_px(camera);
    let corners: Vec<(f64, f64)> = outline.iter().map(|p| (p.x, p.y)).collect();
    let (_, (x, y)) = area_and_middle(&corners);
    SaidPiece {
        id: 0,
        form: String::new(),
        size: String::new(),
        colour: String::new(),
        x_px: x * full[0],
        y_px: y * full[1],
        x_mm: one.piece.stance.at.x,
        y_mm: one.piece.stance.at.y,
        face: String::new(),
        sure: 0.0,
        doubts: Vec::new(),
    }
}
