//! Dark regions whose outline has four straight sides.

use image::GrayImage;
use imageproc::contours::{BorderType, find_contours};
use imageproc::point::Point;

use crate::units::Px;

/// Shortest outline, px: a tag of ten pixels a side has one and a quarter a cell, too little to read.
const LEAST_OUTLINE: usize = 40;
/// How far a side's points may lie from a straight line (root mean square): pixels, and share of the side, for
/// lenses and curled paper bend it.
const STRAIGHT_PX: f64 = 0.8;
const STRAIGHT_SHARE: f64 = 0.03;
/// Share of a side left out at each end when its line is fitted: blur rounds the corners.
const END_SHARE: f64 = 0.1;
/// A tag seen at 60 degrees from above is half as long one way as the other.
const MOST_UNEQUAL: f64 = 3.0;

/// A four-sided region's corners, clockwise as seen.
pub(super) type Quad = [Px; 4];

/// All regions of `dark` (not 0) that are four-sided and do not touch the picture's edge.
pub(super) fn four_sided(dark: &GrayImage) -> Vec<Quad> {
    let (right, bottom) = (dark.width() as i32 - 1, dark.height() as i32 - 1);
    let inside = |p: &Point<i32>| p.x > 0 && p.y > 0 && p.x < right && p.y < bottom;
    find_contours::<i32>(dark)
        .into_iter()
        .filter(|contour| {
            contour.border_type == BorderType::Outer && contour.points.len() >= LEAST_OUTLINE
        })
        .filter(|contour| contour.points.iter().all(inside))
        .filter_map(|contour| quad(&contour.points))
        .collect()
}

/// The four sides of an outline, if it has four.
fn quad(outline: &[Point<i32>]) -> Option<Quad> {
    // Pixels' middles.
    let mut points: Vec<[f64; 2]> = outline
        .iter()
        .map(|p| [f64::from(p.x) + 0.5, f64::from(p.y) + 0.5])
        .collect();
    let area = area(&points);
    if area < 0.0 {
        points.reverse();
    }
    let area = area.abs();
    let mut at = corners(&points);
    at.sort_unstable();
    let rough = at.map(|i| points[i]);
    let share = self::area(&rough) / area;
    // The outline may be frayed, its corners cut; a quarter is far more than either.
    if !(0.75..1.25).contains(&share) {
        return None;
    }
    let mut sides = [Side::default(); 4];
    for (k, side) in sides.iter_mut().enumerate() {
        *side = Side::fit(&between(&points, at[k], at[(k + 1) % 4]))?;
    }
    let mut corners = [Px::default(); 4];
    for (k, corner) in corners.iter_mut().enumerate() {
        *corner = sides[(k + 3) % 4].crossing(&sides[k])?;
        // Far from where the outline turns, two sides are nearly parallel.
        if corner.distance(Px::new(rough[k][0], rough[k][1])) > area.sqrt() / 4.0 {
            return None;
        }
    }
    let lengths = [0, 1, 2, 3].map(|k| corners[k].distance(corners[(k + 1) % 4]));
    let longest = lengths.into_iter().fold(0.0, f64::max);
    let shortest = lengths.into_iter().fold(f64::MAX, f64::min);
    (longest <= shortest * MOST_UNEQUAL).then_some(corners)
}

/// Indices of the outline's four corners: the two ends of its longest stretch, and the points furthest from
/// the line between them on either side.
fn corners(points: &[[f64; 2]]) -> [usize; 4] {
    let furthest = |far: &dyn Fn(&[f64; 2]) -> f64| {
        let far = points.iter().map(far).enumerate();
        far.max_by(|a, b| a.1.total_cmp(&b.1)).map_or(0, |(i, _)| i)
    };
    let from = |a: [f64; 2]| move |p: &[f64; 2]| (p[0] - a[0]).hypot(p[1] - a[1]);
    let count = points.len().max(1) as f64;
    let middle = [0, 1].map(|k| points.iter().map(|p| p[k]).sum::<f64>() / count);
    let first = furthest(&from(middle));
    let a = points[first];
    let third = furthest(&from(a));
    let c = points[third];
    let off = move |p: &[f64; 2]| (c[0] - a[0]) * (p[1] - a[1]) - (c[1] - a[1]) * (p[0] - a[0]);
    [first, furthest(&off), third, furthest(&|p| -off(p))]
}

/// The points from one index to the next, round the end, without those near the ends.
fn between(points: &[[f64; 2]], from: usize, to: usize) -> Vec<[f64; 2]> {
    let count = (to + points.len() - from) % points.len();
    let skip = (count as f64 * END_SHARE) as usize;
    (skip..=count.saturating_sub(skip))
        .map(|i| points[(from + i) % points.len()])
        .collect()
}

/// A straight line with the region on its right.
#[derive(Clone, Copy, Default)]
struct Side {
    at: [f64; 2],
    along: [f64; 2],
}

impl Side {
    /// Fits a line to a side's points, by total least squares, and moves it from the outermost pixels' middles to
    /// their outer edge.
    fn fit(points: &[[f64; 2]]) -> Option<Self> {
        let (first, last) = (points.first()?, points.last()?);
        if points.len() < 5 {
            return None;
        }
        let n = points.len() as f64;
        let at = [0, 1].map(|k| points.iter().map(|p| p[k]).sum::<f64>() / n);
        let moment = |j: usize, k: usize| {
            let products = points.iter().map(|p| (p[j] - at[j]) * (p[k] - at[k]));
            products.sum::<f64>() / n
        };
        let (xx, xy, yy) = (moment(0, 0), moment(0, 1), moment(1, 1));
        let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
        let mut along = [angle.cos(), angle.sin()];
        let chord = [last[0] - first[0], last[1] - first[1]];
        if along[0] * chord[0] + along[1] * chord[1] < 0.0 {
            along = along.map(|v| -v);
        }
        let across =
            xx * along[1] * along[1] - 2.0 * xy * along[0] * along[1] + yy * along[0] * along[0];
        let limit = STRAIGHT_PX.max(STRAIGHT_SHARE * chord[0].hypot(chord[1]));
        // The outline runs clockwise with y down, so this points out of the region.
        let out = [along[1], -along[0]];
        (across.max(0.0).sqrt() <= limit).then_some(Self {
            at: [at[0] + out[0] * 0.5, at[1] + out[1] * 0.5],
            along,
        })
    }

    fn crossing(&self, other: &Self) -> Option<Px> {
        let [ax, ay] = self.along;
        let [bx, by] = other.along;
        let cross = ax * by - ay * bx;
        // Sides less than 15 degrees apart are none of a tag seen from above.
        if cross < 0.25 {
            return None;
        }
        let (dx, dy) = (other.at[0] - self.at[0], other.at[1] - self.at[1]);
        let t = (dx * by - dy * bx) / cross;
        Some(Px::new(self.at[0] + t * ax, self.at[1] + t * ay))
    }
}

/// Area, positive when the corners go clockwise with y down.
fn area(points: &[[f64; 2]]) -> f64 {
    let next = points.iter().cycle().skip(1);
    let twice = points
        .iter()
        .zip(next)
        .map(|(a, b)| a[0] * b[1] - a[1] * b[0]);
    twice.sum::<f64>() / 2.0
}
