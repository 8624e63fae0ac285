//! Check: the contents must follow from the history.

use super::change::{Change, Misfit};
use super::history::{Entry, What};
use super::kind::{Kind, Name, Size};
use super::model::{Contents, Note, PendingSheet, Recorded, Stock};
use super::stamp::Stamp;
use super::tally::Tally;
use std::collections::{BTreeSet, HashMap};

/// The contents that a history leads to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Replay {
    /// What is there after the last entry.
    pub contents: Contents,
    /// Entries that do not fit on those before them.
    pub misfits: Vec<(u64, Misfit)>,
}

/// Goes through the history from nothing.
pub fn replay<'a>(history: impl IntoIterator<Item = &'a Entry>) -> Replay {
    let mut replay = Replay::default();
    for entry in history {
        for change in &entry.changes {
            if let Some(misfit) = change.replay(&mut replay.contents) {
                replay.misfits.push((entry.number, misfit));
            }
        }
    }
    replay
}

/// One way in which the file's contents are not what its history leads to.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Difference {
    /// The history does not fit on itself.
    #[error("entry {0} of the history does not fit: {1}")]
    History(u64, Misfit),
    /// Another number.
    #[error("{place} holds {in_file} {kind}; by the history it is {by_history}")]
    Count {
        /// Where.
        place: Name,
        /// Of what.
        kind: Kind,
        /// In the file's contents.
        in_file: Tally,
        /// By the history.
        by_history: Tally,
    },
    /// A pending sheet of which the history does not know, or not so.
    #[error("{} of entry {} is pending in {}; by the history it is not, or with other numbers", .0.file, .0.entry, .0.place)]
    OnlyInFile(PendingSheet),
    /// A pending sheet that the contents lack.
    #[error("{} of entry {} is not pending in {}; by the history it is", .0.file, .0.entry, .0.place)]
    OnlyInHistory(PendingSheet),
}

/// Whether contents and history agree: as [`differences`], but quick and without
/// saying where they do not. Every change of a stock begins with this.
pub fn agree(stock: &Stock) -> bool {
    let mut counts: HashMap<(&Name, &Name, Size, &Name), Tally> = HashMap::new();
    let mut pending: BTreeSet<&PendingSheet> = BTreeSet::new();
    for change in stock.history.iter().flat_map(|entry| &entry.changes) {
        let fits = match change {
            Change::Count(step) => {
                let key = (&step.place, &step.form, step.size, &step.colour);
                let there = counts.entry(key).or_default();
                let fits = *there == step.was;
                *there = step.now;
                fits
            }
            Change::Pend(sheet) => pending.insert(sheet),
            Change::Unpend(sheet) => pending.remove(sheet),
        };
        if !fits {
            return false;
        }
    }
    let here = &stock.contents;
    let lots = here.places.values();
    let kinds: usize = lots.map(|lots| lots.iter().count()).sum();
    kinds == counts.values().filter(|tally| !tally.is_zero()).count()
        && here.places.iter().all(|(place, lots)| {
            lots.iter().all(|(kind, tally)| {
                let key = (place, &kind.form, kind.size, &kind.colour);
                counts.get(&key) == Some(&tally)
            })
        })
        && here.pending.iter().eq(pending)
}

/// Where contents and history differ; nothing when all is well.
pub fn differences(stock: &Stock) -> Vec<Difference> {
    let Replay { contents, misfits } = replay(&stock.history);
    let mut found: Vec<Difference> = misfits
        .into_iter()
        .map(|(entry, misfit)| Difference::History(entry, misfit))
        .collect();
    if contents == stock.contents {
        return found;
    }
    let here = &stock.contents;
    let places: BTreeSet<&Name> = here.places.keys().chain(contents.places.keys()).collect();
    for place in places {
        let kinds: BTreeSet<&Kind> = [here, &contents]
            .into_iter()
            .filter_map(|contents| contents.places.get(place))
            .flat_map(|lots| lots.iter().map(|(kind, _)| kind))
            .collect();
        for kind in kinds {
            let (in_file, by_history) = (here.get(place, kind), contents.get(place, kind));
            if in_file != by_history {
                found.push(Difference::Count {
                    place: place.clone(),
                    kind: kind.clone(),
                    in_file,
                    by_history,
                });
            }
        }
    }
    let only_here = here.pending.difference(&contents.pending).cloned();
    let only_there = contents.pending.difference(&here.pending).cloned();
    found.extend(only_here.map(Difference::OnlyInFile));
    found.extend(only_there.map(Difference::OnlyInHistory));
    found
}

/// Takes the history's word: the contents become what it leads to.
pub fn keep_history(stock: &mut Stock) {
    stock.contents = replay(&stock.history).contents;
}

/// Takes the contents' word: an entry is added that leads to them.
pub fn keep_contents(stock: &mut Stock, stamp: &Stamp) -> Recorded {
    let contents = stock.contents.clone();
    keep_history(stock);
    stock.record(stamp, What::Adopt, contents, Note::default())
}
