//! Is anything worse than what is recorded? The rules with their margins, and why each.
//!
//! A run on one machine gives the same counts every time. Another processor or C library
//! may round a last digit otherwise, and then a piece whose evidence is balanced may fall to
//! the other side; the margins are for that and for nothing else. Who makes a figure better
//! at the cost of another writes the record anew and says so.

use crate::held::held;
use crate::record::{End, Line, Measured, Record};
use crate::set::Folder;

/// Faults that a photo of clumps or a pour may gain, as a share of its pieces: in
/// the sample's clumps about that many pieces have a runner-up nearly as good. Photos whose
/// pieces stand apart get none: each of their pieces is decided by a wide gap.
pub const FAULT_SLACK: f64 = 0.02;

/// What became worse, a sentence each. Lines are compared only if the run has all photos.
pub fn worse(recorded: &Record, now: &Record, complete: bool) -> Vec<String> {
    let mut faults = Vec::new();
    for (name, measured) in &now.photos {
        match recorded.photos.get(name) {
            None => faults.push(format!("{name} is not recorded")),
            Some(before) => photo(name, before, measured, &mut faults),
        }
    }
    for (lesson, refused) in &now.lessons {
        let taught = recorded.lessons.get(lesson) == Some(&None);
        if let Some(sentence) = refused.as_ref().filter(|_| taught) {
            faults.push(format!(
                "{lesson} could be taught from, and no more: {sentence}"
            ));
        }
    }
    if complete {
        // A folder that this run left out, as whoever has no foreign photos does, is not asked for.
        let asked = |folder| now.photos.values().any(|m| m.folder == folder);
        for (name, before) in &recorded.photos {
            if asked(before.folder) && !now.photos.contains_key(name) {
                faults.push(format!("{name} is recorded and no longer there"));
            }
        }
        for folder in Folder::ALL {
            for before in recorded.lines(folder) {
                let same = |line: &Line| line.name == before.name;
                if let Some(line) = now.lines(folder).into_iter().find(same) {
                    compare_lines(folder, &before, &line, &mut faults);
                }
            }
        }
    }
    faults
}

/// Faults that this photo may have more than recorded.
fn slack(measured: &Measured) -> u32 {
    if measured.kind.is_apart() {
        0
    } else {
        (FAULT_SLACK * f64::from(measured.figures.pieces)).floor() as u32
    }
}

fn photo(name: &str, before: &Measured, now: &Measured, faults: &mut Vec<String>) {
    if let (None, Some(sentence)) = (&before.refused, &now.refused) {
        // To refuse a photo that was made to fail is as good as to warn of it.
        if now.failure.is_none() {
            faults.push(format!(
                "{name} was counted, and is refused now: {sentence}"
            ));
            return;
        }
    }
    // Wrong and sure is what must never grow, so without a margin.
    let strict = [
        (
            "pieces wrong and sure",
            before.figures.sure_wrong,
            now.figures.sure_wrong,
        ),
        (
            "groups wrong and sure",
            before.figures.groups_sure_wrong,
            now.figures.groups_sure_wrong,
        ),
    ];
    for (what, before, now) in strict {
        if now > before {
            faults.push(format!("{name}: {now} {what}, {before} recorded"));
        }
    }
    if now.failure.is_some() {
        failing(name, before, now, faults);
        return;
    }
    let slack = slack(before);
    let held = [
        (
            "missed, invented or of a wrong shape",
            before.figures.shape_faults(),
            now.figures.shape_faults(),
        ),
        (
            "missed, invented or wrong",
            before.figures.faults(),
            now.figures.faults(),
        ),
    ];
    for (what, before, now) in held {
        if now > before + slack {
            faults.push(format!(
                "{name}: {now} pieces {what}, {before} recorded (margin {slack})"
            ));
        }
    }
}

/// What holds for photos that were made to fail, as the page tells it.
pub const FAILING_BARS: &str = "
- none is counted wrongly without a warning;
- no piece on them is wrong and sure;
- none is warned of less than recorded, and no more groups are wrong and sure than recorded.
";

/// Of a photo that was made to fail it matters how it ends, not how well it is counted.
fn failing(name: &str, before: &Measured, now: &Measured, faults: &mut Vec<String>) {
    if now.figures.sure_wrong > 0 {
        let wrong = now.figures.sure_wrong;
        faults.push(format!(
            "{name}: {wrong} pieces wrong and sure on a photo that should not be trusted"
        ));
    }
    match now.end() {
        End::WrongInSilence => {
            faults.push(format!("{name} is counted wrongly without a warning"));
        }
        End::Warned => {
            for code in before.warnings.iter().filter(|c| !now.warnings.contains(c)) {
                faults.push(format!("{name} is no longer warned of with '{code}'"));
            }
        }
        _ => {}
    }
}

fn compare_lines(folder: Folder, before: &Line, now: &Line, faults: &mut Vec<String>) {
    let recorded = held(before);
    for figure in held(now) {
        let Some(before) = recorded.iter().find(|b| b.name == figure.name) else {
            continue;
        };
        if figure.worse_than(before.value) > figure.margin {
            faults.push(format!(
                "{} of {}: {} {}, {} recorded (margin {})",
                now.name,
                folder.name(),
                figure.name,
                figure.told(figure.value),
                figure.told(before.value),
                figure.margin
            ));
        }
    }
}
