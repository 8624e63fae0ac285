//! What is not wrong with a plan but looks like a mistake.

use super::offers::Offers;
use super::plan::{Joins, Plan};
use crate::pieces::Shapes;
use crate::stock::kind::{Kind, Name};
use crate::stock::{Change, Stock};
use serde::Serialize;
use std::collections::BTreeSet;

/// Something a person should know.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Remark {
    /// Line of the plan file, from 1.
    pub line: u64,
    /// One sentence: what, and what to do.
    pub text: String,
}

/// Names that the user has used before.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Known {
    /// Colours that are or were in stock, are on offer, or were taught.
    pub colours: BTreeSet<Name>,
    /// Forms that are or were in stock or are on offer, and those that the program can
    /// count.
    pub forms: BTreeSet<Name>,
}

impl Known {
    /// Gathers names; `taught` are those of colours in photos. What was used up is
    /// known all the same, so the whole history is looked through.
    pub fn new(
        stock: &Stock,
        offers: Option<&Offers>,
        taught: impl Iterator<Item = Name>,
        shapes: Shapes,
    ) -> Self {
        let mut known = Self::default();
        let mut meet = |kind: &Kind| {
            if !known.colours.contains(&kind.colour) {
                known.colours.insert(kind.colour.clone());
            }
            if !known.forms.contains(&kind.form) {
                known.forms.insert(kind.form.clone());
            }
        };
        for change in stock.history.iter().flat_map(|entry| &entry.changes) {
            match change {
                Change::Count(step) => meet(&step.kind()),
                Change::Pend(sheet) | Change::Unpend(sheet) => {
                    sheet.lots.iter().for_each(|(kind, _)| meet(kind));
                }
            }
        }
        let offered = offers.into_iter().flat_map(|offers| &offers.list);
        offered.for_each(|offer| meet(&offer.kind));
        known.colours.extend(taught);
        let counted = shapes.forms().into_iter();
        let counted = counted.filter_map(|form| Name::new(form.name()).ok());
        known.forms.extend(counted);
        known
    }
}

/// How unlike two names may be for one to be the other mistyped, as the number of
/// letters changed, missing, added or swapped. Three in a long name is still a slip;
/// more is another word.
const SLIPS: usize = 3;

/// Finds what looks like a mistake, in the file's order.
pub fn remarks(plan: &Plan, known: &Known) -> Vec<Remark> {
    let mut list = Vec::new();
    let mut told: BTreeSet<&Name> = BTreeSet::new();
    for module in &plan.modules {
        for line in &module.lines {
            let mut say = |text: String| {
                list.push(Remark {
                    line: line.at,
                    text,
                });
            };
            for colour in line.named_colours() {
                if !known.colours.contains(colour) && told.insert(colour) {
                    say(unknown("colour", colour, &known.colours));
                }
            }
            if !known.forms.contains(&line.form) && told.insert(&line.form) {
                say(unknown("form", &line.form, &known.forms));
            }
            if module.hidden == 0 {
                let idle = if line.joins == Joins::Hidden {
                    "joins"
                } else if line.hidden_colours.is_some() {
                    "hidden_colours"
                } else {
                    continue;
                };
                say(format!(
                    "'{idle}' has no effect, as none of module {} is hidden; say how many are with 'hidden'",
                    module.name
                ));
            }
        }
    }
    list.sort_by_key(|remark| remark.line);
    list
}

fn unknown(what: &str, name: &Name, known: &BTreeSet<Name>) -> String {
    let distance = |other: &Name| {
        strsim::damerau_levenshtein(
            &name.as_str().to_lowercase(),
            &other.as_str().to_lowercase(),
        )
    };
    let near = known
        .iter()
        .map(|other| (distance(other), other))
        .filter(|&(distance, other)| {
            distance <= SLIPS && distance * 3 <= other.as_str().chars().count().max(3)
        })
        .min();
    let remedy = match near {
        Some((_, other)) => format!("did you mean '{other}'?"),
        None => "check its spelling, unless you have none of it yet".to_owned(),
    };
    let where_looked = if what == "colour" {
        "was ever in stock, is on offer or was taught"
    } else {
        "was ever in stock or is on offer"
    };
    format!("no {what} '{name}' {where_looked}; {remedy}")
}
