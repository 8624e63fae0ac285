//! The file of a list of shapes, versions 1 and 2. Schema: `docs/shapes-v2.schema.json`; version 1 is
//! the same without profiles and undersides.

use serde::Deserialize;

use super::super::polygon::{area_and_middle, crossings, has_notch, inside, narrowed};
use super::super::profile::{Along, Profile};
use super::super::shape::{Below, CLEARANCE_MM, Form, Moulding, PITCH_MM, STUD_RADIUS_MM, side_mm};
use super::{MOST_SHAPES, MOST_STUDS, ShapeError};
use crate::units::Mm;

/// Most corners of an outline.
const MOST_CORNERS: usize = 64;
/// The lowest and highest body, mm.
const HEIGHT_MM: (f64, f64) = (0.5, 60.0);
/// The least footprint, studs²: less is lost in the lens' blur.
const LEAST_AREA: f64 = 0.4;
/// Corners that a round outline is drawn with; a multiple of four keeps a quarter turn exact. At
/// 15.8 mm the arc is 0.04 mm off its chord.
const ARC_CORNERS: usize = 32;
/// Longest name of a form, in letters.
const LONGEST_NAME: usize = 24;

#[derive(Deserialize)]
enum Version {
    #[serde(rename = "v1")]
    V1,
    #[serde(rename = "v2")]
    V2,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    shapes: Version,
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
    profile: Option<Lines>,
    below: Option<Below>,
}

/// A profile as written: distances in studs, heights in mm.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Lines {
    #[serde(default)]
    along: Along,
    top: Option<Vec<[f64; 2]>>,
    bottom: Option<Vec<[f64; 2]>>,
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

/// The entries of a list, checked; none may be among those known already.
pub(super) fn read(text: &str, known: &[Moulding]) -> Result<Vec<Moulding>, ShapeError> {
    let file: File = serde_json::from_str(text)?;
    let mut read: Vec<Moulding> = Vec::new();
    for entry in &file.pieces {
        for size in &entry.sizes {
            let fault = |what| ShapeError::Entry {
                form: entry.form.chars().take(LONGEST_NAME).collect(),
                size: size.chars().take(LONGEST_NAME).collect(),
                what,
            };
            let is_new = entry.profile.is_some() || entry.below.is_some();
            if matches!(file.shapes, Version::V1) && is_new {
                return Err(fault(
                    "has what only version v2 knows: write \"shapes\": \"v2\"".to_owned(),
                ));
            }
            let one = moulding(entry, size).map_err(fault)?;
            let same = |m: &Moulding| m.form == one.form && m.studs_box == one.studs_box;
            if known.iter().chain(&read).any(same) {
                return Err(fault("is listed already".to_owned()));
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
fn moulding(entry: &Entry, size: &str) -> Result<Moulding, String> {
    let mut one = block(entry, size)?;
    if let Some(lines) = &entry.profile {
        if !one.fills_box {
            return Err("has a profile and an outline that is no rectangle".to_owned());
        }
        if lines.top.is_none() && lines.bottom.is_none() {
            return Err("has a profile with neither a top nor a bottom".to_owned());
        }
        let profile = profile(lines, one.studs_box, one.height_mm)?;
        let stands = |stud: &(f64, f64)| profile.level_at(*stud, STUD_RADIUS_MM).is_some();
        if !one.studs.iter().all(stands) {
            return Err("has a stud where its top is not level".to_owned());
        }
        one.profile = Some(profile);
    }
    Ok(one)
}

/// The profile of a box of so many studs and that height.
fn profile(lines: &Lines, (short, long): (u8, u8), height_mm: f64) -> Result<Profile, String> {
    let studs = match lines.along {
        Along::Long => long,
        Along::Short => short,
    };
    // A list counts from the box's lower left corner, with y away from the viewer.
    let placed = |corners: &Option<Vec<[f64; 2]>>, level: f64| match corners {
        None => vec![(0.0, level), (1.0, level)],
        Some(corners) => {
            let share = |[at, height]: &[f64; 2]| (at / f64::from(studs), *height);
            let mut corners: Vec<(f64, f64)> = corners.iter().map(share).collect();
            if lines.along == Along::Short {
                corners.reverse();
                for corner in &mut corners {
                    corner.0 = 1.0 - corner.0;
                }
            }
            corners
        }
    };
    let (top, bottom) = (placed(&lines.top, height_mm), placed(&lines.bottom, 0.0));
    Profile::new(lines.along, side_mm(studs), height_mm, &top, &bottom).map_err(|e| e.to_string())
}

/// One shape that is as high everywhere; else what is wrong with it.
fn block(entry: &Entry, size: &str) -> Result<Moulding, &'static str> {
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
        profile: None,
        below: entry.below.unwrap_or_default(),
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
pub(in super::super) fn sides(word: &str) -> Option<(u8, u8)> {
    let (a, b) = word.split_once('x')?;
    let (a, b): (u8, u8) = (a.parse().ok()?, b.parse().ok()?);
    Some((a.min(b), a.max(b)))
}
