//! What goes into a model and what comes out, in plain numbers.

use crate::cover::network::Apart;
use std::collections::BTreeMap;

/// How much is to be delivered to the lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Demand {
    /// What the finished modules need, from stock alone.
    Now,
    /// What all wanted modules need; what the stock lacks is missing.
    All,
    /// What the finished modules need, stock and missing pieces together.
    Next,
}

/// What an answer costs, to be made small.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Weights {
    /// A module of each variant.
    pub modules: Vec<f64>,
    /// A missing piece.
    pub missing: f64,
    /// A missing piece that nobody sells.
    pub unsold: f64,
    /// Whether prices count.
    pub prices: bool,
    /// A piece for plans that are kept in mind.
    pub kept: f64,
    /// A piece from each source for this plan's lines.
    pub sources: Vec<f64>,
    /// A join.
    pub join: f64,
}

/// What earlier answers settled, group by group.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pins {
    /// The groups.
    pub apart: Apart,
    /// No fewer modules of each group and priority.
    pub floors: BTreeMap<(usize, u64), u64>,
    /// No fewer modules in all.
    pub at_least: u64,
    /// Exactly these modules, by variant.
    pub modules: Option<Vec<u64>>,
    /// Between these many modules, by variant, and parts of modules will do.
    pub range: Option<Vec<(u64, u64)>>,
    /// No more missing pieces of each group.
    pub missing: Option<BTreeMap<usize, u64>>,
    /// No more missing pieces that nobody sells, of each group.
    pub unsold: Option<BTreeMap<usize, u64>>,
    /// Exactly these purchases, by offer.
    pub purchases: Option<Vec<Purchase>>,
    /// No fewer pieces for plans that are kept in mind, of each group; they take part
    /// if this is said.
    pub kept: Option<BTreeMap<usize, u64>>,
    /// Parts of joins will do: not an answer, but no answer is better.
    pub loose_joins: bool,
}

/// What is bought of one offer.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Purchase {
    /// Pieces or cups that are paid for.
    pub units: u64,
    /// Pieces of it that are put to use, by taker.
    pub used: BTreeMap<usize, u64>,
}

/// An answer in whole numbers.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Allotment {
    /// Finished modules by variant.
    pub modules: Vec<u64>,
    /// Pieces by source and taker, as the source lists its takers.
    pub taken: Vec<Vec<u64>>,
    /// Joins by way.
    pub joins: Vec<u64>,
    /// Missing pieces by taker, bought or not.
    pub missing: BTreeMap<usize, u64>,
    /// By offer.
    pub purchases: Vec<Purchase>,
}
