//! Opening photos: turns, formats, colour, refusals. The files in
//! `tests/data/photo` are made by `tests/reference/photo.py`.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod colour;
mod cut;
mod heic;
mod refusals;
mod turns;

use cuptally::photo::{self, Format, Limits, Note, Photo, PhotoError, Problem, srgb_encode};
use image::metadata::Orientation;
use image::{DynamicImage, ImageEncoder, ImageFormat, RgbImage};
use std::io::Cursor;
use std::path::{Path, PathBuf};

/// The samples are tiny.
const ANY_SIZE: Limits = Limits {
    max_pixels: 1_000_000,
    max_side: 32_767,
    max_kept_pixels: 1_000_000,
    min_side: 1,
    max_file_bytes: 1_000_000,
    max_decoding_bytes: 10_000_000,
};

fn sample(name: &str) -> PathBuf {
    Path::new("tests/data/photo").join(name)
}

fn bytes(name: &str) -> Vec<u8> {
    std::fs::read(sample(name)).expect("the sample is committed")
}

fn open(name: &str) -> Photo {
    photo::open(&sample(name), &ANY_SIZE).unwrap_or_else(|error| panic!("{error}"))
}

fn opened(bytes: &[u8]) -> Result<Photo, PhotoError> {
    photo::from_bytes("harbour/quay.jpg", bytes, &ANY_SIZE)
}

fn problem(result: Result<Photo, PhotoError>) -> Problem {
    match result {
        Ok(photo) => panic!("{} should be refused", photo.file),
        Err(error) => error.problem,
    }
}

/// A pixel as 8-bit sRGB, for comparing with what painted it.
fn srgb8(photo: &Photo, row: usize, col: usize) -> [f64; 3] {
    photo
        .pixels
        .at(row, col)
        .map(|v| (srgb_encode(f64::from(v)) * 255.0).round())
}

/// The flag's six blocks of 8 x 8, as `photo.py` paints them.
const FLAG: [[[f64; 3]; 3]; 2] = [
    [
        [220.0, 40.0, 40.0],
        [240.0, 200.0, 30.0],
        [30.0, 60.0, 160.0],
    ],
    [
        [250.0, 250.0, 250.0],
        [20.0, 20.0, 20.0],
        [30.0, 150.0, 90.0],
    ],
];

/// Every pixel is its block's colour, within a tolerance in levels of 255.
fn assert_flag(photo: &Photo, tolerance: f64, what: &str) {
    assert_eq!(
        (photo.pixels.width(), photo.pixels.height()),
        (24, 16),
        "{what}"
    );
    for row in 0..16 {
        for col in 0..24 {
            let (seen, painted) = (srgb8(photo, row, col), FLAG[row / 8][col / 8]);
            for (a, b) in seen.iter().zip(painted) {
                assert!(
                    (a - b).abs() <= tolerance,
                    "{what} {row},{col}: {seen:?} {painted:?}"
                );
            }
        }
    }
}

/// A picture as PNG bytes.
fn encoded(picture: &DynamicImage) -> Vec<u8> {
    let mut png = Cursor::new(Vec::new());
    picture.write_to(&mut png, ImageFormat::Png).unwrap();
    png.into_inner()
}

/// The check sum of PNG chunks (PNG specification, annex D), bit by bit.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |sum, _| {
            if sum & 1 == 1 {
                (sum >> 1) ^ 0xEDB8_8320
            } else {
                sum >> 1
            }
        })
    })
}
