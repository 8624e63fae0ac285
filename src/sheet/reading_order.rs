//! Reading order: rows from the top, each from left to right.
//!
//! Rows laid by hand slope and wobble, so the slope is sought at which the
//! heights fall most clearly into rows.

use crate::numbers::median;

/// Steepest slope that still counts as a row, degrees.
const STEEPEST_DEG: i32 = 20;

/// Indices of the places in reading order (x to the right, y down).
pub fn reading_order(places: &[[f64; 2]]) -> Vec<usize> {
    if places.len() < 2 {
        return (0..places.len()).collect();
    }
    let gap = 0.5 * typical_distance(places);
    let mut best: Option<(f64, Vec<Vec<usize>>)> = None;
    for half_degrees in -2 * STEEPEST_DEG..=2 * STEEPEST_DEG {
        let slope = (f64::from(half_degrees) / 2.0).to_radians();
        let rows = rows_at(places, slope, gap);
        // Little spread within rows, few rows, and no more slope than needed.
        let spread: f64 = rows.iter().map(|row| spread_of(places, row, slope)).sum();
        let cost = spread + gap * gap * rows.len() as f64 * (1.0 + 0.01 * slope.abs());
        if best.as_ref().is_none_or(|(least, _)| cost < *least) {
            best = Some((cost, rows));
        }
    }
    let mut order = Vec::with_capacity(places.len());
    for mut row in best.map(|b| b.1).unwrap_or_default() {
        row.sort_by(|a, b| places[*a][0].total_cmp(&places[*b][0]));
        order.extend(row);
    }
    order
}

/// Height of a place once the slope is taken out.
fn height(place: [f64; 2], slope: f64) -> f64 {
    place[1] * slope.cos() - place[0] * slope.sin()
}

/// Splits the places into rows wherever the heights leave a gap.
fn rows_at(places: &[[f64; 2]], slope: f64, gap: f64) -> Vec<Vec<usize>> {
    let mut order: Vec<usize> = (0..places.len()).collect();
    order.sort_by(|a, b| height(places[*a], slope).total_cmp(&height(places[*b], slope)));
    let mut rows: Vec<Vec<usize>> = Vec::new();
    let mut last = f64::NEG_INFINITY;
    for index in order {
        let here = height(places[index], slope);
        match rows.last_mut() {
            Some(row) if here - last < gap => row.push(index),
            _ => rows.push(vec![index]),
        }
        last = here;
    }
    rows
}

/// Sum of squared distances of a row's heights from their mean.
fn spread_of(places: &[[f64; 2]], row: &[usize], slope: f64) -> f64 {
    let heights: Vec<f64> = row.iter().map(|i| height(places[*i], slope)).collect();
    let mean = heights.iter().sum::<f64>() / heights.len() as f64;
    heights.iter().map(|h| (h - mean).powi(2)).sum()
}

/// Median distance to the nearest other place.
fn typical_distance(places: &[[f64; 2]]) -> f64 {
    let nearest: Vec<f64> = places
        .iter()
        .enumerate()
        .map(|(i, a)| {
            let others = places.iter().enumerate().filter(|(j, _)| *j != i);
            others
                .map(|(_, b)| (a[0] - b[0]).hypot(a[1] - b[1]))
                .fold(f64::INFINITY, f64::min)
        })
        .collect();
    median(nearest).unwrap_or(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(rows: usize, columns: usize, slope_deg: f64, wobble: f64) -> Vec<[f64; 2]> {
        let (sin, cos) = slope_deg.to_radians().sin_cos();
        let mut places = Vec::new();
        for r in 0..rows {
            for c in 0..columns {
                // A fixed pattern of wobble, both signs, no two alike.
                let k = (r * columns + c) as f64;
                let (x, y) = (
                    c as f64 * 100.0 + wobble * (k * 1.7).sin(),
                    r as f64 * 90.0 + wobble * (k * 2.3).cos(),
                );
                places.push([x * cos - y * sin, x * sin + y * cos]);
            }
        }
        places
    }

    #[test]
    fn rows_are_read_whatever_their_slope_and_wobble() {
        for slope in [-12.0, -5.0, 0.0, 3.0, 12.0] {
            let places = grid(4, 6, slope, 9.0);
            // Shuffled by a stride that is prime to 24.
            let shuffled: Vec<usize> = (0..24).map(|i| (i * 7) % 24).collect();
            let mixed: Vec<[f64; 2]> = shuffled.iter().map(|i| places[*i]).collect();
            let order: Vec<usize> = reading_order(&mixed).iter().map(|i| shuffled[*i]).collect();
            assert_eq!(order, (0..24).collect::<Vec<_>>(), "slope {slope}");
        }
    }

    #[test]
    fn a_last_row_may_be_short() {
        let mut places = grid(3, 5, 4.0, 5.0);
        places.truncate(12);
        assert_eq!(reading_order(&places), (0..12).collect::<Vec<_>>());
    }

    #[test]
    fn none_and_one_are_in_order() {
        assert!(reading_order(&[]).is_empty());
        assert_eq!(reading_order(&[[5.0, 5.0]]), [0]);
    }
}
