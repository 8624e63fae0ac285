//! From a file's objects to a plan: every mistake is found, not the first only.

use super::fault::{Fault, Mistake, PlanError};
use super::fields::Fields;
use super::{
    Colours, Joins, Line, MOST_IN_MODULE, MOST_JOINS, MOST_LINES, MOST_PIECES, MOST_WANTED, Module,
    Plan, csv, json,
};
use crate::cover::join::{self, JoinRules};
use crate::stock::kind::{Label, Name, Size, fit_to_show};
use serde_json::Value;
use std::collections::BTreeSet;

/// A plan file before it is looked at closely.
pub struct Raw {
    /// What it is called.
    pub name: Option<Label>,
    /// Properties of the whole.
    pub top: Fields,
    /// Listed joins; none when any tiling will do.
    pub joins: Option<Vec<Fields>>,
    /// Modules.
    pub modules: Vec<RawModule>,
}

/// A module before it is looked at closely.
pub struct RawModule {
    /// Its own properties.
    pub own: Fields,
    /// Its lines.
    pub lines: Vec<Fields>,
}

/// Reads a plan, JSON or a table: what begins with a brace is JSON.
///
/// # Errors
/// When it is no plan, or parts of it are wrong: all of them are told, with lines.
pub fn any_format(bytes: &[u8]) -> Result<Plan, PlanError> {
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    match text.iter().find(|byte| !byte.is_ascii_whitespace()) {
        None => Err(PlanError::NoModules),
        Some(b'{' | b'[') => json::read(bytes),
        Some(_) => csv::read(bytes),
    }
}

/// Looks closely.
///
/// # Errors
/// All mistakes, those that `faults` already holds among them.
pub fn plan(raw: &Raw, mut faults: Vec<Fault>) -> Result<Plan, PlanError> {
    if raw.modules.is_empty() && faults.is_empty() {
        return Err(PlanError::NoModules);
    }
    let lines: usize = raw.modules.iter().map(|module| module.lines.len()).sum();
    if lines.max(raw.modules.len()) > MOST_LINES {
        return Err(too_many_lines());
    }
    if raw.joins.as_ref().map_or(0, Vec::len) > MOST_JOINS {
        return Err(PlanError::TooMuch(format!("{MOST_JOINS} joins")));
    }
    let joins = join_rules(raw, &mut faults);
    let mut modules: Vec<Module> = Vec::new();
    let mut pieces: u64 = 0;
    for part in &raw.modules {
        let Some(module) = module(part, &mut faults) else {
            continue;
        };
        if let Some(other) = modules.iter().find(|other| other.name == module.name) {
            faults.push(part.own.fault(Mistake::SameModule {
                module: module.name.to_string(),
                line: other.at,
            }));
        }
        let before = pieces;
        pieces = pieces.saturating_add(module.wanted.saturating_mul(module.pieces()));
        if before <= MOST_PIECES && pieces > MOST_PIECES {
            faults.push(part.own.fault(Mistake::TooManyPieces { most: MOST_PIECES }));
        }
        modules.push(module);
    }
    if !faults.is_empty() {
        faults.sort_by_key(|fault| fault.line);
        return Err(PlanError::Faults(faults));
    }
    Ok(Plan {
        name: raw.name.clone(),
        modules,
        joins,
    })
}

/// A plan that nobody could wait for.
pub fn too_many_lines() -> PlanError {
    PlanError::TooMuch(format!("{MOST_LINES} lines"))
}

/// Hands on what is good and keeps the fault of what is not.
fn good<T>(result: Result<T, Fault>, faults: &mut Vec<Fault>) -> Option<T> {
    result.map_err(|fault| faults.push(fault)).ok()
}

fn module(raw: &RawModule, faults: &mut Vec<Fault>) -> Option<Module> {
    let own = &raw.own;
    own.strangers(&["module", "wanted", "hidden", "priority", "lines"], faults);
    let name = good(own.name("module"), faults);
    let wanted = match own.get("wanted").map(Value::as_u64) {
        Some(Some(0)) => {
            let name = name.as_ref().map_or("", Name::as_str);
            Err(own.fault(Mistake::ZeroWanted(name.to_owned())))
        }
        _ => own
            .number("wanted", 1, MOST_WANTED)
            .and_then(|wanted| wanted.ok_or_else(|| own.fault(Mistake::Missing("wanted")))),
    };
    let wanted = good(wanted, faults);
    let hidden = good(own.number("hidden", 0, MOST_WANTED), faults);
    let priority = good(own.number("priority", 1, 99), faults);
    let lines: Vec<Line> = raw
        .lines
        .iter()
        .filter_map(|fields| line(fields, faults))
        .collect();
    let (name, wanted) = (name?, wanted?);
    let hidden = hidden?.unwrap_or(0);
    if raw.lines.is_empty() {
        faults.push(own.fault(Mistake::NoLines(name.to_string())));
    }
    if hidden > wanted {
        faults.push(own.fault(Mistake::HiddenOverWanted {
            module: name.to_string(),
            hidden,
            wanted,
        }));
    }
    Some(Module {
        name,
        wanted,
        hidden,
        priority: priority?.unwrap_or(1),
        lines,
        at: own.at,
    })
}

fn line(fields: &Fields, faults: &mut Vec<Fault>) -> Option<Line> {
    fields.strangers(
        &[
            "form",
            "size",
            "count",
            "colours",
            "hidden_colours",
            "joins",
        ],
        faults,
    );
    let form = fields.name("form").and_then(|form| {
        if form.as_str() == "any" {
            Err(fields.fault(Mistake::AnyForm))
        } else {
            Ok(form)
        }
    });
    let form = good(form, faults);
    let size = good(size(fields, "size"), faults);
    let count = match fields.get("count").map(Value::as_u64) {
        Some(Some(0)) => Err(fields.fault(Mistake::ZeroCount)),
        _ => fields
            .number("count", 1, MOST_IN_MODULE)
            .and_then(|count| count.ok_or_else(|| fields.fault(Mistake::Missing("count")))),
    };
    let count = good(count, faults);
    let own = colours(fields, "colours")
        .and_then(|own| own.ok_or_else(|| fields.fault(Mistake::Missing("colours"))));
    let own = good(own, faults);
    let hidden = good(colours(fields, "hidden_colours"), faults);
    let joins = match fields.get("joins") {
        None => Ok(Joins::Never),
        Some(Value::String(word)) => match word.as_str() {
            "never" => Ok(Joins::Never),
            "hidden" => Ok(Joins::Hidden),
            "always" => Ok(Joins::Always),
            other => Err(fields.fault(Mistake::Joins(fit_to_show(other)))),
        },
        Some(other) => Err(fields.fault(Mistake::Joins(other.to_string()))),
    };
    let joins = good(joins, faults);
    Some(Line {
        form: form?,
        size: size?,
        count: count?,
        colours: own?,
        hidden_colours: hidden?,
        joins: joins?,
        at: fields.at,
    })
}

fn size(fields: &Fields, field: &'static str) -> Result<Size, Fault> {
    match fields.get(field) {
        None => Err(fields.fault(Mistake::Missing(field))),
        Some(Value::String(text)) => {
            Size::new(text).map_err(|cause| fields.fault(Mistake::Name(cause.to_string())))
        }
        Some(other) => Err(fields.fault(Mistake::Name(format!(
            "'{field}' is {other}; write studs as text, such as \"2x4\""
        )))),
    }
}

fn colours(fields: &Fields, field: &'static str) -> Result<Option<Colours>, Fault> {
    let Some(value) = fields.get(field) else {
        return Ok(None);
    };
    let wrong = || fields.fault(Mistake::Colours(field));
    let names = |list: &Value| -> Result<BTreeSet<Name>, Fault> {
        let list = list.as_array().ok_or_else(wrong)?;
        if list.is_empty() {
            return Err(fields.fault(Mistake::NoColours(field)));
        }
        let names = list.iter().map(|name| {
            let name = Name::new(name.as_str().ok_or_else(wrong)?);
            name.map_err(|cause| fields.fault(Mistake::Name(format!("'{field}': {cause}"))))
        });
        names.collect()
    };
    let colours = match value {
        Value::String(word) if word == "any" => Colours::Any,
        Value::String(_) => Colours::Of(names(&Value::Array(vec![value.clone()]))?),
        Value::Array(_) => Colours::Of(names(value)?),
        Value::Object(object) => match (object.len(), object.get("any_but")) {
            (1, Some(list)) => Colours::AnyBut(names(list)?),
            _ => return Err(wrong()),
        },
        _ => return Err(wrong()),
    };
    Ok(Some(colours))
}

fn join_rules(raw: &Raw, faults: &mut Vec<Fault>) -> JoinRules {
    let most = raw.top.number("most_parts", 2, join::MOST_PARTS as u64);
    let most = good(most, faults).flatten();
    let mut rules = JoinRules::default();
    if let Some(most) = most {
        rules.most_parts = most as usize;
    }
    let Some(listed) = &raw.joins else {
        return rules;
    };
    let mut list = Vec::new();
    for fields in listed {
        fields.strangers(&["size", "of"], faults);
        let whole = good(size(fields, "size"), faults);
        let parts = fields.get("of").and_then(Value::as_array).map(|parts| {
            let parts = parts.iter().map(|part| {
                Size::new(part.as_str().unwrap_or(""))
                    .map_err(|cause| fields.fault(Mistake::Name(cause.to_string())))
            });
            parts.collect::<Result<Vec<Size>, Fault>>()
        });
        let parts = parts.unwrap_or_else(|| Err(fields.fault(Mistake::Missing("of"))));
        if let (Some(whole), Some(parts)) = (whole, good(parts, faults)) {
            list.push((fields.at, whole, parts));
        }
    }
    let circle = join::circle(&list);
    if let Some((line, circle)) = &circle {
        faults.push(Fault {
            line: *line,
            what: Mistake::CyclicJoin(circle.clone()),
        });
    }
    for (line, whole, parts) in &list {
        if circle.is_none() && !join::tiles(*whole, parts) {
            let parts: Vec<String> = parts.iter().map(Size::to_string).collect();
            faults.push(Fault {
                line: *line,
                what: Mistake::NoTiling {
                    whole: *whole,
                    parts: parts.join(" + "),
                },
            });
        }
    }
    rules.listed = Some(
        list.into_iter()
            .map(|(_, whole, parts)| (whole, parts))
            .collect(),
    );
    rules
}
