//! The exact score of a stance, and moving it to where the score is best.

use super::evidence::{
    EDGE_PER_MM, EDGE_REACH_MM, EdgeScale, FOLD_PER_MM, GROUND_PER_MM2, PIECE_COST, ROUND_PER_MM,
    STUD_PER_MM, area_credit,
};
use super::polygon::{area_and_middle, inside};
use super::shape::STUD_RADIUS_MM;
use super::stance::Stance;
use crate::tray::{Kind, LabView};
use crate::units::Mm;
use crate::view::Camera;

/// Distance between outline samples, mm.
const OUTLINE_STEP_MM: f64 = 0.6;
/// Distance between area samples, mm.
const AREA_STEP_MM: f64 = 0.5;
/// Shorter sides of an outline tell nothing by themselves.
const SIDE_MM: f64 = 4.0;
/// A silhouette of more corners than a box can show.
const ROUND_CORNERS: usize = 8;
/// Samples around a stud's rim.
const RIM_SAMPLES: usize = 12;

/// What speaks for a stance, in the currency of `evidence`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Score {
    /// Mean edge evidence over the outline, -1..1.
    pub outline: f64,
    /// Mean edge evidence of the weakest of the outline's sides longer than 4 mm, -1..1.
    pub weakest_side: f64,
    /// Mean edge evidence over stud rims, -1..1 (0 without studs).
    pub studs: f64,
    /// Share of the silhouette that certainly is no tray.
    pub piece_share: f64,
    /// Share of the silhouette that is plain tray, another piece's or out of view.
    pub ground_share: f64,
    /// All of it together; larger is better.
    pub total: f64,
}

/// Everything a stance is measured against.
pub(super) struct Bench<'a> {
    pub view: &'a LabView,
    pub camera: &'a Camera,
    pub scale: EdgeScale,
    pub kind_at: &'a (dyn Fn(usize, usize) -> Kind + Sync),
}

impl Bench<'_> {
    /// Kind of the view pixel at a tray place.
    pub fn kind(&self, at: Mm) -> Kind {
        let column = (at.x - self.view.origin.x) / self.view.mm_per_px;
        let row = (at.y - self.view.origin.y) / self.view.mm_per_px;
        let (rows, columns) = self.view.size();
        if column < 0.0 || row < 0.0 || column >= columns as f64 || row >= rows as f64 {
            return Kind::Outside;
        }
        (self.kind_at)(row as usize, column as usize)
    }

    /// Scores a stance exactly.
    pub fn score(&self, stance: &Stance) -> Score {
        let outline = stance.silhouette(self.camera);
        let mut score = Score {
            weakest_side: 1.0,
            ..Score::default()
        };
        let (mut edge_sum, mut length_sum) = (0.0, 0.0);
        // A round piece has no long sides; stretches of its outline stand for them.
        let is_round = outline.len() > ROUND_CORNERS && stance.shape.is_round();
        let mut stretch = (0.0, 0.0);
        for (i, from) in outline.iter().enumerate() {
            let to = outline[(i + 1) % outline.len()];
            let length = from.distance(to);
            let mean = self.side_evidence(*from, to, length);
            edge_sum += mean * length;
            length_sum += length;
            let before = if is_round { stretch } else { (0.0, 0.0) };
            stretch = (before.0 + mean * length, before.1 + length);
            if stretch.1 > SIDE_MM {
                score.weakest_side = score.weakest_side.min(stretch.0 / stretch.1);
                stretch = (0.0, 0.0);
            }
        }
        let (area_sum, piece_share, ground_share) = self.area(&outline);
        let (stud_sum, stud_mean) = self.studs(stance);
        score.outline = edge_sum / length_sum.max(1e-9);
        score.piece_share = piece_share;
        score.ground_share = ground_share;
        score.studs = stud_mean;
        score.total = edge_sum * EDGE_PER_MM + area_sum + stud_sum - PIECE_COST;
        for [from, to] in stance.folds(self.camera) {
            let length = from.distance(to);
            score.total += self.side_evidence(from, to, length) * length * FOLD_PER_MM;
        }
        if stance.shape.is_round() {
            score.total += ROUND_PER_MM * stance.shape.long_mm();
        }
        score
    }

    /// Moves and turns a stance uphill by pattern search.
    pub fn refine(&self, start: Stance) -> (Stance, Score) {
        let mut best = start;
        let mut best_score = self.score(&best);
        let (mut move_mm, mut turn_rad) = (0.5, 1.0f64.to_radians());
        while move_mm > 0.06 {
            let mut better = false;
            for (along, across, turn) in [
                (1.0, 0.0, 0.0),
                (-1.0, 0.0, 0.0),
                (0.0, 1.0, 0.0),
                (0.0, -1.0, 0.0),
                (0.0, 0.0, 1.0),
                (0.0, 0.0, -1.0),
            ] {
                let mut next = best;
                next.at = best.local(along * move_mm, across * move_mm);
                next.turn += turn * turn_rad;
                let score = self.score(&next);
                if score.total > best_score.total + 1e-9 {
                    (best, best_score) = (next, score);
                    better = true;
                }
            }
            if !better {
                move_mm /= 2.0;
                turn_rad /= 2.0;
            }
        }
        (best, best_score)
    }

    fn side_evidence(&self, from: Mm, to: Mm, length: f64) -> f64 {
        if length < 1e-6 {
            return 0.0;
        }
        let count = (length / OUTLINE_STEP_MM).ceil().max(1.0);
        let (dx, dy) = ((to.x - from.x) / length, (to.y - from.y) / length);
        let mut sum = 0.0;
        for k in 0..count as usize {
            let t = (k as f64 + 0.5) / count;
            let at = Mm::new(from.x + (to.x - from.x) * t, from.y + (to.y - from.y) * t);
            sum += self.step(at, (-dy, dx), EDGE_REACH_MM);
        }
        sum / count
    }

    fn step(&self, at: Mm, normal: (f64, f64), reach: f64) -> f64 {
        let one = self
            .view
            .sample(Mm::new(at.x + normal.0 * reach, at.y + normal.1 * reach));
        let other = self
            .view
            .sample(Mm::new(at.x - normal.0 * reach, at.y - normal.1 * reach));
        match (one, other) {
            (Some(a), Some(b)) => self.scale.evidence(a, b),
            _ => -0.5,
        }
    }

    /// Credit over the silhouette, share of certain piece, share of plain tray.
    fn area(&self, outline: &[Mm]) -> (f64, f64, f64) {
        let (mut low, mut high) = (Mm::new(f64::MAX, f64::MAX), Mm::new(f64::MIN, f64::MIN));
        for p in outline {
            low = Mm::new(low.x.min(p.x), low.y.min(p.y));
            high = Mm::new(high.x.max(p.x), high.y.max(p.y));
        }
        let (mut credit, mut piece, mut ground, mut all) = (0.0, 0.0, 0.0, 0.0);
        // Samples sit on a fixed lattice of the tray so that a small move changes little.
        let mut y = (low.y / AREA_STEP_MM).floor() * AREA_STEP_MM;
        while y <= high.y {
            let mut x = (low.x / AREA_STEP_MM).floor() * AREA_STEP_MM;
            while x <= high.x {
                let at = Mm::new(x, y);
                if inside(outline, at) {
                    let kind = self.kind(at);
                    credit += area_credit(kind);
                    piece += f64::from(u8::from(kind == Kind::Piece));
                    ground += f64::from(u8::from(matches!(kind, Kind::Ground | Kind::Outside)));
                    all += 1.0;
                }
                x += AREA_STEP_MM;
            }
            y += AREA_STEP_MM;
        }
        if all < 1.0 {
            return (GROUND_PER_MM2, 0.0, 1.0);
        }
        let polygon: Vec<(f64, f64)> = outline.iter().map(|p| (p.x, p.y)).collect();
        let (area, _) = area_and_middle(&polygon);
        (credit / all * area, piece / all, ground / all)
    }

    /// Credit and mean evidence of stud rims. A rim is seen somewhere between
    /// its foot and its top, so the better of two radii counts.
    fn studs(&self, stance: &Stance) -> (f64, f64) {
        let middles = stance.studs(self.camera);
        if middles.is_empty() {
            return (0.0, 0.0);
        }
        let rims = middles.iter().map(|middle| self.rim(*middle));
        let mean = rims.sum::<f64>() / middles.len() as f64;
        let rim = std::f64::consts::TAU * STUD_RADIUS_MM * middles.len() as f64;
        (mean * rim * STUD_PER_MM, mean)
    }

    /// Mean evidence of a stud's rim about the place where its middle is seen, -1..1.
    pub fn rim(&self, middle: Mm) -> f64 {
        let mut sum = 0.0;
        for k in 0..RIM_SAMPLES {
            let angle = std::f64::consts::TAU * k as f64 / RIM_SAMPLES as f64;
            let normal = (angle.cos(), angle.sin());
            let at =
                |radius: f64| Mm::new(middle.x + normal.0 * radius, middle.y + normal.1 * radius);
            let inner = self.step(at(STUD_RADIUS_MM - 0.2), normal, 0.4);
            let outer = self.step(at(STUD_RADIUS_MM + 0.3), normal, 0.4);
            sum += inner.max(outer);
        }
        sum / RIM_SAMPLES as f64
    }
}
