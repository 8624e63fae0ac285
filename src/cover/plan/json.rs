//! A plan file in JSON.

use super::fault::Mistake;
use super::fault::PlanError;
use super::fields::Fields;
use super::read::{self, Raw, RawModule};
use super::{Fault, Plan};
use crate::stock::kind::{Label, fit_to_show};
use serde::Deserialize;
use serde_json::value::RawValue;

/// The format's version, as files say it.
pub const VERSION: &str = "v1";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Whole<'a> {
    plan: String,
    #[serde(default)]
    name: Option<String>,
    #[serde(default)]
    most_parts: Option<serde_json::Value>,
    #[serde(default, borrow)]
    joins: Option<Vec<&'a RawValue>>,
    #[serde(borrow)]
    modules: Vec<&'a RawValue>,
}

#[derive(Deserialize)]
struct Lines<'a> {
    #[serde(default, borrow)]
    lines: Option<Vec<&'a RawValue>>,
}

/// Only the version, to tell a newer plan from nonsense.
#[derive(Deserialize)]
struct Head {
    plan: String,
}

/// Reads a plan.
///
/// # Errors
/// When it is no plan, or parts of it are wrong: all of them are told, with lines.
pub fn read(bytes: &[u8]) -> Result<Plan, PlanError> {
    let text = std::str::from_utf8(bytes).map_err(|_| PlanError::NotText)?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if let Ok(head) = serde_json::from_str::<Head>(text)
        && head.plan != VERSION
    {
        return Err(PlanError::Version(Label::new(&head.plan)));
    }
    let whole: Whole = serde_json::from_str(text).map_err(|error| {
        let cause = Label::new(&error.to_string());
        let line = error.line();
        if error.is_data() {
            PlanError::Faults(vec![Fault {
                line: line as u64,
                what: Mistake::Shape(format!(
                    "this is not how a plan is written: {}; docs/cover.md shows how",
                    fit_to_show(&error.to_string())
                )),
            }])
        } else {
            PlanError::NotJson { line, cause }
        }
    })?;
    debug_assert_eq!(whole.plan, VERSION);
    let mut faults = Vec::new();
    let mut keep = |part: Result<Fields, Fault>| part.map_err(|fault| faults.push(fault)).ok();
    let joins = whole.joins.as_ref().map(|joins| {
        let joins = joins.iter().map(|part| Fields::of_json(text, part));
        joins.filter_map(&mut keep).collect::<Vec<_>>()
    });
    let mut modules = Vec::new();
    for part in &whole.modules {
        let Some(own) = keep(Fields::of_json(text, part)) else {
            continue;
        };
        let lines = match serde_json::from_str::<Lines>(part.get()) {
            Ok(found) => found.lines.unwrap_or_default(),
            Err(_) => {
                keep(Err(own.fault(Mistake::Shape(
                    "'lines' must be one list of objects in square brackets".to_owned(),
                ))));
                continue;
            }
        };
        let lines = lines.iter().map(|line| Fields::of_json(text, line));
        let lines = lines.filter_map(&mut keep).collect();
        modules.push(RawModule { own, lines });
    }
    let name = whole.name.as_deref().map(Label::new);
    let top = Fields::new(
        1,
        whole
            .most_parts
            .map(|value| vec![("most_parts".to_owned(), value)])
            .unwrap_or_default(),
    );
    let raw = Raw {
        name,
        top,
        joins,
        modules,
    };
    read::plan(&raw, faults)
}
