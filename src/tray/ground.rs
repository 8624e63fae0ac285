//! What the empty tray looks like at every place: a smooth surface in CIELAB.
//!
//! The card lies on the tray, so the ring around the card shows what to look
//! for. From there a region grows over gentle changes; a cubic surface is fitted
//! to it robustly, and what the cubic misses (a window's bars, a lamp's pool) is
//! added as a smoothed remainder.

use nalgebra::{DMatrix, DVector};
use ndarray::{Array2, Array3};
use thiserror::Error;

use super::lab_view::{Coarse, LabView};
use crate::units::Mm;

/// Cells on which the surface is fitted.
const CELL_MM: f64 = 1.0;
/// Width of the ring around the card that seeds the search, and its distance from the card.
const RING_MM: (f64, f64) = (2.0, 14.0);
/// The remainder is smoothed over this radius, well above any piece's side.
const REMAINDER_RADIUS_MM: f64 = 14.0;

/// Why the tray could not be made out.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum GroundError {
    /// Too little plain surface around the card.
    #[error(
        "the plain tray around the card cannot be made out; leave some empty tray beside the card and use one plain surface"
    )]
    NoGround,
}

/// The empty tray's colour over the whole view.
#[derive(Clone, Debug)]
pub struct Ground {
    cell_mm: f64,
    origin: Mm,
    /// L*, a*, b* for each cell (rows, columns, 3).
    surface: Array3<f32>,
    /// Spread of ground pixels about the surface in L*, a*, b* (robust sigma).
    pub noise: [f32; 3],
}

impl Ground {
    /// Fits the ground. `card` tells whether a place lies on the card, with a margin in mm.
    ///
    /// # Errors
    /// [`GroundError::NoGround`] when hardly any plain surface lies around the card.
    pub fn fit(view: &LabView, card: &dyn Fn(Mm, f64) -> bool) -> Result<Self, GroundError> {
        let coarse = view.coarse(CELL_MM);
        let (rows, columns) = coarse.inside.dim();
        let off_card = Array2::from_shape_fn((rows, columns), |(r, c)| {
            coarse.inside[(r, c)] && !card(coarse.middle(r, c), RING_MM.0)
        });
        let seed = ring_colour(&coarse, &off_card, card).ok_or(GroundError::NoGround)?;
        let grown = grow(&coarse, &off_card, card, seed);
        let mut kept = grown;
        let mut surface = fit_surface(&coarse, &kept, 1).ok_or(GroundError::NoGround)?;
        for order in [1, 2, 3, 3, 3] {
            let limit = robust_limit(&coarse, &kept, &surface);
            let mut next = Array2::from_elem((rows, columns), false);
            for ((r, c), flag) in next.indexed_iter_mut() {
                *flag = off_card[(r, c)]
                    && coarse.rough[(r, c)] < 4.0
                    && difference(coarse.at(r, c), surface_at(&surface, r, c)) < limit;
            }
            kept = next;
            surface = fit_surface(&coarse, &kept, order).ok_or(GroundError::NoGround)?;
        }
        add_remainder(&coarse, &kept, &mut surface);
        let mut ground = Self {
            cell_mm: coarse.mm_per_cell,
            origin: coarse.origin,
            surface,
            noise: [0.0; 3],
        };
        ground.noise = pixel_noise(view, &coarse, &kept, &ground);
        Ok(ground)
    }

    /// The empty tray's L*, a*, b* at a place (bilinear between cells, held at the rim).
    pub fn at(&self, place: Mm) -> [f32; 3] {
        let (rows, columns, _) = self.surface.dim();
        let x = ((place.x - self.origin.x) / self.cell_mm - 0.5).clamp(0.0, columns as f64 - 1.0);
        let y = ((place.y - self.origin.y) / self.cell_mm - 0.5).clamp(0.0, rows as f64 - 1.0);
        let (c, r) = (x as usize, y as usize);
        let (c1, r1) = ((c + 1).min(columns - 1), (r + 1).min(rows - 1));
        let (fx, fy) = ((x - c as f64) as f32, (y - r as f64) as f32);
        let mut out = [0.0; 3];
        for (k, value) in out.iter_mut().enumerate() {
            let top = self.surface[(r, c, k)] * (1.0 - fx) + self.surface[(r, c1, k)] * fx;
            let bottom = self.surface[(r1, c, k)] * (1.0 - fx) + self.surface[(r1, c1, k)] * fx;
            *value = top * (1.0 - fy) + bottom * fy;
        }
        out
    }
}

fn difference(a: [f32; 3], b: [f32; 3]) -> f32 {
    ((a[0] - b[0]).powi(2) + (a[1] - b[1]).powi(2) + (a[2] - b[2]).powi(2)).sqrt()
}

fn surface_at(surface: &Array3<f32>, r: usize, c: usize) -> [f32; 3] {
    [surface[(r, c, 0)], surface[(r, c, 1)], surface[(r, c, 2)]]
}

fn in_ring(coarse: &Coarse, r: usize, c: usize, card: &dyn Fn(Mm, f64) -> bool) -> bool {
    let place = coarse.middle(r, c);
    card(place, RING_MM.1) && !card(place, RING_MM.0)
}

/// The commonest colour of smooth cells around the card.
fn ring_colour(
    coarse: &Coarse,
    off_card: &Array2<bool>,
    card: &dyn Fn(Mm, f64) -> bool,
) -> Option<[f32; 3]> {
    let mut ring: Vec<[f32; 3]> = Vec::new();
    for ((r, c), flag) in off_card.indexed_iter() {
        if *flag && coarse.rough[(r, c)] < 4.0 && in_ring(coarse, r, c, card) {
            ring.push(coarse.at(r, c));
        }
    }
    if ring.len() < 100 {
        return None;
    }
    // The cell with most neighbours in colour: a mode, so pieces in the ring do not pull it.
    let stride = (ring.len() / 400).max(1);
    let crowd = |colour: &[f32; 3]| {
        ring.iter()
            .step_by(stride)
            .filter(|other| difference(**other, *colour) < 5.0)
            .count()
    };
    ring.iter()
        .step_by(stride)
        .max_by_key(|colour| crowd(colour))
        .copied()
}

/// Cells reached from the ring over gentle changes of colour.
fn grow(
    coarse: &Coarse,
    off_card: &Array2<bool>,
    card: &dyn Fn(Mm, f64) -> bool,
    seed: [f32; 3],
) -> Array2<bool> {
    let (rows, columns) = off_card.dim();
    let mut taken = Array2::from_elem((rows, columns), false);
    let mut queue = std::collections::VecDeque::new();
    for ((r, c), flag) in off_card.indexed_iter() {
        if *flag && in_ring(coarse, r, c, card) && difference(coarse.at(r, c), seed) < 6.0 {
            taken[(r, c)] = true;
            queue.push_back((r, c));
        }
    }
    while let Some((r, c)) = queue.pop_front() {
        let here = coarse.at(r, c);
        let neighbours = [
            (r.wrapping_sub(1), c),
            (r + 1, c),
            (r, c.wrapping_sub(1)),
            (r, c + 1),
        ];
        for (nr, nc) in neighbours {
            if nr < rows
                && nc < columns
                && off_card[(nr, nc)]
                && !taken[(nr, nc)]
                && coarse.rough[(nr, nc)] < 3.0
                && difference(coarse.at(nr, nc), here) < 2.0
            {
                taken[(nr, nc)] = true;
                queue.push_back((nr, nc));
            }
        }
    }
    taken
}

fn basis(order: usize, x: f64, y: f64) -> Vec<f64> {
    let mut terms = Vec::with_capacity(10);
    for total in 0..=order {
        for power in 0..=total {
            terms.push(x.powi((total - power) as i32) * y.powi(power as i32));
        }
    }
    terms
}

/// Polynomial surface of the given order through the kept cells, each channel on its own.
fn fit_surface(coarse: &Coarse, kept: &Array2<bool>, order: usize) -> Option<Array3<f32>> {
    let (rows, columns) = kept.dim();
    // Unit coordinates over the view keep the normal equations well conditioned.
    let unit = |r: usize, c: usize| {
        (
            2.0 * c as f64 / columns as f64 - 1.0,
            2.0 * r as f64 / rows as f64 - 1.0,
        )
    };
    let terms = basis(order, 0.0, 0.0).len();
    let mut normal = DMatrix::<f64>::zeros(terms, terms);
    let mut right = DMatrix::<f64>::zeros(terms, 3);
    let mut count = 0;
    for ((r, c), flag) in kept.indexed_iter() {
        if !*flag {
            continue;
        }
        let (x, y) = unit(r, c);
        let row = DVector::from_vec(basis(order, x, y));
        normal.ger(1.0, &row, &row, 1.0);
        for k in 0..3 {
            for t in 0..terms {
                right[(t, k)] += row[t] * f64::from(coarse.mean[(r, c, k)]);
            }
        }
        count += 1;
    }
    if count < 200 {
        return None;
    }
    // A breath of ridge for terms that the kept cells do not determine.
    for t in 1..terms {
        normal[(t, t)] += 1e-3 * f64::from(count);
    }
    let solution = normal.cholesky()?.solve(&right);
    let mut surface = Array3::<f32>::zeros((rows, columns, 3));
    for r in 0..rows {
        for c in 0..columns {
            let (x, y) = unit(r, c);
            let row = basis(order, x, y);
            for k in 0..3 {
                let value: f64 = row
                    .iter()
                    .enumerate()
                    .map(|(t, b)| b * solution[(t, k)])
                    .sum();
                surface[(r, c, k)] = value as f32;
            }
        }
    }
    Some(surface)
}

/// Three robust sigmas of the kept cells about the surface, within sane bounds.
fn robust_limit(coarse: &Coarse, kept: &Array2<bool>, surface: &Array3<f32>) -> f32 {
    let mut off: Vec<f32> = kept
        .indexed_iter()
        .filter(|(_, flag)| **flag)
        .map(|((r, c), _)| difference(coarse.at(r, c), surface_at(surface, r, c)))
        .collect();
    off.sort_by(f32::total_cmp);
    let median = off.get(off.len() / 2).copied().unwrap_or(1.0);
    (3.0 * 1.4826 * median).clamp(1.5, 8.0)
}

/// Adds the smoothed remainder of the kept cells (normalised convolution with two box passes).
fn add_remainder(coarse: &Coarse, kept: &Array2<bool>, surface: &mut Array3<f32>) {
    let (rows, columns) = kept.dim();
    let radius = (REMAINDER_RADIUS_MM / coarse.mm_per_cell).round() as usize;
    let mut weight = Array2::from_shape_fn((rows, columns), |at| f32::from(u8::from(kept[at])));
    let mut values: Vec<Array2<f32>> = (0..3)
        .map(|k| {
            Array2::from_shape_fn((rows, columns), |(r, c)| {
                if kept[(r, c)] {
                    coarse.mean[(r, c, k)] - surface[(r, c, k)]
                } else {
                    0.0
                }
            })
        })
        .collect();
    for _ in 0..2 {
        weight = box_blur(&weight, radius);
        values.iter_mut().for_each(|v| *v = box_blur(v, radius));
    }
    for (k, value) in values.iter().enumerate() {
        for ((r, c), v) in value.indexed_iter() {
            // Far from any ground the remainder fades to nothing.
            surface[(r, c, k)] += v / (weight[(r, c)] + 0.02);
        }
    }
}

/// Mean over a square window, by running sums; the window is cut at the rim.
fn box_blur(input: &Array2<f32>, radius: usize) -> Array2<f32> {
    let (rows, columns) = input.dim();
    let mut sums = Array2::<f64>::zeros((rows + 1, columns + 1));
    for r in 0..rows {
        let mut line = 0.0;
        for c in 0..columns {
            line += f64::from(input[(r, c)]);
            sums[(r + 1, c + 1)] = sums[(r, c + 1)] + line;
        }
    }
    Array2::from_shape_fn((rows, columns), |(r, c)| {
        let (top, bottom) = (r.saturating_sub(radius), (r + radius + 1).min(rows));
        let (left, right) = (c.saturating_sub(radius), (c + radius + 1).min(columns));
        let total =
            sums[(bottom, right)] - sums[(top, right)] - sums[(bottom, left)] + sums[(top, left)];
        (total / ((bottom - top) * (right - left)) as f64) as f32
    })
}

/// Robust sigma of single pixels about the surface, over the kept cells.
fn pixel_noise(view: &LabView, coarse: &Coarse, kept: &Array2<bool>, ground: &Ground) -> [f32; 3] {
    let step = coarse.pixels_per_cell;
    let mut off: [Vec<f32>; 3] = Default::default();
    for ((r, c), flag) in kept.indexed_iter() {
        // A seventh of the cells, one pixel each, is plenty and spreads evenly.
        if !*flag || (r * 31 + c) % 7 != 0 {
            continue;
        }
        let here = ground.at(coarse.middle(r, c));
        let lab = view.at(r * step + step / 2, c * step + step / 2);
        for k in 0..3 {
            off[k].push((lab[k] - here[k]).abs());
        }
    }
    let mut noise = [0.5; 3];
    for k in 0..3 {
        off[k].sort_by(f32::total_cmp);
        if let Some(median) = off[k].get(off[k].len() / 2) {
            noise[k] = (1.4826 * median).max(0.3);
        }
    }
    noise
}
