//! `cuptally stock`: what is there.

use super::say::{self, Cell, Column, Table};
use crate::cli::{Context, Failure, Outcome};
use crate::stock::file::StockFile;
use crate::stock::tally::Tally;
use crate::stock::view::{By, Held, Numbers, Row, View, view};
use serde::Serialize;

/// Arguments of `cuptally stock` without more.
#[derive(clap::Args)]
pub struct ShowArgs {
    /// Gather the pieces by place, by piece (form and size) or by colour.
    #[arg(long, value_enum, default_value = "place")]
    by: ByArg,

    /// Show only what has all these words in its place, form, size or colour.
    #[arg(
        long,
        value_name = "TEXT",
        default_value = "",
        hide_default_value = true
    )]
    find: String,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, clap::ValueEnum)]
enum ByArg {
    Place,
    Piece,
    Colour,
}

impl From<ByArg> for By {
    fn from(by: ByArg) -> Self {
        match by {
            ByArg::Place => Self::Place,
            ByArg::Piece => Self::Piece,
            ByArg::Colour => Self::Colour,
        }
    }
}

#[derive(Serialize)]
struct Json<'a> {
    stock: &'static str,
    #[serde(flatten)]
    view: &'a View,
}

/// Shows the stock.
///
/// # Errors
/// When the stock file cannot be read.
pub fn run(args: &ShowArgs, context: &Context) -> Result<Outcome, Failure> {
    let file = StockFile::in_home(&context.home);
    let stock = file.read()?;
    let is_new = stock.is_none();
    let contents = stock.unwrap_or_default().contents;
    let view = view(&contents, args.by.into(), &args.find)?;
    if args.json {
        say::print_json(&Json {
            stock: crate::stock::format::VERSION,
            view: &view,
        })?;
    } else if is_new {
        say::nothing_yet(&file, context);
    } else if view.groups.is_empty() && view.pending.is_empty() {
        if args.find.trim().is_empty() {
            say::print("The stock is empty.")?;
        } else {
            say::note(&format!("nothing in stock matches '{}'", args.find.trim()));
        }
    } else {
        say::print_table(&pieces_table(&view))?;
        if view.total.checked.as_counted() > 0 {
            say::print(
                "\nAs counted: so many of them were taken as counted; nobody looked at these.",
            )?;
        }
        if !view.pending.is_empty() {
            say::print("\nPending: nobody has looked at these yet.")?;
            say::print_table(&pending_table(&view)?)?;
            say::note(&format!(
                "look at pending sheets with `{}`, or take them as counted, doubt and all, with `{}`",
                context.call("review"),
                context.call("stock confirm ENTRY")
            ));
        }
    }
    Ok(if view.pending.is_empty() {
        Outcome::Done
    } else {
        Outcome::NeedsALook
    })
}

/// Prints how much lies in each place, a line a place.
///
/// # Errors
/// When the stock file cannot be read.
pub fn totals(context: &Context) -> Result<(), Failure> {
    let stock = StockFile::in_home(&context.home).read()?;
    let view = view(&stock.unwrap_or_default().contents, By::Place, "")?;
    let numbers = NumberColumns::of(&view);
    let mut columns = vec![("Place", Column::Text), ("Kinds", Column::Number)];
    columns.extend(numbers.columns());
    let mut table = say::table(&columns);
    let row = |name: Cell, kinds: Cell, total, style| {
        let mut cells = vec![name, kinds];
        cells.extend(numbers.cells(total, style));
        cells
    };
    for group in &view.groups {
        let kinds = Cell::new(group.rows.len());
        table.add_row(row(Cell::new(&group.name), kinds, group.total, Cell::new));
    }
    table.add_row(row(say::bold("All"), Cell::new(""), view.total, say::bold));
    say::print_table(&table)
}

fn pieces_table(view: &View) -> Table {
    let columns: &[(&str, Column)] = match view.by {
        By::Place => &[
            ("Place", Column::Text),
            ("Piece", Column::Text),
            ("Colour", Column::Text),
        ],
        By::Piece => &[
            ("Piece", Column::Text),
            ("Colour", Column::Text),
            ("Places", Column::Text),
        ],
        By::Colour => &[
            ("Colour", Column::Text),
            ("Piece", Column::Text),
            ("Places", Column::Text),
        ],
    };
    let numbers = NumberColumns::of(view);
    let mut all = columns.to_vec();
    all.extend(numbers.columns());
    let mut table = say::table(&all);
    for group in &view.groups {
        let kinds = say::plural(group.rows.len(), "kind", "kinds");
        let mut head = vec![say::bold(&group.name), say::faint(kinds), Cell::new("")];
        head.extend(numbers.cells(group.total, say::bold));
        table.add_row(head);
        for row in &group.rows {
            let mut cells = piece_cells(row, view.by);
            cells.extend(numbers.cells(row.numbers, Cell::new));
            table.add_row(cells);
        }
        table.add_row([""]);
    }
    let mut last = vec![say::bold("All"), Cell::new(""), Cell::new("")];
    last.extend(numbers.cells(view.total, say::bold));
    table.add_row(last);
    table
}

fn piece_cells(row: &Row, by: By) -> Vec<Cell> {
    let piece = || Cell::new(format!("{} {}", row.form, row.size));
    let places = || {
        Cell::new(match row.places.as_slice() {
            [one] => one.place.to_string(),
            // Semicolons, because names of places like to have commas.
            all => {
                let all: Vec<String> = all.iter().map(held).collect();
                all.join("; ")
            }
        })
    };
    let [first, second] = match by {
        By::Place => [piece(), Cell::new(&row.colour)],
        By::Piece => [Cell::new(&row.colour), places()],
        By::Colour => [piece(), places()],
    };
    vec![Cell::new(""), first, second]
}

/// `cup 3: 20`, pending pieces with the rest: the columns beside it tell them apart.
fn held(held: &Held) -> String {
    let Numbers { checked, pending } = held.numbers;
    format!("{}: {}", held.place, checked.count() + pending.count())
}

/// Counts stand below each other, and ranges beside them.
struct NumberColumns {
    checked_range: usize,
    pending_range: usize,
    has_as_counted: bool,
    has_pending: bool,
}

impl NumberColumns {
    fn of(view: &View) -> Self {
        let rows = view.groups.iter().flat_map(|group| &group.rows);
        let totals = view.groups.iter().map(|group| group.total);
        let all: Vec<Numbers> = rows
            .map(|row| row.numbers)
            .chain(totals)
            .chain([view.total])
            .collect();
        let widest = |side: fn(&Numbers) -> Tally| {
            let widths = all.iter().map(|numbers| range(side(numbers)).len());
            widths.max().unwrap_or(0)
        };
        Self {
            checked_range: widest(|numbers| numbers.checked),
            pending_range: widest(|numbers| numbers.pending),
            has_as_counted: all.iter().any(|numbers| numbers.checked.as_counted() > 0),
            has_pending: !view.pending.is_empty(),
        }
    }

    fn columns(&self) -> Vec<(&'static str, Column)> {
        let mut columns = vec![("Checked", Column::Number)];
        if self.has_as_counted {
            columns.push(("As counted", Column::Number));
        }
        if self.has_pending {
            columns.push(("Pending", Column::Number));
        }
        columns
    }

    fn cells(&self, numbers: Numbers, style: fn(String) -> Cell) -> Vec<Cell> {
        let text = |tally: Tally, width: usize| {
            if tally.is_zero() {
                String::new()
            } else {
                format!("{}{:width$}", tally.count(), range(tally))
            }
        };
        let mut cells = vec![style(text(numbers.checked, self.checked_range))];
        if self.has_as_counted {
            let some = numbers.checked.as_counted();
            cells.push(say::open(if some == 0 {
                String::new()
            } else {
                some.to_string()
            }));
        }
        if self.has_pending {
            cells.push(say::open(text(numbers.pending, self.pending_range)));
        }
        cells
    }
}

/// ` (40-42)`, or nothing when certain.
fn range(tally: Tally) -> String {
    if tally.low() == tally.high() {
        String::new()
    } else {
        format!(" ({}-{})", tally.low(), tally.high())
    }
}

fn pending_table(view: &View) -> Result<Table, Failure> {
    let mut table = say::table(&[
        ("Entry", Column::Number),
        ("Place", Column::Text),
        ("Photo or table", Column::Short),
        ("Hash", Column::Short),
        ("Pieces", Column::Number),
    ]);
    let room = say::file_name_room(&table);
    for sheet in &view.pending {
        let hash = sheet.hash.as_ref().map_or("", |hash| hash.as_str());
        table.add_row([
            Cell::new(sheet.entry),
            Cell::new(&sheet.place),
            Cell::new(say::file_name(sheet.file.as_str(), room)),
            Cell::new(hash.get(..8).unwrap_or(hash)),
            say::open(sheet.lots.total()?),
        ]);
    }
    Ok(table)
}
