//! Patches of foreground that a search can start from.

use std::ops::Range;

use crate::tray::LabView;
use crate::units::Mm;

/// A stretch of pixels along one row: the row, and the columns.
type Run = (usize, Range<usize>);

/// A connected patch of foreground.
#[derive(Clone, Debug)]
pub(super) struct Seed {
    /// Its view pixels, row by row. Stretches, for a patch may fill a whole view, and a pair of numbers for each pixel
    /// would take 16 bytes.
    pub runs: Vec<Run>,
    /// Whether it reaches the photo's edge.
    pub at_frame: bool,
    /// Area, mm².
    pub area_mm2: f64,
}

impl Seed {
    /// Its view pixels as (row, column), row by row.
    pub fn pixels(&self) -> impl Iterator<Item = (usize, usize)> {
        let runs = self.runs.iter();
        runs.flat_map(|(row, columns)| columns.clone().map(|column| (*row, column)))
    }

    /// How many pixels it has.
    pub fn len(&self) -> usize {
        self.runs.iter().map(|(_, columns)| columns.len()).sum()
    }

    /// The columns that it reaches over.
    pub fn columns(&self) -> Range<usize> {
        let starts = self.runs.iter().map(|(_, columns)| columns.start);
        let ends = self.runs.iter().map(|(_, columns)| columns.end);
        starts.min().unwrap_or(0)..ends.max().unwrap_or(0)
    }

    /// The rows that it reaches over.
    pub fn rows(&self) -> Range<usize> {
        let top = self.runs.first().map_or(0, |(row, _)| *row);
        let bottom = self.runs.last().map_or(0, |(row, _)| *row);
        top..bottom + 1
    }

    /// Bounding box on the tray.
    pub fn bounds(&self, view: &LabView) -> (Mm, Mm) {
        let (columns, rows) = (self.columns(), self.rows());
        let corner = |r: usize, c: usize| {
            Mm::new(
                view.origin.x + c as f64 * view.mm_per_px,
                view.origin.y + r as f64 * view.mm_per_px,
            )
        };
        (
            corner(rows.start, columns.start),
            corner(rows.end, columns.end),
        )
    }
}

/// Connected patches of the pixels that `wanted` names, largest first, down to `least_mm2`.
pub(super) fn seeds(
    view: &LabView,
    wanted: impl Fn(usize, usize) -> bool,
    least_mm2: f64,
) -> Vec<Seed> {
    let (rows, columns) = view.size();
    let pixel_mm2 = view.mm_per_px * view.mm_per_px;
    let mut found: Vec<Seed> = patches((rows, columns), wanted)
        .into_iter()
        .filter_map(|runs| {
            let pixels: usize = runs.iter().map(|(_, columns)| columns.len()).sum();
            let area_mm2 = pixels as f64 * pixel_mm2;
            (area_mm2 >= least_mm2).then(|| Seed {
                at_frame: runs.iter().any(|run| reaches_edge(view, run)),
                runs,
                area_mm2,
            })
        })
        .collect();
    found.sort_by(|a, b| b.area_mm2.total_cmp(&a.area_mm2));
    found
}

/// Whether a stretch touches the view's edge or what the photo does not cover.
fn reaches_edge(view: &LabView, (row, run): &Run) -> bool {
    let (rows, columns) = view.size();
    let row = *row;
    run.clone().any(|column| {
        row == 0
            || column == 0
            || row + 1 == rows
            || column + 1 == columns
            || !view.inside[(row - 1, column)]
            || !view.inside[(row + 1, column)]
            || !view.inside[(row, column - 1)]
            || !view.inside[(row, column + 1)]
    })
}

/// Patches connected over pixels' sides, each as its stretches row by row, in the order of their first pixels.
///
/// By stretches and not by pixels as `imageproc` does it, which takes 20 bytes for each pixel of the view.
fn patches(
    (rows, columns): (usize, usize),
    wanted: impl Fn(usize, usize) -> bool,
) -> Vec<Vec<Run>> {
    let mut runs: Vec<Run> = Vec::new();
    // For each stretch an earlier one of the same patch, or itself.
    let mut earlier: Vec<usize> = Vec::new();
    let mut above = 0..0;
    for row in 0..rows {
        let first = runs.len();
        let mut column = 0;
        while column < columns {
            if !wanted(row, column) {
                column += 1;
                continue;
            }
            let start = column;
            while column < columns && wanted(row, column) {
                column += 1;
            }
            earlier.push(runs.len());
            runs.push((row, start..column));
        }
        join(&runs, &mut earlier, above, first..runs.len());
        above = first..runs.len();
    }
    let mut patches: Vec<Vec<Run>> = Vec::new();
    let mut patch_of: Vec<usize> = Vec::with_capacity(runs.len());
    for (index, run) in runs.into_iter().enumerate() {
        let root = root(&mut earlier, index);
        if root == index {
            patch_of.push(patches.len());
            patches.push(vec![run]);
        } else {
            // A root comes before all others of its patch.
            let patch = patch_of.get(root).copied().unwrap_or_default();
            patch_of.push(patch);
            if let Some(runs) = patches.get_mut(patch) {
                runs.push(run);
            }
        }
    }
    patches
}

/// Joins the stretches of a row with those of the row above that they touch; both are ranges of `runs`.
fn join(runs: &[Run], earlier: &mut [usize], above: Range<usize>, row: Range<usize>) {
    let mut upper = above.start;
    for index in row {
        let Some((_, here)) = runs.get(index) else {
            return;
        };
        let mut at = upper;
        while let Some((_, there)) = runs.get(at).filter(|_| at < above.end)
            && there.start < here.end
        {
            if there.end > here.start {
                let (a, b) = (root(earlier, at), root(earlier, index));
                let (first, second) = (a.min(b), a.max(b));
                if let Some(slot) = earlier.get_mut(second) {
                    *slot = first;
                }
            }
            // It may touch the next one of this row too, if it goes on beyond this one.
            if there.end <= here.end {
                upper = at + 1;
            }
            at += 1;
        }
    }
}

/// The first stretch of a patch; what is on the way there is pointed closer to it.
fn root(earlier: &mut [usize], mut index: usize) -> usize {
    while let Some(&next) = earlier.get(index).filter(|next| **next != index) {
        let over = earlier.get(next).copied().unwrap_or(next);
        if let Some(slot) = earlier.get_mut(index) {
            *slot = over;
        }
        index = next;
    }
    index
}

#[cfg(test)]
mod tests {
    use super::*;
    use image::{GrayImage, Luma};
    use imageproc::region_labelling::{Connectivity, connected_components};
    use proptest::prelude::*;

    /// The obvious twin: labels for each pixel.
    fn labelled(mask: &GrayImage) -> Vec<Vec<(usize, usize)>> {
        let labels = connected_components(mask, Connectivity::Four, Luma([0u8]));
        let count = labels.pixels().map(|p| p.0[0]).max().unwrap_or(0) as usize;
        let mut patches = vec![Vec::new(); count];
        for (x, y, label) in labels.enumerate_pixels() {
            if let Some(index) = (label.0[0] as usize).checked_sub(1) {
                patches[index].push((y as usize, x as usize));
            }
        }
        patches
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(300))]
        #[test]
        fn patches_are_those_of_labelling_each_pixel(
            width in 1_u32..24,
            bits in prop::collection::vec(prop::bool::weighted(0.6), 1..400),
        ) {
            let height = (bits.len() as u32).div_ceil(width);
            let is = |row: usize, column: usize| {
                bits.get(row * width as usize + column).copied().unwrap_or(false)
            };
            let mask = GrayImage::from_fn(width, height, |x, y| {
                Luma([if is(y as usize, x as usize) { 255 } else { 0 }])
            });
            let found: Vec<Vec<(usize, usize)>> = patches((height as usize, width as usize), is)
                .into_iter()
                .map(|runs| Seed { runs, at_frame: false, area_mm2: 0.0 }.pixels().collect())
                .collect();
            prop_assert_eq!(found, labelled(&mask));
        }
    }
}
