//! Several photos of one tray, one sheet: through the real program.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use image::codecs::jpeg::JpegEncoder;
use image::{RgbImage, imageops};
use serde_json::Value;

use crate::weigh::fits;

/// A home folder, and the program called in it.
struct Home(tempfile::TempDir);

/// How a call ended.
struct Ended {
    code: i32,
    out: String,
    err: String,
}

impl Home {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn run(&self, args: &[&str]) -> Ended {
        let done = Command::new(env!("CARGO_BIN_EXE_cuptally"))
            .arg("--home")
            .arg(self.0.path())
            .args(args)
            .env("CUPTALLY_NOW", "2026-05-02T10:12:00Z")
            .env("USER", "mara")
            .output()
            .unwrap();
        let text = |bytes: Vec<u8>| {
            let text = String::from_utf8(bytes).unwrap();
            text.split_whitespace().collect::<Vec<_>>().join(" ")
        };
        Ended {
            code: done.status.code().unwrap(),
            out: text(done.stdout),
            err: text(done.stderr),
        }
    }

    /// The sheet of photos that are counted together, and how that ended.
    fn together(&self, photos: &[&Path]) -> (Value, Ended) {
        let photos = photos.iter().map(|path| path.to_str().unwrap());
        let args: Vec<&str> = ["count", "--json", "--together"]
            .into_iter()
            .chain(photos)
            .collect();
        let ended = self.run(&args);
        let mut sheets: Value = serde_json::from_str(&ended.out).unwrap_or_default();
        assert_eq!(sheets.as_array().map(Vec::len), Some(1), "{}", ended.err);
        (sheets[0].take(), ended)
    }

    /// The other photo of the tray, changed.
    fn changed(&self, name: &str, change: impl FnOnce(&mut RgbImage)) -> PathBuf {
        let mut photo = image::open(of_tray("b")).unwrap().into_rgb8();
        change(&mut photo);
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, 95)
            .encode_image(&photo)
            .unwrap();
        let path = self.path(name);
        fs::write(&path, bytes).unwrap();
        path
    }
}

/// The two photos of a poured tray of sixty pieces on felt.
fn of_tray(view: &str) -> PathBuf {
    sample(&format!("poured-mixed-attic-felt-60-{view}.jpg"))
}

fn sample(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-photos/tune")
        .join(name)
}

fn pieces(sheet: &Value) -> &Vec<Value> {
    sheet["pieces"].as_array().unwrap()
}

fn codes(sheet: &Value) -> Vec<&str> {
    let warnings = sheet["warnings"].as_array().unwrap().iter();
    warnings
        .map(|warning| warning["code"].as_str().unwrap())
        .collect()
}

/// How many pieces are of the right form and size, by the truth of the first photo.
fn right(sheet: &Value) -> usize {
    let text = fs::read_to_string(of_tray("a").with_extension("json")).unwrap();
    let truth: Value = serde_json::from_str(&text).unwrap();
    let far = |a: &Value, b: &Value| {
        let off = |key: &str| a[key].as_f64().unwrap() - b[key].as_f64().unwrap();
        off("x_mm").hypot(off("y_mm"))
    };
    let is_right = |piece: &&Value| {
        let near = truth["pieces"].as_array().unwrap().iter();
        let true_one = near
            .min_by(|a, b| far(a, piece).total_cmp(&far(b, piece)))
            .unwrap();
        far(true_one, piece) < 4.0
            && ["form", "size"]
                .iter()
                .all(|key| true_one[key] == piece[key])
    };
    pieces(sheet).iter().filter(is_right).count()
}

/// Where nothing lies in the second photo, px: left, top, and there is as much room to the right and below as is asked for.
const EMPTY: (u32, u32) = (1500, 1300);
/// The same near enough to the middle that both photos show it.
const BESIDE: (u32, u32) = (790, 1200);
/// The card with a margin in the second photo, px: left, top, width, height.
const CARD: [u32; 4] = [244, 320, 292, 632];
/// A tile of one by six alone on the felt in the second photo, px, likewise.
const TILE: [u32; 4] = [1010, 996, 156, 60];

/// Takes a part of a photo and lays bare felt in its place.
fn taken(photo: &mut RgbImage, [left, top, width, height]: [u32; 4]) -> RgbImage {
    let part = imageops::crop_imm(photo, left, top, width, height).to_image();
    let felt = imageops::crop_imm(photo, EMPTY.0, EMPTY.1, width, height.min(200)).to_image();
    for strip in (0..height).step_by(200) {
        let rest = imageops::crop_imm(&felt, 0, 0, width, (height - strip).min(200)).to_image();
        imageops::replace(photo, &rest, i64::from(left), i64::from(top + strip));
    }
    part
}

#[test]
fn two_photos_tell_forms_that_one_does_not() {
    let home = Home::new();
    let (a, b) = (of_tray("a"), of_tray("b"));
    let alone = home.run(&["count", "--json", a.to_str().unwrap()]);
    let alone: Value = serde_json::from_str(&alone.out).unwrap();
    let (both, ended) = home.together(&[&a, &b]);
    assert_eq!(ended.code, 3, "{}", ended.err);
    assert_eq!(pieces(&both).len(), 60);
    // Measured: 52 and 55 of 60. What is left are undersides of plates and tiles, which no direction tells.
    let (one, two) = (right(&alone[0]), right(&both));
    assert!(two >= one + 2 && two >= 55, "{one} and {two} of 60");
    let down = |piece: &&Value| piece["face"] == "down";
    assert!(pieces(&both).iter().any(|piece| down(&piece)));

    // One sheet of two photos, its places in the first.
    let path = home.path("sheets/poured-mixed-attic-felt-60-a.sheet.json");
    fits(
        "sheet-v1.schema.json",
        &serde_json::from_slice(&fs::read(path).unwrap()).unwrap(),
    );
    let files: Vec<&str> = (both["photos"].as_array().unwrap().iter())
        .map(|photo| photo["file"].as_str().unwrap())
        .collect();
    assert_eq!(
        files,
        [
            "poured-mixed-attic-felt-60-a.jpg",
            "poured-mixed-attic-felt-60-b.jpg"
        ]
    );
    assert!(both.get("photo").is_none());
    let in_both = |piece: &&Value| piece["seen_in"] == serde_json::json!([1, 2]);
    assert!(pieces(&both).iter().filter(in_both).count() >= 58);
    for name in ["a.marked.jpg", "a.marked-2.jpg"] {
        let picture = home.path(&format!("sheets/poured-mixed-attic-felt-60-{name}"));
        assert!(image::open(picture).unwrap().width() > 1000);
    }
    // The same again.
    let (again, _) = home.together(&[&a, &b]);
    assert_eq!(both, again);
    // By itself again the first photo has one picture.
    home.run(&["count", a.to_str().unwrap()]);
    assert!(
        !home
            .path("sheets/poured-mixed-attic-felt-60-a.marked-2.jpg")
            .exists()
    );
}

#[test]
fn a_tray_is_posted_once_whichever_of_its_photos_is_posted() {
    let home = Home::new();
    let (a, b) = (of_tray("a"), of_tray("b"));
    home.together(&[&a, &b]);
    let sheet = home.path("sheets/poured-mixed-attic-felt-60-a.sheet.json");
    let posted = home.run(&["post", sheet.to_str().unwrap(), "--place", "cup 1"]);
    assert!(matches!(posted.code, 0 | 3), "{}", posted.err);
    home.run(&["count", b.to_str().unwrap()]);
    let sheet = home.path("sheets/poured-mixed-attic-felt-60-b.sheet.json");
    let twice = home.run(&["post", sheet.to_str().unwrap(), "--place", "cup 2"]);
    assert_ne!(twice.code, 0, "{}", twice.out);
    assert!(twice.err.contains("same"), "{}", twice.err);
}

#[test]
fn what_is_no_second_photo_of_the_tray_is_told_and_left_out() {
    let home = Home::new();
    let a = of_tray("a");
    let bare = home.changed("bare.jpg", |photo| {
        taken(photo, CARD);
    });
    let elsewhere = sample("plates-sorted-d65-window-48.jpg");
    let (sheet, ended) = home.together(&[&a, &a, &bare, &elsewhere]);
    assert_eq!(ended.code, 3);
    assert!(sheet.get("photo").is_some(), "one photo is left");
    assert!(
        codes(&sheet).contains(&"photo-left-out"),
        "{:?}",
        codes(&sheet)
    );
    for told in [
        "poured-mixed-attic-felt-60-a.jpg is named twice",
        "bare.jpg: no card",
        "counted without",
        "plates-sorted-d65-window-48.jpg: its pieces lie elsewhere than those of",
    ] {
        assert!(
            ended.err.contains(told),
            "'{told}' is not in: {}",
            ended.err
        );
    }
    // Where none is left there is nothing to count, and where there is but one nothing to count together.
    let none = home.run(&[
        "count",
        "--together",
        bare.to_str().unwrap(),
        bare.to_str().unwrap(),
    ]);
    assert_eq!((none.code, none.out.as_str()), (1, ""), "{}", none.err);
    let one = home.run(&["count", "--together", a.to_str().unwrap()]);
    assert_eq!(one.code, 2);
    assert!(
        one.err
            .contains("--together counts 2 to 8 photos of one tray, and 1 is given"),
        "{}",
        one.err
    );
}

#[test]
fn a_piece_that_was_moved_or_taken_is_doubtful_and_counted_once() {
    let home = Home::new();
    let a = of_tray("a");
    let moved = home.changed("moved.jpg", |photo| {
        let tile = taken(photo, TILE);
        imageops::replace(photo, &tile, i64::from(BESIDE.0), i64::from(BESIDE.1));
    });
    let (sheet, _) = home.together(&[&a, &moved]);
    assert!(
        codes(&sheet).contains(&"piece-moved"),
        "{:?}",
        codes(&sheet)
    );
    assert_eq!(pieces(&sheet).len(), 60);
    let says = |sheet: &Value, doubt: &str| -> Vec<Value> {
        let has = |piece: &&Value| {
            (piece["doubts"].as_array()).is_some_and(|all| all.iter().any(|d| d == doubt))
        };
        pieces(sheet).iter().filter(has).cloned().collect()
    };
    let elsewhere = says(&sheet, "lies elsewhere in another photo");
    let sizes: Vec<&Value> = elsewhere.iter().map(|piece| &piece["size"]).collect();
    assert_eq!(sizes, ["1x6"]);
    assert!(elsewhere[0]["sure"].as_f64().unwrap() < 0.9);

    let gone = home.changed("taken.jpg", |photo| {
        taken(photo, TILE);
    });
    let (sheet, _) = home.together(&[&a, &gone]);
    assert_eq!(pieces(&sheet).len(), 60);
    let missing = says(&sheet, "another photo should show it and does not");
    assert!(
        missing.iter().any(|piece| piece["size"] == "1x6"),
        "{missing:?}"
    );
}

#[test]
fn a_tray_that_was_moved_against_the_card_is_told() {
    let home = Home::new();
    let slipped = home.changed("slipped.jpg", |photo| {
        // Some 3 mm.
        let card = taken(photo, CARD);
        imageops::replace(photo, &card, i64::from(CARD[0]) - 7, i64::from(CARD[1]) - 7);
    });
    let (sheet, ended) = home.together(&[&of_tray("a"), &slipped]);
    assert!(
        codes(&sheet).contains(&"tray-moved"),
        "{:?} {}",
        codes(&sheet),
        ended.err
    );
    assert!(
        (58..=62).contains(&pieces(&sheet).len()),
        "{}",
        pieces(&sheet).len()
    );
    assert!(
        pieces(&sheet)
            .iter()
            .all(|piece| piece.get("height_mm").is_none())
    );
}
