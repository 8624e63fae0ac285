//! Reads the card's four tags: dark regions, of those the four-sided ones, of those the ones whose
//! cells are a tag's.
//!
//! The way of the family's reference detector (Wang and Olson 2016) with the two changes that knowing
//! the card allows: only four tags are asked for, and whoever asks measures their sides again on the
//! full photo (`edges`), so that corners here need no more than a cell's accuracy.

mod dark;
mod quads;
mod cells;

use image::GrayImage;
use rayon::prelude::*;
use std::borrow::Cow;

use super::find::FoundTag;
use crate::units::Px;

/// Longest side of the copy that is searched first, px. A tag is a twentieth of a tray's length or
/// more, so that a cell has six pixels there; raising it costs time and reads noise.
const FIRST_SIDE_PX: u32 = 2000;
/// Shortest long side that is worth searching, px: a tag of a twentieth has three pixels a cell.
const LEAST_SIDE_PX: u32 = 480;

/// Copies of the photo, each half as long as the one before it, by how often they were halved.
pub(super) struct Levels<'a>(Vec<Cow<'a, GrayImage>>);

impl<'a> Levels<'a> {
    pub(super) fn of(grey: &'a GrayImage) -> Self {
        let mut levels = vec![Cow::Borrowed(grey)];
        while let Some(last) = levels.last()
            && last.width().max(last.height()) / 2 >= LEAST_SIDE_PX
        {
            let half = halved(last);
            levels.push(Cow::Owned(half));
        }
        Self(levels)
    }

    /// The order in which to search: first a size that is fast and calm, then finer ones for small
    /// tags, then coarser ones for blurred and noisy photos.
    pub(super) fn order(&self) -> Vec<usize> {
        let side = |level: usize| self.0.get(level).map_or(0, |l| l.width().max(l.height()));
        let first = (0..self.0.len()).find(|level| side(*level) <= FIRST_SIDE_PX);
        let first = first.unwrap_or(0);
        let finer = (0..first).rev();
        let coarser = first + 1..self.0.len();
        std::iter::once(first).chain(finer).chain(coarser).collect()
    }

    /// The tags that can be read at one level, with corners in the photo's pixels.
    pub(super) fn read(&self, level: usize) -> Vec<FoundTag> {
        let Some(grey) = self.0.get(level) else {
            return Vec::new();
        };
        let grow = f64::from(1_u32 << level.min(31));
        let found = quads::four_sided(&dark::dark(grey));
        found
            .into_iter()
            .filter_map(|quad| cells::read(grey, quad))
            .map(|tag| FoundTag {
                corners: tag.corners.map(|px| Px::new(px.x * grow, px.y * grow)),
                ..tag
            })
            .collect()
    }
}

/// The picture at half its size, each pixel the mean of four.
fn halved(grey: &GrayImage) -> GrayImage {
    let (width, height) = (grey.width() / 2, grey.height() / 2);
    let mut half = GrayImage::new(width, height);
    let from = grey.width() as usize;
    half.par_chunks_exact_mut((width as usize).max(1))
        .zip(grey.as_raw().par_chunks_exact((from * 2).max(1)))
        .for_each(|(out, rows)| {
            let (upper, lower) = rows.split_at(from);
            let pairs = upper.chunks_exact(2).zip(lower.chunks_exact(2));
            for (out, (a, b)) in out.iter_mut().zip(pairs) {
                let sum: u16 = a.iter().chain(b).map(|level| u16::from(*level)).sum();
                *out = u8::try_from((sum + 2) / 4).unwrap_or(u8::MAX);
            }
        });
    half
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::card::design::{CardDesign, Tag};
    use image::Luma;

    /// A picture of paper with one tag, turned by `degrees` about its middle, seven pixels a cell; `flip` cells of
    /// its inside are the wrong colour.
    fn picture(tag: &Tag, degrees: f64, flip: usize) -> GrayImage {
        let (sin, cos) = degrees.to_radians().sin_cos();
        GrayImage::from_fn(600, 560, |x, y| {
            let (x, y) = (f64::from(x) + 0.5 - 300.0, f64::from(y) + 0.5 - 280.0);
            let across = (x * cos + y * sin) / 7.0 + 4.0;
            let down = (y * cos - x * sin) / 7.0 + 4.0;
            let on_tag = (0.0..8.0).contains(&across) && (0.0..8.0).contains(&down);
            let (row, column) = (down.max(0.0) as usize, across.max(0.0) as usize);
            let wrong = row == 1 && (1..=flip).contains(&column);
            let white = !on_tag || tag.is_white(row, column) != wrong;
            Luma([if white { 205 } else { 40 }])
        })
    }

    /// Whichever way the tag lies, the first corner is the card's top left.
    #[test]
    fn tags_are_read_whichever_way_they_lie() {
        for tag in &CardDesign::v1().tags {
            for degrees in (0..360).step_by(30).map(f64::from) {
                let grey = picture(tag, degrees, 0);
                let read = Levels::of(&grey).read(0);
                assert_eq!(read.len(), 1, "{} at {degrees}", tag.id);
                assert_eq!(read[0].id, tag.id);
                let (sin, cos) = degrees.to_radians().sin_cos();
                let first = Px::new(300.0 - 28.0 * (cos - sin), 280.0 - 28.0 * (sin + cos));
                // A seventh of a cell; its sides are measured again.
                assert!(read[0].corners[0].distance(first) < 1.0, "{read:?}");
            }
        }
    }

    #[test]
    fn two_wrong_cells_are_forgiven_and_three_are_not() {
        let tag = CardDesign::v1().tag(2).unwrap();
        for (flip, count) in [(1, 1), (2, 1), (3, 0)] {
            let read = Levels::of(&picture(tag, 10.0, flip)).read(0);
            assert_eq!(read.len(), count, "{flip} wrong");
        }
    }

    #[test]
    fn a_tag_that_the_frame_cuts_is_none() {
        let grey = picture(CardDesign::v1().tag(0).unwrap(), 0.0, 0);
        let cut = image::imageops::crop_imm(&grey, 274, 0, 326, 560).to_image();
        assert_eq!(Levels::of(&cut).read(0), []);
        let whole = image::imageops::crop_imm(&grey, 264, 0, 326, 560).to_image();
        assert_eq!(Levels::of(&whole).read(0).len(), 1);
    }

    /// The search begins with a copy that is fast, and comes to every other.
    #[test]
    fn levels_are_searched_from_the_middle() {
        let grey = GrayImage::new(4000, 3000);
        assert_eq!(Levels::of(&grey).order(), [1, 0, 2, 3]);
        let grey = GrayImage::new(700, 300);
        assert_eq!(Levels::of(&grey).order(), [0]);
        // Too thin to halve, too small to search: nothing, and no panic.
        for (width, height) in [(1, 1), (3, 2), (2000, 1), (1, 2000)] {
            let grey = GrayImage::new(width, height);
            let levels = Levels::of(&grey);
            for level in levels.order() {
                assert_eq!(levels.read(level), []);
            }
        }
    }
}
