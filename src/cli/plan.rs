//! `cuptally plan`: look at a plan file.

use super::say::{self, Column};
use super::{Context, Failure, Outcome, home};
use crate::cover::plan::read;
use crate::cover::remarks::{Known, Remark, remarks};
use crate::cover::{Offers, Plan, offers};
use crate::pieces::Shapes;
use crate::stock::file::StockFile;
use crate::stock::kind::Name;
use crate::stock::{Stock, reader};
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Arguments of `cuptally plan`.
#[derive(clap::Args)]
pub struct Args {
    #[command(subcommand)]
    action: Action,
}

#[derive(clap::Subcommand)]
enum Action {
    /// Say what is wrong with a plan, line by line, and what it comes to.
    Check(CheckArgs),
}

/// Arguments of `cuptally plan check`.
#[derive(clap::Args)]
struct CheckArgs {
    /// The plan, JSON or CSV.
    #[arg(value_name = "PLAN")]
    plan: PathBuf,

    /// Names in these offers count as known, too.
    #[arg(long, value_name = "FILE")]
    offers: Option<PathBuf>,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct Report {
    plan: PathBuf,
    modules: u64,
    pieces: u64,
    remarks: Vec<Remark>,
}

/// Runs the command.
///
/// # Errors
/// When the plan cannot be read or has mistakes; all of them are told.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    let Action::Check(args) = &args.action;
    let shapes = home::shapes(&context.home)?;
    let plan = open(&args.plan, shapes)?;
    let offers = args.offers.as_deref();
    let offers = offers.map(|path| open_offers(path, shapes)).transpose()?;
    let stock = StockFile::in_home(&context.home).read()?;
    let stock = stock.unwrap_or_default();
    let remarks = look(&plan, &stock, offers.as_ref(), context)?;
    let report = Report {
        plan: args.plan.clone(),
        modules: plan.modules.iter().map(|module| module.wanted).sum(),
        pieces: plan.pieces(),
        remarks,
    };
    if args.json {
        say::print_json(&report)?;
    } else {
        tell(&plan, &report)?;
    }
    Ok(if report.remarks.is_empty() {
        Outcome::Done
    } else {
        Outcome::NeedsALook
    })
}

fn tell(plan: &Plan, report: &Report) -> Result<(), Failure> {
    let mut table = say::table(&[
        ("Module", Column::Text),
        ("Wanted", Column::Number),
        ("Hidden", Column::Number),
        ("Lines", Column::Number),
        ("Pieces each", Column::Number),
        ("Pieces", Column::Number),
    ]);
    for module in &plan.modules {
        table.add_row([
            module.name.to_string(),
            module.wanted.to_string(),
            module.hidden.to_string(),
            module.lines.len().to_string(),
            module.pieces().to_string(),
            module.wanted.saturating_mul(module.pieces()).to_string(),
        ]);
    }
    say::print_table(&table)?;
    let modules = say::plural(
        usize::try_from(report.modules).unwrap_or(usize::MAX),
        "module",
        "modules",
    );
    say::print(&format!("{modules}, {} pieces in all.", report.pieces))?;
    told(&report.remarks, &report.plan);
    Ok(())
}

/// Says what looks like a mistake.
pub fn told(remarks: &[Remark], plan: &Path) {
    for Remark { line, text } in remarks {
        say::note(&format!("{}, line {line}: {text}", plan.display()));
    }
}

/// Opens a plan.
///
/// # Errors
/// When it cannot be read or has mistakes.
pub fn open(path: &Path, shapes: Shapes) -> Result<Plan, Failure> {
    let bytes = reader::bytes(path, reader::PLAN)?;
    let mut plan =
        read::any_format(&bytes).map_err(|cause| unusable(path, "plan", &cause.to_string()))?;
    let odd = shapes.all().filter(|shape| !shape.is_block());
    let names = odd.filter_map(|shape| Name::new(shape.form().name()).ok());
    plan.joins.never = names.collect();
    Ok(plan)
}

/// Opens offers.
///
/// # Errors
/// When they cannot be read or have mistakes.
pub fn open_offers(path: &Path, shapes: Shapes) -> Result<Offers, Failure> {
    let bytes = reader::bytes(path, reader::OFFERS)?;
    offers::read(&bytes, shapes).map_err(|cause| unusable(path, "offers", &cause.to_string()))
}

fn unusable(path: &Path, what: &str, cause: &str) -> Failure {
    let between = if cause.contains('\n') { "\n  " } else { " " };
    Failure::failed(format!(
        "cannot use the {what} {}:{between}{cause}",
        path.display()
    ))
}

/// What looks like a mistake, by the names that the user has used before.
///
/// # Errors
/// When swatches cannot be read.
pub fn look(
    plan: &Plan,
    stock: &Stock,
    offers: Option<&Offers>,
    context: &Context,
) -> Result<Vec<Remark>, Failure> {
    let shapes = home::shapes(&context.home)?;
    let swatches = home::swatches(&context.home)?;
    let taught = swatches.names();
    let taught = taught.into_iter().filter_map(|name| Name::new(name).ok());
    Ok(remarks(plan, &Known::new(stock, offers, taught, shapes)))
}
