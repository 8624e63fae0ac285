//! Finds the pieces: seeds, hypotheses, the best of them, and what is left over.

use ndarray::Array2;

use super::evidence::EdgeScale;
use super::patch::{Candidate, Patch};
use super::refine::{Bench, Score};
use super::seeds::{Seed, seeds};
use super::shape::{Form, shapes_of};
use super::stance::{Stance, inside_convex};
use super::turn::{Slopes, likely_turns};
use crate::tray::{Foreground, Ground, Kind, LabView};
use crate::units::Mm;
use crate::view::Camera;

/// What to look for.
#[derive(Clone, Debug)]
pub struct Search {
    /// Forms that may lie on the tray.
    pub forms: Vec<Form>,
}

/// One piece with the evidence for it.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundPiece {
    /// What stands where.
    pub stance: Stance,
    /// Mean edge evidence along the outline, -1..1.
    pub outline: f64,
    /// The same for its weakest side.
    pub weakest_side: f64,
    /// The same for its stud rims.
    pub studs: f64,
    /// Share of the silhouette that certainly is no tray.
    pub piece_share: f64,
    /// Share of the silhouette that looks like plain tray.
    pub ground_share: f64,
    /// Score of the best explanation.
    pub score: f64,
    /// The best different explanation of the same place: its shape and score.
    pub runner_up: Option<(super::Shape, f64)>,
    /// Whether the piece reaches the photo's edge.
    pub at_frame: bool,
}

/// Foreground that no piece explains.
#[derive(Clone, Debug, PartialEq)]
pub struct Leftover {
    /// Its middle on the tray.
    pub at: Mm,
    /// Area, mm².
    pub area_mm2: f64,
    /// Whether it reaches the photo's edge.
    pub at_frame: bool,
}

/// The smallest patch of certain foreground worth a search; a 1x1 covers 61 mm².
const LEAST_SEED_MM2: f64 = 14.0;
/// The smallest dim patch worth a search.
const LEAST_DIM_MM2: f64 = 30.0;
/// Patches wider than this are a rim or another surface, not pieces.
const WIDEST_SEED_MM: f64 = 150.0;
/// How far a hypothesis may reach beyond its seed.
const MARGIN_MM: f64 = 8.0;
/// Hypotheses refined for each seed.
const REFINED: usize = 8;

/// Finds every piece.
pub fn find_pieces(
    view: &LabView,
    ground: &Ground,
    foreground: &Foreground,
    camera: &Camera,
    search: &Search,
) -> (Vec<FoundPiece>, Vec<Leftover>) {
    let scale = EdgeScale::for_noise(ground);
    let slopes = Slopes::of(view);
    let mut taken = Array2::from_elem(view.size(), false);
    let mut pieces = Vec::new();
    let mut leftovers = Vec::new();
    let sure = |r: usize, c: usize| foreground.kind[(r, c)] == Kind::Piece;
    let mut queue = seeds(view, sure, LEAST_SEED_MM2);
    // What a first piece leaves of its seed is looked at once more.
    for _round in 0..3 {
        for seed in &queue {
            let free = seed.pixels.iter().filter(|at| !taken[**at]).count();
            if (free as f64) < 0.4 * seed.pixels.len() as f64 {
                continue;
            }
            let found = best_piece(view, &slopes, foreground, &taken, camera, scale, search, seed);
            if let Some(piece) = found {
                mark(view, camera, &piece.stance, &mut taken);
                pieces.push(piece);
            }
        }
        queue = seeds(view, |r, c| sure(r, c) && !taken[(r, c)], LEAST_SEED_MM2);
    }
    for seed in queue {
        leftovers.push(leftover(view, &seed));
    }
    let dim = seeds(
        view,
        |r, c| foreground.kind[(r, c)] == Kind::Dim && !taken[(r, c)],
        LEAST_DIM_MM2,
    );
    for seed in &dim {
        let found = best_piece(view, &slopes, foreground, &taken, camera, scale, search, seed);
        if let Some(piece) = found.filter(stands_out) {
            mark(view, camera, &piece.stance, &mut taken);
            pieces.push(piece);
        }
    }
    (pieces, leftovers)
}

/// Whether a piece of the tray's own chromaticity shows more than a shadow would.
fn stands_out(piece: &FoundPiece) -> bool {
    piece.outline > 0.3 && piece.weakest_side > -0.2
}

fn leftover(view: &LabView, seed: &Seed) -> Leftover {
    let (low, high) = seed.bounds(view);
    Leftover {
        at: Mm::new((low.x + high.x) / 2.0, (low.y + high.y) / 2.0),
        area_mm2: seed.area_mm2,
        at_frame: seed.at_frame,
    }
}

fn best_piece(
    view: &LabView,
    slopes: &Slopes,
    foreground: &Foreground,
    taken: &Array2<bool>,
    camera: &Camera,
    scale: EdgeScale,
    search: &Search,
    seed: &Seed,
) -> Option<FoundPiece> {
    let (low, high) = seed.bounds(view);
    let (width, depth) = (high.x - low.x, high.y - low.y);
    if width.max(depth) > WIDEST_SEED_MM {
        return None;
    }
    let middle = Mm::new((low.x + high.x) / 2.0, (low.y + high.y) / 2.0);
    let reach = width.hypot(depth) / 2.0 + MARGIN_MM;
    let kind_at = |r: usize, c: usize| {
        if taken[(r, c)] { Kind::Ground } else { foreground.kind[(r, c)] }
    };
    let mut candidates: Vec<Candidate> = Vec::new();
    for turn in likely_turns(slopes, seed, 2) {
        let patch = Patch::new(view, camera, &kind_at, scale, middle, reach, turn);
        for form in &search.forms {
            for shape in shapes_of(*form) {
                candidates.extend(patch.best_places(shape, 2));
            }
        }
    }
    candidates.sort_by(|a, b| b.score.total_cmp(&a.score));
    let bench = Bench { view, camera, scale, kind_at: &kind_at };
    let mut refined: Vec<(Stance, Score)> = candidates
        .iter()
        .take(REFINED)
        .map(|c| bench.refine(Stance { shape: c.shape, at: c.at, turn: c.turn }))
        .collect();
    refined.sort_by(|a, b| b.1.total.total_cmp(&a.1.total));
    let (stance, score) = refined.first().copied()?;
    if score.total <= 0.0 {
        return None;
    }
    let runner_up = refined
        .iter()
        .skip(1)
        .find(|(other, _)| other.shape != stance.shape)
        .map(|(other, score)| (other.shape, score.total));
    let outline = stance.silhouette(camera);
    let at_frame = outline.iter().any(|p| view.sample(*p).is_none());
    Some(FoundPiece {
        stance,
        outline: score.outline,
        weakest_side: score.weakest_side,
        studs: score.studs,
        piece_share: score.piece_share,
        ground_share: score.ground_share,
        score: score.total,
        runner_up,
        at_frame,
    })
}

/// Marks the pixels of a piece's silhouette, and a rim of blur around it, as explained.
fn mark(view: &LabView, camera: &Camera, stance: &Stance, taken: &mut Array2<bool>) {
    let outline = stance.silhouette(camera);
    let (mut mx, mut my) = (0.0, 0.0);
    for p in &outline {
        mx += p.x / outline.len() as f64;
        my += p.y / outline.len() as f64;
    }
    let grown: Vec<Mm> = outline
        .iter()
        .map(|p| {
            let (dx, dy) = (p.x - mx, p.y - my);
            let length = dx.hypot(dy).max(1e-9);
            let by = (length + 0.9) / length;
            Mm::new(mx + dx * by, my + dy * by)
        })
        .collect();
    let (rows, columns) = view.size();
    let clamp = |v: f64, most: usize| (v.max(0.0) as usize).min(most);
    let column_of = |x: f64| (x - view.origin.x) / view.mm_per_px;
    let row_of = |y: f64| (y - view.origin.y) / view.mm_per_px;
    let left = grown.iter().map(|p| column_of(p.x)).fold(f64::MAX, f64::min);
    let right = grown.iter().map(|p| column_of(p.x)).fold(f64::MIN, f64::max);
    let top = grown.iter().map(|p| row_of(p.y)).fold(f64::MAX, f64::min);
    let bottom = grown.iter().map(|p| row_of(p.y)).fold(f64::MIN, f64::max);
    for row in clamp(top, rows)..clamp(bottom + 1.0, rows) {
        for column in clamp(left, columns)..clamp(right + 1.0, columns) {
            let at = Mm::new(
                view.origin.x + (column as f64 + 0.5) * view.mm_per_px,
                view.origin.y + (row as f64 + 0.5) * view.mm_per_px,
            );
            if inside_convex(&grown, at) {
                taken[(row, column)] = true;
            }
        }
    }
}
