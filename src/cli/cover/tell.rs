//! The report as a person reads it.

mod rest;

use crate::cli::Failure;
use crate::cli::say::{self, Cell, Column};
use crate::cover::report::{FetchPurpose, LineName, Reach, Report};
use crate::cover::supply::Reading;
use serde::Serialize;

/// The report and, once taken, the history entry.
#[derive(Serialize)]
pub struct Json<'a> {
    #[serde(flatten)]
    pub report: &'a Report,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub entry: Option<u64>,
}

/// Whether there was anything to cover the plan with.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Held {
    NoStock,
    Nothing,
    Pieces,
}

/// Prints all of it.
pub fn tell(report: &Report, held: Held) -> Result<(), Failure> {
    say::print_wrapped(&headline(report, held), 2)?;
    kinds(report)?;
    unproven(report)?;
    fetch(report)?;
    joins(report)?;
    colours(report)?;
    rest::missing(report)?;
    if let Some(next) = &report.next {
        say::print("")?;
        say::print_wrapped(&rest::next_module(next), 2)?;
    }
    if let Some(advice) = &report.advice {
        rest::buy(advice, report)?;
    }
    rest::kept(report)
}

fn modules(count: u64) -> String {
    format!("{count} {}", if count == 1 { "module" } else { "modules" })
}

fn pieces(count: u64) -> String {
    format!("{count} {}", if count == 1 { "piece" } else { "pieces" })
}

fn headline(report: &Report, held: Held) -> String {
    let (certain, likely) = (report.certain.modules, report.likely.modules);
    let wanted = report.wanted;
    // Of nothing there is nothing to be certain of.
    let nothing = match held {
        Held::NoStock => Some("There is no stock yet"),
        Held::Nothing => Some("The stock is empty"),
        Held::Pieces => None,
    };
    if let Some(nothing) = nothing {
        return format!("{nothing}, so it finishes {likely} of {}.", modules(wanted));
    }
    let name = report
        .plan
        .as_ref()
        .map_or("The stock", |name| name.as_str());
    let begin = if report.plan.is_some() {
        format!("{name}: the stock")
    } else {
        name.to_owned()
    };
    if certain == likely {
        format!(
            "{begin} finishes {certain} of {}, for certain.",
            modules(wanted)
        )
    } else {
        format!(
            "{begin} finishes {likely} of {} if the best counts hold; {certain} for certain.",
            modules(wanted)
        )
    }
}

fn module_name(name: &str, hidden: bool) -> String {
    if hidden {
        format!("{name}, hidden")
    } else {
        name.to_owned()
    }
}

fn line_name(line: &LineName) -> String {
    module_name(line.module.as_str(), line.hidden)
}

fn kinds(report: &Report) -> Result<(), Failure> {
    let mut table = say::table(&[
        ("Module", Column::Text),
        ("Wanted", Column::Number),
        ("Certain", Column::Number),
        ("Likely", Column::Number),
    ]);
    for kind in &report.kinds {
        let likely = if kind.certain == kind.likely {
            Cell::new(kind.likely)
        } else {
            say::open(kind.likely)
        };
        table.add_row([
            Cell::new(module_name(kind.module.as_str(), kind.hidden)),
            Cell::new(kind.wanted),
            Cell::new(kind.certain),
            likely,
        ]);
    }
    table.add_row([
        say::bold("All"),
        say::bold(report.wanted),
        say::bold(report.certain.modules),
        say::bold(report.likely.modules),
    ]);
    say::print_table(&table)
}

/// Nothing when all is proven; else how far off it can be.
fn unproven(report: &Report) -> Result<(), Failure> {
    for (word, reach) in [("certain", &report.certain), ("likely", &report.likely)] {
        let Reach {
            modules,
            modules_at_most,
            missing,
            missing_at_least,
            cost,
            cost_at_least,
            proven,
        } = *reach;
        if proven {
            continue;
        }
        let mut gaps = Vec::new();
        if modules < modules_at_most {
            gaps.push(format!(
                "at most {modules_at_most} modules could be finished"
            ));
        }
        if missing > missing_at_least {
            gaps.push(format!("at least {missing_at_least} pieces are missing"));
        }
        if let (Some(cost), Some(least)) = (cost, cost_at_least)
            && cost > least
        {
            gaps.push(format!("at least {least:.2} is to be paid"));
        }
        if gaps.is_empty() {
            gaps.push("it is off by less than a hundredth, if at all".to_owned());
        }
        say::print_wrapped(
            &format!(
                "The {word} answer is good but not proven to be the best: {}.",
                gaps.join(", ")
            ),
            2,
        )?;
    }
    Ok(())
}

fn reading(report: &Report) -> &'static str {
    match report.lists {
        Reading::Certain => "by the lowest counts",
        Reading::Likely => "by the best counts",
    }
}

fn fetch(report: &Report) -> Result<(), Failure> {
    if report.fetch.is_empty() {
        return Ok(());
    }
    let built = match report.lists {
        Reading::Certain => report.certain.modules,
        Reading::Likely => report.likely.modules,
    };
    say::print(&format!(
        "\nFetch for {}, {}:",
        modules(built),
        reading(report)
    ))?;
    let doubtful = report.fetch.iter().any(|row| row.certain < row.take);
    let mut columns = vec![
        ("Place", Column::Text),
        ("Piece", Column::Short),
        ("Colour", Column::Short),
        ("Take", Column::Number),
    ];
    if doubtful {
        columns.push(("Certain", Column::Number));
    }
    columns.push(("For", Column::Text));
    let mut table = say::table(&columns);
    let mut last = None;
    for row in &report.fetch {
        let place = if last == Some(&row.place) {
            Cell::new("")
        } else {
            say::bold(&row.place)
        };
        last = Some(&row.place);
        let mut cells = vec![
            place,
            Cell::new(format!("{} {}", row.form, row.size)),
            Cell::new(&row.colour),
            Cell::new(row.take),
        ];
        if doubtful {
            cells.push(if row.certain < row.take {
                say::open(row.certain)
            } else {
                Cell::new(row.certain)
            });
        }
        cells.push(Cell::new(purposes(&row.purposes)));
        table.add_row(cells);
    }
    say::print_table(&table)?;
    let pending: u64 = report.fetch.iter().map(|row| row.pending).sum();
    if pending > 0 {
        say::note(&format!(
            "{} of the fetch list {} pending: nobody has looked at the photos yet",
            pieces(pending),
            if pending == 1 { "is" } else { "are" }
        ));
    }
    Ok(())
}

/// `quay wall 12; quay wall, hidden 6 (for 2x6)`, lines of a module together.
fn purposes(list: &[FetchPurpose]) -> String {
    let mut words: Vec<(String, String, u64)> = Vec::new();
    for purpose in list {
        let name = line_name(&purpose.line);
        let joined = purpose
            .joined_to
            .map_or(String::new(), |size| format!(" (joined to {size})"));
        match words
            .iter_mut()
            .find(|(n, j, _)| *n == name && *j == joined)
        {
            Some((_, _, pieces)) => *pieces += purpose.pieces,
            None => words.push((name, joined, purpose.pieces)),
        }
    }
    if let [(name, joined, _)] = words.as_slice() {
        return format!("{name}{joined}");
    }
    let words = words
        .iter()
        .map(|(name, joined, n)| format!("{n} {name}{joined}"));
    words.collect::<Vec<_>>().join("; ")
}

fn joins(report: &Report) -> Result<(), Failure> {
    if report.joins.is_empty() {
        return Ok(());
    }
    say::print("\nJoin:")?;
    let mut table = say::table(&[
        ("Pieces", Column::Number),
        ("Piece", Column::Short),
        ("From, each", Column::Text),
        ("For", Column::Text),
    ]);
    for row in &report.joins {
        let parts = row.parts.iter().rev();
        let parts: Vec<String> = parts.map(|(size, n)| format!("{n} {size}")).collect();
        table.add_row([
            row.pieces.to_string(),
            format!("{} {}", row.form, row.size),
            parts.join(" + "),
            line_name(&row.line),
        ]);
    }
    say::print_table(&table)
}

fn colours(report: &Report) -> Result<(), Failure> {
    if !report.colours.is_empty() {
        say::print("\nColours, where several will do:")?;
        let mut table = say::table(&[
            ("Module", Column::Text),
            ("Piece", Column::Short),
            ("Will do", Column::Text),
            ("Gets", Column::Text),
        ]);
        for row in &report.colours {
            let mut gets: Vec<_> = row.gets.iter().collect();
            gets.sort_by(|a, b| b.1.cmp(a.1).then(a.0.cmp(b.0)));
            let gets: Vec<String> = gets.iter().map(|(name, n)| format!("{n} {name}")).collect();
            table.add_row([
                line_name(&row.line),
                format!("{} {}", row.form, row.size),
                row.will_do.clone(),
                gets.join(", "),
            ]);
        }
        say::print_table(&table)?;
    }
    if report.spared.is_empty() {
        return Ok(());
    }
    say::print("\nSpared by those, as others take nothing else:")?;
    let mut table = say::table(&[
        ("Piece", Column::Short),
        ("Colour", Column::Short),
        ("Pieces", Column::Number),
        ("For", Column::Text),
    ]);
    for row in &report.spared {
        table.add_row([
            format!("{} {}", row.form, row.size),
            row.colour.to_string(),
            row.pieces.to_string(),
            row.purpose.clone(),
        ]);
    }
    say::print_table(&table)
}
