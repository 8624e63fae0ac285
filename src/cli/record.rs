//! `cuptally record`: how far what was called sure could be trusted in this home.

use serde::Serialize;

use super::say::{self, Column};
use super::{Context, Failure, Outcome};
use crate::count::record::{
    Bin, ENOUGH, ENOUGH_SHEETS, HomeMap, Record, Tally, bins, by_doubt, by_light, came_upon, sure,
};
use crate::review::record::{forget, read};

/// Arguments of `cuptally record`.
#[derive(clap::Args)]
pub struct Args {
    /// Forget what the reviews showed; counts then state what the program is shipped with.
    #[arg(long, conflicts_with = "json")]
    forget: bool,

    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

/// What `--json` prints.
#[derive(Serialize)]
struct Report {
    record: &'static str,
    /// Reviewed sheets that say something.
    sheets: usize,
    /// What was called sure.
    sure: Tally,
    /// Sure pieces that somebody came upon; they are in no other number.
    came_upon: Tally,
    /// What was called sure, by light.
    lights: Vec<Named>,
    /// What was doubted, by the first reason.
    doubts: Vec<Named>,
    /// What was stated and what came true.
    bins: Vec<Bin>,
    /// What other maps than today's stated: it is in no other number, and corrects nothing.
    former: Former,
    /// Whether what is stated is set right by it by now.
    sets_right: bool,
    /// What must be stated of a piece at least for it to be called sure; none where it is not set right, or none is.
    sure_from: Option<f64>,
}

/// What former maps stated.
#[derive(Serialize)]
struct Former {
    /// Reviewed sheets.
    sheets: usize,
    /// What was called sure.
    sure: Tally,
}

#[derive(Serialize)]
struct Named {
    name: String,
    #[serde(flatten)]
    tally: Tally,
}

/// Shows the record, or forgets it.
///
/// # Errors
/// When it cannot be used, or not be taken away.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    if args.forget {
        let told = match forget(&context.home)? {
            true => {
                "Forgot what reviews showed: counts state from now on what the program is shipped with. Sheets that were counted stay as they are."
            }
            false => "There is no record, so there is nothing to forget.",
        };
        say::print_wrapped(told, 2)?;
        return Ok(Outcome::Done);
    }
    let record = read(&context.home)?;
    let map = HomeMap::of(&record);
    let [today, former] = record.by_maps();
    if args.json {
        let named = |all: Vec<(String, Tally)>| -> Vec<Named> {
            let all = all.into_iter();
            all.map(|(name, tally)| Named { name, tally }).collect()
        };
        say::print_json(&Report {
            record: "v1",
            sheets: today.entries().len(),
            sure: sure(&today),
            came_upon: came_upon(&today),
            lights: named(by_light(&today)),
            doubts: named(by_doubt(&today)),
            bins: bins(&today),
            former: Former {
                sheets: former.entries().len(),
                sure: sure(&former),
            },
            sets_right: map.is_some(),
            sure_from: map.as_ref().and_then(HomeMap::sure_from),
        })?;
        return Ok(Outcome::Done);
    }
    if record.entries().is_empty() {
        say::print_wrapped(
            &format!(
                "Nothing is known yet of how far 'sure' can be trusted in your photos: look through a sheet and finish it with `{}`.",
                context.call("review")
            ),
            2,
        )?;
        return Ok(Outcome::Done);
    }
    tell(&today, &former, map.as_ref())?;
    Ok(Outcome::Done)
}

fn tell(record: &Record, former: &Record, map: Option<&HomeMap>) -> Result<(), Failure> {
    let all = sure(record);
    let first = match all.pieces {
        0 => "None of the pieces called sure in your photos was looked at".to_owned(),
        _ => format!(
            "Of {} called sure in your photos {} wrong ({}; 95 % interval {})",
            say::plural(all.pieces as usize, "piece", "pieces"),
            match all.wrong {
                0 => "none was".to_owned(),
                1 => "1 was".to_owned(),
                wrong => format!("{wrong} were"),
            },
            percent(all.share),
            interval(all.interval),
        ),
    };
    let sheets = say::plural(record.entries().len(), "reviewed sheet", "reviewed sheets");
    say::print_wrapped(&format!("{first}, in {sheets}."), 2)?;
    let upon = came_upon(record);
    if upon.pieces > 0 {
        say::print_wrapped(
            &format!(
                "Besides, somebody came upon {} called sure, {} of them wrong; how many were looked at beside them nobody knows, so they are in no share.",
                say::plural(upon.pieces as usize, "piece", "pieces"),
                upon.wrong
            ),
            2,
        )?;
    }
    let mut lights = by_light(record);
    if !former.entries().is_empty() {
        lights.push(("(former maps)".to_owned(), sure(former)));
    }
    tallies("Sure, by light", "not measured", lights)?;
    tallies("Doubted as", "nothing said", by_doubt(record))?;
    if !former.entries().is_empty() {
        let sheets = say::plural(former.entries().len(), "sheet was", "sheets were");
        say::print_wrapped(
            &format!(
                "\n{sheets} counted with former maps of how sure pieces are. They stand in that one row and set nothing right, as the maps of today state something else."
            ),
            2,
        )?;
    }
    diagram(&bins(record))?;
    say::print_wrapped(&format!("\n{}", set_right(map)), 2)
}

fn tallies(title: &str, unnamed: &str, all: Vec<(String, Tally)>) -> Result<(), Failure> {
    if all.is_empty() {
        return Ok(());
    }
    say::print("")?;
    let mut table = say::table(&[
        (title, Column::Text),
        ("Looked at", Column::Number),
        ("Wrong", Column::Number),
        ("Share", Column::Number),
        ("95 % interval", Column::Number),
    ]);
    for (name, tally) in all {
        table.add_row([
            if name.is_empty() {
                unnamed.to_owned()
            } else {
                name
            },
            tally.pieces.to_string(),
            tally.wrong.to_string(),
            percent(tally.share),
            interval(tally.interval),
        ]);
    }
    say::print_table(&table)
}

/// Columns of the diagram: two and a half points each.
const WIDE: usize = 41;

/// The reliability diagram in text.
fn diagram(bins: &[Bin]) -> Result<(), Failure> {
    say::print("")?;
    let mut table = say::table(&[
        ("Stated", Column::Short),
        ("Looked at", Column::Number),
        ("Right", Column::Number),
        ("0 %                 50 %              100 %", Column::Short),
    ]);
    for bin in bins {
        table.add_row([
            percent(bin.stated),
            bin.pieces.to_string(),
            percent(bin.right),
            line(bin),
        ]);
    }
    say::print_table(&table)?;
    say::print("o came true, - its 95 % interval, | as stated, * both in one place")
}

fn line(bin: &Bin) -> String {
    // Within the line, whatever the number.
    let at = |share: f64| (share.clamp(0.0, 1.0) * (WIDE - 1) as f64).round() as usize;
    let (stated, right) = (at(bin.stated), at(bin.right));
    let within = at(bin.interval[0])..=at(bin.interval[1]);
    let sign = |k: usize| match k {
        k if k == stated && k == right => '*',
        k if k == right => 'o',
        k if k == stated => '|',
        k if within.contains(&k) => '-',
        _ => '.',
    };
    (0..WIDE).map(sign).collect()
}

fn set_right(map: Option<&HomeMap>) -> String {
    match map {
        None => format!(
            "Counts state what the program is shipped with, until {ENOUGH} doubtful or {ENOUGH} sure pieces of {ENOUGH_SHEETS} sheets were looked at."
        ),
        Some(map) => {
            let sure = match map.sure_from() {
                Some(from) => format!(
                    "a piece is called sure from {} of the shipped probability on",
                    percent(from)
                ),
                None => "no piece is called sure, as too many such were wrong".to_owned(),
            };
            format!(
                "Counts in this home are set right by it: {sure}. `cuptally record --forget` takes that back."
            )
        }
    }
}

fn percent(share: f64) -> String {
    format!("{:.1} %", share * 100.0)
}

fn interval([low, high]: [f64; 2]) -> String {
    format!("{:.1} to {:.1} %", low * 100.0, high * 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_of_the_diagram_shows_what_was_stated_and_what_came_true() {
        let bin = |stated: f64, right: f64, interval: [f64; 2]| Bin {
            from: 0.5,
            to: 0.6,
            stated,
            right,
            interval,
            pieces: 40,
        };
        // By hand: 40 steps of 2.5 points.
        let told = line(&bin(0.5, 0.25, [0.2, 0.3]));
        assert_eq!(told, "........--o--.......|....................".to_owned());
        assert_eq!(told.len(), WIDE);
        assert_eq!(line(&bin(0.0, 0.0, [0.0, 0.05])).find("*--."), Some(0));
    }
}
