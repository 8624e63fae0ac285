//! The best that each figure ever was, beside what it is now: one that fell has a written reason.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::held::{Held, held};
use crate::record::{Line, Record};
use crate::set::Folder;

/// Bests by folder, line and figure.
pub type Bests = BTreeMap<Folder, BTreeMap<String, OfLine>>;

/// The bests of one line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OfLine {
    /// Which photos the line sums, as a hash of their names and numbers of pieces: over other photos
    /// a figure is another one, and its best begins anew.
    pub photos: String,
    /// By name.
    pub figures: BTreeMap<String, Best>,
}

/// The best of one figure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Best {
    /// What it was.
    pub value: f64,
    /// Day of the run.
    pub measured: String,
    /// Why it is worse now; only where it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fell: Option<Fell>,
}

/// Why a figure fell.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fell {
    /// To what, when the reason was written. Further down it needs another.
    pub to: f64,
    /// The reason.
    pub because: String,
}

/// Compares a new record with the bests so far, gives it its own, and says which figures fell without
/// a reason, a sentence each. `because` is the reason of all that fell in this run.
pub fn carry_on(before: &Record, now: &mut Record, because: Option<&str>) -> Vec<String> {
    let mut faults = Vec::new();
    let mut bests = Bests::new();
    for folder in Folder::ALL {
        let mut lines = BTreeMap::new();
        for line in now.lines(folder) {
            let photos = fingerprint(now, folder, &line);
            let known = known(before, folder, &line, &photos);
            let mut figures = BTreeMap::new();
            for figure in held(&line) {
                let best = known.get(figure.name);
                let (best, lacks) = carried(best, &figure, &now.measured, because);
                if lacks {
                    faults.push(fault(folder, &line, &figure, &best));
                }
                figures.insert(figure.name.to_owned(), best);
            }
            lines.insert(line.name, OfLine { photos, figures });
        }
        if !lines.is_empty() {
            bests.insert(folder, lines);
        }
    }
    now.best = bests;
    faults
}

/// Figures of a record that are worse than its own bests and have no reason: a file that was edited
/// by hand, or merged from two.
pub fn unexplained(record: &Record) -> Vec<String> {
    let mut copy = record.clone();
    carry_on(record, &mut copy, None)
}

/// The bests so far of a line of the same photos; where none were kept, what was measured last.
fn known(before: &Record, folder: Folder, line: &Line, photos: &str) -> BTreeMap<String, Best> {
    let kept = before.best.get(&folder).and_then(|l| l.get(&line.name));
    if let Some(kept) = kept.filter(|kept| kept.photos == photos) {
        return kept.figures.clone();
    }
    let last = before
        .lines(folder)
        .into_iter()
        .find(|l| l.name == line.name);
    let Some(last) = last.filter(|last| fingerprint(before, folder, last) == photos) else {
        return BTreeMap::new();
    };
    let first = |figure: Held| {
        let best = Best {
            value: figure.value,
            measured: before.measured.clone(),
            fell: None,
        };
        (figure.name.to_owned(), best)
    };
    held(&last).into_iter().map(first).collect()
}

/// The best of a figure after this run, and whether it fell without a reason.
fn carried(best: Option<&Best>, now: &Held, day: &str, because: Option<&str>) -> (Best, bool) {
    let Some(best) = best.filter(|best| now.worse_than(best.value) >= 0.0) else {
        let best = Best {
            value: now.value,
            measured: day.to_owned(),
            fell: None,
        };
        return (best, false);
    };
    let mut best = best.clone();
    if now.worse_than(best.value) <= now.margin {
        best.fell = None;
        return (best, false);
    }
    let written = (best.fell.as_ref()).is_some_and(|fell| now.worse_than(fell.to) <= now.margin);
    if !written {
        best.fell = because.map(|because| Fell {
            to: now.value,
            because: because.to_owned(),
        });
    }
    let lacks = best.fell.is_none();
    (best, lacks)
}

fn fault(folder: Folder, line: &Line, figure: &Held, best: &Best) -> String {
    format!(
        "{} of {}: {} {}, at best {} ({})",
        line.name,
        folder.name(),
        figure.name,
        figure.told(figure.value),
        figure.told(best.value),
        best.measured
    )
}

/// Names and numbers of pieces of the photos that a line sums.
fn fingerprint(record: &Record, folder: Folder, line: &Line) -> String {
    let mut hash = Sha256::new();
    for (name, photo) in record.photos.iter().filter(|(_, m)| m.folder == folder) {
        if photo.is_of(&line.name) {
            hash.update(format!("{name} {}\n", photo.figures.pieces));
        }
    }
    let digest = hash.finalize();
    digest.iter().take(8).map(|b| format!("{b:02x}")).collect()
}
