//! The report as a person reads it.

use crate::cli::Failure;
use crate::cli::say::{self, Column};
use crate::cover::report::{Advice, FetchPurpose, LineName, MissingRow, NextModule, Reach, Report};
use crate::cover::supply::Reading;
use comfy_table::Cell;
use serde::Serialize;

/// The report and, once taken, the history entry.
#[derive(Serialize)]
pub struct Json<'a> {
    #[serde(flatten)]
    pub report: &'a Report,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub entry: Option<u64>,
}

/// Prints all of it.
pub fn tell(report: &Report) -> Result<(), Failure> {
    say::print(&headline(report))?;
    kinds(report)?;
    unproven(report)?;
    fetch(report)?;
    joins(report)?;
    colours(report)?;
    missing(report)?;
    if let Some(next) = &report.next {
        say::print(&format!("\n{}", next_module(next)))?;
    }
    if let Some(advice) = &report.advice {
        buy(advice, report)?;
    }
    kept(report)
}

fn modules(count: u64) -> String {
    format!("{count} {}", if count == 1 { "module" } else { "modules" })
}

fn pieces(count: u64) -> String {
    format!("{count} {}", if count == 1 { "piece" } else { "pieces" })
}

fn headline(report: &Report) -> String {
    let (certain, likely) = (report.certain.modules, report.likely.modules);
    let wanted = report.wanted;
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
        say::print(&format!(
            "The {word} answer is good but not proven to be the best: {}.",
            gaps.join(", ")
        ))?;
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

fn missing(report: &Report) -> Result<(), Failure> {
    if report.missing.is_empty() {
        return if report.certain.missing == 0 {
            say::print("\nNothing is missing.")
        } else {
            say::print(&format!(
                "\nNothing is missing if the best counts hold; by the lowest counts, {} could be.",
                pieces(report.certain.missing)
            ))
        };
    }
    let (certain, likely) = (report.certain.missing, report.likely.missing);
    let number = match report.lists {
        _ if certain == likely => pieces(likely),
        Reading::Likely => format!("{} (up to {certain} by the lowest counts)", pieces(likely)),
        Reading::Certain => format!("{} ({likely} by the best counts)", pieces(certain)),
    };
    say::print(&format!("\nMissing for the rest: {number}"))?;
    missing_table(&report.missing)?;
    let unknown: u64 = report.missing.iter().map(|row| row.form_not_known).sum();
    if unknown > 0 {
        say::note(
            "some pieces in stock have the right size and colour, but their form is not known: look \
             at them before you buy (count them again with --form)",
        );
    }
    Ok(())
}

fn missing_table(rows: &[MissingRow]) -> Result<(), Failure> {
    let unknown = rows.iter().any(|row| row.form_not_known > 0);
    let not_sold = rows.iter().any(|row| row.not_sold.is_some_and(|n| n > 0));
    let mut columns = vec![
        ("Piece", Column::Short),
        ("Colour", Column::Text),
        ("Pieces", Column::Number),
    ];
    if not_sold {
        columns.push(("Not on offer", Column::Number));
    }
    if unknown {
        columns.push(("Form not known", Column::Number));
    }
    columns.push(("For", Column::Text));
    let mut table = say::table(&columns);
    for row in rows {
        let modules: Vec<&str> = row.modules.iter().map(|name| name.as_str()).collect();
        let some = |number: u64| {
            if number == 0 {
                Cell::new("")
            } else {
                say::open(number)
            }
        };
        let mut cells = vec![
            Cell::new(format!("{} {}", row.form, row.size)),
            Cell::new(&row.colours),
            Cell::new(row.pieces),
        ];
        if not_sold {
            cells.push(some(row.not_sold.unwrap_or(0)));
        }
        if unknown {
            cells.push(some(row.form_not_known));
        }
        cells.push(Cell::new(modules.join(", ")));
        table.add_row(cells);
    }
    say::print_table(&table)
}

fn next_module(next: &NextModule) -> String {
    let missing = next
        .missing
        .iter()
        .map(|row| format!("{} {} {} ({})", row.pieces, row.form, row.size, row.colours));
    let missing: Vec<String> = missing.collect();
    let gains = next.modules.iter().map(|kind| {
        let name = module_name(kind.module.as_str(), kind.hidden);
        match kind.more {
            more if more < 0 => format!("{} fewer {name}", -more),
            more => format!("{more} more {name}"),
        }
    });
    let gains: Vec<String> = gains.collect();
    let words = if next.pieces == 1 {
        "The next module needs 1 more piece".to_owned()
    } else {
        format!("The next module needs {} more pieces", next.pieces)
    };
    let proven = if next.proven {
        ""
    } else {
        " (fewer may do; that is not proven)"
    };
    format!(
        "{words}{proven}: {}. Then: {}.",
        missing.join(", "),
        gains.join(", ")
    )
}

fn buy(advice: &Advice, report: &Report) -> Result<(), Failure> {
    let money = |amount: f64| match &advice.currency {
        Some(currency) => format!("{amount:.2} {currency}"),
        None => format!("{amount:.2}"),
    };
    if advice.buy.is_empty() {
        say::print("\nBuy nothing.")?;
    } else {
        say::print(&format!("\nBuy, for {} in all:", money(advice.cost)))?;
        let mut table = say::table(&[
            ("Piece", Column::Short),
            ("Colour", Column::Text),
            ("Buy", Column::Text),
            ("Cost", Column::Number),
            ("Needed", Column::Number),
            ("Left over", Column::Number),
        ]);
        for buy in &advice.buy {
            let what = match buy.cup {
                None => pieces(buy.units),
                Some(cup) => format!(
                    "{} of {} pieces{}",
                    if buy.units == 1 {
                        "1 cup".to_owned()
                    } else {
                        format!("{} cups", buy.units)
                    },
                    range(cup.low, cup.high),
                    if cup.measured {
                        ", counted"
                    } else {
                        ", estimated"
                    }
                ),
            };
            table.add_row([
                format!("{} {}", buy.form, buy.size),
                buy.colour.to_string(),
                what,
                format!("{:.2}", buy.cost),
                buy.needed.to_string(),
                range(buy.left_low, buy.left_high),
            ]);
        }
        say::print_table(&table)?;
    }
    if advice.not_sold > 0 {
        say::note(&format!(
            "{} missing can be bought from none of the offers; look for them elsewhere",
            pieces(advice.not_sold)
        ));
    }
    if let (Some(certain), Some(likely)) = (report.certain.cost, report.likely.cost)
        && (certain - likely).abs() >= 0.005
    {
        say::print(&format!(
            "By the best counts {} will do; to be certain, {}.",
            money(likely),
            money(certain)
        ))?;
    }
    Ok(())
}

fn range(low: u64, high: u64) -> String {
    if low == high {
        low.to_string()
    } else {
        format!("{low}-{high}")
    }
}

fn kept(report: &Report) -> Result<(), Failure> {
    if report.kept.is_empty() {
        return Ok(());
    }
    say::print("\nPlans kept in mind, each alone:")?;
    let mut table = say::table(&[
        ("Plan", Column::Text),
        ("Wanted", Column::Number),
        ("Today", Column::Number),
        ("After fetching", Column::Number),
    ]);
    for row in &report.kept {
        let after = if row.after < row.before {
            say::open(row.after)
        } else {
            Cell::new(row.after)
        };
        table.add_row([
            Cell::new(&row.plan),
            Cell::new(row.wanted),
            Cell::new(row.before),
            after,
        ]);
    }
    say::print_table(&table)
}
