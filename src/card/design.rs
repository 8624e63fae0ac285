//! The card's design: where its tags, patches and check bar are, and what they look like.
//!
//! All places are millimetres from the card's own top-left corner, x along its
//! long side, y down ([`Mm`]). Corners go clockwise from the top left as the card
//! is read: top left, top right, bottom right, bottom left.
//!
//! The design is data in the program rather than a file read at run time, so
//! that it cannot be missing or malformed; `calibration/card-v1.json` is the same design for
//! everybody else.

use super::v1::V1;
use crate::units::Mm;

/// One version of the card.
#[derive(Clone, Debug, PartialEq)]
pub struct CardDesign {
    /// Length of the card's long side.
    pub width_mm: f64,
    /// Length of the card's short side.
    pub height_mm: f64,
    /// The four fiducials, clockwise from the top left; the index is the id.
    pub tags: [Tag; 4],
    /// The colour patches, row by row.
    pub patches: [Patch; 24],
    /// The bar that shows whether the print has its true size.
    pub scale_bar: ScaleBar,
}

impl CardDesign {
    /// Version 1 of the card.
    pub fn v1() -> &'static Self {
        &V1
    }

    /// The card's outer corners.
    pub fn corners_mm(&self) -> [Mm; 4] {
        corners(0.0, 0.0, self.width_mm, self.height_mm)
    }

    /// The fiducial with this id, if the card has it.
    pub fn tag(&self, id: u8) -> Option<&Tag> {
        self.tags.iter().find(|tag| tag.id == id)
    }
}

/// A fiducial of the family 36h11 (Olson 2011; Wang & Olson 2016): a black
/// square of 8 x 8 cells whose outer ring is black and whose inner 6 x 6 cells
/// carry the id.
///
/// The card shows each tag turned by half a turn from how the family's reference
/// detector stores it. So that detector's corner list, which starts at *its*
/// bottom left and goes round anticlockwise as seen, reads top right, top left,
/// bottom left, bottom right on the card: see [`Tag::DETECTED_CORNERS`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tag {
    /// Number within the family.
    pub id: u8,
    /// Left edge of the black square.
    pub x_mm: f64,
    /// Top edge of the black square.
    pub y_mm: f64,
    /// Side of the black square.
    pub size_mm: f64,
    /// The inner cells: six rows from the top, of six bits from the left, 1 white.
    pub cells: [u8; 6],
}

impl Tag {
    /// Cells along one side of the black square, its black ring included.
    pub const CELLS: usize = 8;

    /// Which of [`Tag::corners_mm`] the reference detector's first, second, third
    /// and fourth corner are.
    pub const DETECTED_CORNERS: [usize; 4] = [1, 0, 3, 2];

    /// Corners of the black square.
    pub fn corners_mm(&self) -> [Mm; 4] {
        corners(self.x_mm, self.y_mm, self.size_mm, self.size_mm)
    }

    /// Middle of the black square.
    pub fn middle(&self) -> Mm {
        let half = self.size_mm / 2.0;
        Mm::new(self.x_mm + half, self.y_mm + half)
    }

    /// Side of one cell.
    pub fn cell_mm(&self) -> f64 {
        self.size_mm / Self::CELLS as f64
    }

    /// Whether the cell in this row and column of the black square is white; both
    /// count from 0 at the top left, and all that is not an inner cell is black.
    pub fn is_white(&self, row: usize, column: usize) -> bool {
        let bits = row.checked_sub(1).and_then(|row| self.cells.get(row));
        match (bits, column) {
            (Some(bits), 1..=6) => bits >> (6 - column) & 1 == 1,
            _ => false,
        }
    }
}

/// One colour patch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Patch {
    /// `grey-` and its lightness, or `L`, lightness, `h` and hue angle.
    pub name: &'static str,
    /// Row from the top, from 0.
    pub row: u8,
    /// Column from the left, from 0.
    pub column: u8,
    /// Left edge.
    pub x_mm: f64,
    /// Top edge.
    pub y_mm: f64,
    /// Width.
    pub width_mm: f64,
    /// Height.
    pub height_mm: f64,
    /// What is sent to the printer, encoded sRGB.
    pub srgb: [u8; 3],
    /// The nominal colour, CIELAB (D65, 2 degree observer): `srgb` in other
    /// words. What a printer makes of it differs.
    pub lab_d65: [f64; 3],
}

impl Patch {
    /// Middle of the patch.
    pub fn middle(&self) -> Mm {
        Mm::new(
            self.x_mm + self.width_mm / 2.0,
            self.y_mm + self.height_mm / 2.0,
        )
    }

    /// Corners of the patch.
    pub fn corners_mm(&self) -> [Mm; 4] {
        corners(self.x_mm, self.y_mm, self.width_mm, self.height_mm)
    }

    /// Whether the patch is one of the greys.
    pub fn is_neutral(&self) -> bool {
        let [red, green, blue] = self.srgb;
        red == green && green == blue
    }
}

/// A bar of known length, with a tick every 10 mm, to hold a ruler against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScaleBar {
    /// Middle of the first tick.
    pub x_mm: f64,
    /// Middle of the bar's line.
    pub y_mm: f64,
    /// From the middle of the first tick to the middle of the last.
    pub length_mm: f64,
    /// Height of a tick, half above and half below the line.
    pub tick_mm: f64,
}

impl ScaleBar {
    /// Distance from tick to tick.
    pub const STEP_MM: f64 = 10.0;

    /// The bar's two ends.
    pub fn ends_mm(&self) -> [Mm; 2] {
        [
            Mm::new(self.x_mm, self.y_mm),
            Mm::new(self.x_mm + self.length_mm, self.y_mm),
        ]
    }
}

fn corners(x: f64, y: f64, width: f64, height: f64) -> [Mm; 4] {
    [
        Mm::new(x, y),
        Mm::new(x + width, y),
        Mm::new(x + width, y + height),
        Mm::new(x, y + height),
    ]
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use palette::{IntoColor, Lab, Srgb, white_point::D65};

    #[test]
    fn corners_go_clockwise_from_the_top_left() {
        let tag = CardDesign::v1().tag(2).unwrap();
        let expected = [(161.0, 41.0), (185.0, 41.0), (185.0, 65.0), (161.0, 65.0)];
        assert_eq!(tag.corners_mm(), expected.map(|(x, y)| Mm::new(x, y)));
        assert_eq!(tag.middle(), Mm::new(173.0, 53.0));
        assert_eq!(CardDesign::v1().corners_mm()[2], Mm::new(190.0, 70.0));
        assert!(CardDesign::v1().tag(4).is_none());
    }

    #[test]
    fn six_patches_are_neutral() {
        let design = CardDesign::v1();
        let mut greys: Vec<&str> = Vec::new();
        greys.extend(
            design
                .patches
                .iter()
                .filter(|p| p.is_neutral())
                .map(|p| p.name),
        );
        greys.sort_unstable();
        assert_eq!(
            greys,
            [
                "grey-20", "grey-35", "grey-50", "grey-65", "grey-80", "grey-92"
            ]
        );
    }

    /// The ring is black whatever the cells say, and nothing outside is asked for.
    #[test]
    fn only_inner_cells_can_be_white() {
        for tag in &CardDesign::v1().tags {
            for ring in [0, 7, 8] {
                for other in 0..9 {
                    assert!(!tag.is_white(ring, other) && !tag.is_white(other, ring));
                }
            }
        }
    }

    /// The two colour values of each patch say the same: checked with `palette`'s
    /// conversion. 0.05 is a small part of one sRGB level (about 0.3 in L*), and
    /// covers rounding to two decimals and another choice of the sRGB matrix.
    #[test]
    fn lab_values_are_those_of_the_srgb_values() {
        for patch in &CardDesign::v1().patches {
            let [red, green, blue] = patch.srgb;
            let encoded = Srgb::new(red, green, blue).into_format::<f64>();
            let lab: Lab<D65, f64> = encoded.into_linear().into_color();
            for (ours, theirs) in patch.lab_d65.into_iter().zip([lab.l, lab.a, lab.b]) {
                assert!((ours - theirs).abs() < 0.05, "{}: {lab:?}", patch.name);
            }
        }
    }
}
