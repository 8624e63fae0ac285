//! The list of shapes, version 1: what is shipped, and what the user adds to it
//! (`calibration/shapes.json` in the home folder). Schema: `docs/shapes-v1.schema.json`.

use std::sync::OnceLock;

use serde::Deserialize;
use thiserror::Error;

use super::polygon::{area_and_middle, crossings, has_notch, inside, narrowed};
use super::shape::{CLEARANCE_MM, Form, Moulding, PITCH_MM, Shape, side_mm};
use crate::units::Mm;

/// The shapes that the program brings along.
const SHIPPED: &str = include_str!("shapes.json");
/// Most studs along a side: what is larger reaches across the tray.
pub const MOST_STUDS: u8 = 16;
/// Most corners of an outline.
const MOST_CORNERS: usize = 64;
/// Most shapes of a list: each is tried at every place.
const MOST_SHAPES: usize = 500;
/// The lowest and highest body, mm.
const HEIGHT_MM: (f64, f64) = (0.5, 60.0);
/// The least footprint, studs²: less is lost in the lens' blur.
const LEAST_AREA: f64 = 0.4;
/// Corners that a round outline is drawn with; a multiple of four keeps a quarter turn exact. At
/// 15.8 mm the arc is 0.04 mm off its chord.
const ARC_CORNERS: usize = 32;
/// Longest name of a form, in letters.
const LONGEST_NAME: usize = 24;

/// Every shape that pieces may have.
///
/// A list is read once and stays for as long as the program runs.
#[derive(Clone, Copy, Debug)]
pub struct Shapes {
    all: &'static [Moulding],
}

/// Why a list cannot be used; each is a sentence.
#[derive(Debug, Error)]
pub enum ShapeError {
    /// The text is no list.
    #[error("this is not a list of shapes of version v1 ({0}); put it right by README's example")]
    Format(#[from] serde_json::Error),
    /// Too many.
    #[error("the list has more than {MOST_SHAPES} shapes; take out what you do not own")]
    TooMany,
    /// One entry is none.
    #[error("{form} {size} {what}; put this entry right or take it out")]
    Entry {
        /// Its form, as given.
        form: String,
        /// Its size, as given.
        size: String,
        /// What is wrong.
        what: &'static str,
    },
}

#[derive(Deserialize)]
enum Version {
    #[serde(rename = "v1")]
    V1,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(rename = "shapes")]
    _version: Version,
    pieces: Vec<Entry>,
}

/// Shapes of one form that differ in size alone, or one of its own outline.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    form: String,
    sizes: Vec<String>,
    height_mm: f64,
    #[serde(default)]
    outline: Outline,
    studs: Studs,
}

#[derive(Deserialize, Default)]
#[serde(untagged)]
enum Outline {
    #[default]
    Rectangle,
    Word(OutlineWord),
    Corners(Vec<[f64; 2]>),
}

#[derive(Deserialize)]
#[serde(rename_all = "lowercase")]
enum OutlineWord {
    Rectangle,
    Disc,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum Studs {
    Word(StudsWord),
    Middles(Vec<[f64; 2]>),
}

#[derive(Deserialize)]
#[serde(rename_all = "lowercase")]
enum StudsWord {
    All,
    None,
}

impl Shapes {
    /// What the program brings along.
    pub fn shipped() -> Self {
        static LIST: OnceLock<&'static [Moulding]> = OnceLock::new();
        // A test holds the shipped list to be sound.
        let read = || read(SHIPPED, &[]).unwrap_or_default().leak() as &'static [Moulding];
        Self {
            all: LIST.get_or_init(read),
        }
    }

    /// These shapes and those of a user's list.
    ///
    /// # Errors
    /// When the text is no v1 list, a shape is listed already, or one cannot be.
    pub fn extended(self, text: &str) -> Result<Self, ShapeError> {
        let mut all = self.all.to_vec();
        all.extend(read(text, self.all)?);
        Ok(Self { all: all.leak() })
    }

    /// All of them, in the list's order.
    pub fn all(self) -> impl Iterator<Item = Shape> {
        self.all.iter().map(Shape::of)
    }

    /// Every form once, in the list's order.
    pub fn forms(self) -> Vec<Form> {
        let mut forms: Vec<Form> = Vec::new();
        for shape in self.all() {
            if !forms.contains(&shape.form()) {
                forms.push(shape.form());
            }
        }
        forms
    }

    /// The form of that name.
    pub fn form(self, name: &str) -> Option<Form> {
        let mut forms = self.all().map(Shape::form);
        forms.find(|form| form.name() == name)
    }

    /// The shapes of one form, in the list's order.
    pub fn of_form(self, form: Form) -> Vec<Shape> {
        self.all().filter(|shape| shape.form() == form).collect()
    }

    /// The shape of that form and size.
    pub fn named(self, form: &str, size: &str) -> Option<Shape> {
        self.all()
            .find(|shape| shape.form().name() == form && shape.size() == size)
    }
}

/// The entries of a list, checked; none may be among those known already.
fn read(text: &str, known: &[Moulding]) -> Result<Vec<Moulding>, ShapeError> {
    let file: File = serde_json::from_str(text)?;
    let mut read: Vec<Moulding> = Vec::new();
    for entry in &file.pieces {
        for size in &entry.sizes {
            let fault = |what| ShapeError::Entry {
                form: entry.form.chars().take(LONGEST_NAME).collect(),
                size: size.chars().take(LONGEST_NAME).collect(),
                what,
            };
            let one = moulding(entry, size).map_err(fault)?;
            let same = |m: &Moulding| m.form == one.form && m.studs_box == one.studs_box;
            if known.iter().chain(&read).any(same) {
                return Err(fault("is listed already"));
            }
            read.push(one);
            if known.len() + read.len() > MOST_SHAPES {
                return Err(ShapeError::TooMany);
            }
        }
    }
    Ok(read)
}

/// One shape; else what is wrong with it.
fn moulding(entry: &Entry, size: &str) -> Result<Moulding, &'static str> {
    let name = entry.form.as_str();
    let letters = |c: char| c.is_lowercase() || c == ' ' || c == '-';
    let is_word = name.trim() == name && name.chars().all(letters) && name != "any";
    if name.is_empty() || name.chars().count() > LONGEST_NAME || !is_word {
        return Err("has no name that a form can have: up to 24 lower-case letters, and not 'any'");
    }
    let (short, long) = sides(size)
        .filter(|(short, long)| *short >= 1 && *long <= MOST_STUDS)
        .filter(|(short, long)| format!("{short}x{long}") == size)
        .ok_or("has no size such as 2x4: small side first, up to 16 studs")?;
    if !(HEIGHT_MM.0..=HEIGHT_MM.1).contains(&entry.height_mm) {
        return Err("has a height_mm that is not from 0.5 to 60");
    }
    let (half_long, half_short) = (f64::from(long) / 2.0, f64::from(short) / 2.0);
    // A list's axes start at a corner of the box, with y away from the viewer; ours in its middle,
    // with `across` towards the viewer.
    let placed = |[x, y]: [f64; 2]| ((x - half_long) * PITCH_MM, (half_short - y) * PITCH_MM);
    let outline = match &entry.outline {
        Outline::Rectangle | Outline::Word(OutlineWord::Rectangle) => {
            let (a, b) = (side_mm(long) / 2.0, side_mm(short) / 2.0);
            vec![(-a, -b), (a, -b), (a, b), (-a, b)]
        }
        Outline::Word(OutlineWord::Disc) => {
            if short != long {
                return Err("is a disc and has sides that differ");
            }
            let corner = |k: usize| {
                let angle = std::f64::consts::TAU * k as f64 / ARC_CORNERS as f64;
                let (sin, cos) = angle.sin_cos();
                (side_mm(long) / 2.0 * cos, side_mm(long) / 2.0 * sin)
            };
            (0..ARC_CORNERS).map(corner).collect()
        }
        Outline::Corners(corners) => polygon(corners, (short, long))?
            .into_iter()
            .map(placed)
            .collect(),
    };
    let outline = match &entry.outline {
        Outline::Corners(_) => {
            narrowed(&outline, CLEARANCE_MM / 2.0).ok_or("has an outline with a needle in it")?
        }
        _ => outline,
    };
    let studs = match &entry.studs {
        Studs::Word(StudsWord::None) => Vec::new(),
        Studs::Word(StudsWord::All) => {
            if matches!(entry.outline, Outline::Corners(_)) {
                return Err("has an outline of its own, so that its studs are to be listed too");
            }
            let cell = |k: u8| f64::from(k) + 0.5;
            let row = |i: u8| (0..short).map(move |j| [cell(i), cell(j)]);
            (0..long).flat_map(row).map(placed).collect()
        }
        Studs::Middles(middles) => {
            let places: Vec<(f64, f64)> = middles.iter().copied().map(placed).collect();
            let corners: Vec<Mm> = outline.iter().map(|p| Mm::new(p.0, p.1)).collect();
            let on_top = |p: &(f64, f64)| inside(&corners, Mm::new(p.0, p.1));
            if places.len() > usize::from(short) * usize::from(long) || !places.iter().all(on_top) {
                return Err("has a stud that does not stand on it");
            }
            places
        }
    };
    Ok(Moulding {
        form: Form::listed(interned(name)),
        studs_box: (short, long),
        height_mm: entry.height_mm,
        fills_box: outline.len() == 4
            && area_and_middle(&outline).0 > 0.999 * side_mm(short) * side_mm(long),
        has_notch: has_notch(&outline),
        is_round: matches!(entry.outline, Outline::Word(OutlineWord::Disc)),
        outline,
        studs,
    })
}

/// Corners in studs that make a footprint of that box, in the order of their own.
fn polygon(corners: &[[f64; 2]], (short, long): (u8, u8)) -> Result<Vec<[f64; 2]>, &'static str> {
    if !(3..=MOST_CORNERS).contains(&corners.len()) {
        return Err("has an outline of fewer than 3 or more than 64 corners");
    }
    let sides = [f64::from(long), f64::from(short)];
    for (axis, side) in sides.into_iter().enumerate() {
        let values = || corners.iter().map(|c| c[axis]);
        let (low, high) = values().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
        if !values().all(f64::is_finite) || low != 0.0 || (high - side).abs() > 1e-9 {
            return Err(
                "has an outline that does not reach from 0 to its size: x along the long side, y along the short one, in studs",
            );
        }
    }
    let points: Vec<(f64, f64)> = corners.iter().map(|c| (c[0], c[1])).collect();
    if crossings(&points) || area_and_middle(&points).0 < LEAST_AREA {
        return Err("has an outline that crosses itself or holds nothing");
    }
    Ok(corners.to_vec())
}

/// A name that stays: a few short words for as long as the program runs.
fn interned(name: &str) -> &'static str {
    let usual = [Form::BRICK, Form::PLATE, Form::TILE];
    match usual.into_iter().find(|form| form.name() == name) {
        Some(form) => form.name(),
        None => Box::leak(name.into()),
    }
}

/// `2x4` or `4x2` as (short, long).
pub(super) fn sides(word: &str) -> Option<(u8, u8)> {
    let (a, b) = word.split_once('x')?;
    let (a, b): (u8, u8) = (a.parse().ok()?, b.parse().ok()?);
    Some((a.min(b), a.max(b)))
}

#[cfg(test)]
pub(crate) mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// A shipped shape.
    pub(crate) fn shape(form: &str, size: &str) -> Shape {
        Shapes::shipped().named(form, size).unwrap()
    }

    #[test]
    fn the_shipped_list_holds_what_is_promised() {
        assert_eq!(read(SHIPPED, &[]).unwrap().len(), 3 * 18 + 3);
        let list = Shapes::shipped();
        let names: Vec<&str> = list.forms().iter().map(|form| form.name()).collect();
        assert_eq!(names, ["brick", "plate", "tile", "corner", "round"]);
        for form in ["brick", "plate", "tile"] {
            let mut sizes: Vec<String> = (1..=8).map(|n| format!("1x{n}")).collect();
            sizes.extend((2..=8).map(|n| format!("2x{n}")));
            sizes.extend(["4x4", "4x6", "6x6"].map(str::to_owned));
            let listed = list.of_form(list.form(form).unwrap());
            let listed: Vec<String> = listed.into_iter().map(Shape::size).collect();
            assert_eq!(listed, sizes);
        }
        assert_eq!(shape("brick", "2x4").height_mm(), 9.6);
        assert!(!shape("tile", "2x4").has_studs() && shape("plate", "1x1").has_studs());
    }

    /// By hand: the box is 15.8 mm wide, an arm 7.8 mm, so the notch 8.0 mm:
    /// 15.8² - 8.0² = 185.64 mm².
    #[test]
    fn a_corner_has_its_clearance_all_round() {
        let corner = shape("corner", "2x2");
        assert!(
            (corner.area_mm2() - 185.64).abs() < 1e-6,
            "{}",
            corner.area_mm2()
        );
        assert_eq!((corner.long_mm(), corner.short_mm()), (15.8, 15.8));
        assert!(!corner.is_block() && !corner.is_round());
        // The cell without a stud is the one away from the viewer, on the right.
        assert_eq!(corner.studs(), [(-4.0, 4.0), (4.0, 4.0), (-4.0, -4.0)]);
        let disc = shape("round", "2x2");
        let full = std::f64::consts::PI * 7.9 * 7.9;
        assert!((disc.area_mm2() / full - 1.0).abs() < 0.01);
        assert_eq!(disc.studs().len(), 4);
        assert!(shape("plate", "4x6").is_block());
    }

    fn list(entry: &str) -> String {
        format!(r#"{{"shapes": "v1", "pieces": [{entry}]}}"#)
    }

    #[test]
    fn a_user_adds_shapes_and_sizes() {
        let wedge = r#"{"form": "left wedge", "sizes": ["2x3"], "height_mm": 3.2,
            "outline": [[0, 0], [3, 0], [1, 2], [0, 2]], "studs": [[0.5, 0.5], [1.5, 0.5], [0.5, 1.5]]}"#;
        let long =
            r#"{"form": "plate", "sizes": ["2x10", "8x8"], "height_mm": 3.2, "studs": "all"}"#;
        let shapes = Shapes::shipped()
            .extended(&list(&format!("{wedge}, {long}")))
            .unwrap();
        let wedge = shapes.named("left wedge", "2x3").unwrap();
        assert_eq!(wedge.same_after_deg(), 360.0);
        assert!(shapes.named("plate", "8x8").is_some_and(Shape::is_block));
        // The shipped list is as it was.
        assert!(Shapes::shipped().named("plate", "8x8").is_none());
    }

    #[test]
    fn what_cannot_be_a_shape_is_refused_with_the_reason() {
        let good = r#"{"form": "wing", "sizes": ["2x3"], "height_mm": 3.2, "outline": [[0, 0], [3, 0], [0, 2]], "studs": [[0.5, 0.5]]}"#;
        let says = |text: &str| {
            let error = Shapes::shipped().extended(text).unwrap_err();
            error.to_string()
        };
        assert!(Shapes::shipped().extended(&list(good)).is_ok());
        for (text, reason) in [
            (list(good).replace("v1", "v2"), "version v1"),
            (list(good)[..60].to_owned(), "version v1"),
            (list(&good.replace("height_mm", "height")), "version v1"),
            (list(&good.replace("3.2", "300")), "height_mm"),
            (list(&good.replace("wing", "Wing 7")), "no name"),
            (list(&good.replace("wing", "any")), "no name"),
            (list(&good.replace("\"2x3\"", "\"3x2\"")), "no size"),
            (list(&good.replace("\"2x3\"", "\"2x17\"")), "no size"),
            (list(&good.replace("[3, 0]", "[2.5, 0]")), "does not reach"),
            (list(&good.replace("[3, 0], ", "")), "corners"),
            (
                list(&good.replace("[0, 2]]", "[0, 2], [3, 2], [0, 1]]")),
                "crosses",
            ),
            (list(&good.replace("[0.5, 0.5]", "[2.9, 1.9]")), "a stud"),
            (
                list(&good.replace("[[0.5, 0.5]]", "\"all\"")),
                "to be listed",
            ),
            (
                list(&good.replace("[[0, 0], [3, 0], [0, 2]]", "\"disc\"")),
                "differ",
            ),
            (list(&format!("{good}, {good}")), "already"),
            (list(&good.replace("wing", "plate")), "already"),
        ] {
            assert!(says(&text).contains(reason), "{text}: {}", says(&text));
        }
    }
}
