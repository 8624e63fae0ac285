//! From maps to proposals: for each piece that the net sees, where it lies and how likely
//! every form, size and side is.

use super::super::face::Face;
use super::super::list::Shapes;
use super::super::polygon::area_and_middle;
use super::super::shape::Shape;
use super::super::stance::Stance;
use super::lies::Lies;
use super::maps::{FORM_COUNT, Maps, OUT_MM, SIZE_COUNT, log_softmax, place};
use super::votes::{Cluster, Voter, clusters, voters};
use crate::units::Mm;
use crate::view::Camera;
use std::f64::consts::{FRAC_PI_2, PI};

/// Sigma of the natural logarithm of a told length. Half a stud's pitch on a 2x4's long
/// side is 0.12; raising it trusts the sizes' own probabilities more.
const LENGTH_SIGMA: f64 = 0.08;
/// Less likely readings are not kept.
const LEAST_READING: f64 = 0.01;

/// One way to read what lies at a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Form and size.
    pub shape: Shape,
    /// Which side is up.
    pub face: Face,
    /// Its probability among all allowed readings. The net's own, not calibrated.
    pub p: f64,
}

/// A piece that the net sees.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// Where the middle of its box is seen on the tray's plane.
    pub seen: Mm,
    /// Where that middle is on the tray.
    pub at: Mm,
    /// Direction of its longer side as it lies, radians from the card's x axis towards its
    /// y axis: from 0 to pi, to pi / 2 where it lies square; of a corner from 0 to 2 pi, as
    /// [`Stance::turn`] has it. Of a disc that lies flat it says nothing.
    pub turn: f64,
    /// Which side is up.
    pub face: Face,
    /// Form and size.
    pub shape: Shape,
    /// Probability of this shape on this side among all allowed ones.
    pub p: f64,
    /// Probability that it is of an allowed form and size at all, of all that the net was taught. The net's own,
    /// not calibrated.
    pub allowed_p: f64,
    /// Other likely readings, best first.
    pub runners_up: Vec<Reading>,
    /// The box that the shape fills as it lies.
    pub lies: Lies,
    /// Share of its silhouette that can be seen.
    pub visible: f64,
    /// How firmly it is there, from 0 to 1: its cells' mean probability of a piece, less
    /// where fewer are there than should be.
    pub score: f64,
}

/// Every piece that the net sees. Only shapes that are `allowed` are chosen from, and
/// of them those that the net was taught; where none is, nothing is seen.
pub fn proposals(maps: &Maps, camera: &Camera, allowed: &[Shape]) -> Vec<Proposal> {
    let (shapes, taught) = (
        shapes(allowed.iter().copied()),
        shapes(Shapes::shipped().all()),
    );
    let voters = voters(maps);
    let mut found: Vec<Proposal> = clusters(&voters)
        .iter()
        .filter_map(|cluster| proposal(maps, camera, [&shapes, &taught], &voters, cluster))
        .collect();
    found.sort_by(|a, b| {
        b.score
            .total_cmp(&a.score)
            .then(a.seen.y.total_cmp(&b.seen.y))
            .then(a.seen.x.total_cmp(&b.seen.x))
    });
    found
}

/// A shape's places in the net's order of forms and of sizes, and the shape.
type Taught = (usize, usize, Shape);

/// Allowed shapes that the net was taught, with their places in its order of forms and sizes.
fn shapes(allowed: impl IntoIterator<Item = Shape>) -> Vec<Taught> {
    let known = |shape: Shape| place(shape).map(|(form, size)| (form, size, shape));
    let mut shapes: Vec<Taught> = allowed.into_iter().filter_map(known).collect();
    shapes.sort_unstable();
    shapes
}

/// Whether the net was taught a shape.
pub fn is_taught(shape: Shape) -> bool {
    place(shape).is_some()
}

/// Weighted means of what a cluster's cells say.
#[derive(Default)]
struct Means {
    weight: f64,
    double: (f64, f64),
    quadruple: (f64, f64),
    notch: (f64, f64),
    face: [f64; 4],
    form: [f64; FORM_COUNT],
    size: [f64; SIZE_COUNT],
    visible: f64,
    lengths: (f64, f64),
    piece: f64,
}

impl Means {
    fn of<'a>(maps: &Maps, voters: impl Iterator<Item = &'a Voter>) -> Self {
        let mut means = Self::default();
        for voter in voters {
            means.add(maps, voter);
        }
        let w = means.weight.max(1e-9);
        let both = |(a, b): (f64, f64)| (a / w, b / w);
        Self {
            weight: means.weight,
            double: both(means.double),
            quadruple: both(means.quadruple),
            notch: both(means.notch),
            face: means.face.map(|v| v / w),
            form: means.form.map(|v| v / w),
            size: means.size.map(|v| v / w),
            visible: means.visible / w,
            lengths: both(means.lengths),
            piece: means.piece / w,
        }
    }

    fn add(&mut self, maps: &Maps, voter: &Voter) {
        let ((row, column), w) = (voter.cell, voter.weight);
        let pair = |sum: &mut (f64, f64), (a, b): (f64, f64)| {
            sum.0 += w * a;
            sum.1 += w * b;
        };
        let list = |sum: &mut [f64], values: &[f64]| {
            for (sum, value) in sum.iter_mut().zip(values) {
                *sum += w * value;
            }
        };
        self.weight += w;
        pair(&mut self.double, maps.double_turn(row, column));
        pair(&mut self.quadruple, maps.quadruple_turn(row, column));
        pair(&mut self.notch, maps.notch(row, column));
        pair(&mut self.lengths, maps.log_lengths(row, column));
        list(&mut self.face, &maps.log_face(row, column));
        list(&mut self.form, &maps.log_form(row, column));
        list(&mut self.size, &maps.log_size(row, column));
        self.visible += w * maps.visible_logit(row, column);
        self.piece += w * maps.what(row, column).piece;
    }
}

fn proposal(
    maps: &Maps,
    camera: &Camera,
    [allowed, taught]: [&[Taught]; 2],
    voters: &[Voter],
    cluster: &Cluster,
) -> Option<Proposal> {
    let chosen = cluster.voters.iter().filter_map(|i| voters.get(*i));
    let means = Means::of(maps, chosen);
    let (readings, likely) = readings(&means, allowed);
    let mut readings = readings.into_iter();
    let best = readings.next()?;
    let allowed_p = (likely - self::readings(&means, taught).1).min(0.0).exp();
    let lies = Lies::of(best.shape, best.face)?;
    let turn = turn(&means, best.shape, best.face, &lies);
    let at = lies.at(cluster.middle, camera);
    let visible = 1.0 / (1.0 + (-means.visible).exp());
    let outline: Vec<(f64, f64)> = lies
        .silhouette(at, turn, camera)
        .iter()
        .map(|p| (p.x, p.y))
        .collect();
    let filled = if best.face.is_flat() && !best.shape.is_block() {
        best.shape.area_mm2() / (lies.long_mm * lies.short_mm)
    } else {
        1.0
    };
    let due = visible * filled * area_and_middle(&outline).0 / (OUT_MM * OUT_MM);
    let there = means.weight / due.max(1.0);
    Some(Proposal {
        seen: cluster.middle,
        at,
        turn,
        face: best.face,
        shape: best.shape,
        p: best.p,
        allowed_p,
        runners_up: readings.collect(),
        lies,
        visible,
        score: means.piece * there.min(1.0),
    })
}

/// How a shape that lies so is turned: see [`Proposal::turn`].
fn turn(means: &Means, shape: Shape, face: Face, lies: &Lies) -> f64 {
    let angle = |(cos, sin): (f64, f64)| f64::atan2(sin, cos);
    let side = if lies.is_square() {
        (angle(means.quadruple) / 4.0).rem_euclid(FRAC_PI_2)
    } else {
        (angle(means.double) / 2.0).rem_euclid(PI)
    };
    if !shape.has_notch() {
        return side;
    }
    let notch = angle(means.notch);
    let turn = if face.is_flat() {
        notch - notch_way(shape, face)
    } else if (notch - side).cos() < 0.0 {
        // It stands on a side, and its body ends sooner at one end.
        side + PI
    } else {
        side
    };
    turn.rem_euclid(2.0 * PI)
}

/// Where a flat shape that is not turned lacks something: the way from its box's middle, which
/// the middle of what there is lies across from.
fn notch_way(shape: Shape, face: Face) -> f64 {
    let stance = Stance {
        shape,
        face,
        at: Mm::new(0.0, 0.0),
        turn: 0.0,
    };
    let (along, across) = area_and_middle(&stance.local_footprint()).1;
    (-across).atan2(-along)
}

/// Likely readings, best first: the three probabilities and how well the told lengths agree
/// with those of the box, together, among all allowed shapes on all sides.
fn readings(means: &Means, shapes: &[Taught]) -> (Vec<Reading>, f64) {
    let face = log_softmax(means.face);
    let form = log_softmax(means.form);
    let size = log_softmax(means.size);
    let mut all: Vec<Reading> = Vec::new();
    for &(f, s, shape) in shapes {
        for (up, side) in face.iter().zip(Face::ALL) {
            let (Some(lies), Some(form), Some(size)) =
                (Lies::of(shape, side), form.get(f), size.get(s))
            else {
                continue;
            };
            let off = |log: f64, mm: f64| -0.5 * ((log - mm.ln()) / LENGTH_SIGMA).powi(2);
            let lengths = off(means.lengths.0, lies.long_mm) + off(means.lengths.1, lies.short_mm);
            all.push(Reading {
                shape,
                face: side,
                p: up + form + size + lengths,
            });
        }
    }
    let most = all.iter().map(|r| r.p).fold(f64::MIN, f64::max);
    let sum: f64 = all.iter().map(|r| (r.p - most).exp()).sum();
    for reading in &mut all {
        reading.p = (reading.p - most).exp() / sum;
    }
    all.retain(|reading| reading.p > LEAST_READING);
    all.sort_by(|a, b| b.p.total_cmp(&a.p).then(a.shape.cmp(&b.shape)));
    (all, most + sum.ln())
}

#[cfg(test)]
#[path = "proposals_tests.rs"]
mod tests;
