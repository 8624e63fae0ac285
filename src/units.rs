//! Lengths and places with their unit in the type.
//!
//! Photo places are [`Px`]: (0, 0) is the outer corner of the first pixel, x to
//! the right, y down, so the middle of the first pixel is (0.5, 0.5). Tray
//! places are [`Mm`]: (0, 0) is the card's top-left corner, x along the card's
//! long side, y down the card.

use serde::{Deserialize, Serialize};

/// A place in the upright photo, in pixels.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Px {
    /// To the right, from the outer edge of the first column.
    pub x: f64,
    /// Down, from the outer edge of the first row.
    pub y: f64,
}

/// A place on the tray's plane, in millimetres from the card's top-left corner.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Mm {
    /// Along the card's long side.
    pub x: f64,
    /// Down the card's short side.
    pub y: f64,
}

impl Px {
    /// A place from its two coordinates.
    pub fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    /// Straight-line distance in pixels.
    pub fn distance(self, other: Self) -> f64 {
        (self.x - other.x).hypot(self.y - other.y)
    }
}

impl Mm {
    /// A place from its two coordinates.
    pub fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    /// Straight-line distance in millimetres.
    pub fn distance(self, other: Self) -> f64 {
        (self.x - other.x).hypot(self.y - other.y)
    }
}

impl From<Px> for (f64, f64) {
    fn from(place: Px) -> Self {
        (place.x, place.y)
    }
}

impl From<Mm> for (f64, f64) {
    fn from(place: Mm) -> Self {
        (place.x, place.y)
    }
}
