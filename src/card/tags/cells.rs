//! Whether a four-sided region's cells are those of one of the card's tags, and which way up.

use image::GrayImage;
use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use super::quads::Quad;
use crate::card::design::{CardDesign, Tag};
use crate::card::find::FoundTag;

/// Cells that may be read wrongly. Two tags of the family differ in 11 cells at least, whichever way they are turned;
/// a chance pattern passes for one of four tags in four turns once in six million (16 x 667 of 2^36).
const WRONG_CELLS: u32 = 2;
/// Cells of the 28 in the black ring that may look white.
const WRONG_RING: usize = 3;
/// Least difference, in 8-bit levels, between paper and ink.
const LEAST_STEP: f64 = 8.0;
/// Cells along a side.
const CELLS: usize = Tag::CELLS;

/// The tag that fills the region, with its corners in the card's order.
pub(super) fn read(grey: &GrayImage, quad: Quad) -> Option<FoundTag> {
    let to_picture = square_to_quad(quad)?;
    // Of the cells around the tag, of its ring and of its inside: place in cells from the corner, and level.
    let mut levels = [[0.0; CELLS + 2]; CELLS + 2];
    let (mut paper, mut ink) = (Shade::default(), Shade::default());
    for (row, line) in levels.iter_mut().enumerate() {
        for (column, level) in line.iter_mut().enumerate() {
            let at = middle(row, column);
            *level = cell_level(grey, &to_picture, at)?;
            match ring(row, column) {
                0 => paper.add(at, *level),
                1 => ink.add(at, *level),
                _ => {}
            }
        }
    }
    let (paper, ink) = (paper.fit()?, ink.fit()?);
    let centre = [CELLS as f64 / 2.0; 2];
    if paper.at(centre) - ink.at(centre) < LEAST_STEP {
        return None;
    }
    let white = |row: usize, column: usize| {
        let at = middle(row, column);
        levels[row][column] > (paper.at(at) + ink.at(at)) / 2.0
    };
    let (mut bits, mut wrong_ring) = (0_u64, 0);
    for row in 1..=CELLS {
        for column in 1..=CELLS {
            if ring(row, column) == 1 {
                wrong_ring += usize::from(white(row, column));
            } else {
                bits = bits << 1 | u64::from(white(row, column));
            }
        }
    }
    if wrong_ring > WRONG_RING {
        return None;
    }
    for tag in &CardDesign::v1().tags {
        let mut turned = bits;
        for quarter in 0..4 {
            if (turned ^ inner(tag)).count_ones() <= WRONG_CELLS {
                return Some(FoundTag {
                    id: tag.id,
                    corners: [0, 1, 2, 3].map(|k| quad[(k + quarter) % 4]),
                });
            }
            turned = turned_back(turned);
        }
    }
    None
}

/// The middle of a cell, in cells from the tag's corner; row and column count from the paper around it.
fn middle(row: usize, column: usize) -> [f64; 2] {
    [column as f64 - 0.5, row as f64 - 0.5]
}

/// How far inside a cell is: 0 on the paper around the tag, 1 in its black ring.
fn ring(row: usize, column: usize) -> usize {
    let from_end = |at: usize| at.min(CELLS + 1 - at);
    from_end(row).min(from_end(column))
}

/// Mean of nine places about a cell's middle, within the fifth of it that blur and a rough corner leave alone.
fn cell_level(grey: &GrayImage, to_picture: &Matrix3<f64>, [x, y]: [f64; 2]) -> Option<f64> {
    const OFF: [f64; 3] = [-0.2, 0.0, 0.2];
    let mut sum = 0.0;
    for dy in OFF {
        for dx in OFF {
            let at = to_picture * Vector3::new(x + dx, y + dy, 1.0);
            sum += sample(grey, at.x / at.z, at.y / at.z)?;
        }
    }
    Some(sum / 9.0)
}

/// Bilinear between pixels' middles; `None` outside the picture.
fn sample(grey: &GrayImage, x: f64, y: f64) -> Option<f64> {
    let (x, y) = (x - 0.5, y - 0.5);
    let inside = x >= 0.0
        && y >= 0.0
        && x + 1.0 < f64::from(grey.width())
        && y + 1.0 < f64::from(grey.height());
    if !inside {
        return None;
    }
    let (column, row) = (x as u32, y as u32);
    let (fx, fy) = (x - f64::from(column), y - f64::from(row));
    let at = |column, row| Some(f64::from(grey.get_pixel_checked(column, row)?.0[0]));
    let upper = at(column, row)? * (1.0 - fx) + at(column + 1, row)? * fx;
    let lower = at(column, row + 1)? * (1.0 - fx) + at(column + 1, row + 1)? * fx;
    Some(upper * (1.0 - fy) + lower * fy)
}

/// A level that changes evenly over the tag, as light does: fitted by least squares.
#[derive(Default)]
struct Shade {
    normal: SMatrix<f64, 3, 3>,
    right: SVector<f64, 3>,
}

impl Shade {
    fn add(&mut self, [x, y]: [f64; 2], level: f64) {
        let row = Vector3::new(1.0, x, y);
        self.normal += row * row.transpose();
        self.right += row * level;
    }

    fn fit(&self) -> Option<Plane> {
        Some(Plane(self.normal.try_inverse()? * self.right))
    }
}

struct Plane(Vector3<f64>);

impl Plane {
    fn at(&self, [x, y]: [f64; 2]) -> f64 {
        self.0.dot(&Vector3::new(1.0, x, y))
    }
}

/// The tag's inner cells, row after row, as `read` gathers them.
fn inner(tag: &Tag) -> u64 {
    (tag.cells.iter()).fold(0, |bits, row| bits << 6 | u64::from(*row))
}

/// The cells as they are read when the list of corners starts one corner later.
fn turned_back(bits: u64) -> u64 {
    let at = |row: usize, column: usize| bits >> (35 - row * 6 - column) & 1;
    // The row that was on the right comes to the top.
    let cells = (0..36).map(|i| at(i % 6, 5 - i / 6));
    cells.fold(0, |turned, cell| turned << 1 | cell)
}

/// From places in cells, corners at 0 and 8, to the picture (Heckbert 1989, section 2.2.3).
fn square_to_quad(quad: Quad) -> Option<Matrix3<f64>> {
    let [a, b, c, d] = quad;
    let (sx, sy) = (a.x - b.x + c.x - d.x, a.y - b.y + c.y - d.y);
    let (dx1, dy1) = (b.x - c.x, b.y - c.y);
    let (dx2, dy2) = (d.x - c.x, d.y - c.y);
    let below = dx1 * dy2 - dx2 * dy1;
    if below.abs() < 1e-9 {
        return None;
    }
    let g = (sx * dy2 - dx2 * sy) / below;
    let h = (dx1 * sy - sx * dy1) / below;
    let unit = Matrix3::new(
        b.x - a.x + g * b.x,
        d.x - a.x + h * d.x,
        a.x,
        b.y - a.y + g * b.y,
        d.y - a.y + h * d.y,
        a.y,
        g,
        h,
        1.0,
    );
    let shrink = 1.0 / CELLS as f64;
    Some(unit * Matrix3::from_diagonal(&Vector3::new(shrink, shrink, 1.0)))
}
