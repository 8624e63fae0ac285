//! Printing the card through the real program, and reading its tags from a picture.

use apriltag::{DetectorBuilder, Family, Image as TagImage};
use assert_cmd::Command;
use cuptally::card::design::Tag;
use cuptally::units::Mm;
use image::GrayImage;
use tempfile::TempDir;

/// The program under test.
pub fn cuptally() -> Command {
    let mut command = Command::cargo_bin("cuptally").unwrap();
    // The card needs no home, and the user's own is nobody's to test with.
    command.env("CUPTALLY_HOME", "no-such-home");
    command
}

/// Writes the card for this paper (`a4` or `letter`) into a fresh folder.
pub fn printed(paper: &str) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().to_str().unwrap();
    cuptally()
        .args(["card", "--paper", paper, "--out", out])
        .assert()
        .success();
    folder
}

/// Runs the tag family's reference detector; gives each id with its corners in mm,
/// in the order of [`Tag::corners_mm`], by id.
pub fn detect(picture: &GrayImage, px_per_mm: f64) -> Vec<(usize, [Mm; 4])> {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let mut input = TagImage::zeros_with_stride(width, height, width).unwrap();
    input.as_slice_mut().copy_from_slice(picture.as_raw());
    let mut detector = DetectorBuilder::new()
        .add_family_bits(Family::tag_36h11(), 0)
        .build()
        .unwrap();
    detector.set_decimation(1.0);
    let mut found: Vec<(usize, [Mm; 4])> = detector
        .detect(&input)
        .iter()
        .map(|detection| {
            let mut corners = [Mm::default(); 4];
            for (corner, [x, y]) in Tag::DETECTED_CORNERS.into_iter().zip(detection.corners()) {
                corners[corner] = Mm::new(x / px_per_mm, y / px_per_mm);
            }
            (detection.id(), corners)
        })
        .collect();
    found.sort_by_key(|(id, _)| *id);
    found
}
