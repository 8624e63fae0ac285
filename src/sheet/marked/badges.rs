//! Badges that lead from the photo to the panel's lists: a doubtful piece's number,
//! an unexplained place's letter.
//!
//! A badge stands close to what it names and where it hides least: every place
//! around it is tried against a coarse map of what lies on the tray.

use super::place::{Shown, View, circle, closed_path};
use super::{AMBER, INK, PX_PER_MM, ROSE, letter, words};
use crate::drawing::lettering::{Style, Weight};
use crate::drawing::{Ink, Lettering, Outline, Shape, paint, round_rect_path};
use crate::units::{Mm, Px};
use std::f64::consts::{FRAC_PI_2, TAU};
use tiny_skia::{FillRule, Mask, Pixmap, Transform};

/// Em of the lettering at full size, px.
const TEXT_PX: f64 = 24.0;
const HEIGHT_PX: f64 = 32.0;
/// From the lettering to the badge's end.
const PADDING_PX: f64 = 9.0;
const CASING_PX: f64 = 2.0;

/// A cell of the map, px.
const CELL: f64 = 4.0;
/// Directions in which a place is looked for.
const DIRECTIONS: u32 = 16;
/// How far beyond the thing's furthest corner, in cells.
const BEYOND: f64 = 14.0;
/// And no further than this in all, in cells: for a thing as large as the photo.
const MOST_STEPS: f64 = 150.0;

/// What it costs to hide a cell of this.
const OWN: f64 = 1.0;
const OTHER: f64 = 3.0;
const BADGE: f64 = 8.0;
const OUTSIDE: f64 = 12.0;
/// What it costs to stand so many cells from the thing's edge.
const STEP: f64 = 1.5;

/// Draws all badges.
pub fn draw(photo: &mut Pixmap, view: &View, shown: &Shown<'_>, lettering: &Lettering) {
    let mut map = Map::of(view, shown);
    for (index, piece) in shown.pieces.iter().enumerate() {
        if piece.doubtful {
            let thing = Thing {
                middle: piece.middle,
                corners: &piece.corners,
                id: map.piece_id(index),
            };
            let text = format!("?\u{a0}{}", piece.piece.id);
            badge(photo, &mut map, view, &thing, &text, AMBER, lettering);
        }
    }
    for ring in &shown.rings {
        let thing = Thing {
            middle: ring.middle,
            corners: &circle(ring.middle, ring.radius),
            id: Map::RING,
        };
        let text = letter(ring.index);
        badge(photo, &mut map, view, &thing, &text, ROSE, lettering);
    }
}

/// What a badge names.
struct Thing<'a> {
    middle: Px,
    corners: &'a [Px],
    /// Its cells in the map.
    id: u32,
}

fn badge(
    photo: &mut Pixmap,
    map: &mut Map,
    view: &View,
    thing: &Thing<'_>,
    text: &str,
    ink: Ink,
    lettering: &Lettering,
) {
    let style = Style {
        weight: Weight::SemiBold,
        size_mm: words::mm(TEXT_PX * view.weight),
        ink: INK,
    };
    let length = lettering.width_mm(text, style) * PX_PER_MM;
    let height = HEIGHT_PX * view.weight;
    let width = (length + 2.0 * PADDING_PX * view.weight).max(height);
    let middle = map.best(thing, width, height);
    map.take(middle, width, height);

    let casing = CASING_PX * view.weight;
    tie(photo, thing, middle, ink, casing);
    for (grow, ink) in [(casing, INK), (0.0, ink)] {
        let (width, height) = (width + 2.0 * grow, height + 2.0 * grow);
        let corner = Mm::new(
            words::mm(middle.x - width / 2.0),
            words::mm(middle.y - height / 2.0),
        );
        let (width, height) = (words::mm(width), words::mm(height));
        let outline = Outline::Path(round_rect_path(corner, width, height, height / 2.0));
        fill(photo, outline, ink);
    }
    let at = Mm::new(
        words::mm(middle.x - length / 2.0),
        words::mm(middle.y) + 0.35 * style.size_mm,
    );
    paint::fill(photo, &lettering.line(text, style, at), PX_PER_MM);
}

/// A short line from the badge to what it names, where they do not touch.
fn tie(photo: &mut Pixmap, thing: &Thing<'_>, from: Px, ink: Ink, casing: f64) {
    let to = nearest_on_edge(thing.corners, from);
    let length = from.distance(to);
    if length < 1.0 {
        return;
    }
    let (x, y) = ((to.y - from.y) / length, (from.x - to.x) / length);
    for (half, ink) in [(1.5 + casing, INK), (1.5, ink)] {
        let corner = |p: Px, side: f64| Px::new(p.x + side * half * x, p.y + side * half * y);
        let corners = [
            corner(from, 1.0),
            corner(to, 1.0),
            corner(to, -1.0),
            corner(from, -1.0),
        ];
        if let Some(path) = closed_path(&corners) {
            let paint = paint::opaque(ink);
            photo.fill_path(
                &path,
                &paint,
                FillRule::Winding,
                Transform::identity(),
                None,
            );
        }
    }
}

/// The place on a closed outline that is nearest to `to`; `to` itself without one.
fn nearest_on_edge(corners: &[Px], to: Px) -> Px {
    let next = corners.iter().cycle().skip(1);
    let places = corners
        .iter()
        .zip(next)
        .map(|(a, b)| nearest_on(*a, *b, to));
    places
        .min_by(|a, b| a.distance(to).total_cmp(&b.distance(to)))
        .unwrap_or(to)
}

/// The place between `a` and `b` that is nearest to `to`.
fn nearest_on(a: Px, b: Px, to: Px) -> Px {
    let (x, y) = (b.x - a.x, b.y - a.y);
    let square = x * x + y * y;
    if square <= 0.0 {
        return a;
    }
    let along = (((to.x - a.x) * x + (to.y - a.y) * y) / square).clamp(0.0, 1.0);
    Px::new(a.x + along * x, a.y + along * y)
}

fn fill(photo: &mut Pixmap, outline: Outline, ink: Ink) {
    let shape = Shape {
        outline,
        ink,
        words: None,
    };
    paint::fill(photo, &shape, PX_PER_MM);
}

/// What lies where in the reduced photo, in cells of [`CELL`] px.
struct Map {
    columns: usize,
    rows: usize,
    /// Row after row; 0 is bare tray.
    cells: Vec<u32>,
}

impl Map {
    const CARD: u32 = u32::MAX;
    const TAKEN: u32 = u32::MAX - 1;
    const RING: u32 = u32::MAX - 2;

    fn of(view: &View, shown: &Shown<'_>) -> Self {
        let cells = |px: f64| ((px / CELL).ceil() as usize).max(1);
        let (columns, rows) = (cells(view.width), cells(view.height));
        let mut map = Self {
            columns,
            rows,
            cells: vec![0; columns * rows],
        };
        map.mark(&shown.card, Self::CARD);
        for (index, piece) in shown.pieces.iter().enumerate() {
            map.mark(&piece.corners, map.piece_id(index));
        }
        for ring in &shown.rings {
            map.mark(&circle(ring.middle, ring.radius), Self::RING);
        }
        map
    }

    fn piece_id(&self, index: usize) -> u32 {
        u32::try_from(index + 1).unwrap_or(Self::RING - 1)
    }

    fn mark(&mut self, corners: &[Px], id: u32) {
        let Some(path) = closed_path(corners) else {
            return;
        };
        let size = (u32::try_from(self.columns), u32::try_from(self.rows));
        let (Ok(columns), Ok(rows)) = size else {
            return;
        };
        let Some(mut mask) = Mask::new(columns, rows) else {
            return;
        };
        let scale = Transform::from_scale((1.0 / CELL) as f32, (1.0 / CELL) as f32);
        mask.fill_path(&path, FillRule::Winding, false, scale);
        for (cell, covered) in self.cells.iter_mut().zip(mask.data()) {
            if *covered > 0 {
                *cell = id;
            }
        }
    }

    /// Middle of the badge where it hides least.
    fn best(&self, thing: &Thing<'_>, width: f64, height: f64) -> Px {
        let corners = thing.corners.iter();
        let furthest = corners.fold(0.0, |far, c| thing.middle.distance(*c).max(far));
        let steps = (furthest / CELL + BEYOND).min(MOST_STEPS) as u32;
        let mut best = (f64::INFINITY, thing.middle);
        for step in 0..steps {
            for direction in 0..DIRECTIONS {
                // Straight up first.
                let turn = f64::from(direction) / f64::from(DIRECTIONS) * TAU - FRAC_PI_2;
                let reach = f64::from(step) * CELL;
                let middle = Px::new(
                    thing.middle.x + reach * turn.cos(),
                    thing.middle.y + reach * turn.sin(),
                );
                let mut cost = self.cost(middle, width, height, thing.id);
                if cost < best.0 {
                    let edge = nearest_on_edge(thing.corners, middle);
                    cost += STEP * edge.distance(middle) / CELL;
                }
                if cost < best.0 {
                    best = (cost, middle);
                }
            }
        }
        best.1
    }

    fn cost(&self, middle: Px, width: f64, height: f64, own: u32) -> f64 {
        let mut cost = 0.0;
        self.each_cell(middle, width, height, |cell| {
            cost += match cell.and_then(|index| self.cells.get(index)) {
                None => OUTSIDE,
                Some(0) => 0.0,
                Some(&id) if id == own => OWN,
                Some(&Self::TAKEN) => BADGE,
                Some(_) => OTHER,
            };
        });
        cost
    }

    fn take(&mut self, middle: Px, width: f64, height: f64) {
        let mut taken = Vec::new();
        self.each_cell(middle, width, height, |cell| taken.extend(cell));
        for index in taken {
            if let Some(cell) = self.cells.get_mut(index) {
                *cell = Self::TAKEN;
            }
        }
    }

    /// Calls back with each cell under a box; `None` for cells outside the photo.
    fn each_cell(&self, middle: Px, width: f64, height: f64, mut call: impl FnMut(Option<usize>)) {
        let range = |from: f64, to: f64| (from / CELL).floor() as i64..(to / CELL).ceil() as i64;
        for row in range(middle.y - height / 2.0, middle.y + height / 2.0) {
            for column in range(middle.x - width / 2.0, middle.x + width / 2.0) {
                let inside = (0..self.rows as i64).contains(&row)
                    && (0..self.columns as i64).contains(&column);
                call(inside.then(|| row as usize * self.columns + column as usize));
            }
        }
    }
}
