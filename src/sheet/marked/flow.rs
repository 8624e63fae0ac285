//! Blocks of a list flow down columns, as in a newspaper.

use crate::drawing::Shape;
use crate::units::Mm;

/// Width of a column, mm.
pub const COLUMN_MM: f64 = 82.0;

/// One line or paragraph of the panel, its top left at (0, 0).
#[derive(Clone, Default)]
pub struct Block {
    /// How far down the next block starts.
    pub height_mm: f64,
    /// What it shows.
    pub shapes: Vec<Shape>,
    /// Never the last one in a column: a heading.
    pub stays_with_next: bool,
    /// What stands in its place at the top of a column: a row of a table with the
    /// table's heading, or nothing for a gap.
    pub at_top: Option<Box<Block>>,
}

impl Block {
    /// Room between two blocks; none at the top of a column.
    pub fn gap(height_mm: f64) -> Self {
        Self {
            height_mm,
            stays_with_next: true,
            at_top: Some(Box::default()),
            ..Self::default()
        }
    }

    fn at(&self, top: bool) -> &Self {
        match &self.at_top {
            Some(other) if top => other,
            _ => self,
        }
    }
}

/// One column, its top left at (0, 0).
#[derive(Default)]
pub struct Column {
    /// Where its last block ends.
    pub height_mm: f64,
    /// What it shows.
    pub shapes: Vec<Shape>,
}

/// Sets blocks into columns of this height. A run that is higher than a column has
/// one for itself and reaches out below.
pub fn columns(blocks: &[Block], height_mm: f64) -> Vec<Column> {
    let mut done = Vec::new();
    let mut column = Column::default();
    let mut from = 0;
    while from < blocks.len() {
        let run = run(blocks, from);
        let y = column.height_mm;
        if y > 0.0 && y + height(run, false) > height_mm + 1e-9 {
            done.push(std::mem::take(&mut column));
        }
        for block in run {
            let y = column.height_mm;
            let block = block.at(y == 0.0);
            let shapes = block.shapes.iter().cloned();
            let moved = shapes.map(|shape| shape.moved(Mm::new(0.0, y)));
            column.shapes.extend(moved);
            column.height_mm += block.height_mm;
        }
        from += run.len();
    }
    done.push(column);
    done
}

/// The least height, to 0.1 mm, at which the blocks need no more than `count` columns.
pub fn least_height(blocks: &[Block], count: usize) -> f64 {
    let mut tallest: f64 = 0.0;
    let mut from = 0;
    while from < blocks.len() {
        let run = run(blocks, from);
        tallest = tallest.max(height(run, true)).max(height(run, false));
        from += run.len();
    }
    let (mut low, mut high) = (tallest, tallest.max(height(blocks, true)));
    if needed(blocks, low) <= count {
        return low;
    }
    while high - low > 0.1 {
        let middle = (low + high) / 2.0;
        if needed(blocks, middle) <= count {
            high = middle;
        } else {
            low = middle;
        }
    }
    high
}

/// How many columns of this height the blocks need.
pub fn needed(blocks: &[Block], height_mm: f64) -> usize {
    let (mut count, mut y, mut from) = (1, 0.0, 0);
    while from < blocks.len() {
        let run = run(blocks, from);
        if y > 0.0 && y + height(run, false) > height_mm + 1e-9 {
            count += 1;
            y = 0.0;
        }
        y += height(run, y == 0.0);
        from += run.len();
    }
    count
}

/// The blocks from here on that stay together.
fn run(blocks: &[Block], from: usize) -> &[Block] {
    let rest = blocks.get(from..).unwrap_or_default();
    let length = rest
        .iter()
        .position(|block| !block.stays_with_next)
        .map_or(rest.len(), |last| last + 1);
    rest.get(..length).unwrap_or_default()
}

/// How high blocks are together, at the top of a column or further down.
fn height(blocks: &[Block], top: bool) -> f64 {
    blocks
        .iter()
        .fold(0.0, |y, block| y + block.at(top && y == 0.0).height_mm)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::{Ink, Outline};

    fn block(height_mm: f64, stays_with_next: bool) -> Block {
        let shape = Shape {
            outline: Outline::Rect {
                corner: Mm::new(0.0, 0.0),
                width_mm: 1.0,
                height_mm,
            },
            ink: Ink::BLACK,
            words: None,
        };
        Block {
            height_mm,
            shapes: vec![shape],
            stays_with_next,
            at_top: None,
        }
    }

    /// Tops of each column's shapes.
    fn tops(columns: &[Column]) -> Vec<Vec<f64>> {
        let top = |shape: &Shape| match &shape.outline {
            Outline::Rect { corner, .. } => corner.y,
            Outline::Path(_) => f64::NAN,
        };
        let tops = |column: &Column| column.shapes.iter().map(top).collect();
        columns.iter().map(tops).collect()
    }

    #[test]
    fn a_heading_goes_with_its_first_line_and_a_gap_ends_at_the_column() {
        let blocks = [
            block(6.0, false),
            Block::gap(1.0),
            block(2.0, true),
            block(3.0, false),
        ];
        assert_eq!(tops(&columns(&blocks, 12.0)), [[0.0, 7.0, 9.0].to_vec()]);
        let two = [[0.0].to_vec(), [0.0, 2.0].to_vec()];
        assert_eq!(tops(&columns(&blocks, 11.9)), two);
    }

    #[test]
    fn a_row_at_the_top_of_a_column_brings_the_tables_heading() {
        let mut row = block(4.0, false);
        row.at_top = Some(Box::new(block(6.0, false)));
        let blocks = [block(5.0, false), row.clone(), row.clone(), row];
        let two = [[0.0, 5.0].to_vec(), [0.0, 6.0].to_vec()];
        assert_eq!(tops(&columns(&blocks, 10.0)), two);
    }

    #[test]
    fn the_least_height_is_enough_and_no_lower_one_is() {
        let blocks: Vec<Block> = (0..37)
            .map(|i| block(1.0 + f64::from(i % 5), i % 7 == 3))
            .collect();
        for count in 1..6 {
            let height = least_height(&blocks, count);
            assert!(columns(&blocks, height).len() <= count);
            assert_eq!(columns(&blocks, height).len(), needed(&blocks, height));
            assert!(needed(&blocks, height - 0.2) > count, "{count}: {height}");
        }
    }
}
