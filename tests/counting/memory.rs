//! How much memory the program takes, whatever the photo.

use super::measured::{Ended, measured};
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};
use image::{ExtendedColorType, ImageEncoder, Rgb, RgbImage};
use miniz_oxide::deflate::compress_to_vec_zlib;
use moxcms::ColorProfile;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// What no photo may exceed, bytes.
const MOST_MEMORY: u64 = 1_000_000_000;
/// What a photo of 3 MP takes that holds no card, bytes: the program, the file, the picture, and room for both.
const WITHOUT_CARD: u64 = 150_000_000;

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-photos/tune")
        .join(format!("{name}.jpg"))
}

/// A sample photo as a phone with more pixels would have taken it.
fn enlarged(name: &str, width: u32, height: u32) -> Vec<u8> {
    let photo = image::open(sample(name)).unwrap().into_rgb8();
    let large = imageops::resize(&photo, width, height, FilterType::Triangle);
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, 88)
        .encode_image(&large)
        .unwrap();
    jpeg
}

fn count(home: &Path, photo: &Path) -> Ended {
    measured(home, &["count", "--json", photo.to_str().unwrap()])
}

fn sheet(ended: &Ended) -> serde_json::Value {
    let sheets: serde_json::Value = serde_json::from_str(&ended.out).unwrap();
    sheets[0].clone()
}

#[test]
fn fifty_megapixels_count_within_a_gigabyte_and_in_their_own_pixels() {
    let home = TempDir::new().unwrap();
    let name = "plates-sorted-close-a-18";
    let small = sheet(&count(home.path(), &sample(name)));
    let path = home.path().join("large.jpg");
    fs::write(&path, enlarged(name, 8160, 6120)).unwrap();
    let ended = count(home.path(), &path);
    assert!(ended.peak <= MOST_MEMORY, "{} bytes", ended.peak);
    let large = sheet(&ended);
    assert_eq!(large["photo"]["width_px"], 8160);
    assert_eq!(large["photo"]["height_px"], 6120);
    let [width, height] = [0, 1].map(|k| large["photo"]["counted_at_px"][k].as_u64().unwrap());
    assert!(width * height <= 24_000_000 && width * height > 23_900_000);
    assert!(small["photo"].get("counted_at_px").is_none());

    // The same pieces in the same places, in pixels of the large photo.
    let factor = 8160.0 / small["photo"]["width_px"].as_f64().unwrap();
    let places = |sheet: &serde_json::Value, key: [&str; 2], by: f64| -> Vec<[f64; 2]> {
        let pieces = sheet["pieces"].as_array().unwrap().iter();
        pieces
            .map(|piece| key.map(|key| piece[key].as_f64().unwrap() * by))
            .collect()
    };
    let near = |keys: [&str; 2], by: f64, within: f64| {
        let (a, b) = (places(&small, keys, by), places(&large, keys, 1.0));
        assert_eq!(a.len(), b.len());
        for [x, y] in a {
            let off = b.iter().map(|[bx, by]| (bx - x).hypot(by - y));
            let least = off.fold(f64::MAX, f64::min);
            assert!(least < within, "{keys:?} {x} {y}: off by {least}");
        }
    };
    // To a quarter of a stud's pitch. The pixels between those of the small photo move one 1x3 by 1.1 mm, from 0.76 to
    // 0.39 mm off its true place, and the others by less than 0.6.
    near(["x_mm", "y_mm"], 1.0, 2.0);
    // As much of a photo that shows one millimetre in some 20 pixels.
    near(["x_px", "y_px"], factor, 40.0);
    let scale = |sheet: &serde_json::Value| sheet["card"]["mm_per_px"].as_f64().unwrap();
    assert!((scale(&small) / scale(&large) / factor - 1.0).abs() < 0.01);
}

/// The table in docs/conventions.md; run with `--nocapture`.
#[test]
#[ignore = "takes minutes"]
fn peak_memory_by_size() {
    let home = TempDir::new().unwrap();
    let name = "plates-sorted-d65-12mp-78";
    for (width, height) in [
        (2016, 1512),
        (4032, 3024),
        (5656, 4242),
        (8160, 6120),
        (12_000, 9000),
    ] {
        let path = home.path().join(format!("{width}.jpg"));
        fs::write(&path, enlarged(name, width, height)).unwrap();
        let ended = count(home.path(), &path);
        let megapixels = f64::from(width) * f64::from(height) / 1e6;
        println!("{megapixels:.0} MP: {} MB", ended.peak / 1_000_000);
        assert!(ended.peak <= MOST_MEMORY, "{megapixels} MP: {}", ended.peak);
        assert!(!sheet(&ended)["pieces"].as_array().unwrap().is_empty());
    }
}

/// A sample photo, `tiles` times as small and laid side by side as tiles until a photo of `width` by `height` is full of
/// pieces; only the one in the middle has a card.
fn tiled(name: &str, tiles: f64, width: u32, height: u32) -> RgbImage {
    let photo = image::open(sample(name)).unwrap().into_rgb8();
    let truth = fs::read_to_string(sample(name).with_extension("json")).unwrap();
    let truth: serde_json::Value = serde_json::from_str(&truth).unwrap();
    let mut bare = photo.clone();
    let corner = |k: usize, c: usize| truth["card"]["corners_px"][k][c].as_f64().unwrap();
    let around = |c: usize| {
        let all = || (0..4).map(|k| corner(k, c));
        let (low, high) = (all().fold(f64::MAX, f64::min), all().fold(0.0, f64::max));
        (low - 20.0).max(0.0) as u32..(high + 20.0) as u32
    };
    let tray = *bare.get_pixel(around(0).start, around(1).start);
    for (x, y) in around(0).flat_map(|x| around(1).map(move |y| (x, y))) {
        if x < bare.width() && y < bare.height() {
            bare.put_pixel(x, y, tray);
        }
    }
    let small = |photo: &RgbImage| {
        let side =
            |px: u32| (f64::from(px) / f64::from(photo.width()) * f64::from(width) / tiles) as u32;
        imageops::resize(
            photo,
            side(photo.width()),
            side(photo.height()),
            FilterType::Triangle,
        )
    };
    let (card, bare) = (small(&photo), small(&bare));
    let middle = |whole: u32, part: u32| (whole - part) / 2;
    let (left, top) = (middle(width, card.width()), middle(height, card.height()));
    RgbImage::from_fn(width, height, |x, y| {
        // From the middle tile's corner, made positive by many whole tiles.
        let from = |at: u32, start: u32, side: u32| at + 99 * side - start;
        let (x, y) = (from(x, left, card.width()), from(y, top, card.height()));
        let tile = (x / card.width(), y / card.height());
        let of = if tile == (99, 99) { &card } else { &bare };
        *of.get_pixel(x % card.width(), y % card.height())
    })
}

/// Trays from 0.9 to 2.2 m wide full of pieces, in photos of 12 and 50 MP; the figures in docs/conventions.md.
#[test]
#[ignore = "takes minutes"]
fn peak_memory_by_tray() {
    let home = TempDir::new().unwrap();
    for (tiles, width, height) in [(2.0, 4032, 3024), (3.0, 4032, 3024), (5.0, 8160, 6120)] {
        let photo = tiled("poured-mixed-d50-90", tiles, width, height);
        let path = home.path().join(format!("{tiles}-{width}.jpg"));
        photo.save(&path).unwrap();
        let ended = count(home.path(), &path);
        println!("{tiles} tiles, {width} px: {} MB", ended.peak / 1_000_000);
        assert!(ended.peak <= MOST_MEMORY, "{tiles}: {}", ended.peak);
        assert!(sheet(&ended)["pieces"].as_array().unwrap().len() > 90);
    }
}

/// A slope of grey, as a bare table.
fn table() -> RgbImage {
    RgbImage::from_fn(2016, 1512, |x, y| Rgb([(90 + x / 40 + y / 50) as u8; 3]))
}

fn refused_for_want_of_a_card(name: &str, bytes: &[u8]) {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, bytes).unwrap();
    let ended = count(folder.path(), &path);
    assert_eq!(ended.code, Some(1), "{}", ended.err);
    assert!(ended.err.contains("no card"), "{}", ended.err);
    assert!(ended.peak <= WITHOUT_CARD, "{name}: {} bytes", ended.peak);
}

#[test]
fn a_packed_profile_that_unpacks_to_any_size_takes_none() {
    let mut png = std::io::Cursor::new(Vec::new());
    table().write_to(&mut png, image::ImageFormat::Png).unwrap();
    let png = png.into_inner();
    refused_for_want_of_a_card("plain.png", &png);
    let packed = compress_to_vec_zlib(&vec![0; 900_000_000], 6);
    let chunk = [&b"iCCPlarge\0\0"[..], &packed].concat();
    let length = (chunk.len() as u32 - 4).to_be_bytes();
    // The decoder passes over the chunk, and with it over its check sum.
    let mut sum = crc(&chunk).to_be_bytes().to_vec();
    sum.extend(&png[33..]);
    refused_for_want_of_a_card("bomb.png", &[&png[..33], &length, &chunk, &sum].concat());
}

/// The check sum of PNG chunks, by the tables' obvious twin.
pub fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |sum, _| match sum & 1 {
            1 => (sum >> 1) ^ 0xEDB8_8320,
            _ => sum >> 1,
        })
    })
}

/// Thousands of descriptions in as many languages, all of the same million letters.
#[test]
fn a_profile_that_tells_the_same_a_thousand_times_takes_no_memory() {
    let mut profile = ColorProfile::new_display_p3().encode().unwrap();
    let tag = profile.windows(4).position(|w| w == b"desc").unwrap();
    let (offset, records, letters) = (profile.len() as u32, 1200_u32, 1_000_000_u32);
    let size = 16 + records * 12 + letters;
    profile[tag + 4..tag + 8].copy_from_slice(&offset.to_be_bytes());
    profile[tag + 8..tag + 12].copy_from_slice(&size.to_be_bytes());
    profile.extend(b"mluc\0\0\0\0");
    profile.extend(records.to_be_bytes());
    profile.extend(12_u32.to_be_bytes());
    for _ in 0..records {
        profile.extend(b"enUS");
        profile.extend(letters.to_be_bytes());
        profile.extend((16 + records * 12).to_be_bytes());
    }
    profile.extend([0, b'a'].repeat(letters as usize / 2));
    let whole = (profile.len() as u32).to_be_bytes();
    profile[..4].copy_from_slice(&whole);

    let picture = table();
    let mut jpeg = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut jpeg, 90);
    encoder.set_icc_profile(profile).unwrap();
    encoder
        .write_image(picture.as_raw(), 2016, 1512, ExtendedColorType::Rgb8)
        .unwrap();
    refused_for_want_of_a_card("bomb.jpg", &jpeg);
}
