//! Teaching, and what may be made of what was taught: through the real program.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use cuptally::pipeline::{self, Targets};
use serde_json::Value;

/// A home folder, and the program called in it at a pinned time.
struct Home(tempfile::TempDir);

/// How a call ended: exit code, stdout, stderr.
struct Ended {
    code: i32,
    out: String,
    err: String,
}

impl Home {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
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
        // Broken where a line ends, which is no matter here.
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

    fn kept(&self, name: &str) -> PathBuf {
        self.0.path().join("calibration").join(name)
    }

    fn book(&self) -> Value {
        serde_json::from_slice(&fs::read(self.kept("swatches.json")).unwrap()).unwrap()
    }

    fn teach(&self, names: &[String], light: Option<&str>) -> Ended {
        let (photo, names) = (photo(TEACH), names.join(","));
        let mut args = vec!["teach", &photo, "--form", "plate", "--names", &names];
        args.extend(light.iter().flat_map(|light| ["--light", light]));
        self.run(&args)
    }

    /// The pieces that `count --json` tells of.
    fn count(&self, name: &str, more: &[&str]) -> Vec<Value> {
        let photo = photo(name);
        let args = [&["count", &photo, "--json"][..], more].concat();
        let told = self.run(&args);
        let sheets: Value = serde_json::from_str(&told.out).unwrap();
        sheets[0]["pieces"].as_array().unwrap().clone()
    }
}

const TEACH: &str = "teach-daylight-24";

fn photo(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos/tune");
    let path = folder.join(format!("{name}.jpg"));
    path.to_str().unwrap().to_owned()
}

/// The names of the teaching photo, in reading order.
fn names() -> Vec<String> {
    let truth = fs::read(PathBuf::from(photo(TEACH)).with_extension("json")).unwrap();
    let truth: Value = serde_json::from_slice(&truth).unwrap();
    let names = truth["names"].as_array().unwrap().iter();
    names
        .map(|name| name.as_str().unwrap().to_owned())
        .collect()
}

fn sure(pieces: &[Value]) -> usize {
    let is_sure = |piece: &&Value| piece["sure"].as_f64().unwrap() >= 0.9;
    pieces.iter().filter(is_sure).count()
}

/// What is stated of all pieces together: how many of them should be right.
fn stated(pieces: &[Value]) -> f64 {
    let each = pieces.iter().map(|piece| piece["sure"].as_f64().unwrap());
    each.sum()
}

/// Under another lamp than that of the teaching, where colours with a near neighbour are sure only with a second light.
const ELSEWHERE: &str = "plates-sorted-close-a-18";

#[test]
fn a_photo_taught_by_two_names_is_no_second_light() {
    let home = Home::new();
    assert_eq!(home.teach(&names(), None).code, 0);
    let once = home.count(ELSEWHERE, &["--form", "plate"]);
    let again = home.teach(&names(), Some("lamp"));
    let moved = "as light 'usual': a photo shows one light, so it stands for 'lamp' alone now";
    assert!(again.out.contains(moved), "{}", again.out);
    assert!(
        again.out.contains("taught in one light only"),
        "{}",
        again.out
    );
    assert!(!home.kept("swatches-usual.svg").exists() && home.kept("swatches-lamp.svg").exists());
    assert_eq!(home.count(ELSEWHERE, &["--form", "plate"]), once);

    // As a program before this left it: both stand there, and nothing tells of photos.
    let mut book = home.book();
    for part in ["colours", "seen"] {
        let entries = book[part].as_array().unwrap().clone();
        let twice = entries.iter().flat_map(|entry| {
            let mut entry = entry.clone();
            let fields = entry.as_object_mut().unwrap();
            fields.retain(|name, _| part == "colours" || name != "from" && name != "time");
            let mut usual = entry.clone();
            usual["light"] = "usual".into();
            [entry, usual]
        });
        book[part] = twice.collect();
    }
    fs::write(home.kept("swatches.json"), book.to_string()).unwrap();
    let twice = home.count(ELSEWHERE, &["--form", "plate"]);
    assert_eq!(sure(&twice), sure(&once), "of {}", once.len());
    let told = (stated(&twice), stated(&once));
    assert!((told.0 - told.1).abs() < 0.01, "{told:?}");
    // The test can fail: without the card nothing tells that the two are one, and more is sure.
    book.as_object_mut().unwrap().remove("seen");
    fs::write(home.kept("swatches.json"), book.to_string()).unwrap();
    let untold = home.count(ELSEWHERE, &["--form", "plate"]);
    assert!(
        stated(&untold) > stated(&once) + 0.05,
        "{} {}",
        stated(&untold),
        stated(&once)
    );
}

#[test]
fn a_name_too_few_is_told_with_a_numbered_picture_and_a_wrong_one_is_put_right() {
    let home = Home::new();
    let mut slip = names();
    let forgotten = slip.remove(3);
    let refused = home.teach(&slip, Some("lamp"));
    assert_eq!(refused.code, 2);
    let says = "shows 24 pieces and 23 names were given";
    assert!(refused.err.contains(says), "{}", refused.err);
    assert!(
        refused.err.contains("not-taught.jpg has their numbers"),
        "{}",
        refused.err
    );
    let numbered = image::open(home.kept("not-taught.jpg")).unwrap();
    assert!(!home.kept("swatches.json").exists());

    slip.insert(3, format!("{forgotten}y"));
    let taught = home.teach(&slip, Some("lamp"));
    assert!(taught.out.contains("taught-lamp.jpg"), "{}", taught.out);
    let named = image::open(home.kept("taught-lamp.jpg")).unwrap();
    assert!(!home.kept("not-taught.jpg").exists());
    // Other words stand on it, on the same photo.
    assert_eq!(
        (named.width(), named.height()),
        (numbered.width(), numbered.height())
    );
    assert_ne!(named.as_bytes(), numbered.as_bytes());

    let right = home.teach(&names(), Some("lamp"));
    let gone = format!("no longer taught: {forgotten}y");
    assert!(right.out.contains(&gone), "{}", right.out);
    let replaced = "in 'lamp': replaces what was taught on 2026-05-02";
    assert!(right.out.contains(replaced), "{}", right.out);
    let schema = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/swatches-v1.schema.json");
    let schema: Value = serde_json::from_slice(&fs::read(schema).unwrap()).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let book = home.book();
    validator
        .validate(&book)
        .unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(book["seen"][0]["time"], "2026-05-02T10:12:00Z");
}

/// The number is plain before the search in photos that are taken as they should be, so that a slip is told at once.
#[test]
fn how_many_pieces_lie_there_is_known_before_the_search() {
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos");
    let mut plain = 0;
    for folder in ["tune", "check"] {
        for entry in fs::read_dir(samples.join(folder)).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
            if !name.starts_with("teach-") || path.extension().is_none_or(|e| e != "jpg") {
                continue;
            }
            let photo = cuptally::photo::open(&path, &cuptally::photo::Limits::default()).unwrap();
            let scene = pipeline::measure(&photo, &Targets::nominal(), &|_| ()).unwrap();
            let number = pipeline::things(&scene).map(|things| things.len());
            println!("{name}: {number:?}");
            // The last number of a name is the number of pieces.
            let pieces: usize = name.rsplit('-').next().unwrap().parse().unwrap();
            // One of the tray's own colour is not seen so.
            let more = number.is_some_and(|number| number > pieces);
            assert!(!more, "{name}: {number:?}");
            plain += usize::from(number == Some(pieces));
        }
    }
    assert!(plain >= 3, "plain in {plain} photos");
}

/// Nothing that a piece could be instead is likelier than what it is counted as, whole.
fn likeliest_first(name: &str, piece: &Value) {
    let number = |value: &Value| value.as_f64().unwrap();
    for reading in [piece, &piece["otherwise"]] {
        let instead = reading["instead"].as_array().cloned().unwrap_or_default();
        let likely: Vec<f64> = instead.iter().map(|other| number(&other["sure"])).collect();
        assert!(likely.is_sorted_by(|a, b| a >= b), "{name}: {piece}");
        if let Some(most) = likely.first() {
            assert!(*most <= number(&reading["sure"]), "{name}: {piece}");
        }
    }
}

fn has_doubt(piece: &Value, words: &str) -> bool {
    let doubts = piece["doubts"].as_array().cloned().unwrap_or_default();
    doubts
        .iter()
        .any(|doubt| doubt.as_str().unwrap().contains(words))
}

#[test]
fn the_guess_is_the_likeliest_reading_and_only_taught_colours_are_no_others() {
    let home = Home::new();
    assert_eq!(home.teach(&names(), Some("daylight")).code, 0);
    let (mut doubted, mut settled) = (0, 0);
    for (name, form) in [
        ("poured-mixed-d50-90", "any"),
        ("bricks-touching-led-b3-44", "brick"),
    ] {
        let open = home.count(name, &["--form", form]);
        let only = home.count(name, &["--form", form, "--only-taught"]);
        assert_eq!(open.len(), only.len());
        for (open, only) in open.iter().zip(&only) {
            likeliest_first(name, open);
            likeliest_first(name, only);
            assert!(!has_doubt(only, "not taught"), "{only}");
            assert!(
                names()
                    .iter()
                    .any(|taught| only["colour"] == *taught.as_str()),
                "{only}"
            );
            doubted += usize::from(has_doubt(open, "not taught"));
            settled +=
                usize::from(sure(std::slice::from_ref(open)) < sure(std::slice::from_ref(only)));
            // Each sheet holds the other answer too.
            if let Some(otherwise) = open["otherwise"].as_object() {
                for (part, value) in otherwise {
                    assert_eq!(only[part], *value, "{part} of {only}");
                }
            } else {
                assert_eq!(open, only);
            }
        }
    }
    assert!(doubted > 20 && settled > 5, "{doubted} {settled}");
}

#[test]
fn undersides_are_to_be_turned_over() {
    let home = Home::new();
    let told = home.run(&["count", &photo("poured-mixed-d50-90")]);
    assert!(
        told.out
            .contains("lie upside down, where plate and tile look the same"),
        "{}",
        told.out
    );
    assert!(told.out.contains("[undersides]"), "{}", told.out);
    let sheet = home.0.path().join("sheets/poured-mixed-d50-90.sheet.json");
    let sheet: Value = serde_json::from_slice(&fs::read(sheet).unwrap()).unwrap();
    let pieces = sheet["pieces"].as_array().unwrap().iter();
    let down = pieces.filter(|p| p["face"] == "down" && has_doubt(p, "could as well be a"));
    let warnings = sheet["warnings"].as_array().unwrap().iter();
    let advice = warnings
        .filter(|w| w["code"] == "undersides")
        .collect::<Vec<_>>();
    let said = format!("{} pieces lie upside down", down.count());
    assert!(
        advice[0]["text"].as_str().unwrap().starts_with(&said),
        "{advice:?}"
    );
}

#[test]
fn no_colour_taught_cannot_be_all_there_are() {
    let told = Home::new().run(&["count", &photo(ELSEWHERE), "--only-taught"]);
    assert_eq!(told.code, 2);
    assert!(told.err.contains("no colour was taught"), "{}", told.err);
}
