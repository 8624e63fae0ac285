//! `cuptally cover`: how far the stock reaches for a plan, and what is still to be bought.

mod take;
mod tell;

use super::{Context, Failure, Outcome, author, home, plan, say, stock};
use crate::cover::fetch::Fetch;
use crate::cover::report::{Input, Keep, Report, build};
use crate::cover::supply::Reading;
use crate::stock::file::StockFile;
use crate::stock::kind::Label;
use crate::stock::model::Contents;
use std::path::{Path, PathBuf};
use tell::Held;

/// Arguments of `cuptally cover`.
#[derive(clap::Args)]
#[command(
    after_help = "Exit code 3 when certain and likely differ, pending pieces are needed, or the plan has remarks."
)]
pub struct Args {
    /// The plan, JSON or CSV.
    #[arg(value_name = "PLAN")]
    plan: PathBuf,

    /// Another plan for which pieces are spared where that costs this one nothing;
    /// may be said more than once.
    #[arg(long, value_name = "PLAN")]
    keep: Vec<PathBuf>,

    /// What can be bought and for how much (JSON): says what to buy.
    #[arg(long, value_name = "FILE")]
    offers: Option<PathBuf>,

    /// Make the lists from the lowest counts of what was looked at, instead of the
    /// likeliest counts.
    #[arg(long)]
    certain: bool,

    /// Once built: take the pieces of the fetch list out of the stock.
    #[arg(long)]
    take: bool,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

impl Args {
    /// As `cuptally cover PLAN` without options.
    pub fn plain(plan: PathBuf) -> Self {
        Self {
            plan,
            keep: Vec::new(),
            offers: None,
            certain: false,
            take: false,
            json: false,
        }
    }
}

/// Runs the command.
///
/// # Errors
/// When plan, offers or stock cannot be read, no answer is found, or the pieces
/// cannot be taken.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    let file = StockFile::in_home(&context.home);
    let Looked {
        report,
        fetch,
        held,
    } = look(args, &file, context)?;
    let taken = if args.take {
        let purpose = match &report.plan {
            Some(name) => name.clone(),
            None => Label::new(&file_name(&args.plan)),
        };
        let stamp = author::stamp(context, false)?;
        Some(take::take(&fetch, &purpose, &file, &stamp)?)
    } else {
        None
    };
    let told = if args.json {
        say::print_json(&tell::Json {
            report: &report,
            entry: taken,
        })
    } else {
        tell::tell(&report, held)
    };
    match taken {
        Some(entry) => say::stands(say::entry(entry), told)?,
        None => told?,
    }
    plan::told(&report.remarks, &args.plan);
    if let Some(entry) = taken.filter(|_| !args.json) {
        let told = say::print(&format!(
            "\nEntry {entry}: took the pieces of the fetch list. To put them back: {}",
            context.call(&format!("stock undo {entry}"))
        ));
        say::stands(say::entry(entry), told)?;
    }
    Ok(if report.needs_a_look() {
        Outcome::NeedsALook
    } else {
        Outcome::Done
    })
}

/// How far the stock reaches, for programs, without taking anything.
///
/// # Errors
/// As [`run`].
pub fn report(args: &Args, context: &Context) -> Result<Report, Failure> {
    Ok(look(args, &StockFile::in_home(&context.home), context)?.report)
}

/// What a look at plan and stock gives.
struct Looked {
    report: Report,
    fetch: Vec<Fetch>,
    held: Held,
}

fn look(args: &Args, file: &StockFile, context: &Context) -> Result<Looked, Failure> {
    let shapes = home::shapes(&context.home)?;
    let read = plan::open(&args.plan, shapes)?;
    let offers = args.offers.as_deref();
    let offers = offers
        .map(|path| plan::open_offers(path, shapes))
        .transpose()?;
    let kept = args.keep.iter().map(|path| {
        Ok(Keep {
            name: Label::new(&file_name(path)),
            plan: plan::open(path, shapes)?,
        })
    });
    let kept = kept.collect::<Result<Vec<Keep>, Failure>>()?;
    let stock = file.read()?;
    if stock.is_none() {
        stock::nothing_yet(file, context);
    }
    let held = match &stock {
        None => Held::NoStock,
        Some(stock) if stock.contents == Contents::default() => Held::Nothing,
        Some(_) => Held::Pieces,
    };
    let stock = stock.unwrap_or_default();
    let remarks = plan::look(&read, &stock, offers.as_ref(), context)?;
    let (report, fetch) = build(&Input {
        plan: &read,
        contents: &stock.contents,
        kept: &kept,
        offers: offers.as_ref(),
        lists: if args.certain {
            Reading::Certain
        } else {
            Reading::Likely
        },
        remarks,
    })?;
    Ok(Looked {
        report,
        fetch,
        held,
    })
}

fn file_name(path: &Path) -> String {
    path.file_name()
        .unwrap_or(path.as_os_str())
        .to_string_lossy()
        .into_owned()
}
