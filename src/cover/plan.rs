//! What a build needs: kinds of modules, how many of each, and their pieces.

pub mod csv;
pub mod fault;
pub mod fields;
pub mod json;
pub mod read;

use super::join::JoinRules;
use crate::stock::kind::{Label, Name, Size};
use std::collections::BTreeSet;
use std::fmt;

pub use fault::{Fault, PlanError};

/// The most modules of one kind that a plan may want.
pub const MOST_WANTED: u64 = 100_000;
/// The most pieces of one line that a module may hold.
pub const MOST_IN_MODULE: u64 = 100_000;
/// The most pieces that a whole plan may want: sums stay exact in the solver's
/// 64-bit floating point, whose tolerance is absolute.
pub const MOST_PIECES: u64 = 10_000_000;
/// The most lines of a whole plan, and of modules too: so many, with as many offers, are answered
/// in 20 to 40 s on two cores.
pub const MOST_LINES: usize = 2_000;
/// The most listed joins.
pub const MOST_JOINS: usize = 500;

/// What a build needs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// What it is called, if it says.
    pub name: Option<Label>,
    /// The kinds of modules, in the file's order.
    pub modules: Vec<Module>,
    /// Which pieces may be joined from smaller ones.
    pub joins: JoinRules,
}

/// One kind of module.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Module {
    /// What it is called; no other of the plan is called so.
    pub name: Name,
    /// How many of them, hidden ones included; from 1 to [`MOST_WANTED`].
    pub wanted: u64,
    /// How many of those stand where nobody sees them.
    pub hidden: u64,
    /// Kinds with a smaller number are finished first; equal ones count alike.
    pub priority: u64,
    /// Its pieces; at least one line.
    pub lines: Vec<Line>,
    /// Where it begins in the file, a line number from 1.
    pub at: u64,
}

/// One kind of piece of a module.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// As in a stock's [`Kind`](crate::stock::Kind); never `any`.
    pub form: Name,
    /// Studs.
    pub size: Size,
    /// How many a module, from 1 to [`MOST_IN_MODULE`].
    pub count: u64,
    /// Which colours will do.
    pub colours: Colours,
    /// Which colours will do *too* in a hidden module.
    pub hidden_colours: Option<Colours>,
    /// Where several smaller pieces will do for one.
    pub joins: Joins,
    /// Where it stands in the file, a line number from 1.
    pub at: u64,
}

/// Which colours will do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Colours {
    /// All.
    Any,
    /// These.
    Of(BTreeSet<Name>),
    /// All but these.
    AnyBut(BTreeSet<Name>),
}

/// Where several smaller pieces will do for one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Joins {
    /// Nowhere.
    #[default]
    Never,
    /// In hidden modules.
    Hidden,
    /// In all modules.
    Always,
}

impl Plan {
    /// Every colour that a line names.
    pub fn colours(&self) -> BTreeSet<&Name> {
        let lines = self.modules.iter().flat_map(|module| &module.lines);
        lines.flat_map(Line::named_colours).collect()
    }

    /// Pieces of the whole plan.
    pub fn pieces(&self) -> u64 {
        let modules = self.modules.iter();
        modules
            .map(|module| module.wanted.saturating_mul(module.pieces()))
            .fold(0, u64::saturating_add)
    }
}

impl Module {
    /// Pieces of one such module.
    pub fn pieces(&self) -> u64 {
        let counts = self.lines.iter().map(|line| line.count);
        counts.fold(0, u64::saturating_add)
    }
}

impl Line {
    /// Whether a piece of that colour will do.
    pub fn takes(&self, colour: &Name, hidden: bool) -> bool {
        self.colours.take(colour)
            || hidden
                && self
                    .hidden_colours
                    .as_ref()
                    .is_some_and(|colours| colours.take(colour))
    }

    /// Whether smaller pieces will do.
    pub fn may_join(&self, hidden: bool) -> bool {
        match self.joins {
            Joins::Never => false,
            Joins::Hidden => hidden,
            Joins::Always => true,
        }
    }

    /// The colours in words, for one sort of place.
    pub fn colours_in_words(&self, hidden: bool) -> String {
        match &self.hidden_colours {
            Some(too) if hidden => self.colours.or(too).to_string(),
            _ => self.colours.to_string(),
        }
    }

    /// Every colour that the line names.
    pub fn named_colours(&self) -> impl Iterator<Item = &Name> {
        let hidden = self.hidden_colours.iter();
        [&self.colours]
            .into_iter()
            .chain(hidden)
            .flat_map(|colours| match colours {
                Colours::Any => None,
                Colours::Of(names) | Colours::AnyBut(names) => Some(names),
            })
            .flatten()
    }
}

impl Colours {
    /// Whether that colour will do.
    pub fn take(&self, colour: &Name) -> bool {
        match self {
            Self::Any => true,
            Self::Of(names) => names.contains(colour),
            Self::AnyBut(names) => !names.contains(colour),
        }
    }

    /// What either takes.
    pub fn or(&self, other: &Self) -> Self {
        match (self, other) {
            (Self::Any, _) | (_, Self::Any) => Self::Any,
            (Self::Of(a), Self::Of(b)) => Self::Of(a.union(b).cloned().collect()),
            (Self::AnyBut(a), Self::AnyBut(b)) => {
                Self::any_but(a.intersection(b).cloned().collect())
            }
            (Self::Of(will), Self::AnyBut(not)) | (Self::AnyBut(not), Self::Of(will)) => {
                Self::any_but(not.difference(will).cloned().collect())
            }
        }
    }

    fn any_but(names: BTreeSet<Name>) -> Self {
        if names.is_empty() {
            Self::Any
        } else {
            Self::AnyBut(names)
        }
    }
}

/// `any`, `basalt or slate`, `any but rose`.
impl fmt::Display for Colours {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let list = |names: &BTreeSet<Name>| {
            let names: Vec<&str> = names.iter().map(Name::as_str).collect();
            match names.split_last() {
                Some((last, [])) => (*last).to_owned(),
                Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
                None => String::new(),
            }
        };
        match self {
            Self::Any => f.pad("any"),
            Self::Of(names) => f.pad(&list(names)),
            Self::AnyBut(names) => f.pad(&format!("any but {}", list(names))),
        }
    }
}
