//! `cuptally card`, through the real program: what it writes, and how true it is.

use crate::support::card::{cuptally, detect, printed};
use cuptally::card::design::{CardDesign, Patch};
use cuptally::units::Mm;
use image::{Rgb, RgbImage};
use predicates::prelude::*;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// The resolution that the card's picture promises.
const PX_PER_MM: f64 = 20.0;

fn picture(folder: &Path) -> RgbImage {
    image::open(folder.join("card.png")).unwrap().into_rgb8()
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn lists_the_three_files_and_says_how_to_check_the_print() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("for the club");
    let paths: String = ["card.pdf", "card.svg", "card.png"]
        .map(|name| format!("{}\n", out.join(name).display()))
        .concat();
    cuptally()
        .args(["card", "--paper", "letter", "--out", out.to_str().unwrap()])
        .assert()
        .success()
        .stdout(paths)
        .stderr(predicate::str::contains("100 mm").and(predicate::str::contains("ruler")));
    assert_eq!(names(&out), ["card.pdf", "card.png", "card.svg"]);
}

#[test]
fn writes_into_the_working_folder_when_none_is_named() {
    let folder = tempfile::tempdir().unwrap();
    cuptally()
        .current_dir(&folder)
        .arg("card")
        .assert()
        .success();
    assert_eq!(names(folder.path()), ["card.pdf", "card.png", "card.svg"]);
}

#[test]
fn two_runs_write_the_same_bytes() {
    let (first, second) = (printed("a4"), printed("a4"));
    for name in ["card.pdf", "card.svg", "card.png"] {
        let read = |folder: &TempDir| fs::read(folder.path().join(name)).unwrap();
        assert!(read(&first) == read(&second), "{name} differs");
    }
}

#[test]
fn an_unknown_paper_is_wrong_use() {
    cuptally()
        .args(["card", "--paper", "a3"])
        .assert()
        .code(2)
        .stderr(predicate::str::contains("a4").and(predicate::str::contains("letter")));
}

#[test]
fn a_folder_that_cannot_be_made_fails_in_one_sentence_and_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("tide-table.txt");
    fs::write(&file, "high water 06:12").unwrap();
    // A name longer than a file system takes fails after the folders above it are made.
    let too_long = folder.path().join("new").join("x".repeat(300));
    for out in [file.join("cards"), too_long] {
        cuptally()
            .args(["card", "--out", out.to_str().unwrap()])
            .assert()
            .code(1)
            .stdout("")
            .stderr(predicate::str::contains(out.to_str().unwrap()))
            .stderr(predicate::function(|text: &str| text.lines().count() == 1));
    }
    assert_eq!(names(folder.path()), ["tide-table.txt"]);
    assert_eq!(fs::read_to_string(file).unwrap(), "high water 06:12");
}

#[test]
fn a_file_that_cannot_be_replaced_leaves_the_others_as_they_were() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("card.pdf"), "an older one").unwrap();
    fs::create_dir(folder.path().join("card.png")).unwrap();
    cuptally()
        .args(["card", "--out", folder.path().to_str().unwrap()])
        .assert()
        .code(1)
        .stdout("")
        .stderr(predicate::str::contains("card.png"));
    assert_eq!(names(folder.path()), ["card.pdf", "card.png"]);
    let kept = fs::read_to_string(folder.path().join("card.pdf")).unwrap();
    assert_eq!(kept, "an older one");
}

#[cfg(unix)]
#[test]
fn the_files_have_the_rights_of_any_new_file() {
    use std::os::unix::fs::PermissionsExt;
    let folder = printed("a4");
    fs::write(folder.path().join("ordinary"), "").unwrap();
    let mode = |name: &str| {
        let metadata = fs::metadata(folder.path().join(name)).unwrap();
        metadata.permissions().mode()
    };
    for name in ["card.pdf", "card.svg", "card.png"] {
        assert_eq!(mode(name), mode("ordinary"), "{name}");
    }
}

#[test]
fn the_picture_says_its_size_and_colour_space() {
    let folder = printed("a4");
    let file = fs::File::open(folder.path().join("card.png")).unwrap();
    let reader = png::Decoder::new(std::io::BufReader::new(file))
        .read_info()
        .unwrap();
    let info = reader.info();
    assert_eq!((info.width, info.height), (3800, 1400));
    let dims = info.pixel_dims.unwrap();
    assert_eq!(
        (dims.xppu, dims.yppu, dims.unit),
        (20_000, 20_000, png::Unit::Meter)
    );
    assert!(info.srgb.is_some());
}

/// A patch's middle and places just inside its corners.
fn places_in(patch: &Patch) -> Vec<Mm> {
    let middle = patch.middle();
    let inside = |corner: Mm, t: f64| {
        Mm::new(
            corner.x + (middle.x - corner.x) * t,
            corner.y + (middle.y - corner.y) * t,
        )
    };
    let corners = patch.corners_mm().into_iter();
    // 1/280 of the 7 mm to the middle is 0.025 mm: the middle of the corner's own pixel.
    corners
        .map(|c| inside(c, 1.0 / 280.0))
        .chain([middle])
        .collect()
}

fn at(picture: &RgbImage, place: Mm) -> [u8; 3] {
    let pixel = |mm: f64| (mm * PX_PER_MM).floor() as u32;
    let Rgb(levels) = *picture.get_pixel(pixel(place.x), pixel(place.y));
    levels
}

#[test]
fn every_patch_of_the_picture_is_exactly_the_json() {
    let picture = picture(printed("a4").path());
    let file: serde_json::Value =
        serde_json::from_str(include_str!("../../calibration/card-v1.json")).unwrap();
    let listed = file["patches"].as_array().unwrap();
    assert_eq!(listed.len(), 24);
    for (patch, listed) in CardDesign::v1().patches.iter().zip(listed) {
        let srgb: [u8; 3] = serde_json::from_value(listed["srgb"].clone()).unwrap();
        for place in places_in(patch) {
            assert_eq!(at(&picture, place), srgb, "{} at {place:?}", patch.name);
        }
        // And no further: the pixels diagonally outside the corners are paper.
        let [top_left, _, bottom_right, _] = patch.corners_mm();
        for (corner, out) in [(top_left, -0.025), (bottom_right, 0.025)] {
            let outside = Mm::new(corner.x + out, corner.y + out);
            assert_eq!(at(&picture, outside), [255; 3], "{}", patch.name);
        }
    }
}

/// Against the contract's own picture; `tests/data/README.md` tells its origin.
#[test]
fn every_square_millimetre_is_as_the_contract_draws_it() {
    let picture = picture(printed("a4").path());
    let contract = image::open("tests/data/card-v1-by-millimetre.png")
        .unwrap()
        .into_rgb8();
    assert_eq!(contract.dimensions(), (190, 70));
    let mut compared = 0;
    for (x, y, pixel) in contract.enumerate_pixels() {
        // The bar's line and words are drawn with another pen and font there.
        if (44..147).contains(&x) && (57..66).contains(&y) {
            continue;
        }
        let ours = at(&picture, Mm::new(f64::from(x) + 0.5, f64::from(y) + 0.5));
        assert_eq!(ours, pixel.0, "square millimetre {x}, {y}");
        compared += 1;
    }
    assert_eq!(compared, 190 * 70 - 103 * 9);
}

#[test]
fn the_reference_detector_reads_the_four_tags_where_they_should_be() {
    let folder = printed("a4");
    let picture = image::open(folder.path().join("card.png"))
        .unwrap()
        .into_luma8();
    let found = detect(&picture, PX_PER_MM);
    let ids: Vec<usize> = found.iter().map(|(id, _)| *id).collect();
    assert_eq!(ids, [0, 1, 2, 3]);
    for ((id, corners), tag) in found.iter().zip(&CardDesign::v1().tags) {
        for (found, expected) in corners.iter().zip(tag.corners_mm()) {
            let off = found.distance(expected);
            // One pixel of the picture.
            assert!(
                off < 0.05,
                "tag {id}: {found:?} is {off:.3} mm from {expected:?}"
            );
        }
    }
}
