//! The pieces of one photo with what tells how sure they are, and whether they are right.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use anyhow::{Context, Result, anyhow};
use cuptally::card::design::CardDesign;
use cuptally::colour::{PrintProfile, SwatchBook};
use cuptally::count::colours::Named;
use cuptally::count::fitted::{
    Feature, PhotoQuality, TOLD, colour_features, form_features, size_features, told,
};
use cuptally::count::{flaws, name_colours, spoils};
use cuptally::photo::{self, Limits};
use cuptally::pieces::polygon::area_and_middle;
use cuptally::pieces::{Search, Shapes, Witness};
use cuptally::pipeline::{Seen, Targets, card_look, look, measure, quality};
use cuptally::sheet::file::Spoilt;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::matching::matched;
use crate::program::SaidPiece;
use crate::set::Photo;

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

/// The pieces that the last run kept.
///
/// # Errors
/// When the text is another program's.
pub fn kept(text: &str) -> Result<Vec<Judged>> {
    // A feature's name lives as long as the program; there are some forty.
    let mut names: BTreeMap<String, &'static str> = BTreeMap::new();
    let mut named = |features: Option<Vec<(String, f64)>>| -> Option<Vec<Feature>> {
        let mut known =
            |name: String| *(names.entry(name)).or_insert_with_key(|name| name.clone().leak());
        features.map(|all| all.into_iter().map(|(name, v)| (known(name), v)).collect())
    };
    let kept: Vec<Kept> = serde_json::from_str(text)?;
    let mut kept: Vec<Judged> = (kept.into_iter())
        .map(|one| Judged {
            place: one.place,
            teaching: one.teaching,
            world: one.world,
            is_there: one.is_there,
            size_right: one.size_right,
            form_right: one.form_right,
            colour_right: one.colour_right,
            size: named(one.size),
            form: named(one.form),
            colour: named(one.colour),
            named: one.named,
            unlike: one.unlike,
        })
        .collect();
    // What the rule of sureness makes of it may be another since.
    for one in &mut kept {
        for (name, value) in one.colour.iter_mut().flatten() {
            if *name == TOLD {
                *value = told(&one.named, one.unlike);
            }
        }
    }
    Ok(kept)
}

/// How much of what can be taught was taught: the shipped maps are for homes that know little as for those that know
/// all their colours in several lights.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Teaching {
    /// All colours, in all the lights of the desk.
    Whole,
    /// All but one colour in [`LEFT_OUT`]: other ones for each photo.
    SomeLeftOut,
    /// All colours, in the first light alone.
    OneLight,
}

/// One colour in so many is left out.
const LEFT_OUT: usize = 8;

impl Teaching {
    /// Those that are tried.
    const ALL: [Self; 3] = [Self::Whole, Self::SomeLeftOut, Self::OneLight];

    /// How many cases of its kind one piece stands for. Nobody has counted how often a sheet holds a colour that its home
    /// was not taught; one in ten is supposed.
    pub fn weight(self) -> f64 {
        match self {
            Self::Whole | Self::OneLight => 1.0,
            Self::SomeLeftOut => 0.1,
        }
    }

    /// The book as it would be; none where it would be the whole one.
    fn of(self, text: &str, photo: &str) -> Result<Option<SwatchBook>> {
        let mut book: Value = serde_json::from_str(text)?;
        let whole = SwatchBook::from_json(text).map_err(|e| anyhow!("{e}"))?;
        let names = whole.names();
        let first = whole.lights().first().map(|light| (*light).to_owned());
        let turn = photo.bytes().map(usize::from).sum::<usize>() % LEFT_OUT;
        let stays = |name: &str, light: &str| match self {
            Self::Whole => true,
            Self::SomeLeftOut => {
                let place = names.iter().position(|known| *known == name);
                place.is_none_or(|place| place % LEFT_OUT != turn)
            }
            Self::OneLight => first.as_deref() == Some(light),
        };
        let text_of = |of: &Value, key: &str| of[key].as_str().unwrap_or_default().to_owned();
        if let Some(colours) = book["colours"].as_array_mut() {
            colours.retain(|one| stays(&text_of(one, "name"), &text_of(one, "light")));
        }
        if let Some(seen) = book["seen"].as_array_mut() {
            for lesson in seen.iter_mut() {
                let light = text_of(lesson, "light");
                if let Some(colours) = lesson["colours"].as_array_mut() {
                    colours.retain(|name| stays(name.as_str().unwrap_or_default(), &light));
                }
            }
            seen.retain(|lesson| lesson["colours"].as_array().is_some_and(|c| !c.is_empty()));
        }
        let book = SwatchBook::from_json(&book.to_string()).map_err(|e| anyhow!("{e}"))?;
        let is_less = self == Self::Whole || book.swatches().len() < whole.swatches().len();
        Ok(is_less.then_some(book))
    }
}

/// Counts a photo, looking for the form that lies there and for any, with each teaching.
///
/// # Errors
/// When a file of the home cannot be read. A photo that is refused has no pieces.
pub fn judged(photo: &Photo, home: &Path) -> Result<Vec<Judged>> {
    let calibration = home.join("calibration");
    let mut books = Vec::new();
    if let Ok(text) = fs::read_to_string(calibration.join("swatches.json")) {
        for teaching in Teaching::ALL {
            if let Some(book) = teaching.of(&text, &photo.name)? {
                books.push((teaching, Some(book)));
            }
        }
    } else {
        books.push((Teaching::Whole, None));
    }
    let targets = targets(&calibration)?;
    let pixels = photo::open(&photo.path, &Limits::default())
        .with_context(|| format!("reading {}", photo.name))?;
    let Ok(scene) = measure(&pixels, &targets, &|_| ()) else {
        return Ok(Vec::new());
    };
    let form = photo.truth.form_argument();
    let mut searches = vec![Search::of_all(Shapes::shipped())];
    if form != "any" {
        searches.push(Search::called(Shapes::shipped(), form)?);
    }
    let world = photo.truth.world.as_deref().unwrap_or("first");
    let mut judged = Vec::new();
    for (number, search) in searches.iter().enumerate() {
        let (seen, _) = look(&scene, search, &|_| ());
        let paints: Vec<_> = seen.iter().map(|one| one.paint).collect();
        let flaws = flaws(&paints);
        let said: Vec<SaidPiece> = (seen.iter())
            .map(|one| said(one, &scene.pose.camera, scene.full))
            .collect();
        let matched = matched(&photo.truth, &said);
        for (teaching, book) in &books {
            let colours = name_colours(&paints, book.as_ref(), &card_look(&scene));
            let quality = quality(&pixels, &scene, colours.unlike);
            for (k, one) in seen.iter().enumerate() {
                let row = matched.iter().position(|column| *column == Some(k));
                let truth = row.and_then(|row| photo.truth.pieces.get(row));
                let named = &colours.named[k];
                let (size, form) = shape_features(one, &quality);
                let shape = one.piece.stance.shape;
                judged.push(Judged {
                    place: (photo.name.clone(), number, k),
                    teaching: *teaching,
                    world: world.to_owned(),
                    is_there: truth.is_some(),
                    size_right: truth.is_some_and(|t| t.size == shape.size()),
                    form_right: truth.is_some_and(|t| t.form == shape.form().name()),
                    colour_right: truth.is_some_and(|t| t.colour == named.name),
                    size,
                    form,
                    colour: (!named.new && book.is_some()).then(|| {
                        let spoilt = spoils(&one.paint, &one.piece.stance, flaws[k]);
                        let lamp = spoilt.contains(&Spoilt::Lamp);
                        let around = (one.piece.touched, one.piece.covered());
                        colour_features(named, &one.paint, lamp, around, &quality)
                    }),
                    named: named.clone(),
                    unlike: quality.unlike,
                });
            }
        }
    }
    Ok(judged)
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
