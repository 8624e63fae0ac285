//! Finds the card's tags in a photo, with sub-pixel corners.
//!
//! The tags are read by the AprilTag library (family 36h11; Olson 2011, Wang and
//! Olson 2016); each tag's four sides are then measured again on the full photo,
//! because the reader works on a smaller copy and rounds with it.

use apriltag::{Detector, Family, Image};
use image::GrayImage;
use thiserror::Error;

use super::edges::refine_corners;
use crate::units::Px;

/// A tag of the card with the corners of its black square.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundTag {
    /// Which tag: 0..3, clockwise from the card's top left.
    pub id: u8,
    /// Top left, top right, bottom right, bottom left in the card's own orientation.
    pub corners: [Px; 4],
}

/// The tags that were read, ordered by id; two at least, no id twice.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundCard {
    /// The tags.
    pub tags: Vec<FoundTag>,
}

/// Why there is no card to measure by.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum CardError {
    /// No tag at all.
    #[error(
        "no card was found in this photo; lay the printed card flat beside the pieces, all of it in view, and take the photo from above in even light"
    )]
    NoCard,
    /// One tag only.
    #[error(
        "only one of the card's four tags (number {0}) can be read; two are needed, so move the card fully into the photo, flat and without glare"
    )]
    OneTag(u8),
    /// Two cards in one photo.
    #[error(
        "more than one card is in this photo (tag {0} is seen {1} times); leave one and take the photo again"
    )]
    SeveralCards(u8, usize),
    /// The tags do not lie as they do on the card.
    #[error(
        "the card's tags do not fit together (off by {0} px); it is bent, folded or printed in pieces: print it on one sheet, lay it flat and take the photo again"
    )]
    Misfit(u32),
    /// The tag reader could not be started.
    #[error("the tag reader could not be started: {0}")]
    Reader(String),
}

/// Longest side of the copy that is searched first; a larger photo is halved for speed.
const FAST_SIDE_PX: u32 = 2600;
/// Below this the reader's bits are as good as noise (AprilTag's own scale of 0..255).
const LEAST_DECISION_MARGIN: f32 = 20.0;

/// Finds the card in the photo's grey picture (sRGB-encoded luma).
///
/// # Errors
/// [`CardError`] when fewer than two tags can be read or there are two cards.
pub fn find(grey: &GrayImage) -> Result<FoundCard, CardError> {
    let large = grey.width().max(grey.height()) > FAST_SIDE_PX;
    let first = if large { 2.0 } else { 1.0 };
    let mut tags = read_tags(grey, first)?;
    if distinct(&tags) < 4 {
        // Small or badly lit tags: a slower look at full size, or a calmer one at half.
        let second = if large { 1.0 } else { 2.0 };
        for tag in read_tags(grey, second)? {
            if !tags.iter().any(|t| t.id == tag.id && near(t, &tag)) {
                tags.push(tag);
            }
        }
    }
    for id in 0..4 {
        let seen = tags.iter().filter(|t| t.id == id).count();
        if seen > 1 {
            return Err(CardError::SeveralCards(id, seen));
        }
    }
    tags.sort_by_key(|t| t.id);
    match tags.as_slice() {
        [] => Err(CardError::NoCard),
        [one] => Err(CardError::OneTag(one.id)),
        _ => Ok(FoundCard { tags }),
    }
}

fn distinct(tags: &[FoundTag]) -> usize {
    (0..4).filter(|id| tags.iter().any(|t| t.id == *id)).count()
}

fn near(a: &FoundTag, b: &FoundTag) -> bool {
    a.corners[0].distance(b.corners[0]) < a.corners[0].distance(a.corners[2]) / 4.0
}

fn read_tags(grey: &GrayImage, decimation: f32) -> Result<Vec<FoundTag>, CardError> {
    let reader_error = |e: &dyn std::fmt::Display| CardError::Reader(e.to_string());
    let mut detector = Detector::builder()
        .add_family_bits(Family::tag_36h11(), 1)
        .build()
        .map_err(|e| reader_error(&e))?;
    detector.set_decimation(decimation);
    // More than one is unsafe: the library's workers read a list of tasks while it is being moved.
    detector.set_thread_number(1);
    let (width, height) = (grey.width() as usize, grey.height() as usize);
    let mut copy = Image::zeros_with_stride(width, height, width).map_err(|e| reader_error(&e))?;
    copy.as_slice_mut().copy_from_slice(grey.as_raw());
    let mut tags = Vec::new();
    for detection in detector.detect(&copy) {
        if detection.id() > 3 || detection.decision_margin() < LEAST_DECISION_MARGIN {
            continue;
        }
        // The library goes counter-clockwise on the picture; the card's tags are
        // printed half a turn from the library's idea of upright, so its list
        // starts at the card's top right.
        let [tr, tl, bl, br] = detection.corners().map(|[x, y]| Px::new(x, y));
        let rough = [tl, tr, br, bl];
        if let Some(corners) = refine_corners(grey, rough) {
            tags.push(FoundTag {
                id: detection.id() as u8,
                corners,
            });
        }
    }
    Ok(tags)
}
