//! Finds the pieces by edges and areas: seeds, hypotheses, the best of them.

use rayon::prelude::*;

use super::canvas::{Canvas, LEAST_SEED_MM2, WIDEST_SEED_MM};
use super::evidence::EdgeScale;
use super::face::Face;
use super::found::{FoundPiece, Witness};
use super::learned::is_taught;
use super::patch::{Candidate, Patch};
use super::polygon::inside;
use super::refine::{Bench, Score};
use super::search::Search;
use super::seeds::Seed;
use super::stance::Stance;
use super::turn::likely_turns;
use crate::tray::{Foreground, Ground, Kind, LabView, distance};
use crate::units::Mm;
use crate::view::Camera;

/// The smallest dim patch worth a search.
const LEAST_DIM_MM2: f64 = 30.0;
/// How far a hypothesis may reach beyond its seed.
const MARGIN_MM: f64 = 8.0;
/// Hypotheses refined for each seed.
const REFINED: usize = 8;
/// Boxes in which each shape that is no rectangle is tried.
const BOXES: usize = 3;
/// Between two tries at how studs on a round piece are turned: half of it moves a stud of a 2x2
/// by 0.7 mm, from where the search finds it.
const ROUND_STEP_DEG: f64 = 15.0;

/// Hypotheses whose outline evidence less their share of plain tray falls short
/// of this are not pieces; what they were to explain stays a leftover. Half the
/// outline at a clear edge gives 0.
const LEAST_OUTLINE: f64 = 0.3;
/// The same for outline and half the stud evidence together, where studs are due.
const LEAST_WITH_STUDS: f64 = 0.2;
/// With less certain foreground than this a hypothesis could be all shadow.
const SHADOW_SHARE: f64 = 0.2;
/// Stud evidence that tells a piece of the tray's own colour from a shadow.
const LEAST_STUDS_IN_SHADOW: f64 = 0.1;
/// The same for a shape that is no rectangle, anywhere.
const LEAST_STUDS_OF_ODD: f64 = 0.0;
/// Evidence of the outline, less the share of plain tray, and of its weakest
/// side, that tells a piece from a shadow on its own...
const CRISP: (f64, f64) = (0.85, 0.5);
/// ...or where stud evidence does not deny it.
const FIRM: (f64, f64) = (0.6, 0.2);
const NO_STUDS: f64 = -0.3;
/// A side with less evidence than this makes the search look further out.
const WEAK_SIDE: f64 = 0.6;
/// How far beyond a weak explanation the next search reaches.
const SECOND_MARGIN_MM: f64 = 26.0;

/// Share of a seed's distance from the tray below which a pixel may be bleeding colour.
const BLEED_SHARE: f32 = 0.45;
/// Share of its seed that a hypothesis must cover, or of itself that the seed must.
const SHARE_OF_SEED: f64 = 0.4;
const SHARE_OF_PIECE: f64 = 0.4;

/// Everything a search needs to see.
struct Scene<'a> {
    view: &'a LabView,
    camera: &'a Camera,
    scale: EdgeScale,
    search: &'a Search,
    canvas: Canvas<'a>,
    ground: &'a Ground,
}

/// What a pixel of plain tray says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Tray {
    /// No piece is here.
    Telling,
    /// Nothing: the piece may have the tray's very colour, and only edges count.
    Alike,
}

/// What pieces are looked for in.
#[derive(Clone, Copy)]
pub struct Sight<'a> {
    /// The tray.
    pub view: &'a LabView,
    /// The empty tray.
    pub ground: &'a Ground,
    /// What is no tray.
    pub foreground: &'a Foreground,
    /// The camera.
    pub camera: &'a Camera,
}

/// Finds every piece that edges and areas explain where the canvas is not explained yet; the
/// canvas is left with what they do not.
pub(super) fn explain<'a>(
    sight: &Sight<'a>,
    search: &'a Search,
    canvas: Canvas<'a>,
) -> (Vec<FoundPiece>, Canvas<'a>) {
    let Sight {
        view,
        ground,
        camera,
        ..
    } = *sight;
    let mut scene = Scene {
        view,
        camera,
        scale: EdgeScale::for_noise(ground),
        search,
        canvas,
        ground,
    };
    let mut pieces = Vec::new();
    // What a first piece leaves of its seed is looked at once more. Certain
    // foreground goes first, so that its shadows are not asked before it.
    for (kind, least) in [
        (Kind::Piece, LEAST_SEED_MM2),
        (Kind::Piece, LEAST_SEED_MM2),
        (Kind::Dim, LEAST_DIM_MM2),
    ] {
        for seed in scene.canvas.seeds(kind, least) {
            let free = seed
                .pixels()
                .filter(|at| scene.canvas.kind[*at] == kind)
                .count();
            if (free as f64) < 0.4 * seed.len() as f64 {
                continue;
            }
            let mut found = scene.best_piece(&seed, Tray::Telling).filter(is_piece);
            if found.is_none() && kind == Kind::Dim {
                found = scene.best_piece(&seed, Tray::Alike).filter(is_piece);
            }
            if let Some(piece) = found {
                scene.canvas.explain(&piece.stance);
                soften_bleed(&mut scene.canvas, &seed, scene.ground);
                pieces.push(piece);
            }
        }
    }
    (pieces, scene.canvas)
}

/// Takes pieces out of a canvas, and with each what its colour bled onto the tray around it.
pub(super) fn take_out(canvas: &mut Canvas<'_>, stances: &[Stance], ground: &Ground) {
    let seeds = canvas.seeds(Kind::Piece, LEAST_SEED_MM2);
    for stance in stances {
        canvas.explain(stance);
    }
    for seed in seeds {
        let taken = seed.pixels().filter(|at| canvas.kind[*at] == Kind::Outside);
        if taken.count() as f64 > SHARE_OF_SEED * seed.len() as f64 {
            soften_bleed(canvas, &seed, ground);
        }
    }
}

/// Distance from the tray below which a seed's pixels may be bleeding colour.
fn bleed_limit(seed: &Seed, distance: &dyn Fn((usize, usize)) -> f32) -> f32 {
    let mut distances: Vec<f32> = seed.pixels().map(distance).collect();
    let index = distances.len() * 3 / 4;
    if distances.is_empty() {
        return 0.0;
    }
    BLEED_SHARE * *distances.select_nth_unstable_by(index, f32::total_cmp).1
}

/// Once a seed's piece is found, its faint remainder is no better than shadow.
fn soften_bleed(canvas: &mut Canvas<'_>, seed: &Seed, ground: &Ground) {
    let view = canvas.view;
    let far = |(row, column): (usize, usize)| distance(view, ground, row, column);
    let limit = bleed_limit(seed, &far);
    for at in seed.pixels() {
        if canvas.kind[at] == Kind::Piece && far(at) < limit {
            canvas.kind[at] = Kind::Dim;
        }
    }
}

pub(super) fn is_piece(piece: &FoundPiece) -> bool {
    let shape = piece.stance.shape;
    // A coin or a wheel is as round; a half-hidden rectangle has a notch, too.
    // What the net was not taught may have studs that hardly show, where it is outlined all round.
    let told = !is_taught(shape) && !shape.is_round() && piece.is_whole();
    let faint = shape.has_studs() && piece.studs < LEAST_STUDS_OF_ODD;
    if !shape.is_block() && faint && !told {
        return false;
    }
    let studs_due = piece.stance.studs_up();
    let outline = piece.outline - piece.ground_share;
    let outlined = outline > LEAST_OUTLINE;
    let outlined_by = |(all, weakest): (f64, f64)| outline > all && piece.weakest_side > weakest;
    if piece.piece_share > SHADOW_SHARE {
        return outlined && (!studs_due || piece.outline + 0.5 * piece.studs > LEAST_WITH_STUDS);
    }
    // A neighbour's shadow has edges too, but no studs, and its far side is soft.
    let studded = studs_due && outlined && piece.studs > LEAST_STUDS_IN_SHADOW;
    let firm = outlined_by(CRISP) || outlined_by(FIRM) && piece.studs > NO_STUDS;
    studded || firm
}

impl Scene<'_> {
    fn best_piece(&self, seed: &Seed, tray: Tray) -> Option<FoundPiece> {
        let (low, high) = seed.bounds(self.view);
        let (width, depth) = (high.x - low.x, high.y - low.y);
        if width.max(depth) > WIDEST_SEED_MM {
            return None;
        }
        // A strong colour bleeds onto the tray around it: what is much nearer to
        // the tray than the seed as a whole may be piece or not, like a shadow.
        let tint = bleed_limit(seed, &|at| self.distance(at));
        let kind_at = |r: usize, c: usize| match self.canvas.kind[(r, c)] {
            Kind::Piece if self.distance((r, c)) < tint => Kind::Dim,
            Kind::Ground if tray == Tray::Alike => Kind::Dim,
            kind => kind,
        };
        let bench = Bench {
            view: self.view,
            camera: self.camera,
            scale: self.scale,
            kind_at: &kind_at,
        };
        let mut middle = Mm::new((low.x + high.x) / 2.0, (low.y + high.y) / 2.0);
        let mut reach = width.hypot(depth) / 2.0 + MARGIN_MM;
        let mut turns = likely_turns(self.view, seed, 2);
        let mut tried: Vec<(Stance, Score)> = Vec::new();
        // A seed may be one end of a piece whose other end looks like shadow:
        // while a side is weak, look again around the best explanation so far.
        for _round in 0..3 {
            let before = tried.first().map_or(f64::NEG_INFINITY, |t| t.1.total);
            let candidates = self.candidates(middle, reach, &turns, &kind_at);
            let starts = self.starts(&candidates, &bench);
            let refined: Vec<(Stance, Score)> = starts
                .par_iter()
                .map(|start| bench.refine(*start))
                .collect();
            tried.extend(
                refined
                    .into_iter()
                    .filter(|(stance, _)| self.concerns(stance, seed)),
            );
            tried.sort_by(|a, b| b.1.total.total_cmp(&a.1.total));
            let (best, score) = tried.first()?;
            if score.weakest_side > WEAK_SIDE || score.total < before + 1.0 {
                break;
            }
            middle = best.at;
            reach = best.shape.long_mm() / 2.0 + SECOND_MARGIN_MM;
            turns.retain(|turn| quarter_turn_apart(*turn, best.turn) > 2f64.to_radians());
            turns.insert(0, best.turn);
        }
        let (best, _) = *tried.first()?;
        for shape in self.search.alike(best.shape).filter(|s| *s != best.shape) {
            let turned = turned(Stance { shape, ..best }).into_iter();
            let scored = turned.map(|stance| (bench.score(&stance).total, stance));
            let start = scored.max_by(|a, b| a.0.total_cmp(&b.0));
            tried.extend(start.map(|(_, start)| bench.refine(start)));
        }
        tried.sort_by(|a, b| b.1.total.total_cmp(&a.1.total));
        let piece = reported(&tried, self.view, self.camera)?;
        Some(FoundPiece {
            like_tray: tray == Tray::Alike,
            ..piece
        })
    }

    /// Distance of a pixel from the empty tray's colour.
    fn distance(&self, (row, column): (usize, usize)) -> f32 {
        distance(self.view, self.ground, row, column)
    }

    /// Whether a hypothesis explains a good part of the seed, or the seed a good
    /// part of it; others belong to a neighbour.
    fn concerns(&self, stance: &Stance, seed: &Seed) -> bool {
        let outline = stance.silhouette(self.camera);
        let pixel_mm = self.view.mm_per_px;
        let within =
            |&(row, column): &(usize, usize)| inside(&outline, self.view.middle(row, column));
        let common = seed.pixels().filter(within).count() as f64 * pixel_mm * pixel_mm;
        let footprint = stance.shape.area_mm2();
        common > SHARE_OF_SEED * seed.area_mm2 || common > SHARE_OF_PIECE * footprint
    }

    /// Where to begin refining: at the best rectangles, and for every other shape where its box
    /// fits, turned as it fits best there.
    fn starts(&self, candidates: &[Candidate], bench: &Bench<'_>) -> Vec<Stance> {
        let stance = |c: &Candidate| Stance {
            shape: c.shape,
            face: Face::Up,
            at: c.at,
            turn: c.turn,
        };
        let (blocks, others): (Vec<&Candidate>, Vec<&Candidate>) =
            candidates.iter().partition(|c| c.shape.is_block());
        let mut starts: Vec<Stance> = blocks.into_iter().take(REFINED).map(stance).collect();
        for shape in self.search.shapes().iter().filter(|s| !s.is_block()) {
            let boxes = others.iter().filter(|c| c.shape == *shape);
            let turned: Vec<Stance> = boxes.take(BOXES).flat_map(|c| turned(stance(c))).collect();
            let scored: Vec<f64> = turned.par_iter().map(|s| bench.score(s).total).collect();
            let best = scored.iter().zip(turned).max_by(|a, b| a.0.total_cmp(b.0));
            starts.extend(best.map(|(_, stance)| stance));
        }
        starts
    }

    /// The best hypotheses around a place, by the coarse score of their boxes.
    fn candidates(
        &self,
        middle: Mm,
        reach_mm: f64,
        turns: &[f64],
        kind_at: &(dyn Fn(usize, usize) -> Kind + Sync),
    ) -> Vec<Candidate> {
        let mut all: Vec<Candidate> = Vec::new();
        for turn in turns {
            let patch = Patch::new(
                self.view,
                self.camera,
                kind_at,
                self.scale,
                middle,
                reach_mm,
                *turn,
            );
            // Collected in the shapes' order, so threads do not change the answer.
            let places: Vec<Vec<Candidate>> = (self.search.shapes())
                .par_iter()
                .map(|shape| patch.best_places(*shape, 2))
                .collect();
            all.extend(places.into_iter().flatten());
        }
        all.sort_by(|a, b| b.score.total_cmp(&a.score));
        all
    }
}

/// The best of several ways to explain one place, with what the others tell of it; `tried` is sorted, best first.
pub(super) fn reported(
    tried: &[(Stance, Score)],
    view: &LabView,
    camera: &Camera,
) -> Option<FoundPiece> {
    let (stance, score) = tried.first().copied()?;
    if score.total <= 0.0 {
        return None;
    }
    let is_alike = |other: &Stance| other.shape.has_footprint_of(stance.shape);
    let others = || tried.iter().skip(1);
    let runner_up = others()
        .find(|(other, _)| !is_alike(other))
        .map(|(other, score)| (other.shape, score.total));
    let taught = is_taught(stance.shape);
    let rival = others()
        .find(|(other, _)| is_taught(other.shape) != taught)
        .map(|(other, rival)| (other.shape, score.total - rival.total));
    let other_form = others()
        .find(|(other, _)| is_alike(other) && other.shape != stance.shape)
        .map(|(other, score)| (other.shape, score.total));
    let outline = stance.silhouette(camera);
    Some(FoundPiece {
        runner_up,
        rival,
        other_form,
        at_frame: outline.iter().any(|p| view.sample(*p).is_none()),
        ..FoundPiece::of(stance, &score, Witness::Search)
    })
}

/// A shape that is no rectangle, in every turn that its box may hide: a quarter of a turn further
/// each, and a round one, of whose turn its outline tells nothing, by its studs.
pub(super) fn turned(stance: Stance) -> Vec<Stance> {
    let whole = stance.shape.same_after_deg();
    let step = match (whole, stance.shape.is_round()) {
        (0.0, _) => return vec![stance],
        (_, true) => ROUND_STEP_DEG,
        _ if stance.shape.is_square() => 90.0,
        _ => 180.0,
    };
    let steps = (whole / step).round().max(1.0) as usize;
    let turn = |k: usize| Stance {
        turn: stance.turn + (k as f64 * step).to_radians(),
        ..stance
    };
    (0..steps).map(turn).collect()
}

/// Difference of two turns modulo a quarter turn.
fn quarter_turn_apart(a: f64, b: f64) -> f64 {
    let quarter = std::f64::consts::FRAC_PI_2;
    let d = (a - b).rem_euclid(quarter);
    d.min(quarter - d)
}
