//! A counted photo as a person reads it: in some ten lines, or with every kind and doubt.

use std::collections::BTreeMap;
use std::path::Path;

use super::{Counted, scale};
use crate::cli::say::{self, Column};
use crate::cli::{Context, Failure};
use crate::count::reason::in_short;
use crate::pieces::ANY;
use crate::sheet::advice::{UNDERSIDES, UNTAUGHT};
use crate::sheet::{Group, Piece, SURE, Sheet, Warning};
use crate::stock::shell::quoted_path;

/// Prints what was counted.
///
/// # Errors
/// When stdout cannot be written.
pub fn tell(counted: &Counted, all: bool) -> Result<(), Failure> {
    let sheet = &counted.sheet;
    let how_many = how_many(
        sheet.pieces.len(),
        doubtful(sheet).len(),
        is_untaught(sheet),
    );
    let files: Vec<&str> = sheet
        .photos
        .each()
        .map(|photo| photo.file.as_str())
        .collect();
    say::print_wrapped(&format!("{}: {how_many}", files.join(", ")), 2)?;
    if let Some(total) = sheet.total.filter(|total| total.estimate > total.seen) {
        say::print_wrapped(
            &format!(
                "  about {} in all with those that others hide ({} to {})",
                total.estimate, total.low, total.high
            ),
            4,
        )?;
    }
    if all {
        every_kind(sheet)?;
        every_doubt(sheet)?;
    } else {
        in_a_few_lines(sheet)?;
    }
    if let Some(by) = sheet.set_right_by {
        say::print(&format!(
            "  how sure: set right by {} that you reviewed (`cuptally record`)",
            say::plural(by.sheets as usize, "sheet", "sheets")
        ))?;
    }
    scale::tell(sheet)?;
    let told = if all { usize::MAX } else { NOTES_TOLD };
    // What to do next goes before what is wrong: it is told however many notes there are.
    let (next, notes): (Vec<&Warning>, Vec<&Warning>) = (sheet.warnings.iter())
        .filter(|w| all || w.code != UNTAUGHT)
        .partition(|w| w.code == UNDERSIDES);
    for warning in next.iter().chain(notes.iter().take(told)) {
        say::print_wrapped(&format!("  note: {} [{}]", warning.text, warning.code), 4)?;
    }
    if let Some(more) = notes.len().checked_sub(told).filter(|n| *n > 0) {
        let notes = say::plural(more, "more note", "more notes");
        say::print(&format!("  {notes} with --all"))?;
    }
    if let Some(second) = sheet.second_photo {
        say::print_wrapped(
            &format!(
                "  a second photo of this tray, leaning over from another side, would settle some {} of the {} doubtful pieces: count it together with this one (--together)",
                second.would_settle, second.doubtful
            ),
            4,
        )?;
    }
    if all {
        colours(sheet)?;
    }
    say::print(&format!("  sheet: {}", counted.sheet_path.display()))?;
    let pictures = std::iter::once(&counted.marked_path).chain(&counted.further_paths);
    for path in pictures {
        say::print(&format!("  picture: {}", path.display()))?;
    }
    Ok(())
}

/// Sums up several photos, and says how to go on.
///
/// # Errors
/// When stdout cannot be written.
pub fn sum_up(
    counted: &[Counted],
    all: bool,
    out: &Path,
    context: &Context,
) -> Result<(), Failure> {
    let doubts: usize = counted.iter().map(|c| doubtful(&c.sheet).len()).sum();
    if let [_, _, ..] = counted {
        let pieces = counted.iter().map(|c| c.sheet.pieces.len()).sum();
        let untaught = counted.iter().all(|c| is_untaught(&c.sheet));
        let how_many = how_many(pieces, doubts, untaught);
        say::print(&format!("\nall {} photos: {how_many}", counted.len()))?;
    }
    if doubts > 0 {
        let review = context.call(&review(counted, out, context));
        let more = if all {
            ""
        } else {
            "; --all lists every kind and doubt"
        };
        say::note(&format!("put right what is doubtful with `{review}`{more}"));
    }
    Ok(())
}

/// The call that opens these sheets on the page.
fn review(counted: &[Counted], out: &Path, context: &Context) -> String {
    if out == context.home.join("sheets") {
        return "review".to_owned();
    }
    let sheets = counted.iter().map(|c| quoted_path(&c.sheet_path));
    format!("review {}", sheets.collect::<Vec<_>>().join(" "))
}

/// Whether its colours have general names alone.
fn is_untaught(sheet: &Sheet) -> bool {
    sheet.warnings.iter().any(|w| w.code == UNTAUGHT)
}

fn doubtful(sheet: &Sheet) -> Vec<&Piece> {
    sheet.pieces.iter().filter(|p| p.sure < SURE).collect()
}

/// Notes told in a few lines; they are the longest of what is told.
const NOTES_TOLD: usize = 3;
/// So many kinds are told one by one where there are no more; else colours stand for them.
const KINDS_TOLD: usize = 6;
/// Colours told where there are many: two lines of a terminal.
const COLOURS_TOLD: usize = 8;
/// Lines for colours that are yours, and for general ones, which are long and say little.
const COLOUR_LINES: (usize, usize) = (2, 1);
/// What stands for the whole note that no colour was taught: it is told of the first photos of everybody.
const TEACH: &str = "  general colour names; `cuptally teach` gives them yours";
/// Reasons told of those why pieces are doubtful.
const REASONS_TOLD: usize = 3;

fn in_a_few_lines(sheet: &Sheet) -> Result<(), Failure> {
    let counted: Vec<&Group> = sheet.groups.iter().filter(|g| g.is_counted()).collect();
    if counted.is_empty() {
        return Ok(());
    }
    let untaught = is_untaught(sheet);
    if counted.len() <= KINDS_TOLD {
        for group in counted {
            let kind = format!("{} {} {}", group.form, group.size, group.colour);
            say::print(&format!("  {} {kind}", number(group)))?;
        }
    } else {
        let forms = tally(sheet.pieces.iter().map(|p| p.form.as_str()));
        let forms = forms.iter().map(|&(form, n)| match (form, n) {
            (ANY, n) => format!("{n} of unclear form"),
            (form, 1) => format!("1 {form}"),
            (form, n) => format!("{n} {form}s"),
        });
        say::print_wrapped(&format!("  {}", forms.collect::<Vec<_>>().join(", ")), 4)?;
        let lines = if untaught {
            COLOUR_LINES.1
        } else {
            COLOUR_LINES.0
        };
        say::print_wrapped(&colours_in(sheet, lines), 4)?;
    }
    if untaught {
        say::print(&format!("{TEACH} [{UNTAUGHT}]"))?;
    }
    let doubtful = doubtful(sheet);
    let first = |piece: &&Piece| {
        piece
            .doubts
            .first()
            .map_or("", |doubt| in_short(doubt))
            .to_owned()
    };
    let reasons: Vec<String> = doubtful.iter().map(first).collect();
    let reasons = tally(
        reasons
            .iter()
            .map(String::as_str)
            .filter(|why| !why.is_empty()),
    );
    if !reasons.is_empty() {
        let words = reasons.iter().map(|(why, n)| format!("{why} ({n})"));
        let rest: usize = reasons.iter().skip(REASONS_TOLD).map(|(_, n)| n).sum();
        let others = (rest > 0).then(|| format!("other reasons ({rest})"));
        let words: Vec<String> = words.take(REASONS_TOLD).chain(others).collect();
        say::print_wrapped(&format!("  doubtful mainly as: {}", words.join(", ")), 4)?;
    }
    Ok(())
}

/// The colours that most pieces have, as many as these lines hold, and how many pieces have others.
fn colours_in(sheet: &Sheet, lines: usize) -> String {
    let colours = tally(sheet.pieces.iter().map(|p| p.colour.as_str()));
    let told = |first: usize| {
        let words = (colours.iter()).map(|(colour, n)| format!("{n} {colour}"));
        let rest = colours.iter().skip(first);
        let pieces: usize = rest.clone().map(|(_, n)| n).sum();
        let others = say::plural(rest.count(), "other colour", "other colours");
        let others = (pieces > 0).then(|| format!("{pieces} in {others}"));
        let words: Vec<String> = words.take(first).chain(others).collect();
        format!("  {}", words.join(", "))
    };
    let holding = (1..=COLOURS_TOLD).rev().map(told);
    let mut holding = holding.filter(|text| say::fits(text, 4, lines));
    holding.next().unwrap_or_else(|| told(1))
}

/// How often each word comes, most often first.
fn tally<'a>(words: impl Iterator<Item = &'a str>) -> Vec<(&'a str, usize)> {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for word in words {
        *counts.entry(word).or_default() += 1;
    }
    let mut counts: Vec<_> = counts.into_iter().collect();
    counts.sort_by_key(|count| std::cmp::Reverse(count.1));
    counts
}

/// `3`, or `3 (2-4)`.
fn number(group: &Group) -> String {
    if group.low == group.high {
        group.count.to_string()
    } else {
        format!("{} ({}-{})", group.count, group.low, group.high)
    }
}

/// A kind that is nine times out of ten not so is no row of a table.
const HARDLY_SURE: f64 = 0.1;

fn is_guess(group: &Group) -> bool {
    group.low == 0 && group.sure < HARDLY_SURE
}

fn every_kind(sheet: &Sheet) -> Result<(), Failure> {
    let (mut groups, mut perhaps): (Vec<&Group>, Vec<&Group>) =
        sheet.groups.iter().partition(|group| group.is_counted());
    groups.sort_by(|a, b| (&a.colour, &a.form, &a.size).cmp(&(&b.colour, &b.form, &b.size)));
    let (guesses, groups): (Vec<&Group>, Vec<&Group>) =
        groups.into_iter().partition(|g| is_guess(g));
    if !groups.is_empty() {
        let mut table = say::table(&[
            ("colour", Column::Text),
            ("piece", Column::Short),
            ("count", Column::Number),
            ("sure", Column::Number),
        ]);
        let mut last = "";
        for group in groups {
            let colour = if group.colour == last {
                ""
            } else {
                group.colour.as_str()
            };
            last = &group.colour;
            let sure = percent(group.sure);
            table.add_row([
                say::Cell::new(colour),
                say::Cell::new(format!("{} {}", group.form, group.size)),
                say::Cell::new(number(group)),
                if group.sure < SURE {
                    say::open(sure)
                } else {
                    sure.into()
                },
            ]);
        }
        say::print_table(&table)?;
    }
    if !guesses.is_empty() {
        let told: Vec<String> = (guesses.iter())
            .map(|g| format!("{} {} {} {}", g.count, g.colour, g.form, g.size))
            .collect();
        let told = told.join(", ");
        say::print_wrapped(
            &format!("  counted, but hardly more than guessed: {told}"),
            4,
        )?;
    }
    if !perhaps.is_empty() {
        perhaps.sort_by(|a, b| a.sure.total_cmp(&b.sure));
        say::print_wrapped(&perhaps_there(&perhaps), 4)?;
    }
    Ok(())
}

fn percent(sure: f64) -> String {
    format!("{:.0} %", (sure * 100.0).floor())
}

/// Kinds that nothing was counted as, listed in the terminal; the sheet has all.
const PERHAPS_TOLD: usize = 4;

/// Kinds that nothing was counted as, but some piece may be, likeliest first.
fn perhaps_there(groups: &[&Group]) -> String {
    let mut told: Vec<String> = (groups.iter().take(PERHAPS_TOLD))
        .map(|g| format!("{} {} {} (0-{})", g.colour, g.form, g.size, g.high))
        .collect();
    if let Some(more) = groups.len().checked_sub(PERHAPS_TOLD).filter(|n| *n > 0) {
        let kinds = say::plural(more, "more kind", "more kinds");
        told.push(format!("and {kinds}, in the sheet"));
    }
    format!("  none counted, but some piece may be: {}", told.join(", "))
}

fn every_doubt(sheet: &Sheet) -> Result<(), Failure> {
    for piece in doubtful(sheet) {
        let Piece {
            id,
            colour,
            form,
            size,
            ..
        } = piece;
        let (sure, doubts) = (percent(piece.sure), piece.doubts.join("; "));
        let line = format!("  look at piece {id}: {colour} {form} {size}, {sure} sure ({doubts})");
        say::print_wrapped(&line, 4)?;
    }
    Ok(())
}

fn colours(sheet: &Sheet) -> Result<(), Failure> {
    let profile = if sheet.colour.print_profile {
        "print profile"
    } else {
        "nominal card values"
    };
    say::print_wrapped(
        &format!(
            "  colours: off by {:.1} dE00 on average, {:.1} at worst (left out one by one; {profile})",
            sheet.colour.mean_de00, sheet.colour.max_de00
        ),
        4,
    )
}

/// `42 pieces, 41 sure, 1 doubtful`. Where nobody taught a colour only sizes are sure.
fn how_many(pieces: usize, doubtful: usize, untaught: bool) -> String {
    if untaught && pieces > 0 {
        let sizes = match (pieces, doubtful) {
            (_, 0) => "sizes sure".to_owned(),
            (n, k) if n == k => "no size sure".to_owned(),
            (n, k) => format!("{} sizes sure, {k} doubtful", n - k),
        };
        let pieces = say::plural(pieces, "piece", "pieces");
        return format!("{pieces}, {sizes}, colours unnamed");
    }
    match (pieces, doubtful) {
        (0, _) => "no pieces found, so there are no groups".to_owned(),
        (1, 0) => "1 piece, sure".to_owned(),
        (1, _) => "1 piece, doubtful".to_owned(),
        (2, 0) => "2 pieces, both sure".to_owned(),
        (n, 0) => format!("{n} pieces, all sure"),
        (n, k) if n == k => format!("{n} pieces, all doubtful"),
        (n, k) => format!("{n} pieces, {} sure, {k} doubtful", n - k),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn the_first_line_says_nothing_that_is_not_so() {
        let told = |untaught| move |(pieces, doubtful)| how_many(pieces, doubtful, untaught);
        let taught = [(0, 0), (1, 0), (1, 1), (2, 0), (3, 0), (3, 3), (42, 1)];
        let taught = taught.map(told(false));
        assert_eq!(
            taught.each_ref().map(String::as_str),
            [
                "no pieces found, so there are no groups",
                "1 piece, sure",
                "1 piece, doubtful",
                "2 pieces, both sure",
                "3 pieces, all sure",
                "3 pieces, all doubtful",
                "42 pieces, 41 sure, 1 doubtful",
            ]
        );
        let untaught = [(0, 0), (1, 0), (1, 1), (42, 1)].map(told(true));
        assert_eq!(
            untaught.each_ref().map(String::as_str),
            [
                "no pieces found, so there are no groups",
                "1 piece, sizes sure, colours unnamed",
                "1 piece, no size sure, colours unnamed",
                "42 pieces, 41 sizes sure, 1 doubtful, colours unnamed",
            ]
        );
    }

    #[test]
    fn a_row_is_of_what_is_more_than_a_guess() {
        let group = |low: u32, sure: f64| -> Group {
            serde_json::from_value(serde_json::json!({
                "form": "plate", "size": "1x2", "colour": "kelp",
                "count": 1, "low": low, "high": 1, "sure": sure,
            }))
            .unwrap()
        };
        assert!(is_guess(&group(0, 0.09)));
        assert!(!is_guess(&group(0, 0.1)));
        assert!(!is_guess(&group(1, 0.05)));
    }
}
