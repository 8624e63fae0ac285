//! `cuptally colours`: the taught colours, and what becomes of them.

use super::say::{self, Column};
use super::{Context, Failure, Outcome, home};
use crate::colour::overview::{Known, overview};
use crate::stock::kind::Name;

mod change;

/// Arguments of `cuptally colours`.
#[derive(clap::Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct Args {
    #[command(subcommand)]
    action: Option<Action>,

    /// Print what was measured of each colour in each light, too.
    #[arg(long, short)]
    verbose: bool,

    /// Print the colours as JSON and nothing else.
    #[arg(long)]
    json: bool,
}

#[derive(clap::Subcommand)]
enum Action {
    /// Give a colour another name, in the taught colours and in the stock.
    Rename(RenameArgs),
    /// Make two colours one, in the taught colours and in the stock.
    Merge(MergeArgs),
    /// Forget what was taught of a colour; the stock keeps what it holds of it.
    Forget(ForgetArgs),
}

/// Arguments of `cuptally colours rename`.
#[derive(clap::Args)]
pub struct RenameArgs {
    /// The name until now.
    #[arg(value_parser = Name::new)]
    old: Name,

    /// The name from now on.
    #[arg(value_parser = Name::new)]
    new: Name,
}

/// Arguments of `cuptally colours merge`.
#[derive(clap::Args)]
#[command(override_usage = "cuptally colours merge <COLOUR> [into] <OTHER>")]
pub struct MergeArgs {
    /// The colour whose name goes.
    #[arg(value_name = "COLOUR", value_parser = Name::new)]
    from: Name,

    /// The colour that it is, whose name both have from now on; `into` may stand before it.
    #[arg(value_name = "OTHER", num_args = 1..=2, required = true, value_parser = Name::new)]
    into: Vec<Name>,
}

/// Arguments of `cuptally colours forget`.
#[derive(clap::Args)]
pub struct ForgetArgs {
    /// The colour.
    #[arg(value_parser = Name::new)]
    colour: Name,

    /// Only what was taught in this light.
    #[arg(long, value_name = "NAME")]
    light: Option<String>,
}

/// Lists the taught colours, or changes them.
///
/// # Errors
/// When there is no such colour, or a file cannot be used or written.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    match &args.action {
        Some(Action::Rename(args)) => change::rename(&args.old, &args.new, context),
        Some(Action::Merge(args)) => match args.into.as_slice() {
            [other] => change::merge(&args.from, other, context),
            [word, other] if word.as_str().eq_ignore_ascii_case("into") => {
                change::merge(&args.from, other, context)
            }
            _ => Err(Failure::wrong_use(
                "merge takes two colours, such as `cuptally colours merge moss into kelp`; quote a name that has a space",
            )),
        },
        Some(Action::Forget(args)) => change::forget(&args.colour, args.light.as_deref(), context),
        None => list(args, context),
    }
}

fn list(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    let known = overview(&home::swatches(&context.home)?);
    if args.json {
        say::print_json(&known)?;
        return Ok(Outcome::Done);
    }
    if known.is_empty() {
        say::print_wrapped(
            &format!(
                "no colour was taught yet; lay one piece of each beside the card and say `{}`",
                context.call("teach PHOTO --names A,B,C")
            ),
            2,
        )?;
        return Ok(Outcome::Done);
    }
    let mut table = say::table(&[
        ("Colour", Column::Text),
        ("In general", Column::Text),
        ("Taught in", Column::Text),
        ("Looks like", Column::Text),
    ]);
    for colour in &known {
        let alike: Vec<&str> = colour.alike.iter().map(|a| a.name.as_str()).collect();
        table.add_row([
            colour.name.clone(),
            colour.general.clone(),
            taught_in(colour),
            alike.join(", "),
        ]);
    }
    say::print_table(&table)?;
    if args.verbose {
        figures(&known)?;
    }
    Ok(Outcome::Done)
}

/// The lights of a colour, each once, and the photos that it was learned from.
fn taught_in(colour: &Known) -> String {
    let mut lights: Vec<String> = colour.lights.iter().map(|l| l.light.clone()).collect();
    lights.dedup();
    if colour.photos > 0 {
        let photos = say::plural(colour.photos, "counted photo", "counted photos");
        lights.push(photos);
    }
    lights.join(", ")
}

fn figures(known: &[Known]) -> Result<(), Failure> {
    let mut table = say::table(&[
        ("Colour", Column::Text),
        ("Light", Column::Text),
        ("L*", Column::Number),
        ("a*", Column::Number),
        ("b*", Column::Number),
    ]);
    for colour in known {
        let mean = ("all together".to_owned(), colour.lab);
        let lights = colour.lights.iter().map(|l| (l.light.clone(), l.lab));
        // One light is all there is to it.
        let rows = lights.chain((colour.lights.len() + colour.photos > 1).then_some(mean));
        for (row, (light, lab)) in rows.enumerate() {
            let name = if row == 0 { colour.name.as_str() } else { "" };
            let [l, a, b] = lab.map(|value| format!("{value:.1}"));
            table.add_row([name, &light, &l, &a, &b]);
        }
    }
    say::print_table(&table)
}
