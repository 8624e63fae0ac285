//! Which cells belong to one piece: those that vote for the same middle.
//!
//! As in a Hough transform (Ballard 1981) every cell votes for its piece's middle; votes
//! pile up, peaks are middles. Each peak then moves to the mean of its voters a few times
//! (Cheng 1995, mean shift), and peaks that mean the same box become one.

use image::{ImageBuffer, Luma};
use imageproc::filter::gaussian_blur_f32;

use super::maps::Maps;
use crate::units::Mm;

/// Cells less likely a piece than this have no vote. Lower brings in shadows, higher loses
/// slivers of pieces under others.
const LEAST_PIECE: f64 = 0.3;
/// Votes are counted in cells of this size and blurred by this sigma, mm: less than half of
/// 3.2 mm, by which two plates on their sides lie apart.
const PILE_MM: f64 = 1.0;
const BLUR_MM: f64 = 1.3;
/// A peak is at least what this many whole cells that agree would make.
const LEAST_PEAK_CELLS: f64 = 0.8;
/// No second peak nearer than this share of the short side that its voters tell of.
const APART_SHARE: f64 = 0.4;
/// A vote counts for a peak within these shares of the long and the short side, as its cell
/// tells of them: long pieces' ends know less well where the middle is.
const REACH: (f64, f64) = (0.4, 0.5);
/// ...but always within this, mm.
const LEAST_REACH_MM: f64 = 1.8;
/// How often peaks move to the mean of their voters.
const ROUNDS: usize = 3;
/// A cluster's voters are together at least as much as this many whole cells.
const LEAST_CELLS: f64 = 1.5;
/// Two clusters are one piece where each box covers more than this share of the other.
const SAME_BOX: f64 = 0.6;
/// Sides of a box in use, mm: from a plate's height to a 1x8's length, with room.
const SIDES_MM: (f64, f64) = (3.0, 70.0);
/// The pile reaches this far around the cells, mm.
const PILE_MARGIN_MM: f64 = 32.0;

/// A cell that is likely part of a piece.
#[derive(Clone, Copy, Debug)]
pub(super) struct Voter {
    /// Row and column.
    pub cell: (usize, usize),
    /// Where it thinks the piece's middle is seen.
    pub vote: Mm,
    /// Probability that it is part of a piece.
    pub weight: f64,
    /// The piece's sides as it lies, mm.
    pub sides: (f64, f64),
    /// Cosine and sine of twice the long side's direction.
    pub double: (f64, f64),
}

/// Voters of one middle.
#[derive(Clone, Debug)]
pub(super) struct Cluster {
    /// Where the piece's middle is seen.
    pub middle: Mm,
    /// Indices of its voters.
    pub voters: Vec<usize>,
}

/// A box on the view: middle, direction of the long side, sides in mm.
#[derive(Clone, Copy, Debug)]
struct Box {
    middle: Mm,
    turn: f64,
    sides: (f64, f64),
}

impl Box {
    /// A place in the box's own axes, mm from its middle.
    fn local(&self, at: Mm) -> (f64, f64) {
        let (sin, cos) = self.turn.sin_cos();
        let (x, y) = (at.x - self.middle.x, at.y - self.middle.y);
        (x * cos + y * sin, y * cos - x * sin)
    }

    /// Share of this box that the other covers, from 11 x 11 places.
    fn covered_by(&self, other: &Self) -> f64 {
        const PLACES: i32 = 5;
        let (sin, cos) = self.turn.sin_cos();
        let mut inside = 0;
        for i in -PLACES..=PLACES {
            for j in -PLACES..=PLACES {
                let share = |k: i32| f64::from(k) / f64::from(2 * PLACES + 1);
                let (along, across) = (self.sides.0 * share(i), self.sides.1 * share(j));
                let at = Mm::new(
                    self.middle.x + along * cos - across * sin,
                    self.middle.y + along * sin + across * cos,
                );
                let (a, b) = other.local(at);
                inside += i32::from(a.abs() < other.sides.0 / 2.0 && b.abs() < other.sides.1 / 2.0);
            }
        }
        f64::from(inside) / f64::from((2 * PLACES + 1).pow(2))
    }
}

/// Every cell with a vote, row by row.
pub(super) fn voters(maps: &Maps) -> Vec<Voter> {
    let (rows, columns) = maps.size();
    let mut voters = Vec::new();
    for row in 0..rows {
        for column in 0..columns {
            let weight = maps.what(row, column).piece;
            if weight < LEAST_PIECE {
                continue;
            }
            let (long, short) = maps.log_lengths(row, column);
            let side = |log: f64| log.exp().clamp(SIDES_MM.0, SIDES_MM.1);
            voters.push(Voter {
                cell: (row, column),
                vote: maps.vote(row, column),
                weight,
                sides: (side(long.max(short)), side(long.min(short))),
                double: maps.double_turn(row, column),
            });
        }
    }
    voters
}

/// Pieces' middles with their voters, strongest peak first.
pub(super) fn clusters(voters: &[Voter]) -> Vec<Cluster> {
    let mut clusters: Vec<Cluster> = Vec::new();
    // A second search among the votes that are left finds peaks on a stronger one's slope.
    for _ in 0..2 {
        let mut free = vec![true; voters.len()];
        for index in clusters.iter().flat_map(|cluster| &cluster.voters) {
            if let Some(free) = free.get_mut(*index) {
                *free = false;
            }
        }
        let left: Vec<&Voter> = (voters.iter().zip(free))
            .filter_map(|(voter, free)| free.then_some(voter))
            .collect();
        clusters.extend(peaks(&left).into_iter().map(|middle| Cluster {
            middle,
            voters: Vec::new(),
        }));
        for _ in 0..ROUNDS {
            assign(voters, &mut clusters);
            merge(voters, &mut clusters);
        }
    }
    clusters
}

/// Distance of a vote from a middle, in the voter's reach; beyond 1 it does not count.
fn distance(voter: &Voter, middle: Mm) -> f64 {
    let turn = voter.double.1.atan2(voter.double.0) / 2.0;
    let here = Box {
        middle: voter.vote,
        turn,
        sides: voter.sides,
    };
    let (along, across) = here.local(middle);
    let reach = |share: f64, side: f64| (share * side).max(LEAST_REACH_MM);
    (along / reach(REACH.0, voter.sides.0)).hypot(across / reach(REACH.1, voter.sides.1))
}

/// Gives each vote to the nearest middle, moves middles to their votes' mean, and drops
/// those with hardly any.
fn assign(voters: &[Voter], clusters: &mut Vec<Cluster>) {
    for cluster in clusters.iter_mut() {
        cluster.voters.clear();
    }
    // A middle beyond this many mm is out of any voter's reach.
    let furthest = REACH.0 * SIDES_MM.1;
    for (index, voter) in voters.iter().enumerate() {
        let nearest = clusters
            .iter()
            .enumerate()
            .filter(|(_, cluster)| cluster.middle.distance(voter.vote) < furthest)
            .map(|(which, cluster)| (distance(voter, cluster.middle), which))
            .filter(|(far, _)| *far < 1.0)
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        if let Some(cluster) = nearest.and_then(|(_, which)| clusters.get_mut(which)) {
            cluster.voters.push(index);
        }
    }
    clusters.retain_mut(|cluster| {
        let (weight, middle) = mean(voters, &cluster.voters);
        cluster.middle = middle;
        weight >= LEAST_CELLS
    });
}

/// Weight and weighted mean of votes.
fn mean(voters: &[Voter], chosen: &[usize]) -> (f64, Mm) {
    let (mut weight, mut x, mut y) = (0.0, 0.0, 0.0);
    for voter in chosen.iter().filter_map(|index| voters.get(*index)) {
        weight += voter.weight;
        x += voter.weight * voter.vote.x;
        y += voter.weight * voter.vote.y;
    }
    let all = weight.max(1e-9);
    (weight, Mm::new(x / all, y / all))
}

/// The box that a cluster's voters tell of.
fn told_box(voters: &[Voter], cluster: &Cluster) -> Box {
    let (mut weight, mut long, mut short, mut cos, mut sin) = (1e-9, 0.0, 0.0, 0.0, 0.0);
    for voter in cluster.voters.iter().filter_map(|i| voters.get(*i)) {
        weight += voter.weight;
        long += voter.weight * voter.sides.0.ln();
        short += voter.weight * voter.sides.1.ln();
        cos += voter.weight * voter.double.0;
        sin += voter.weight * voter.double.1;
    }
    Box {
        middle: cluster.middle,
        turn: sin.atan2(cos) / 2.0,
        sides: ((long / weight).exp(), (short / weight).exp()),
    }
}

/// Makes clusters one whose boxes coincide; the stronger keeps its place.
fn merge(voters: &[Voter], clusters: &mut Vec<Cluster>) {
    let boxes: Vec<Box> = clusters.iter().map(|c| told_box(voters, c)).collect();
    let mut kept: Vec<(Box, Cluster)> = Vec::new();
    for (own, cluster) in boxes.into_iter().zip(clusters.drain(..)) {
        let same = kept.iter_mut().find(|(other, _)| {
            other.middle.distance(own.middle) < SIDES_MM.1
                && own.covered_by(other) > SAME_BOX
                && other.covered_by(&own) > SAME_BOX
        });
        match same {
            Some((_, other)) => {
                other.voters.extend(cluster.voters);
                other.middle = mean(voters, &other.voters).1;
            }
            None => kept.push((own, cluster)),
        }
    }
    clusters.extend(kept.into_iter().map(|(_, cluster)| cluster));
}

/// Places where votes pile up, highest first.
fn peaks(voters: &[&Voter]) -> Vec<Mm> {
    let bound = |pick: fn(&Voter) -> f64| {
        let low = voters.iter().map(|v| pick(v)).fold(f64::MAX, f64::min);
        let high = voters.iter().map(|v| pick(v)).fold(f64::MIN, f64::max);
        (low, high)
    };
    let ((left, right), (top, bottom)) = (bound(|v| v.vote.x), bound(|v| v.vote.y));
    // Also for votes that are no number, which a damaged net could give.
    if !(right >= left && bottom >= top && right - left < 1e4 && bottom - top < 1e4) {
        return Vec::new();
    }
    let cells = |span: f64| ((span + 2.0 * PILE_MARGIN_MM) / PILE_MM) as u32 + 1;
    let (width, height) = (cells(right - left), cells(bottom - top));
    // How many votes, and the logarithms of the short sides that they tell of.
    let mut pile = ImageBuffer::<Luma<f32>, Vec<f32>>::new(width, height);
    let mut short = pile.clone();
    for voter in voters {
        let x = ((voter.vote.x - left + PILE_MARGIN_MM) / PILE_MM) as u32;
        let y = ((voter.vote.y - top + PILE_MARGIN_MM) / PILE_MM) as u32;
        if x < width && y < height {
            pile.get_pixel_mut(x, y).0[0] += voter.weight as f32;
            short.get_pixel_mut(x, y).0[0] += (voter.weight * voter.sides.1.ln()) as f32;
        }
    }
    let sigma = (BLUR_MM / PILE_MM) as f32;
    let (pile, short) = (
        gaussian_blur_f32(&pile, sigma),
        gaussian_blur_f32(&short, sigma),
    );
    let least = (LEAST_PEAK_CELLS * PILE_MM * PILE_MM
        / (2.0 * std::f64::consts::PI * BLUR_MM * BLUR_MM)) as f32;
    let mut found: Vec<(f32, u32, u32)> = Vec::new();
    for y in 1..height - 1 {
        for x in 1..width - 1 {
            let here = pile.get_pixel(x, y).0[0];
            // Of equal neighbours the first counts.
            let highest = (0..9).filter(|k| *k != 4).all(|k| {
                let there = pile.get_pixel(x + k % 3 - 1, y + k / 3 - 1).0[0];
                if k < 4 { here > there } else { here >= there }
            });
            if here >= least && highest {
                found.push((here, x, y));
            }
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.2, a.1).cmp(&(b.2, b.1))));
    let mut peaks: Vec<Mm> = Vec::new();
    for (high, x, y) in found {
        let at = Mm::new(
            left - PILE_MARGIN_MM + (f64::from(x) + 0.5) * PILE_MM,
            top - PILE_MARGIN_MM + (f64::from(y) + 0.5) * PILE_MM,
        );
        let apart = APART_SHARE * f64::from(short.get_pixel(x, y).0[0] / high).exp();
        if peaks.iter().all(|other| other.distance(at) >= apart) {
            peaks.push(at);
        }
    }
    peaks
}
