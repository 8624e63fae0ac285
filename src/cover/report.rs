//! All that a cover tells, as one value: tables and `--json` are made of it.
//! Schema: `docs/cover-v1.schema.json`.

mod build;

use super::advice::Buy;
use super::remarks::Remark;
use super::supply::Reading;
use crate::stock::kind::{Label, Name, Size};
use serde::Serialize;
use std::collections::BTreeMap;

pub use build::{Input, Keep, build};

/// The format's version.
pub const VERSION: &str = "v1";

/// All that a cover tells.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    /// [`VERSION`].
    pub cover: &'static str,
    /// The plan's name.
    pub plan: Option<Label>,
    /// Modules that it wants.
    pub wanted: u64,
    /// With the lowest counts of what a person has looked at.
    pub certain: Reach,
    /// With the best counts.
    pub likely: Reach,
    /// Which of the two the lists below follow.
    pub lists: Reading,
    /// By kind of module.
    pub kinds: Vec<KindReach>,
    /// What to take from where, for the modules that can be finished; in the order of
    /// the places.
    pub fetch: Vec<FetchRow>,
    /// Joins to be made for them.
    pub joins: Vec<JoinRow>,
    /// Colours used on lines that several will do for.
    pub colours: Vec<ColourRow>,
    /// Pieces that such lines left alone because others need them.
    pub spared: Vec<SparedRow>,
    /// Pieces missing for the modules that cannot be finished.
    pub missing: Vec<MissingRow>,
    /// What would finish one more module; none when all are.
    pub next: Option<NextModule>,
    /// What to buy; none without offers.
    pub advice: Option<Advice>,
    /// Plans that were kept in mind.
    pub kept: Vec<KeptRow>,
    /// What looks like a mistake in the plan.
    pub remarks: Vec<Remark>,
}

/// How far a stock reaches.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Reach {
    /// Modules that can be finished.
    pub modules: u64,
    /// No allotment finishes more than this; the same when that is proven.
    pub modules_at_most: u64,
    /// Pieces missing for the rest.
    pub missing: u64,
    /// No allotment lacks fewer; the same when that is proven. With offers nothing is
    /// claimed beyond what is found, as the cheapest way may lack more pieces.
    pub missing_at_least: u64,
    /// What to buy costs, with offers.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cost: Option<f64>,
    /// No purchase that does costs less.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cost_at_least: Option<f64>,
    /// Whether all of this is proven to be the best.
    pub proven: bool,
}

/// How far it reaches for one kind of module, seen and hidden apart.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct KindReach {
    /// Which.
    pub module: Name,
    /// Whether these stand hidden.
    pub hidden: bool,
    /// Wanted.
    pub wanted: u64,
    /// Finished for certain.
    pub certain: u64,
    /// Finished likely.
    pub likely: u64,
}

/// A line of the plan, as other parts refer to it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct LineName {
    /// Which module.
    pub module: Name,
    /// Whether in hidden ones.
    pub hidden: bool,
    /// Line of the plan file, from 1.
    pub line: u64,
}

/// Pieces of one kind from one place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FetchRow {
    /// Where.
    pub place: Name,
    /// As in a stock's kind.
    pub form: Name,
    /// Studs.
    pub size: Size,
    /// Colour.
    pub colour: Name,
    /// How many.
    pub take: u64,
    /// How many of those are certain to be there.
    pub certain: u64,
    /// How many of those nobody has looked at yet.
    pub pending: u64,
    /// What for.
    #[serde(rename = "for")]
    pub purposes: Vec<FetchPurpose>,
}

/// What fetched pieces are for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FetchPurpose {
    /// Which line.
    #[serde(flatten)]
    pub line: LineName,
    /// How many.
    pub pieces: u64,
    /// What they are joined to, if they are parts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub joined_to: Option<Size>,
}

/// Pieces that are made from smaller ones.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct JoinRow {
    /// Which line.
    #[serde(flatten)]
    pub line: LineName,
    /// Form.
    pub form: Name,
    /// What is made.
    pub size: Size,
    /// How many of it.
    pub pieces: u64,
    /// From how many of what, each.
    pub parts: BTreeMap<Size, u64>,
}

/// Which colours a line gets.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ColourRow {
    /// Which line.
    #[serde(flatten)]
    pub line: LineName,
    /// Form.
    pub form: Name,
    /// Size.
    pub size: Size,
    /// What would do, in words.
    pub will_do: String,
    /// What it gets, pieces by colour.
    pub gets: BTreeMap<Name, u64>,
}

/// Pieces that were left for others.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SparedRow {
    /// Form.
    pub form: Name,
    /// Size.
    pub size: Size,
    /// Colour.
    pub colour: Name,
    /// How many.
    pub pieces: u64,
    /// For what, in words.
    #[serde(rename = "for")]
    pub purpose: String,
}

/// Pieces of one kind that are missing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct MissingRow {
    /// Form.
    pub form: Name,
    /// Size.
    pub size: Size,
    /// Which colours will do, in words.
    pub colours: String,
    /// How many.
    pub pieces: u64,
    /// How many of those no offer sells; none without offers.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub not_sold: Option<u64>,
    /// Pieces of that size and colour in stock whose form is not known: look at them
    /// before buying.
    pub form_not_known: u64,
    /// For which modules.
    pub modules: Vec<Name>,
}

/// What would finish one more module.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct NextModule {
    /// Which kinds there would be more of.
    pub modules: Vec<NextKind>,
    /// Pieces in all.
    pub pieces: u64,
    /// Whether fewer are proven not to do.
    pub proven: bool,
    /// Which pieces.
    pub missing: Vec<MissingRow>,
}

/// A kind of module of which there would be more, or fewer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct NextKind {
    /// Which.
    pub module: Name,
    /// Whether hidden.
    pub hidden: bool,
    /// How many more; fewer when negative.
    pub more: i64,
}

/// What to buy.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Advice {
    /// What prices are in.
    pub currency: Option<Label>,
    /// In the order of the offers.
    pub buy: Vec<Buy>,
    /// For all of it.
    pub cost: f64,
    /// Pieces that nobody sells.
    pub not_sold: u64,
}

/// What is left of a plan that was kept in mind.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct KeptRow {
    /// Its file or name.
    pub plan: Label,
    /// Modules that it wants.
    pub wanted: u64,
    /// Modules of it that the stock reaches for today.
    pub before: u64,
    /// Modules of it that the stock reaches for without the fetched pieces.
    pub after: u64,
}

impl Report {
    /// Whether a person should look before relying on it: certain and likely differ,
    /// something is not proven, pending pieces are to be fetched, or the plan has
    /// remarks.
    pub fn needs_a_look(&self) -> bool {
        self.certain.modules != self.likely.modules
            || self.certain.missing != self.likely.missing
            || !self.certain.proven
            || !self.likely.proven
            || self.fetch.iter().any(|row| row.pending > 0)
            || !self.remarks.is_empty()
    }
}
