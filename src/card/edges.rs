//! Measures a black square's four sides to a fraction of a pixel.
//!
//! Along each side the brightness profile across it is sampled; the edge is
//! where linear light is half way between black and paper, which blur does not
//! move. A line is fitted to each side and neighbours are crossed.

use image::GrayImage;

use crate::units::Px;

/// Profiles per side.
const PROFILES: usize = 48;
/// Share of a side left out at each end, where the other side's blur reaches.
const END_MARGIN: f64 = 0.08;
/// The black border is one of eight cells wide; profiles stay within this share of it.
const REACH_OF_CELL: f64 = 0.75;

/// Corners of a dark square on light paper, refined from rough ones; `None`
/// where a side cannot be seen (cut by the frame, covered).
pub(super) fn refine_corners(grey: &GrayImage, rough: [Px; 4]) -> Option<[Px; 4]> {
    let mut corners = rough;
    for _ in 0..2 {
        let mut sides = [Line::default(); 4];
        for (i, side) in sides.iter_mut().enumerate() {
            *side = fit_side(grey, corners[i], corners[(i + 1) % 4])?;
        }
        for (i, corner) in corners.iter_mut().enumerate() {
            *corner = sides[(i + 3) % 4].crossing(&sides[i])?;
        }
    }
    let largest = (0..4)
        .map(|i| corners[i].distance(rough[i]))
        .fold(0.0, f64::max);
    let side = rough[0].distance(rough[1]);
    (largest < side / 8.0).then_some(corners)
}

/// The line through `point` along `direction` (unit length).
#[derive(Clone, Copy, Default)]
struct Line {
    point: [f64; 2],
    direction: [f64; 2],
}

impl Line {
    fn crossing(&self, other: &Line) -> Option<Px> {
        let [ax, ay] = self.direction;
        let [bx, by] = other.direction;
        let cross = ax * by - ay * bx;
        if cross.abs() < 0.2 {
            return None;
        }
        let (dx, dy) = (
            other.point[0] - self.point[0],
            other.point[1] - self.point[1],
        );
        let t = (dx * by - dy * bx) / cross;
        Some(Px::new(self.point[0] + t * ax, self.point[1] + t * ay))
    }
}

fn fit_side(grey: &GrayImage, from: Px, to: Px) -> Option<Line> {
    let length = from.distance(to);
    if length < 12.0 {
        return None;
    }
    let along = [(to.x - from.x) / length, (to.y - from.y) / length];
    // The square runs clockwise with y down, so this points out of it.
    let out = [along[1], -along[0]];
    let reach = (length / 8.0 * REACH_OF_CELL).clamp(2.0, 12.0);
    let mut points = Vec::with_capacity(PROFILES);
    for k in 0..PROFILES {
        let share = END_MARGIN + (1.0 - 2.0 * END_MARGIN) * (k as f64 + 0.5) / PROFILES as f64;
        let base = [
            from.x + (to.x - from.x) * share,
            from.y + (to.y - from.y) * share,
        ];
        if let Some(offset) = edge_offset(grey, base, out, reach) {
            points.push([base[0] + offset * out[0], base[1] + offset * out[1]]);
        }
    }
    if points.len() < PROFILES / 2 {
        return None;
    }
    let mut line = fit_line(&points)?;
    for _ in 0..3 {
        let distances: Vec<f64> = points
            .iter()
            .map(|p| distance_to(&line, *p).abs())
            .collect();
        let mut sorted = distances.clone();
        sorted.sort_by(f64::total_cmp);
        let limit = (3.0 * 1.4826 * sorted[sorted.len() / 2]).max(0.15);
        let kept: Vec<[f64; 2]> = points
            .iter()
            .zip(&distances)
            .filter(|(_, d)| **d <= limit)
            .map(|(p, _)| *p)
            .collect();
        if kept.len() < PROFILES / 3 {
            return None;
        }
        line = fit_line(&kept)?;
    }
    Some(line)
}

/// Signed distance from `base` along `out` to the half-way crossing.
fn edge_offset(grey: &GrayImage, base: [f64; 2], out: [f64; 2], reach: f64) -> Option<f64> {
    const STEP: f64 = 0.25;
    let half = (reach / STEP) as i32;
    let mut profile = Vec::with_capacity(2 * half as usize + 1);
    for i in -half..=half {
        let t = f64::from(i) * STEP;
        profile.push(linear_sample(
            grey,
            base[0] + t * out[0],
            base[1] + t * out[1],
        )?);
    }
    let quarter = profile.len() / 4;
    let dark = mean(&profile[..quarter]);
    let light = mean(&profile[profile.len() - quarter..]);
    if light - dark < 0.04 {
        return None;
    }
    let middle = (dark + light) / 2.0;
    // The crossing nearest to where the side is expected.
    let mut best: Option<f64> = None;
    for (i, pair) in profile.windows(2).enumerate() {
        if pair[0] < middle && pair[1] >= middle {
            let t = (i as f64 + (middle - pair[0]) / (pair[1] - pair[0])) * STEP
                - f64::from(half) * STEP;
            if best.is_none_or(|b| t.abs() < b.abs()) {
                best = Some(t);
            }
        }
    }
    best
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len().max(1) as f64
}

/// Bilinear sample of the encoded grey, as linear light in 0..1.
fn linear_sample(grey: &GrayImage, x: f64, y: f64) -> Option<f64> {
    let (x, y) = (x - 0.5, y - 0.5);
    let (col, row) = (x.floor(), y.floor());
    if col < 0.0 || row < 0.0 {
        return None;
    }
    let (c, r) = (col as u32, row as u32);
    if c + 1 >= grey.width() || r + 1 >= grey.height() {
        return None;
    }
    let (fx, fy) = (x - col, y - row);
    let at = |c: u32, r: u32| decode(grey.get_pixel(c, r).0[0]);
    Some(
        (at(c, r) * (1.0 - fx) + at(c + 1, r) * fx) * (1.0 - fy)
            + (at(c, r + 1) * (1.0 - fx) + at(c + 1, r + 1) * fx) * fy,
    )
}

fn decode(value: u8) -> f64 {
    let encoded = f64::from(value) / 255.0;
    palette::Srgb::new(encoded, encoded, encoded)
        .into_linear()
        .red
}

/// Total least squares line through the points.
fn fit_line(points: &[[f64; 2]]) -> Option<Line> {
    let n = points.len() as f64;
    if points.len() < 2 {
        return None;
    }
    let mx = points.iter().map(|p| p[0]).sum::<f64>() / n;
    let my = points.iter().map(|p| p[1]).sum::<f64>() / n;
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for p in points {
        xx += (p[0] - mx) * (p[0] - mx);
        xy += (p[0] - mx) * (p[1] - my);
        yy += (p[1] - my) * (p[1] - my);
    }
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    Some(Line {
        point: [mx, my],
        direction: [angle.cos(), angle.sin()],
    })
}

fn distance_to(line: &Line, point: [f64; 2]) -> f64 {
    (point[0] - line.point[0]) * line.direction[1] - (point[1] - line.point[1]) * line.direction[0]
}
