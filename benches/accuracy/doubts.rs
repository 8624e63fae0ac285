//! What the program doubts, and whether it is right to: counted pieces by the main reason of their doubt.

use std::collections::BTreeMap;

use cuptally::sheet::SURE;
use serde::{Deserialize, Serialize};

use crate::program::SaidPiece;

/// What is wrong with a counted piece; nothing where it is right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Faults {
    /// It matches no true piece; then nothing else is told.
    pub invented: bool,
    /// Of another size.
    pub size: bool,
    /// Of another form, or of a form that was not told.
    pub form: bool,
    /// Of another colour.
    pub colour: bool,
}

impl Faults {
    /// Of a piece that matches no true one.
    pub const INVENTED: Self = Self {
        invented: true,
        size: false,
        form: false,
        colour: false,
    };

    /// Whether there are any.
    pub fn any(self) -> bool {
        self.invented || self.size || self.form || self.colour
    }
}

/// Pieces whose doubt has one main reason.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Doubted {
    /// How many.
    pub number: u32,
    /// Of these, how many are wrong in anything or invented.
    pub wrong: u32,
    /// Of these, invented.
    pub invented: u32,
    /// Of the wrong, those of another size; a piece may be wrong in several things.
    pub size: u32,
    /// Of the wrong, those of another form.
    pub form: u32,
    /// Of the wrong, those of another colour.
    pub colour: u32,
    /// Sum of the stated probabilities.
    pub stated: f64,
}

/// Pieces by main reason.
pub type ByReason = BTreeMap<String, Doubted>;

/// The reason of pieces without a doubt.
pub const SURE_PIECES: &str = "none: sure";

/// Beginnings of doubts that go on with the name of a shape or colour, and what they are called here. The others are called
/// as the sheet words them.
const OPEN_ENDED: [(&str, &str); 3] = [
    ("could as well be a ", "could as well be another form"),
    ("could be a ", "could be another size or shape"),
    ("colour could be ", "colour could be another taught one"),
];

/// Doubts that begin so and are whole.
const WHOLE: [&str; 1] = ["colour could be one that was not taught"];

/// The main reason why a piece is doubtful: the first on its sheet.
pub fn main_reason(piece: &SaidPiece) -> String {
    if piece.sure >= SURE {
        return SURE_PIECES.to_owned();
    }
    let Some(first) = piece.doubts.first() else {
        return "none given".to_owned();
    };
    let open = OPEN_ENDED.iter().find(|(start, _)| {
        first.starts_with(start) && !WHOLE.iter().any(|whole| first.starts_with(whole))
    });
    open.map_or_else(|| first.clone(), |(_, name)| (*name).to_owned())
}

/// Sorts a sheet's pieces by reason.
pub fn by_reason(pieces: &[SaidPiece], faults: &[Faults]) -> ByReason {
    let mut reasons = ByReason::new();
    for (piece, fault) in pieces.iter().zip(faults) {
        let sum = reasons.entry(main_reason(piece)).or_default();
        sum.number += 1;
        sum.wrong += u32::from(fault.any());
        sum.invented += u32::from(fault.invented);
        sum.size += u32::from(fault.size);
        sum.form += u32::from(fault.form);
        sum.colour += u32::from(fault.colour);
        sum.stated += piece.sure;
    }
    reasons
}

/// Adds those of another photo.
pub fn add(sum: &mut ByReason, other: ByReason) {
    for (reason, part) in other {
        let sum = sum.entry(reason).or_default();
        sum.number += part.number;
        sum.wrong += part.wrong;
        sum.invented += part.invented;
        sum.size += part.size;
        sum.form += part.form;
        sum.colour += part.colour;
        sum.stated += part.stated;
    }
}
