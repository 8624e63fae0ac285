//! Which pixels are dark beside what is around them.

use image::GrayImage;
use rayon::prelude::*;

/// Side of a tile, px. With its neighbours a tile spans twelve pixels: more than one cell of a tag as
/// it is searched for, so that ink and paper are both in it.
const TILE: usize = 4;
/// Least difference, in 8-bit levels, between the darkest and the lightest around a pixel that is more than
/// noise. A photo that is five stops too dark still shows 20 between paper and ink.
const LEAST_CONTRAST: u8 = 12;

/// 255 where a pixel is darker than half way between the darkest and the lightest around it, else 0.
pub(super) fn dark(grey: &GrayImage) -> GrayImage {
    let (width, height) = (grey.width() as usize, grey.height() as usize);
    let mut out = GrayImage::new(grey.width(), grey.height());
    if width < TILE || height < TILE {
        return out;
    }
    let (columns, rows) = (width.div_ceil(TILE), height.div_ceil(TILE));
    let spans = widened(&spans(grey.as_raw(), width, columns), columns, rows);
    out.par_chunks_exact_mut(width)
        .zip(grey.as_raw().par_chunks_exact(width))
        .enumerate()
        .for_each(|(y, (out, row))| {
            let spans = spans.chunks_exact(columns).nth(y / TILE);
            let tiles = out.chunks_mut(TILE).zip(row.chunks(TILE));
            for ((out, row), span) in tiles.zip(spans.into_iter().flatten()) {
                if span.high - span.low < LEAST_CONTRAST {
                    continue;
                }
                let middle = span.low + (span.high - span.low) / 2;
                for (out, level) in out.iter_mut().zip(row) {
                    *out = if *level < middle { 255 } else { 0 };
                }
            }
        });
    out
}

/// The darkest and the lightest level of a tile.
#[derive(Clone, Copy)]
struct Span {
    low: u8,
    high: u8,
}

impl Span {
    const NONE: Self = Self { low: 255, high: 0 };

    fn with(self, other: Self) -> Self {
        Self {
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }
}

/// Of each tile, row after row; those at the right and lower rim may be smaller.
fn spans(levels: &[u8], width: usize, columns: usize) -> Vec<Span> {
    levels
        .par_chunks(width * TILE)
        .flat_map_iter(|band| {
            let mut spans = vec![Span::NONE; columns];
            for row in band.chunks_exact(width) {
                for (span, tile) in spans.iter_mut().zip(row.chunks(TILE)) {
                    for &level in tile {
                        *span = span.with(Span {
                            low: level,
                            high: level,
                        });
                    }
                }
            }
            spans
        })
        .collect()
}

/// Each tile's span together with those of its eight neighbours.
fn widened(spans: &[Span], columns: usize, rows: usize) -> Vec<Span> {
    let near = |at: usize, end: usize| at.saturating_sub(1)..(at + 2).min(end);
    (0..rows * columns)
        .into_par_iter()
        .map(|tile| {
            let (row, column) = (tile / columns, tile % columns);
            near(row, rows)
                .flat_map(|row| spans[row * columns..][near(column, columns)].iter())
                .fold(Span::NONE, |all, span| all.with(*span))
        })
        .collect()
}
