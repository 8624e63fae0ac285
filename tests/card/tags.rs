//! Our tag reader beside the family's reference reader, on the sample photos and their truth.

use cuptally::card::find;
use cuptally::photo::{self, Limits};
use cuptally::units::Px;
use serde_json::Value;
use std::path::Path;

use crate::support::card::detect;

/// Photos in which tags are hard to read: glare, blur, too dark, curled paper, half a card, a wooden table.
const HARD: [&str; 7] = [
    "failing-curled-card-40",
    "failing-glare-on-card-36",
    "failing-half-a-card-36",
    "failing-moved-40",
    "failing-out-of-focus-40",
    "failing-too-dark-38",
    "failing-wooden-table-44",
];

/// Every tag that the reference reader reads is found, where the photo's truth has it.
#[test]
fn finds_what_the_reference_reader_finds() {
    let tune = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos/tune");
    for name in HARD.into_iter().chain(["poured-mixed-d50-90"]) {
        let path = tune.join(format!("{name}.jpg"));
        let truth = std::fs::read(path.with_extension("json")).unwrap();
        let truth: Value = serde_json::from_slice(&truth).unwrap();
        let photo = photo::open(&path, &Limits::default()).unwrap();
        let grey = photo.pixels.grey8();
        // In the darkest neither reads any.
        let ours = find(&grey).map(|card| card.tags).unwrap_or_default();
        let theirs: Vec<usize> = detect(&grey, 1.0).iter().map(|(id, _)| *id).collect();
        let ids: Vec<usize> = ours.iter().map(|tag| usize::from(tag.id)).collect();
        for id in theirs.iter().filter(|id| **id < 4) {
            assert!(
                ids.contains(id),
                "{name}: tag {id} of {theirs:?}, not in {ids:?}"
            );
        }
        for tag in truth["card"]["tags"].as_array().unwrap() {
            let Some(found) =
                (ours.iter()).find(|t| u64::from(t.id) == tag["id"].as_u64().unwrap())
            else {
                continue;
            };
            for (corner, at) in found
                .corners
                .iter()
                .zip(tag["corners_px"].as_array().unwrap())
            {
                let at = Px::new(at[0].as_f64().unwrap(), at[1].as_f64().unwrap());
                // The worst on the sample photos, a moved one, is 0.8; a cell is six or more.
                assert!(corner.distance(at) < 1.0, "{name}: {corner:?} for {at:?}");
            }
        }
    }
}
