//! What is left to explain: the kinds of all pixels, less what pieces already explain.

use ndarray::Array2;

use super::found::Leftover;
use super::polygon::{inside, narrowed};
use super::seeds::{Seed, seeds};
use super::stance::Stance;
use crate::tray::{Foreground, Kind, LabView};
use crate::units::Mm;
use crate::view::Camera;

/// The smallest patch of certain foreground worth a search; a 1x1 covers 61 mm².
pub(super) const LEAST_SEED_MM2: f64 = 14.0;
/// Patches wider than this are a rim or another surface, not pieces.
pub(super) const WIDEST_SEED_MM: f64 = 150.0;
/// How far a piece's colour bleeds over its outline, mm.
const BLUR_RIM_MM: f64 = 0.9;

/// Kinds of all pixels; what pieces already explain counts as outside.
pub(super) struct Canvas<'a> {
    pub view: &'a LabView,
    camera: &'a Camera,
    pub kind: Array2<Kind>,
}

impl<'a> Canvas<'a> {
    /// Nothing explained yet but the tray's rim, its shadow and the table beyond.
    pub fn of(view: &'a LabView, camera: &'a Camera, foreground: &Foreground) -> Self {
        let mut canvas = Self {
            view,
            camera,
            kind: foreground.kind.clone(),
        };
        for kind in [Kind::Piece, Kind::Dim] {
            canvas.drop_rims(kind);
        }
        canvas
    }

    /// Connected patches of a kind.
    pub fn seeds(&self, kind: Kind, least_mm2: f64) -> Vec<Seed> {
        seeds(self.view, |r, c| self.kind[(r, c)] == kind, least_mm2)
    }

    /// The box around all that may be no tray, with a margin; nothing at the view's corner where there is none.
    pub fn bounds(&self, margin_mm: f64) -> (Mm, Mm) {
        let mut found: Option<[usize; 4]> = None;
        for ((row, column), kind) in self.kind.indexed_iter() {
            if matches!(kind, Kind::Piece | Kind::Dim) {
                let [top, bottom, left, right] = found.unwrap_or([row, row, column, column]);
                found = Some([
                    top.min(row),
                    bottom.max(row),
                    left.min(column),
                    right.max(column),
                ]);
            }
        }
        let Some([top, bottom, left, right]) = found else {
            return (self.view.origin, self.view.origin);
        };
        let (low, high) = (self.view.middle(top, left), self.view.middle(bottom, right));
        (
            Mm::new(low.x - margin_mm, low.y - margin_mm),
            Mm::new(high.x + margin_mm, high.y + margin_mm),
        )
    }

    /// Takes out what reaches the photo's edge and is too wide for a piece.
    fn drop_rims(&mut self, kind: Kind) {
        for seed in self.seeds(kind, LEAST_SEED_MM2) {
            let (low, high) = seed.bounds(self.view);
            if seed.at_frame && (high.x - low.x).max(high.y - low.y) > WIDEST_SEED_MM {
                for at in seed.pixels() {
                    self.kind[at] = Kind::Outside;
                }
            }
        }
    }

    /// Takes a piece's silhouette, with a rim of blur around it, out.
    pub fn explain(&mut self, stance: &Stance) {
        for at in self.covered(stance, BLUR_RIM_MM) {
            self.kind[at] = Kind::Outside;
        }
    }

    /// Pixels of a piece's silhouette, grown by a margin.
    fn covered(&self, stance: &Stance, margin_mm: f64) -> Vec<(usize, usize)> {
        let outline = grown(&stance.silhouette(self.camera), margin_mm);
        let view = self.view;
        let (rows, columns) = view.size();
        let cell = |v: f64, most: usize| (v.max(0.0) as usize).min(most);
        let span = |places: &dyn Fn(&Mm) -> f64| {
            let low = outline.iter().map(places).fold(f64::MAX, f64::min);
            let high = outline.iter().map(places).fold(f64::MIN, f64::max);
            (low, high)
        };
        let (left, right) = span(&|p| (p.x - view.origin.x) / view.mm_per_px);
        let (top, bottom) = span(&|p| (p.y - view.origin.y) / view.mm_per_px);
        let mut covered = Vec::new();
        for row in cell(top, rows)..cell(bottom + 1.0, rows) {
            for column in cell(left, columns)..cell(right + 1.0, columns) {
                let at = Mm::new(
                    view.origin.x + (column as f64 + 0.5) * view.mm_per_px,
                    view.origin.y + (row as f64 + 0.5) * view.mm_per_px,
                );
                if inside(&outline, at) {
                    covered.push((row, column));
                }
            }
        }
        covered
    }

    /// Gives back what a piece explained that is none.
    pub fn give_back(&mut self, stance: &Stance, foreground: &Foreground) {
        for at in self.covered(stance, BLUR_RIM_MM) {
            self.kind[at] = foreground.kind[at];
        }
    }

    /// Whether certain foreground that no piece explains is at a place.
    pub fn is_unexplained(&self, at: Mm) -> bool {
        let (x, y) = (at.x - self.view.origin.x, at.y - self.view.origin.y);
        let (column, row) = (x / self.view.mm_per_px, y / self.view.mm_per_px);
        x >= 0.0 && y >= 0.0 && self.kind.get((row as usize, column as usize)) == Some(&Kind::Piece)
    }

    /// Share of a silhouette that no piece explains and that certainly is no tray, and share that
    /// may be none.
    pub fn unexplained(&self, stance: &Stance) -> (f64, f64) {
        let covered = self.covered(stance, 0.0);
        let share = |kinds: &[Kind]| {
            let free = covered.iter().filter(|at| kinds.contains(&self.kind[**at]));
            free.count() as f64 / covered.len().max(1) as f64
        };
        (share(&[Kind::Piece]), share(&[Kind::Piece, Kind::Dim]))
    }

    /// Patches that certainly are no tray and that no piece explains.
    pub fn rest(&self) -> Vec<Rest> {
        let place = |(row, column)| self.view.middle(row, column);
        let rest = self.seeds(Kind::Piece, LEAST_SEED_MM2).into_iter();
        rest.map(|seed| {
            let (low, high) = seed.bounds(self.view);
            Rest {
                at: Mm::new((low.x + high.x) / 2.0, (low.y + high.y) / 2.0),
                cells: seed.pixels().map(place).collect(),
                cell_mm: self.view.mm_per_px,
                at_frame: seed.at_frame,
            }
        })
        .collect()
    }
}

/// A patch of foreground that is left over.
#[derive(Clone, Debug)]
pub struct Rest {
    /// The middle of the box around it.
    pub at: Mm,
    /// The middles of its pixels.
    pub cells: Vec<Mm>,
    /// Size of a pixel, mm.
    pub cell_mm: f64,
    /// Whether it reaches the photo's edge.
    pub at_frame: bool,
}

impl From<Rest> for Leftover {
    fn from(rest: Rest) -> Self {
        Self::of(rest.at, &rest.cells, rest.cell_mm, rest.at_frame)
    }
}

/// An outline with its sides moved outwards by `margin_mm`.
fn grown(outline: &[Mm], margin_mm: f64) -> Vec<Mm> {
    let corners: Vec<(f64, f64)> = outline.iter().map(|p| (p.x, p.y)).collect();
    narrowed(&corners, -margin_mm).map_or_else(
        || outline.to_vec(),
        |corners| corners.iter().map(|(x, y)| Mm::new(*x, *y)).collect(),
    )
}
