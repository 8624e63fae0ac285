//! Photos that show a tray which a posted photo shows too: pointed out, because
//! their pieces may be counted twice. Whether they are is the user's to decide.

use super::history::{Entry, Ledger};
use super::kind::{Label, Name, PhotoHash};
use super::merge::Incoming;
use super::model::Stock;
use super::scene::{Common, Spots};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// A photo that was just posted and looks like one posted before.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Alike {
    /// The sheet file of the new photo.
    pub sheet: Label,
    /// The other photo's file name.
    pub photo: Label,
    /// Where the other photo's pieces went.
    pub place: Name,
    /// The entry that posted the other photo; the new one itself when both came
    /// together.
    pub entry: u64,
    /// What the two have in common.
    #[serde(flatten)]
    pub common: Common,
}

/// A posted photo whose pieces may still be where it put them.
struct Known<'a> {
    hash: &'a PhotoHash,
    file: &'a Label,
    place: &'a Name,
    entry: u64,
    scene: Spots,
}

/// For each new sheet the posted photo that is most like it, if any. `recounts` are
/// the places that the new entry says all of: what lay there is gone, so a photo of
/// it is no second count.
pub fn alike(
    stock: &Stock,
    ledger: &Ledger,
    new: &[(&Incoming, &Name)],
    recounts: &BTreeSet<Name>,
) -> Vec<Alike> {
    if new.iter().all(|(sheet, _)| sheet.scene.is_none()) {
        return Vec::new();
    }
    let mut known = still_there(stock, ledger, recounts);
    let mut found = Vec::new();
    for &(sheet, place) in new {
        let Some(scene) = &sheet.scene else { continue };
        let scene = scene.spots();
        let nearest = known
            .iter()
            .filter(|other| *other.hash != sheet.hash)
            .filter_map(|other| Some((scene.common(&other.scene)?, other)))
            // The last of equals: it is the likeliest to be remembered.
            .max_by_key(|(common, _)| common.same);
        if let Some((common, other)) = nearest {
            found.push(Alike {
                sheet: sheet.from.clone(),
                photo: other.file.clone(),
                place: other.place.clone(),
                entry: other.entry,
                common,
            });
        }
        known.push(Known {
            hash: &sheet.hash,
            file: &sheet.file,
            place,
            entry: stock.next_number(),
            scene,
        });
    }
    found
}

fn still_there<'a>(stock: &'a Stock, ledger: &Ledger, recounts: &BTreeSet<Name>) -> Vec<Known<'a>> {
    let standing = || stock.history.iter().filter(|e| ledger.stands(e.number));
    let mut counted: BTreeMap<&Name, u64> = BTreeMap::new();
    for entry in standing() {
        counted.extend(entry.recounts.iter().map(|place| (place, entry.number)));
    }
    let is_there = |entry: &Entry, place: &Name| {
        let last = counted.get(place).copied().unwrap_or(0);
        entry.number >= last && !recounts.contains(place)
    };
    let mut known = Vec::new();
    for entry in standing() {
        for sheet in &entry.sheets {
            let Some(scene) = &sheet.scene else { continue };
            if is_there(entry, &sheet.place) {
                known.push(Known {
                    hash: &sheet.hash,
                    file: &sheet.file,
                    place: &sheet.place,
                    entry: entry.number,
                    scene: scene.spots(),
                });
            }
        }
    }
    known
}
