//! A rectangle dragged around a missed piece, snapped to a listed size and to the
//! piece's own turn.
//!
//! The pixels in the rectangle are told from the tray around it; the smallest
//! rectangle around what is left gives size, place and turn. Where the pixels say
//! nothing the dragged rectangle itself is taken. It is a proposal: the person sees
//! it drawn and can turn, move and change it before it counts.

use std::collections::BTreeMap;

use image::RgbImage;

use crate::colour::lab::{de00, lab_from_srgb8};
use crate::numbers::{median, round2};
use crate::pieces::polygon::{convex_hull, inside};
use crate::pieces::{Shape, Shapes};
use crate::sheet::{Piece, Sheet};
use crate::units::Mm;

use super::correction::Draft;
use super::parts::nearest_shape;
use super::tray::{Stand, Tray, turn_of};
use super::vocabulary::{ANY, shape_called, shapes_called};

/// Samples along the longer side of what is looked at: a 1x1 in a rectangle twice its
/// size is then 60 samples wide.
const SAMPLES: usize = 160;
/// How much of the tray around the rectangle is looked at, as a share of its side, and
/// at least and at most, mm.
const MARGIN: (f64, f64, f64) = (0.3, 5.0, 20.0);
/// Lightness counts less than chroma: a shadow is darker, and no piece.
const LIGHTNESS_WEIGHT: f64 = 0.6;
/// Between these a distance from the tray's colour parts piece and tray, CIELAB.
const PARTING: (f64, f64) = (6.0, 30.0);
/// Less of the rectangle than this is no piece but noise.
const LEAST_SHARE: f64 = 0.08;
/// A drag shorter than this is a click, mm: half a stud.
const CLICK_MM: f64 = 4.0;
/// Around a click so much is looked at to either side, mm: a 2x4 and some tray.
const CLICK_REACH_MM: f64 = 20.0;

/// A rectangle in the upright photo: left, top, right, bottom, px.
pub type Drag = [f64; 4];

/// Proposes the piece that a dragged rectangle means. Without `pixels` (no photo) only
/// the rectangle speaks. `None` where it lies off the tray.
pub fn snap(sheet: &Sheet, tray: &Tray, pixels: Option<&RgbImage>, drag: Drag) -> Option<Draft> {
    let form = usual_form(sheet, tray.shapes());
    let [left, top, right, bottom] = drag;
    let (left, right) = (left.min(right), left.max(right));
    let (top, bottom) = (top.min(bottom), top.max(bottom));
    let corners = [[left, top], [right, top], [right, bottom], [left, bottom]]
        .map(|corner| tray.under(corner));
    let [a, b, c, d] = corners;
    let corners = [a?, b?, c?, d?];
    let clicked = corners[0].distance(corners[2]) < CLICK_MM;
    let area = if clicked {
        let at = mean(&corners);
        let (x, y) = (CLICK_REACH_MM, CLICK_REACH_MM);
        [(-x, -y), (x, -y), (x, y), (-x, y)].map(|(x, y)| Mm::new(at.x + x, at.y + y))
    } else {
        corners
    };
    let seen = pixels.and_then(|pixels| {
        let points = told_from_tray(pixels, tray, &area)?;
        Some(smallest_rectangle(&points))
    });
    let rectangle = seen.or_else(|| {
        (!clicked).then(|| {
            // The photo's own axes, as the person dragged along them.
            let along = Mm::new(corners[1].x - corners[0].x, corners[1].y - corners[0].y);
            Rectangle {
                middle: mean(&corners),
                turn: along.y.atan2(along.x),
                along: corners[0].distance(corners[1]),
                across: corners[1].distance(corners[2]),
                raised: false,
            }
        })
    });
    let mut draft = match rectangle {
        Some(rectangle) => stood(&form, tray, &rectangle)?,
        None => {
            let at = mean(&corners);
            let shape = nearest_shape(&form, 15.8, 31.8, tray.shapes())?.0;
            draft_of(&form, &shape.size(), at, 0.0, tray.shapes())
        }
    };
    let read = pixels.and_then(|pixels| read_colour(sheet, tray, pixels, &draft.stand()));
    match read {
        Some((colour, lab)) => (draft.colour, draft.lab) = (colour, Some(lab)),
        None => draft.colour = usual(sheet.pieces.iter().map(|p| p.colour.as_str()))?,
    }
    Some(draft)
}

fn draft_of(form: &str, size: &str, at: Mm, turn_deg: f64, list: Shapes) -> Draft {
    Draft {
        form: form.to_owned(),
        size: size.to_owned(),
        colour: String::new(),
        face: "up".to_owned(),
        x_mm: round2(at.x),
        y_mm: round2(at.y),
        turn_deg: shape_called(form, size, list)
            .map_or(turn_deg, |shape| turn_of(shape, "up", turn_deg)),
        lab: None,
    }
}

/// What occurs most often.
fn usual<'a>(words: impl Iterator<Item = &'a str>) -> Option<String> {
    let mut times: BTreeMap<&str, usize> = BTreeMap::new();
    for word in words {
        *times.entry(word).or_default() += 1;
    }
    let most = times.into_iter().max_by_key(|&(_, times)| times);
    Some(most.map_or("unnamed", |(word, _)| word).to_owned())
}

/// The form of most pieces of the sheet, or the first of the list.
fn usual_form(sheet: &Sheet, list: Shapes) -> String {
    let told = sheet.pieces.iter().map(|p| p.form.as_str());
    let told: Vec<&str> = told.filter(|form| *form != ANY).collect();
    if told.is_empty() {
        let first = list.forms().first().map(|form| form.name().to_owned());
        return first.unwrap_or_else(|| ANY.to_owned());
    }
    usual(told.into_iter()).unwrap_or_else(|| ANY.to_owned())
}

fn mean(corners: &[Mm; 4]) -> Mm {
    let sum = corners
        .iter()
        .fold(Mm::default(), |sum, c| Mm::new(sum.x + c.x, sum.y + c.y));
    Mm::new(sum.x / 4.0, sum.y / 4.0)
}

/// A rectangle on the tray: turn in radians, sides in mm.
struct Rectangle {
    middle: Mm,
    turn: f64,
    along: f64,
    across: f64,
    /// Whether it is what the lens sees of a body, with its raised top, rather than
    /// a footprint.
    raised: bool,
}

/// The listed piece of a form that fits a rectangle.
fn stood(form: &str, tray: &Tray, seen: &Rectangle) -> Option<Draft> {
    let list = tray.shapes();
    let height = shape_called(form, "1x1", list)
        .or_else(|| shapes_called(form, list).first().copied())
        .map_or(0.0, Shape::height_mm);
    let camera = tray.camera();
    let raised = camera.shadow_on_plane(seen.middle, height);
    // The top is seen further from the lens' foot: that lengthens the sides by its
    // part along them and moves the middle by half.
    let shift = if seen.raised {
        Mm::new(raised.x - seen.middle.x, raised.y - seen.middle.y)
    } else {
        Mm::default()
    };
    let (sin, cos) = seen.turn.sin_cos();
    let along = seen.along - (shift.x * cos + shift.y * sin).abs();
    let across = seen.across - (shift.y * cos - shift.x * sin).abs();
    let (shape, _) = nearest_shape(form, along, across, list)?;
    let at = Mm::new(seen.middle.x - shift.x / 2.0, seen.middle.y - shift.y / 2.0);
    let quarter = if along >= across { 0.0 } else { 90.0 };
    Some(draft_of(
        form,
        &shape.size(),
        at,
        seen.turn.to_degrees() + quarter,
        list,
    ))
}

/// A pixel as CIELAB, uncorrected: good for comparing within one photo only.
fn lab_at(pixels: &RgbImage, tray: &Tray, at: Mm) -> Option<[f64; 3]> {
    let camera = tray.camera();
    let px = camera.project(at, 0.0)?;
    if !(px.x >= 0.0 && px.y >= 0.0) {
        return None;
    }
    // The camera sees the whole photo; what is at hand may be a reduced copy.
    let kept = f64::from(pixels.width()) / (2.0 * camera.centre.x);
    // Not negative; what is too large is off the picture.
    let pixel = pixels.get_pixel_checked((px.x * kept) as u32, (px.y * kept) as u32)?;
    Some(lab_from_srgb8(pixel.0))
}

/// Places inside the area whose colour is not that of the tray around it: the largest
/// connected patch of them.
fn told_from_tray(pixels: &RgbImage, tray: &Tray, area: &[Mm; 4]) -> Option<Vec<Mm>> {
    let bound = |pick: fn(&Mm) -> f64| {
        let low = area.iter().map(pick).fold(f64::INFINITY, f64::min);
        let high = area.iter().map(pick).fold(f64::NEG_INFINITY, f64::max);
        (low, high)
    };
    let ((x0, x1), (y0, y1)) = (bound(|mm| mm.x), bound(|mm| mm.y));
    let side = (x1 - x0).max(y1 - y0);
    let margin = (side * MARGIN.0).clamp(MARGIN.1, MARGIN.2);
    let step = (side + 2.0 * margin) / SAMPLES as f64;
    if !(step.is_finite() && step > 0.0) {
        return None;
    }
    let count = |from: f64, to: f64| (((to - from + 2.0 * margin) / step) as usize).min(SAMPLES);
    let (columns, rows) = (count(x0, x1), count(y0, y1));
    let place = |i: usize| {
        let (row, col) = (i / columns, i % columns);
        Mm::new(
            x0 - margin + (col as f64 + 0.5) * step,
            y0 - margin + (row as f64 + 0.5) * step,
        )
    };
    let samples: Vec<Option<[f64; 3]>> = (0..columns * rows)
        .map(|i| lab_at(pixels, tray, place(i)))
        .collect();
    let inside: Vec<bool> = (0..samples.len()).map(|i| inside(area, place(i))).collect();
    let around: Vec<[f64; 3]> = samples
        .iter()
        .zip(&inside)
        .filter(|(_, inside)| !**inside)
        .filter_map(|(lab, _)| *lab)
        .collect();
    let ground = [0, 1, 2].map(|k| median(around.iter().map(|lab| lab[k])));
    let [l, a, b] = ground;
    let (l, a, b) = (l?, a?, b?);
    let distance = |lab: &[f64; 3]| {
        let lightness = LIGHTNESS_WEIGHT * (lab[0] - l);
        (lightness.powi(2) + (lab[1] - a).powi(2) + (lab[2] - b).powi(2)).sqrt()
    };
    let distances: Vec<f64> = samples
        .iter()
        .zip(&inside)
        .map(|(lab, inside)| match lab {
            Some(lab) if *inside => distance(lab),
            _ => 0.0,
        })
        .collect();
    let own: Vec<f64> = distances
        .iter()
        .zip(&inside)
        .filter_map(|(d, inside)| inside.then_some(*d))
        .collect();
    let parting = otsu(&own)?.clamp(PARTING.0, PARTING.1);
    let mut apart: Vec<bool> = distances.iter().map(|d| *d > parting).collect();
    let patch = largest_patch(&mut apart, columns);
    let share = patch.len() as f64 / own.len().max(1) as f64;
    (share > LEAST_SHARE).then(|| patch.into_iter().map(place).collect())
}

/// The value that best parts two heaps (Otsu 1979, largest variance between them).
fn otsu(values: &[f64]) -> Option<f64> {
    const BINS: usize = 64;
    let most = values.iter().copied().fold(0.0, f64::max);
    if most <= 0.0 {
        return None;
    }
    let mut heap = [0.0_f64; BINS];
    for value in values {
        // In 0..BINS as the value is in 0..=most.
        let bin = ((value / most * BINS as f64) as usize).min(BINS - 1);
        heap[bin] += 1.0;
    }
    let total = values.len() as f64;
    let mean: f64 = heap
        .iter()
        .enumerate()
        .map(|(i, n)| i as f64 * n)
        .sum::<f64>()
        / total;
    let (mut best, mut at, mut below, mut sum) = (-1.0, 0, 0.0, 0.0);
    for (i, n) in heap.iter().enumerate() {
        below += n;
        sum += i as f64 * n;
        let share = below / total;
        if share <= 0.0 || share >= 1.0 {
            continue;
        }
        let between = (mean * share - sum / total).powi(2) / (share * (1.0 - share));
        if between > best {
            (best, at) = (between, i);
        }
    }
    Some((at as f64 + 1.0) / BINS as f64 * most)
}

/// Indices of the largest 4-connected patch; takes the flags down as it goes.
fn largest_patch(flags: &mut [bool], columns: usize) -> Vec<usize> {
    let mut best = Vec::new();
    for start in 0..flags.len() {
        let mut patch = Vec::new();
        let mut next = vec![start];
        while let Some(i) = next.pop() {
            match flags.get_mut(i) {
                Some(flag) if *flag => *flag = false,
                _ => continue,
            }
            patch.push(i);
            let col = i % columns;
            if col > 0 {
                next.push(i - 1);
            }
            if col + 1 < columns {
                next.push(i + 1);
            }
            if i >= columns {
                next.push(i - columns);
            }
            next.push(i + columns);
        }
        if patch.len() > best.len() {
            best = patch;
        }
    }
    best
}

/// The rectangle of least area around points, to half a degree.
fn smallest_rectangle(points: &[Mm]) -> Rectangle {
    let hull = convex_hull(points.to_vec());
    let mut best: Option<(f64, Rectangle)> = None;
    for half_degrees in 0..180 {
        let turn = f64::from(half_degrees).to_radians() / 2.0;
        let (sin, cos) = turn.sin_cos();
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for mm in &hull {
            let own = [mm.x * cos + mm.y * sin, mm.y * cos - mm.x * sin];
            for ((low, high), own) in low.iter_mut().zip(&mut high).zip(own) {
                *low = low.min(own);
                *high = high.max(own);
            }
        }
        let [along, across] = [high[0] - low[0], high[1] - low[1]];
        let middle = [(low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0];
        let area = along * across;
        if best.as_ref().is_none_or(|(least, _)| area < *least) {
            let rectangle = Rectangle {
                middle: Mm::new(
                    middle[0] * cos - middle[1] * sin,
                    middle[0] * sin + middle[1] * cos,
                ),
                turn,
                along,
                across,
                raised: true,
            };
            best = Some((area, rectangle));
        }
    }
    best.map_or(
        Rectangle {
            middle: Mm::default(),
            turn: 0.0,
            along: 0.0,
            across: 0.0,
            raised: true,
        },
        |(_, rectangle)| rectangle,
    )
}

/// Uncorrected colour of what stands there: the median over the middle of its
/// footprint.
fn seen_colour(tray: &Tray, pixels: &RgbImage, stand: &Stand<'_>) -> Option<[f64; 3]> {
    const ACROSS: i32 = 4;
    let shape = shape_called(stand.form, stand.size, tray.shapes())?;
    let (sin, cos) = stand.turn_deg.to_radians().sin_cos();
    let mut seen = Vec::new();
    for i in -ACROSS..=ACROSS {
        for j in -ACROSS..=ACROSS {
            // Up to 0.35 of the sides from the middle: off the edges.
            let along = f64::from(i) / f64::from(ACROSS) * 0.35 * shape.long_mm();
            let across = f64::from(j) / f64::from(ACROSS) * 0.35 * shape.short_mm();
            let at = Mm::new(
                stand.at.x + along * cos - across * sin,
                stand.at.y + along * sin + across * cos,
            );
            seen.extend(lab_at(pixels, tray, at));
        }
    }
    let [l, a, b] = [0, 1, 2].map(|k| median(seen.iter().map(|lab| lab[k])));
    Some([l?, a?, b?])
}

/// The colour of the piece on the sheet that looks most alike in this photo to what stands there, and its own corrected colour
/// as far as that piece tells of it.
pub fn read_colour(
    sheet: &Sheet,
    tray: &Tray,
    pixels: &RgbImage,
    stand: &Stand<'_>,
) -> Option<(String, [f64; 3])> {
    let own = seen_colour(tray, pixels, stand)?;
    let alike =
        |piece: &Piece| Some((seen_colour(tray, pixels, &Stand::of(piece))?, piece.clone()));
    let (seen, piece) = sheet
        .pieces
        .iter()
        .filter_map(alike)
        .min_by(|a, b| de00(a.0, own).total_cmp(&de00(b.0, own)))?;
    let lab = [0, 1, 2].map(|k| round2(piece.lab[k] + own[k] - seen[k]));
    Some((piece.colour, lab))
}

#[cfg(test)]
#[path = "snap_tests.rs"]
pub(super) mod tests;
