//! What can be wrong with a plan, each fault with its line in the file.

use crate::stock::kind::{Label, Size};
use std::fmt;

/// How many faults are told at once.
const TOLD: usize = 20;

/// One mistake and where it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Line of the file, from 1.
    pub line: u64,
    /// What is wrong and what to do.
    pub what: Mistake,
}

/// `line 4: ...`
impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.what)
    }
}

/// What is wrong with a part of a plan.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Mistake {
    /// Not the JSON that belongs there.
    #[error("{0}")]
    Shape(String),
    /// A property that means nothing.
    #[error("'{found}' means nothing here; what can stand here is {known}")]
    Unknown {
        /// What stands there.
        found: String,
        /// What could.
        known: String,
    },
    /// A property twice.
    #[error("'{0}' is said twice; keep one")]
    Twice(String),
    /// A property that must be there.
    #[error("'{0}' is missing; say it")]
    Missing(&'static str),
    /// No whole number in its bounds.
    #[error("'{field}' is {found}; say a whole number from {least} to {most}")]
    Number {
        /// The property.
        field: &'static str,
        /// What it says.
        found: String,
        /// The least it can be.
        least: u64,
        /// The most it can be.
        most: u64,
    },
    /// A module of which none are wanted.
    #[error("module {0} is wanted 0 times; say how many, or leave the module out")]
    ZeroWanted(String),
    /// A piece of which none are needed.
    #[error("the line needs 0 pieces; say how many, or leave the line out")]
    ZeroCount,
    /// A name, form or size that cannot be.
    #[error("{0}")]
    Name(String),
    /// `any` is no form of a plan.
    #[error(
        "the form 'any' is what a count says when it cannot tell; a plan says which: brick, plate, tile or a form of your own"
    )]
    AnyForm,
    /// No colours.
    #[error(
        "'{0}' is no choice of colours; say \"any\", [\"basalt\", \"slate\"] or {{\"any_but\": [\"rose\"]}}"
    )]
    Colours(&'static str),
    /// An empty list of colours.
    #[error("'{0}' lists no colour, so no piece would ever do; list at least one, or say \"any\"")]
    NoColours(&'static str),
    /// Not a word for joins.
    #[error("'joins' is '{0}'; say never, hidden or always")]
    Joins(String),
    /// More hidden than there are.
    #[error(
        "module {module} contradicts itself: {hidden} hidden of {wanted} wanted; hidden ones are a part of those wanted"
    )]
    HiddenOverWanted {
        /// Which.
        module: String,
        /// Hidden.
        hidden: u64,
        /// Wanted.
        wanted: u64,
    },
    /// Rows of a table differ about their module.
    #[error(
        "module {module} contradicts itself: '{field}' is {here} here and {there} in line {line}; say it once"
    )]
    Contradicts {
        /// Which.
        module: String,
        /// Column.
        field: &'static str,
        /// Here.
        here: String,
        /// There.
        there: String,
        /// Where.
        line: u64,
    },
    /// Two modules of one name.
    #[error(
        "there is another module {module} in line {line}; give it another name, or make one of the two"
    )]
    SameModule {
        /// The name.
        module: String,
        /// The other.
        line: u64,
    },
    /// No lines.
    #[error("module {0} has no lines; say which pieces it needs")]
    NoLines(String),
    /// Too many pieces in all.
    #[error(
        "the plan comes to more than {most} pieces with this module; split it into several plans"
    )]
    TooManyPieces {
        /// The most.
        most: u64,
    },
    /// A join of parts that cannot make it.
    #[error(
        "a {whole} cannot be joined from {parts}: they do not cover its studs exactly; take parts that do"
    )]
    NoTiling {
        /// What should come out.
        whole: Size,
        /// From what.
        parts: String,
    },
    /// A join that leads back to itself.
    #[error("the joins go round in a circle: {0}; take one of them out")]
    CyclicJoin(String),
}

/// Why a plan cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PlanError {
    /// Not UTF-8.
    #[error("it is not UTF-8 text; save it as UTF-8")]
    NotText,
    /// Not JSON at all.
    #[error("line {line}: it is not JSON: {cause}; put it right there")]
    NotJson {
        /// Where.
        line: usize,
        /// What the reader said.
        cause: Label,
    },
    /// Another version.
    #[error(
        "it is a plan of version '{0}', and this program reads v1; a newer cuptally may read it"
    )]
    Version(Label),
    /// Not a table with the columns that must be there.
    #[error("{0}")]
    Table(String),
    /// More than can be answered.
    #[error("it has more than {0}; split it into several plans")]
    TooMuch(String),
    /// No modules.
    #[error("it has no modules, so there is nothing to build; add one")]
    NoModules,
    /// Mistakes in places.
    #[error("{}", told(.0))]
    Faults(Vec<Fault>),
}

/// A line for each, up to [`TOLD`].
fn told(faults: &[Fault]) -> String {
    let mut lines: Vec<String> = faults.iter().take(TOLD).map(Fault::to_string).collect();
    if faults.len() > TOLD {
        lines.push(format!("and {} more", faults.len() - TOLD));
    }
    lines.join("\n  ")
}
