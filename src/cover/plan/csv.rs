//! A plan file as a table: a row for each line of a module.
//!
//! `wanted`, `hidden` and `priority` belong to the module: they are said in any of
//! its rows, or in all of them alike.

use super::fault::{Fault, Mistake, PlanError};
use super::fields::Fields;
use super::read::{self, Raw, RawModule};
use super::{MOST_LINES, Plan};
use crate::stock::kind::fit_to_show;
use crate::stock::table::layout::{self, Layout, broken, uneven};
use crate::stock::table::unguarded;
use serde_json::Value;

/// The columns; those after `colours` may be left out.
pub const COLUMNS: [&str; 10] = [
    "module",
    "wanted",
    "form",
    "size",
    "count",
    "colours",
    "hidden",
    "priority",
    "hidden_colours",
    "joins",
];

/// Those that must be there.
const NEEDED: usize = 6;

/// Those that belong to the module.
const OF_MODULE: [&str; 3] = ["wanted", "hidden", "priority"];

/// Between colours in one cell.
const BETWEEN: char = '|';

/// Reads a plan.
///
/// # Errors
/// When it is no such table, or rows are wrong: all of them are told, with lines.
pub fn read(bytes: &[u8]) -> Result<Plan, PlanError> {
    if std::str::from_utf8(bytes).is_err() {
        return Err(PlanError::NotText);
    }
    let layout = Layout::of(bytes).ok_or(PlanError::NotText)?;
    let mut reader = layout.reader();
    let no_good = |cause: String| PlanError::Table(format!("it is no good table: {cause}"));
    let no_table = |error: csv::Error| no_good(broken(&layout, &error));
    let header = reader.headers().map_err(no_table)?.clone();
    let titles = titles(&layout::titles(&header))?;
    let mut faults = Vec::new();
    let mut modules: Vec<RawModule> = Vec::new();
    let mut in_file = layout.lines();
    let mut rows = 0;
    for record in reader.records() {
        let record = record.map_err(no_table)?;
        rows += 1;
        if rows > MOST_LINES {
            return Err(read::too_many_lines());
        }
        let at = in_file.line(record.position());
        let record = match layout::cells(&record, titles.len()) {
            Ok(Some(record)) => record,
            Ok(None) => continue,
            Err(found) => return Err(no_good(uneven(at, found, titles.len()))),
        };
        let cell = |column: &str| {
            let place = titles.iter().position(|&title| title == column);
            let cell = place.and_then(|place| record.get(place)).unwrap_or("");
            (!cell.is_empty()).then(|| unguarded(cell))
        };
        let Some(name) = cell("module") else {
            faults.push(Fault {
                line: at,
                what: Mistake::Missing("module"),
            });
            continue;
        };
        let own = of_module(&name, cell);
        let line = of_line(cell);
        let same = |module: &&mut RawModule| {
            module.own.get("module") == Some(&Value::String(name.clone()))
        };
        match modules.iter_mut().find(same) {
            Some(module) => agree(module, at, own, &name, &mut faults),
            None => modules.push(RawModule {
                own: Fields::new(at, own),
                lines: Vec::new(),
            }),
        }
        if let Some(module) = modules.iter_mut().find(same) {
            module.lines.push(Fields::new(at, line));
        }
    }
    let raw = Raw {
        name: None,
        top: Fields::new(1, Vec::new()),
        joins: None,
        modules,
    };
    read::plan(&raw, faults)
}

fn titles(header: &[&str]) -> Result<Vec<&'static str>, PlanError> {
    let mut titles: Vec<&'static str> = Vec::new();
    for title in header {
        let lower = title.to_lowercase();
        let known = COLUMNS.into_iter().find(|&column| column == lower);
        let Some(column) = known else {
            return Err(PlanError::Table(format!(
                "line 1: the column '{}' means nothing here; the columns are {}",
                fit_to_show(title),
                COLUMNS.join(", ")
            )));
        };
        if titles.contains(&column) {
            return Err(PlanError::Table(format!(
                "line 1: the column '{column}' is there twice; keep one"
            )));
        }
        titles.push(column);
    }
    for column in COLUMNS.into_iter().take(NEEDED) {
        if !titles.contains(&column) {
            return Err(PlanError::Table(format!(
                "line 1: the column '{column}' is missing; {} must be there",
                COLUMNS.split_at(NEEDED).0.join(", ")
            )));
        }
    }
    Ok(titles)
}

fn of_module(name: &str, cell: impl Fn(&str) -> Option<String>) -> Vec<(String, Value)> {
    let mut pairs = vec![("module".to_owned(), Value::String(name.to_owned()))];
    for column in OF_MODULE {
        if let Some(text) = cell(column) {
            pairs.push((column.to_owned(), number(text)));
        }
    }
    pairs
}

fn of_line(cell: impl Fn(&str) -> Option<String>) -> Vec<(String, Value)> {
    let mut pairs = Vec::new();
    for column in ["form", "size", "joins"] {
        if let Some(text) = cell(column) {
            pairs.push((column.to_owned(), Value::String(text)));
        }
    }
    if let Some(text) = cell("count") {
        pairs.push(("count".to_owned(), number(text)));
    }
    for column in ["colours", "hidden_colours"] {
        if let Some(text) = cell(column) {
            pairs.push((column.to_owned(), colours(&text)));
        }
    }
    pairs
}

/// `any`, `basalt | slate`, `any but rose | sand`.
fn colours(cell: &str) -> Value {
    let list = |text: &str| {
        let names = text.split(BETWEEN).map(str::trim);
        let names = names.filter(|name| !name.is_empty());
        Value::Array(names.map(|name| Value::String(name.to_owned())).collect())
    };
    if cell == "any" {
        return Value::String(cell.to_owned());
    }
    match cell.strip_prefix("any but") {
        Some(names) if names.is_empty() || names.starts_with(' ') => {
            serde_json::json!({ "any_but": list(names) })
        }
        _ => list(cell),
    }
}

/// A whole number as spreadsheets write it; all else as text, which is then refused with its words.
fn number(text: String) -> Value {
    let whole = layout::whole_number(&text).and_then(|number| i64::try_from(number).ok());
    let number = whole.or_else(|| text.parse::<i64>().ok());
    number.map_or(Value::String(text), Value::from)
}

/// A later row of a module may repeat what an earlier one said, and add to it.
fn agree(
    module: &mut RawModule,
    at: u64,
    own: Vec<(String, Value)>,
    name: &str,
    faults: &mut Vec<Fault>,
) {
    for (key, value) in own {
        let Some(field) = OF_MODULE.into_iter().find(|&column| column == key) else {
            continue;
        };
        match module.own.get(field) {
            None => module.own.add(key, value),
            Some(there) if *there == value => {}
            Some(there) => faults.push(Fault {
                line: at,
                what: Mistake::Contradicts {
                    module: fit_to_show(name),
                    field,
                    here: value.to_string(),
                    there: there.to_string(),
                    line: module.own.at,
                },
            }),
        }
    }
}
