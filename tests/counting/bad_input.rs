//! Bad input through the real program: one clear sentence, exit 1 or 2, nothing left behind.

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use image::{ImageFormat, Rgb, RgbImage};
use tempfile::TempDir;

/// A sample photo, read where the tests run.
fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-photos/tune")
        .join(name)
}

/// Runs the program in an empty home; gives exit code, stdout, stderr and what lies in the home.
fn run(args: &[&str]) -> (i32, String, String, Vec<String>) {
    let home = TempDir::new().unwrap();
    let output = Command::cargo_bin("cuptally")
        .unwrap()
        .env_remove("CUPTALLY_HOME")
        .arg("--home")
        .arg(home.path())
        .args(args)
        .output()
        .unwrap();
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    let left = fs::read_dir(home.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    (
        output.status.code().unwrap(),
        text(&output.stdout),
        text(&output.stderr),
        left,
    )
}

/// Asserts a refusal of one line that holds all the words, with nothing printed and nothing left.
fn refused(args: &[&str], code: i32, words: &[&str]) {
    let (status, stdout, stderr, left) = run(args);
    assert_eq!(status, code, "{args:?}: {stderr}");
    assert_eq!(stdout, "", "{args:?}");
    assert_eq!(
        stderr.trim_end().lines().count(),
        1,
        "one sentence, not: {stderr}"
    );
    for word in words {
        assert!(stderr.contains(word), "'{word}' is not in: {stderr}");
    }
    assert!(left.is_empty(), "{args:?} left {left:?}");
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Every command that opens a photo, with that photo.
fn commands(photo: &Path) -> [Vec<String>; 3] {
    let photo = text(photo).to_owned();
    let words = |list: &[&str]| list.iter().map(|s| (*s).to_owned()).collect::<Vec<_>>();
    let mut count = words(&["count"]);
    count.push(photo.clone());
    let mut teach = words(&["teach"]);
    teach.extend([photo.clone(), "--names".into(), "kelp,tar".into()]);
    let mut calibrate = words(&["calibrate"]);
    calibrate.extend([photo, "--light".into(), "kitchen".into()]);
    [count, teach, calibrate]
}

fn all_refuse(photo: &Path, code: i32, say: &[&str]) {
    for command in commands(photo) {
        let args: Vec<&str> = command.iter().map(String::as_str).collect();
        refused(&args, code, say);
    }
}

#[test]
fn no_such_file() {
    all_refuse(
        Path::new("harbour/no-such-photo.jpg"),
        1,
        &["no-such-photo.jpg", "no such file"],
    );
}

#[test]
fn a_text_file_called_jpg() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("notes.jpg");
    fs::write(&path, "Low water at six, high water at noon.\n").unwrap();
    all_refuse(&path, 1, &["notes.jpg"]);
}

#[test]
fn a_truncated_jpeg() {
    let whole = fs::read(sample("empty-tray-0.jpg")).unwrap();
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("half.jpg");
    fs::write(&path, &whole[..whole.len() / 2]).unwrap();
    all_refuse(&path, 1, &["half.jpg"]);
}

#[test]
fn a_picture_of_one_pixel() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("dot.png");
    RgbImage::from_pixel(1, 1, Rgb([90, 90, 90]))
        .save(&path)
        .unwrap();
    all_refuse(&path, 1, &["dot.png", "1 x 1"]);
}

#[test]
fn a_picture_with_too_long_a_side_and_the_batch_goes_on() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("strip.png");
    let strip = RgbImage::from_pixel(40_000, 20, Rgb([90, 90, 90]));
    strip.save(&path).unwrap();
    all_refuse(
        &path,
        1,
        &["strip.png", "40000 x 20", "32767", "smaller size"],
    );

    let home = TempDir::new().unwrap();
    let output = Command::cargo_bin("cuptally")
        .unwrap()
        .arg("--home")
        .arg(home.path())
        .args(["count", "--json"])
        .args([&path, &sample("empty-tray-0.jpg")])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1));
    let sheets: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(sheets.as_array().unwrap().len(), 1);
}

/// Cut, and mended with an end marker: a decoder would make the rest grey.
#[test]
fn a_truncated_jpeg_with_a_new_end() {
    let whole = fs::read(sample("plates-sorted-close-a-18.jpg")).unwrap();
    let folder = TempDir::new().unwrap();
    for percent in [20, 50, 90, 99] {
        let path = folder.path().join(format!("cut-{percent}.jpg"));
        let mut cut = whole[..whole.len() * percent / 100].to_vec();
        cut.extend([0xFF, 0xD9]);
        fs::write(&path, cut).unwrap();
        refused(
            &["count", text(&path)],
            1,
            &["ends before its picture does", "copy it"],
        );
    }
}

/// What a decoder says of its inside is not for a user.
#[test]
fn damaged_pictures_are_told_of_in_our_own_words() {
    let folder = TempDir::new().unwrap();
    let jpeg = fs::read(sample("empty-tray-0.jpg")).unwrap();
    let tables = jpeg.windows(2).position(|w| w == [0xFF, 0xDB]).unwrap();
    let codes = jpeg.windows(2).position(|w| w == [0xFF, 0xC4]).unwrap();
    let frame = jpeg.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap();
    let scan = jpeg.windows(2).position(|w| w == [0xFF, 0xDA]).unwrap();
    let mut png = std::io::Cursor::new(Vec::new());
    let grey = RgbImage::from_fn(400, 300, |x, y| Rgb([(x * y) as u8, x as u8, y as u8]));
    grey.write_to(&mut png, ImageFormat::Png).unwrap();
    let png = png.into_inner();
    let changed = |bytes: &[u8], at: usize, to: u8| {
        let mut bytes = bytes.to_vec();
        bytes[at] = to;
        bytes
    };
    for (name, bytes) in [
        ("tables.jpg", changed(&jpeg, tables + 4, 0x7F)),
        ("codes.jpg", changed(&jpeg, codes + 6, 0xFF)),
        ("frame.jpg", changed(&jpeg, frame + 9, 0)),
        ("scan.jpg", changed(&jpeg, scan + 5, 77)),
        ("sum.png", changed(&png, 29, !png[29])),
        ("packed.png", changed(&png, 300, !png[300])),
        ("depth.png", changed(&png, 24, 77)),
    ] {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        let (status, _, stderr, _) = run(&["count", text(&path)]);
        assert_eq!(status, 1, "{name}: {stderr}");
        let known = [
            "(its header makes no sense)",
            "(its code tables make no sense)",
            "(a code table is missing)",
            "(its coded picture makes no sense)",
            "(its picture does not unpack)",
            "ends before its picture does",
        ];
        assert!(
            known.iter().any(|words| stderr.contains(words)),
            "{name}: {stderr}"
        );
    }
}

/// Its outlines and words would be counted as pieces.
#[test]
fn a_picture_that_was_drawn_from_a_photo() {
    let home = TempDir::new().unwrap();
    let photo = sample("empty-tray-0.jpg");
    let output = Command::cargo_bin("cuptally")
        .unwrap()
        .arg("--home")
        .arg(home.path())
        .arg("count")
        .arg(&photo)
        .output()
        .unwrap();
    assert!(matches!(output.status.code(), Some(0 | 3)));
    let marked = home.path().join("sheets/empty-tray-0.marked.jpg");
    all_refuse(
        &marked,
        1,
        &["no photo", "drew from empty-tray-0.jpg", "give that photo"],
    );

    // The same words in a PNG, as a program that converts pictures keeps them.
    let plain = home.path().join("plain.png");
    RgbImage::from_pixel(400, 300, Rgb([90; 3]))
        .save(&plain)
        .unwrap();
    let png = fs::read(&plain).unwrap();
    let words = b"tEXtComment\0cuptally drawing, made from the photo quay.jpg";
    let length = (words.len() as u32 - 4).to_be_bytes();
    let sum = super::memory::crc(words).to_be_bytes();
    fs::write(
        &plain,
        [&png[..33], &length, words, &sum, &png[33..]].concat(),
    )
    .unwrap();
    all_refuse(&plain, 1, &["drew from quay.jpg"]);
}

/// A page with a photo in it: its buttons and words would be counted.
#[test]
fn a_screenshot() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("screen.png");
    let photo = image::open(sample("empty-tray-0.jpg")).unwrap().into_rgb8();
    let (width, height) = photo.dimensions();
    let screen = RgbImage::from_fn(width * 6 / 5, height, |x, y| {
        match photo.get_pixel_checked(x, y) {
            Some(pixel) => *pixel,
            // Lines of words on a panel.
            None if y % 60 < 20 && x % 8 < 3 => Rgb([60, 66, 70]),
            None => Rgb([243, 245, 245]),
        }
    });
    screen.save(&path).unwrap();
    all_refuse(
        &path,
        1,
        &["screen.png", "screenshots", "give the photo itself"],
    );
}

#[test]
fn a_picture_without_a_card() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("bare.jpg");
    // A gentle slope of grey, as a bare table.
    let picture = RgbImage::from_fn(1200, 900, |x, y| Rgb([(90 + x / 20 + y / 30) as u8; 3]));
    picture.save_with_format(&path, ImageFormat::Jpeg).unwrap();
    all_refuse(&path, 1, &["bare.jpg", "no card"]);
}

#[test]
fn names_and_pieces_that_differ_in_number() {
    let photo = sample("teach-daylight-24.jpg");
    let (status, stdout, stderr, left) = run(&["teach", text(&photo), "--names", "kelp,tar,fog"]);
    assert_eq!((status, stdout.as_str()), (2, ""), "{stderr}");
    assert_eq!(stderr.trim_end().lines().count(), 1, "{stderr}");
    for word in ["teach-daylight-24.jpg", "24 pieces", "3 names"] {
        assert!(stderr.contains(word), "'{word}' is not in: {stderr}");
    }
    // Nothing was learned, but a picture there shows which number each piece has.
    assert_eq!(left, ["calibration"]);
    assert!(stderr.contains("not-taught.jpg"), "{stderr}");
}

#[test]
fn a_name_twice() {
    let photo = sample("teach-daylight-24.jpg");
    refused(
        &["teach", text(&photo), "--names", "kelp,tar,kelp"],
        2,
        &["'kelp'", "twice"],
    );
}

#[test]
fn a_light_that_is_no_file_name() {
    let photo = sample("empty-tray-0.jpg");
    refused(
        &["calibrate", text(&photo), "--light", "../kitchen"],
        2,
        &["'../kitchen'"],
    );
}

#[test]
fn a_home_that_cannot_be_written() {
    // Root may write anywhere, so the home is below a file.
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("file");
    fs::write(&file, "not a folder").unwrap();
    let home = file.join("home");
    for command in commands(&sample("empty-tray-0.jpg")) {
        if command[0] == "teach" {
            continue;
        }
        let output = Command::cargo_bin("cuptally")
            .unwrap()
            .arg("--home")
            .arg(&home)
            .args(&command)
            .output()
            .unwrap();
        let stderr = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(1), "{command:?}: {stderr}");
        assert_eq!(stderr.trim_end().lines().count(), 1, "{stderr}");
        assert_eq!(
            fs::read_dir(folder.path()).unwrap().count(),
            1,
            "only the file is there"
        );
    }
}

#[test]
fn damaged_swatches_are_named() {
    let home = TempDir::new().unwrap();
    fs::create_dir(home.path().join("calibration")).unwrap();
    let path = home.path().join("calibration/swatches.json");
    fs::write(&path, "{\"swatches\": \"v1\", \"colours\": [").unwrap();
    let output = Command::cargo_bin("cuptally")
        .unwrap()
        .arg("--home")
        .arg(home.path())
        .arg("count")
        .arg(sample("empty-tray-0.jpg"))
        .output()
        .unwrap();
    let stderr = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(1), "{stderr}");
    assert!(stderr.contains("swatches.json"), "{stderr}");
    assert_eq!(
        fs::read_to_string(&path).unwrap(),
        "{\"swatches\": \"v1\", \"colours\": ["
    );
}

#[test]
fn one_bad_photo_does_not_stop_the_batch_but_changes_the_exit_code() {
    let home = TempDir::new().unwrap();
    let output = Command::cargo_bin("cuptally")
        .unwrap()
        .arg("--home")
        .arg(home.path())
        .args(["count", "no-such-photo.jpg"])
        .arg(sample("empty-tray-0.jpg"))
        .args(["--json", "--form", "plate"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1));
    let sheets: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(sheets.as_array().unwrap().len(), 1);
    assert!(home.path().join("sheets/empty-tray-0.sheet.json").is_file());
}
