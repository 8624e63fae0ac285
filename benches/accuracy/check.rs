//! Is anything worse than what is recorded? The rules with their margins, and why each.
//!
//! A run on one machine gives the same counts every time. Another processor or C library
//! may round a last digit otherwise, and then a piece whose evidence is balanced may fall to
//! the other side; the margins are for that and for nothing else. Who makes a figure better
//! at the cost of another writes the record anew and says so.

use crate::record::{End, Line, Measured, Record};
use crate::set::Folder;

/// Faults that a photo of clumps or a pour may gain, as a share of its pieces: in
/// the sample's clumps about that many pieces have a runner-up nearly as good. Photos whose
/// pieces stand apart get none: each of their pieces is decided by a wide gap.
pub const FAULT_SLACK: f64 = 0.02;

/// Points of a hundred by which a line's errors may rise or its exact groups fall: one
/// piece in a hundred.
pub const ERROR_POINTS: f64 = 1.0;

/// Points of a hundred by which the share of sure pieces and of ranges that hold may fall:
/// sureness changes before counts do, so it gets twice that.
pub const SURE_POINTS: f64 = 2.0;

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
        let gone = |name: &&String| !now.photos.contains_key(*name);
        for name in recorded.photos.keys().filter(gone) {
            faults.push(format!("{name} is recorded and no longer there"));
        }
        for folder in Folder::ALL {
            for before in recorded.lines(folder) {
                let same = |line: &Line| line.kind == before.kind;
                if let Some(line) = now.lines(folder).into_iter().find(same) {
                    compare_lines(&before, &line, &mut faults);
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

/// Of a photo that was made to fail it matters how it ends, not how well it is counted.
fn failing(name: &str, before: &Measured, now: &Measured, faults: &mut Vec<String>) {
    match now.end() {
        End::WrongInSilence if before.end() != End::WrongInSilence => {
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

fn compare_lines(before: &Line, now: &Line, faults: &mut Vec<String>) {
    let share = |part: u32, whole: u32| 100.0 * f64::from(part) / f64::from(whole.max(1));
    let pick = |line: &Line| {
        let f = &line.figures;
        // Turned so that more is worse.
        [
            ("total error", share(f.total_error, f.pieces), ERROR_POINTS),
            ("group error", share(f.group_error, f.pieces), ERROR_POINTS),
            (
                "groups not exact",
                100.0 - share(f.groups_exact, f.groups),
                ERROR_POINTS,
            ),
            (
                "pieces not marked sure",
                100.0 - share(f.sure, f.counted),
                SURE_POINTS,
            ),
            (
                "ranges that do not hold",
                100.0 - share(f.ranges_hold, f.ranges),
                SURE_POINTS,
            ),
        ]
    };
    let of = now.kind.map_or("all but failing", |kind| kind.name());
    for ((what, before, margin), (_, is, _)) in pick(before).into_iter().zip(pick(now)) {
        if is > before + margin {
            faults.push(format!(
                "{} of {}: {what} {is:.1} %, {before:.1} % recorded (margin {margin} points)",
                of,
                now.folder.name()
            ));
        }
    }
}
