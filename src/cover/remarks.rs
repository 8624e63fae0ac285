//! What is not wrong with a plan but looks like a mistake.

use super::offers::Offers;
use super::plan::{Joins, Plan};
use crate::pieces::Shapes;
use crate::stock::kind::{Kind, Name, Size};
use crate::stock::near::nearest;
use crate::stock::{Change, Stock};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

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
    /// Forms of the list of shapes, each with the sizes that it has there, in stock or on offer.
    pub sizes: BTreeMap<Name, BTreeSet<Size>>,
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
        for shape in shapes.all() {
            let form = Name::new(shape.form().name());
            if let (Ok(form), Ok(size)) = (form, Size::new(&shape.size())) {
                known.sizes.entry(form).or_default().insert(size);
            }
        }
        let mut meet = |kind: &Kind| {
            if !known.colours.contains(&kind.colour) {
                known.colours.insert(kind.colour.clone());
            }
            if !known.forms.contains(&kind.form) {
                known.forms.insert(kind.form.clone());
            }
            if let Some(sizes) = known.sizes.get_mut(&kind.form) {
                sizes.insert(kind.size);
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
        known.forms.extend(known.sizes.keys().cloned());
        known
    }

    /// What looks mistyped in a form, if anything.
    pub fn doubt_form(&self, form: &Name) -> Option<String> {
        (!self.forms.contains(form)).then(|| unknown("form", form, &self.forms))
    }

    /// What looks mistyped in a size, if anything. Of a form that no list has, any will do: nobody
    /// said which sizes it comes in.
    pub fn doubt_size(&self, form: &Name, size: Size) -> Option<String> {
        let sizes = self.sizes.get(form)?;
        (!sizes.contains(&size)).then(|| unknown_size(form, size, sizes))
    }
}

/// Finds what looks like a mistake, in the file's order.
pub fn remarks(plan: &Plan, known: &Known) -> Vec<Remark> {
    let mut list = Vec::new();
    let mut told: BTreeSet<&Name> = BTreeSet::new();
    let mut told_sizes: BTreeSet<(&Name, Size)> = BTreeSet::new();
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
            if let Some(doubt) = known.doubt_form(&line.form)
                && told.insert(&line.form)
            {
                say(doubt);
            }
            // What is joined from smaller pieces need not be one itself.
            if line.joins == Joins::Never
                && let Some(doubt) = known.doubt_size(&line.form, line.size)
                && told_sizes.insert((&line.form, line.size))
            {
                say(doubt);
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
    let remedy = match nearest(name, known) {
        Some(other) => format!("did you mean '{other}'?"),
        None => "check its spelling, unless you have none of it yet".to_owned(),
    };
    let where_looked = if what == "colour" {
        "was ever in stock, is on offer or was taught"
    } else {
        "is in the list of shapes, was ever in stock or is on offer"
    };
    format!("no {what} '{name}' {where_looked}; {remedy}")
}

/// A size is mistyped by one key; of those that are one key away the nearest was meant.
fn unknown_size(form: &Name, size: Size, known: &BTreeSet<Size>) -> String {
    let typed = size.to_string();
    let off = |other: Size| {
        let ((a, b), (c, d)) = (size.studs(), other.studs());
        a.abs_diff(c).saturating_add(b.abs_diff(d))
    };
    let near = known.iter().copied();
    let near = near
        .filter(|other| strsim::damerau_levenshtein(&typed, &other.to_string()) <= 1)
        .min_by_key(|&other| off(other));
    let remedy = match near {
        Some(other) => format!("did you mean '{form} {other}'?"),
        None => "check the size, unless you have such pieces".to_owned(),
    };
    format!("no {form} {size} is in the list of shapes, was ever in stock or is on offer; {remedy}")
}
