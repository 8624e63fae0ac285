//! What the accuracy table (`benches/accuracy`) does not ask of the shipped sample photos
//! (rendered; truth beside each): that the set is what it claims to be, that the card is found
//! to a fraction of a pixel, that the number of threads changes nothing.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use cuptally::card;
use cuptally::photo::{self, Limits, Photo};
use cuptally::pieces::{Form, Search, Shapes};
use cuptally::pipeline::{self, Targets};
use serde::Deserialize;
use serde::de::IgnoredAny;

#[derive(Deserialize)]
struct Truth {
    card: TrueCard,
    pieces: Vec<IgnoredAny>,
    /// Why its count should not be trusted, in photos that were made to fail.
    #[serde(default)]
    failure: Option<String>,
}

#[derive(Deserialize)]
struct TrueCard {
    tags: Vec<TrueTag>,
}

#[derive(Deserialize)]
struct TrueTag {
    id: u8,
    corners_px: [[f64; 2]; 4],
}

/// A photo of the set with its truth.
struct Sample {
    folder: &'static str,
    name: String,
    path: PathBuf,
    truth: Truth,
}

impl Sample {
    fn open(&self) -> Photo {
        photo::open(&self.path, &Limits::default()).unwrap()
    }
}

static SAMPLES: LazyLock<Vec<Sample>> = LazyLock::new(|| {
    let photos = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos");
    let mut samples: Vec<Sample> = ["tune", "check"]
        .iter()
        .flat_map(|&folder| {
            let list = fs::read_dir(photos.join(folder)).unwrap();
            list.map(move |entry| (folder, entry.unwrap().path()))
        })
        .filter(|(_, path)| path.extension().is_some_and(|e| e == "jpg"))
        .map(|(folder, path)| {
            let truth = fs::read_to_string(path.with_extension("json")).unwrap();
            Sample {
                folder,
                name: path.file_stem().unwrap().to_str().unwrap().to_owned(),
                path,
                truth: serde_json::from_str(&truth).unwrap(),
            }
        })
        .collect();
    samples.sort_by(|a, b| a.name.cmp(&b.name));
    samples
});

/// The whole set, photos and truths, so that it is quickly fetched, bytes.
const LARGEST_SET: u64 = 40_000_000;

#[test]
fn the_set_is_what_it_claims_to_be() {
    let count = |wanted: &dyn Fn(&Sample) -> bool| SAMPLES.iter().filter(|s| wanted(s)).count();
    assert!(count(&|s| s.folder == "tune") >= 24 && count(&|s| s.folder == "check") >= 16);
    for kind in ["sorted", "teach", "touching", "poured", "dumped", "failing"] {
        assert!(count(&|s| s.name.contains(kind)) >= 2, "{kind}");
    }
    let mut bytes = 0;
    for sample in SAMPLES.iter() {
        // The last number of a name is the number of pieces.
        let claimed: usize = sample.name.rsplit('-').next().unwrap().parse().unwrap();
        assert_eq!(sample.truth.pieces.len(), claimed, "{}", sample.name);
        for path in [&sample.path, &sample.path.with_extension("json")] {
            bytes += fs::metadata(path).unwrap().len();
        }
    }
    assert!(bytes < LARGEST_SET, "{bytes} bytes");
}

#[test]
fn the_card_is_found_in_every_good_photo_to_a_fraction_of_a_pixel() {
    let mut all = Vec::new();
    for sample in SAMPLES.iter().filter(|s| s.truth.failure.is_none()) {
        let grey = sample.open().pixels.grey8();
        let found = card::find(&grey).unwrap_or_else(|e| panic!("{}: {e}", sample.name));
        let mut errors = Vec::new();
        for tag in &sample.truth.card.tags {
            let seen = found.tags.iter().find(|t| t.id == tag.id);
            let seen = seen.unwrap_or_else(|| panic!("{}: tag {} is missing", sample.name, tag.id));
            for (corner, truth) in seen.corners.iter().zip(tag.corners_px) {
                errors.push((corner.x - truth[0]).hypot(corner.y - truth[1]));
            }
        }
        errors.sort_by(f64::total_cmp);
        let (median, worst) = (errors[errors.len() / 2], errors[errors.len() - 1]);
        println!(
            "{:32} median {median:.3} px, worst {worst:.3} px",
            sample.name
        );
        // The bar for 3 megapixels; those of 12 must keep it too.
        assert!(median < 0.3, "{}", sample.name);
        all.extend(errors);
    }
    all.sort_by(f64::total_cmp);
    println!(
        "all: median {:.3} px of {} corners",
        all[all.len() / 2],
        all.len()
    );
}

#[test]
fn the_same_photo_gives_the_same_sheet_whatever_the_number_of_threads() {
    let sample = SAMPLES
        .iter()
        .find(|s| s.name.starts_with("bricks-sorted-"))
        .unwrap();
    let photo = sample.open();
    let count = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        let search = Search::of_form(Shapes::shipped(), Form::BRICK);
        pool.install(|| {
            let sheet =
                pipeline::count(&photo, &Targets::nominal(), &search, None, &|_| ()).unwrap();
            serde_json::to_string(&sheet).unwrap()
        })
    };
    assert_eq!(count(1), count(3));
}
