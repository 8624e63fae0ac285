//! What the stock lacks, what to buy, and what is left for other plans.

use super::{module_name, pieces};
use crate::cli::Failure;
use crate::cli::say::{self, Cell, Column};
use crate::cover::report::{Advice, MissingRow, NextModule, Report};
use crate::cover::supply::Reading;

pub fn missing(report: &Report) -> Result<(), Failure> {
    if report.missing.is_empty() {
        return if report.certain.missing == 0 {
            say::print("\nNothing is missing.")
        } else {
            say::print_wrapped(
                &format!(
                    "\nNothing is missing if the best counts hold; by the lowest counts, {} could be.",
                    pieces(report.certain.missing)
                ),
                0,
            )
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

pub fn next_module(next: &NextModule) -> String {
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

pub fn buy(advice: &Advice, report: &Report) -> Result<(), Failure> {
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

pub fn kept(report: &Report) -> Result<(), Failure> {
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
