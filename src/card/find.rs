//! Finds the card's tags in a photo, with sub-pixel corners.
//!
//! Tags are read in smaller copies of the photo (`tags`); each tag's four sides are then
//! measured again on the full photo.

use image::GrayImage;
use thiserror::Error;

use super::edges::refine_corners;
use super::tags::Levels;
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
}

/// Finds the card in the photo's grey picture (sRGB-encoded luma).
///
/// # Errors
/// [`CardError`] when fewer than two tags can be read or there are two cards.
pub fn find(grey: &GrayImage) -> Result<FoundCard, CardError> {
    let levels = Levels::of(grey);
    let mut tags: Vec<FoundTag> = Vec::new();
    for level in levels.order() {
        for tag in levels.read(level) {
            if tags.iter().any(|t| t.id == tag.id && near(t, &tag)) {
                continue;
            }
            if let Some(corners) = refine_corners(grey, tag.corners) {
                tags.push(FoundTag { corners, ..tag });
            }
        }
        if (0..4).all(|id| tags.iter().any(|t| t.id == id)) {
            break;
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

fn near(a: &FoundTag, b: &FoundTag) -> bool {
    a.corners[0].distance(b.corners[0]) < a.corners[0].distance(a.corners[2]) / 4.0
}
