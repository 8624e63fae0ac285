//! `count --grams`: the count against a kitchen scale.

use std::path::Path;

use crate::cli::{Failure, home, say};
use crate::count::weigh::{Masses, Reading, WeighError, weigh as compare};
use crate::pieces::{Search, Shapes};
use crate::sheet::weighing::on_the_scale_too;
use crate::sheet::{Sheet, Weighing};

/// Weighed pieces are those of one photo.
///
/// # Errors
/// When there are several photos.
pub fn one_photo(grams: Option<Reading>, photos: usize) -> Result<(), Failure> {
    if grams.is_some() && photos != 1 {
        return Err(Failure::wrong_use(format!(
            "--grams is what the pieces of one photo weigh, but {photos} photos are named; count each by itself with its own --grams"
        )));
    }
    Ok(())
}

/// What pieces weigh; nothing is read where nothing was weighed.
///
/// # Errors
/// When the file of weights cannot be used.
pub fn masses(grams: Option<Reading>, home: &Path, shapes: Shapes) -> Result<Masses, Failure> {
    let book = match grams {
        Some(_) => home::weights(home, shapes)?,
        None => Default::default(),
    };
    Ok(Masses::of_book(&book))
}

/// Notes in the sheet what the scale says, and warns where it does not agree.
///
/// # Errors
/// When a counted piece has no mass.
pub fn weigh(
    sheet: &mut Sheet,
    masses: &Masses,
    search: &Search,
    grams: Reading,
) -> Result<(), WeighError> {
    let weighing = compare(&sheet.groups, &sheet.pieces, masses, search, grams)?;
    (sheet.warnings).extend(weighing.warning(sheet.unexplained.len()));
    sheet.weighing = Some(weighing);
    Ok(())
}

/// Prints what the scale says.
///
/// # Errors
/// When stdout cannot be written.
pub fn tell(sheet: &Sheet) -> Result<(), Failure> {
    let Some(weighing) = &sheet.weighing else {
        return Ok(());
    };
    say::print_wrapped(&format!("  scale: {}", weighing.line()), 4)?;
    if !weighing.agrees {
        tell_why(weighing)?;
    }
    if !sheet.unexplained.is_empty() {
        let others = on_the_scale_too(sheet.unexplained.len());
        say::print_wrapped(&format!("  scale: {others}"), 4)?;
    }
    Ok(())
}

fn tell_why(weighing: &Weighing) -> Result<(), Failure> {
    if weighing.ranges_allow {
        say::print("  scale: the counts' ranges allow that difference")?;
    }
    for explanation in &weighing.explanations {
        say::print_wrapped(
            &format!("  scale: would explain it: {}", explanation.text()),
            4,
        )?;
    }
    if weighing.explanations.is_empty() {
        say::print("  scale: no single mistake in the count explains it")?;
    }
    Ok(())
}
