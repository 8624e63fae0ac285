//! How sharp and how bright a photo is as a whole, for photos that hold nothing to measure by.

use super::Photo;
use image::GrayImage;

/// Rows and columns between scanned lines, px: some hundreds of lines are plenty.
const LINE_STEP: u32 = 4;
/// Rise, in 8-bit levels, from which a run of rising or falling pixels is an edge of a thing
/// rather than shade or noise: a quarter of the range.
const EDGE_LEVELS: i32 = 64;
/// Fewest edges that are judged by.
const FEWEST_EDGES: usize = 50;

/// Width of the photo's edges, px: an edge's rise over its steepest step, of all edges along
/// rows and along columns the lower quartile, of the two the larger. `None` without edges.
///
/// The lower quartile, for shadows are soft in a sharp photo too; the larger of the two,
/// for a moved camera blurs one direction only. A Gaussian of sigma s gives 2.5 s.
pub fn edge_width_px(grey: &GrayImage) -> Option<f64> {
    let (width, height) = grey.dimensions();
    let level = |x: u32, y: u32| i32::from(grey.get_pixel(x, y).0[0]);
    let mut rows = Vec::new();
    for y in (0..height).step_by(LINE_STEP as usize) {
        edges((0..width).map(|x| level(x, y)), &mut rows);
    }
    let mut columns = Vec::new();
    for x in (0..width).step_by(LINE_STEP as usize) {
        edges((0..height).map(|y| level(x, y)), &mut columns);
    }
    let quartile = |mut widths: Vec<f64>| {
        widths.sort_by(f64::total_cmp);
        let enough = widths.len() >= FEWEST_EDGES;
        widths.get(widths.len() / 4).copied().filter(|_| enough)
    };
    [quartile(rows), quartile(columns)]
        .into_iter()
        .flatten()
        .reduce(f64::max)
}

/// Adds the width of each edge along one line.
fn edges(line: impl Iterator<Item = i32>, widths: &mut Vec<f64>) {
    let (mut last, mut rise, mut steepest) = (None, 0i32, 0i32);
    // A final turn back closes the last run.
    let mut step = |here: i32| {
        let change = last.map_or(0, |last| here - last);
        last = Some(here);
        if change.signum() * rise.signum() < 0 {
            if rise.abs() >= EDGE_LEVELS {
                widths.push(f64::from(rise.abs()) / f64::from(steepest.max(1)));
            }
            (rise, steepest) = (0, 0);
        }
        rise += change;
        steepest = steepest.max(change.abs());
    };
    line.for_each(&mut step);
}

/// Share of the photo's pixels with a channel at the high end of the code range.
pub fn overexposed_share(photo: &Photo) -> f64 {
    let flags = photo.clipped.view();
    let high = flags.iter().filter(|f| **f & 0b000_111 != 0).count();
    high as f64 / flags.len().max(1) as f64
}

/// The 8-bit grey level (sRGB-encoded) that one pixel in a hundred exceeds: what is
/// white in the photo.
pub fn white_level(grey: &GrayImage) -> u8 {
    let mut counts = [0usize; 256];
    for level in grey.as_raw() {
        counts[usize::from(*level)] += 1;
    }
    let mut above = 0;
    for (level, count) in (0..=u8::MAX).rev().zip(counts.iter().rev()) {
        above += count;
        if above * 100 >= grey.as_raw().len() {
            return level;
        }
    }
    0
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::Luma;

    /// Bars 40 px apart whose sides rise over `width` px along x, stepwise along y.
    fn bars(width: f64) -> GrayImage {
        GrayImage::from_fn(400, 400, |x, y| {
            let bar = |at: f64, width: f64| {
                let place = (at % 80.0 - 40.0).abs() - 20.0;
                (place / width + 0.5).clamp(0.0, 1.0)
            };
            // Of the pixel's middle.
            let light = bar(f64::from(x) + 0.5, width) * bar(f64::from(y) + 0.5, 1.0);
            Luma([(20.0 + 200.0 * light) as u8])
        })
    }

    #[test]
    fn the_blurred_direction_counts() {
        for width in [1.0, 4.0, 10.0] {
            let found = edge_width_px(&bars(width)).unwrap_or_default();
            assert!(
                (found - width).abs() <= 0.25 * width + 0.5,
                "{width}: {found}"
            );
        }
    }

    #[test]
    fn a_blank_photo_has_no_edges() {
        assert_eq!(edge_width_px(&GrayImage::new(300, 300)), None);
        assert_eq!(white_level(&GrayImage::new(300, 300)), 0);
    }
}
