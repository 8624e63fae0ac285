//! A seed's surroundings turned so that its sides run along the axes, with
//! running sums that make a rectangle's score cost a dozen look-ups.

use ndarray::{Array2, Axis};
use rayon::prelude::*;

use super::evidence::{EDGE_PER_MM, EDGE_REACH_MM, EdgeScale, PIECE_COST, area_credit};
use super::shape::Shape;
use crate::tray::{Kind, LabView};
use crate::units::Mm;
use crate::view::Camera;

/// Size of a patch cell.
const CELL_MM: f64 = 0.3;

/// The turned surroundings of a seed.
pub(super) struct Patch<'a> {
    camera: &'a Camera,
    middle: Mm,
    turn: f64,
    half_cells: usize,
    /// Running sum of area credit times cell area, one row and column larger than the patch.
    area: Array2<f64>,
    /// Running sum along v of evidence of edges that run along v.
    edge_along_v: Array2<f64>,
    /// Running sum along u of evidence of edges that run along u.
    edge_along_u: Array2<f64>,
}

/// A rectangle hypothesis within a patch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Candidate {
    pub shape: Shape,
    pub at: Mm,
    /// Direction of the long side, radians.
    pub turn: f64,
    pub score: f64,
}

impl<'a> Patch<'a> {
    /// Resamples the view around `middle` out to `reach_mm`, turned by `turn`.
    pub fn new(
        view: &LabView,
        camera: &'a Camera,
        kind_at: &(dyn Fn(usize, usize) -> Kind + Sync),
        scale: EdgeScale,
        middle: Mm,
        reach_mm: f64,
        turn: f64,
    ) -> Self {
        let half_cells = (reach_mm / CELL_MM).ceil() as usize;
        let side = 2 * half_cells;
        let (sin, cos) = turn.sin_cos();
        let place = |i: usize, j: usize| {
            let u = (i as f64 + 0.5 - half_cells as f64) * CELL_MM;
            let v = (j as f64 + 0.5 - half_cells as f64) * CELL_MM;
            Mm::new(middle.x + u * cos - v * sin, middle.y + u * sin + v * cos)
        };
        // Indexed (u, v).
        let mut lab: Array2<Option<[f32; 3]>> = Array2::from_elem((side, side), None);
        lab.axis_iter_mut(Axis(0))
            .into_par_iter()
            .enumerate()
            .for_each(|(i, mut line)| {
                for (j, value) in line.iter_mut().enumerate() {
                    *value = view.sample(place(i, j));
                }
            });
        let (rows, columns) = view.size();
        let mut area = Array2::<f64>::zeros((side + 1, side + 1));
        for i in 0..side {
            let mut line = 0.0;
            for j in 0..side {
                let at = place(i, j);
                let column = (at.x - view.origin.x) / view.mm_per_px;
                let row = (at.y - view.origin.y) / view.mm_per_px;
                let within = column >= 0.0
                    && row >= 0.0
                    && (column as usize) < columns
                    && (row as usize) < rows;
                let kind = if within {
                    kind_at(row as usize, column as usize)
                } else {
                    Kind::Outside
                };
                line += area_credit(kind) * CELL_MM * CELL_MM;
                area[(i + 1, j + 1)] = area[(i, j + 1)] + line;
            }
        }
        let step = (EDGE_REACH_MM / CELL_MM).round() as usize;
        let evidence = |a: Option<[f32; 3]>, b: Option<[f32; 3]>| match (a, b) {
            (Some(a), Some(b)) => scale.evidence(a, b),
            _ => -0.5,
        };
        // Line k of an edge picture lies between cells k - 1 and k.
        let mut edge_along_v = Array2::<f64>::zeros((side + 1, side + 1));
        let mut edge_along_u = Array2::<f64>::zeros((side + 1, side + 1));
        for k in step..=side - step {
            for m in 0..side {
                let across_u = evidence(lab[(k - step, m)], lab[(k + step - 1, m)]);
                let across_v = evidence(lab[(m, k - step)], lab[(m, k + step - 1)]);
                edge_along_v[(k, m + 1)] = edge_along_v[(k, m)] + across_u * EDGE_PER_MM * CELL_MM;
                edge_along_u[(m + 1, k)] = edge_along_u[(m, k)] + across_v * EDGE_PER_MM * CELL_MM;
            }
        }
        Self {
            camera,
            middle,
            turn,
            half_cells,
            area,
            edge_along_v,
            edge_along_u,
        }
    }

    /// The best places of a shape within the patch, at most `most`, one for each neighbourhood.
    pub fn best_places(&self, shape: Shape, most: usize) -> Vec<Candidate> {
        let mut all: Vec<Candidate> = Vec::new();
        self.scan(shape, false, &mut all);
        if !shape.is_square() {
            self.scan(shape, true, &mut all);
        }
        all.sort_by(|a, b| b.score.total_cmp(&a.score));
        let mut kept: Vec<Candidate> = Vec::new();
        for candidate in all {
            let apart = kept.iter().all(|k| {
                k.at.distance(candidate.at) > 3.0 || (k.turn - candidate.turn).abs() > 0.1
            });
            if apart {
                kept.push(candidate);
            }
            if kept.len() == most {
                break;
            }
        }
        kept
    }

    /// Scores every place of one orientation; keeps those that beat their row's neighbours.
    fn scan(&self, shape: Shape, crosswise: bool, out: &mut Vec<Candidate>) {
        let (long, short) = (shape.long_mm(), shape.short_mm());
        let (du, dv) = if crosswise {
            (short, long)
        } else {
            (long, short)
        };
        let height = shape.height_mm();
        let stretch = self.camera.height_mm() / (self.camera.height_mm() - height);
        let (foot_u, foot_v) = self.to_uv(self.camera.foot());
        let reach = self.half_cells as f64 * CELL_MM;
        // Hull of footprint and stretched top in one axis, for a middle at c.
        let extent = |c: f64, foot: f64, size: f64| {
            let top = foot + (c - foot) * stretch;
            let (a, b) = (c - size / 2.0, c + size / 2.0);
            (
                a.min(top - size / 2.0 * stretch),
                b.max(top + size / 2.0 * stretch),
            )
        };
        let step = 2.0 * CELL_MM;
        let (span_u, span_v) = (reach - du / 2.0, reach - dv / 2.0);
        if span_u < 0.0 || span_v < 0.0 {
            return;
        }
        let (count_u, count_v) = ((span_u / step) as i32, (span_v / step) as i32);
        for iu in -count_u..=count_u {
            let mut best: Option<(f64, f64)> = None;
            let u = f64::from(iu) * step;
            for iv in -count_v..=count_v {
                let v = f64::from(iv) * step;
                let score = self.rectangle(extent(u, foot_u, du), extent(v, foot_v, dv));
                if score > best.map_or(0.0, |b| b.1) {
                    best = Some((v, score));
                }
            }
            if let Some((v, score)) = best {
                let turn = if crosswise {
                    self.turn + std::f64::consts::FRAC_PI_2
                } else {
                    self.turn
                };
                out.push(Candidate {
                    shape,
                    at: self.place_of(u, v),
                    turn,
                    score,
                });
            }
        }
    }

    fn rectangle(&self, u: (f64, f64), v: (f64, f64)) -> f64 {
        let cell = |x: f64| {
            let index = (x / CELL_MM).round() + self.half_cells as f64;
            (index >= 0.0 && index <= 2.0 * self.half_cells as f64).then_some(index as usize)
        };
        let (Some(u0), Some(u1), Some(v0), Some(v1)) = (cell(u.0), cell(u.1), cell(v.0), cell(v.1))
        else {
            return f64::NEG_INFINITY;
        };
        let area =
            self.area[(u1, v1)] - self.area[(u0, v1)] - self.area[(u1, v0)] + self.area[(u0, v0)];
        let left = self.edge_along_v[(u0, v1)] - self.edge_along_v[(u0, v0)];
        let right = self.edge_along_v[(u1, v1)] - self.edge_along_v[(u1, v0)];
        let near = self.edge_along_u[(u1, v0)] - self.edge_along_u[(u0, v0)];
        let far = self.edge_along_u[(u1, v1)] - self.edge_along_u[(u0, v1)];
        area + left + right + near + far - PIECE_COST
    }

    fn to_uv(&self, at: Mm) -> (f64, f64) {
        let (sin, cos) = self.turn.sin_cos();
        let (x, y) = (at.x - self.middle.x, at.y - self.middle.y);
        (x * cos + y * sin, -x * sin + y * cos)
    }

    fn place_of(&self, u: f64, v: f64) -> Mm {
        let (sin, cos) = self.turn.sin_cos();
        Mm::new(
            self.middle.x + u * cos - v * sin,
            self.middle.y + u * sin + v * cos,
        )
    }
}
