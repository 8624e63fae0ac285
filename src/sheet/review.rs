//! What people put right on a sheet, as it stands in the sheet file.
//!
//! The sheet's `pieces` and `groups` are always the present, corrected state. The
//! guess they began with stands here whole, and between the two a step for every
//! correction: who, when, from what, to what. Playing the steps over the guess gives
//! the present state (stage `review` does), so undo and redo have no limit.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::file::{Group, Piece, Unexplained};

/// The guess, and what became of it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Review {
    /// The sheet as it was counted.
    pub guess: Guess,
    /// Corrections that hold, oldest first.
    pub steps: Vec<Step>,
    /// Corrections that were undone, the one undone last at the end.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub undone: Vec<Step>,
    /// Groups whose number a person set outright.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub counts: Vec<SetCount>,
}

/// What the program said before anybody looked.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Guess {
    /// Every piece.
    pub pieces: Vec<Piece>,
    /// Pieces by form, size and colour.
    pub groups: Vec<Group>,
    /// What no piece explained.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unexplained: Vec<Unexplained>,
    /// Where the pieces live, as it was counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// Whether it was counted with the taught colours as all there are.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub only_taught: bool,
}

/// One correction.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// What was done.
    pub what: What,
    /// Who, as the system calls them; `-` when unknown.
    pub who: String,
    /// When, UTC.
    pub time: Timestamp,
    /// The pieces as they were.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub from: Vec<Piece>,
    /// The same pieces as they became; a piece of `from` whose id is not here is gone.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub to: Vec<Piece>,
    /// Places that no piece explained and that are settled by this.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub settled: Vec<Unexplained>,
    /// A group's number, set outright or given back to the pieces.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count: Option<CountStep>,
    /// Where the pieces live.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<PlaceStep>,
}

/// What a correction did.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum What {
    /// A person looked: the guess is right.
    Accept,
    /// Another form, size, colour or face.
    Change,
    /// No piece after all.
    Remove,
    /// A piece that was missed.
    Add,
    /// One piece is two.
    Split,
    /// Two pieces are one.
    Join,
    /// All pieces of one colour are of another.
    Recolour,
    /// A group's number was set outright.
    Count,
    /// A place that no piece explained holds nothing to count.
    Settle,
    /// Where the pieces live.
    Place,
    /// The other answer to whether the taught colours are all there are.
    OnlyTaught,
}

/// A group's number that a person set outright.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetCount {
    /// Form, as in a piece.
    pub form: String,
    /// Size, as in a piece.
    pub size: String,
    /// Colour, as in a piece.
    pub colour: String,
    /// How many there are, whatever the pieces say.
    pub count: u32,
    /// Why, in the person's words.
    pub reason: String,
}

/// A number set outright, before and after.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CountStep {
    /// What was set before; nothing when the pieces counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<SetCount>,
    /// What is set now; nothing when the pieces count again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<SetCount>,
}

/// A sheet's place, before and after.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlaceStep {
    /// Before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    /// After.
    pub to: String,
}
