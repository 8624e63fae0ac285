//! `count --grams` and `teach --weigh` through the real program.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use cuptally::pieces::Shapes;
use cuptally::review::correction::Correction;
use cuptally::review::history::record;
use cuptally::review::lines;
use cuptally::review::resolve::resolve;
use cuptally::sheet::Sheet;
use cuptally::sheet::review::Step;
use serde_json::{Value, json};
use tempfile::TempDir;

const PLATES: &str = "plates-sorted-d50-42";
const BRICKS: &str = "bricks-display-p3-32";

/// What a run came to.
struct Ended {
    code: i32,
    out: String,
    err: String,
}

impl Ended {
    /// A refusal: this code, nothing on stdout, and a sentence that holds these words.
    #[track_caller]
    fn refused(&self, code: i32, words: &str) {
        assert_eq!((self.code, self.out.as_str()), (code, ""), "{}", self.err);
        assert!(
            self.err.contains(words),
            "'{words}' is not in: {}",
            self.err
        );
        assert!(!self.err.contains("panicked"), "{}", self.err);
    }
}

struct Home(TempDir);

impl Home {
    fn new() -> Self {
        Self(TempDir::new().unwrap())
    }

    fn run(&self, args: &[&str]) -> Ended {
        let output = Command::cargo_bin("cuptally")
            .unwrap()
            .env_remove("CUPTALLY_HOME")
            .arg("--home")
            .arg(self.0.path())
            .args(args)
            .output()
            .unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        // Which folder is home is for `tests/stock/homes.rs` to look at.
        let is_told = |line: &&str| !line.starts_with("cuptally: home: ");
        let said = text(output.stderr);
        Ended {
            code: output.status.code().unwrap(),
            out: text(output.stdout),
            err: said.split_inclusive('\n').filter(is_told).collect(),
        }
    }

    /// Weighs every shape of a tray, ten at a time.
    fn taught(tray: &Tray) -> Self {
        let home = Self::new();
        for shape in tray.shapes.keys() {
            let grams = format!("{:.2}", 10.0 * true_mass(shape));
            let args = ["teach", "--weigh", shape, "--of", "10", "--grams", &grams];
            let ended = home.run(&args);
            assert_eq!(ended.code, 0, "{shape}: {}", ended.err);
        }
        home
    }

    fn weights(&self) -> PathBuf {
        self.0.path().join("calibration/weights.json")
    }

    fn sheet(&self, name: &str) -> PathBuf {
        self.0
            .path()
            .join("sheets")
            .join(format!("{name}.sheet.json"))
    }
}

/// What lies on a sample photo's tray, by its truth.
struct Tray {
    photo: String,
    shapes: BTreeMap<String, usize>,
}

impl Tray {
    fn of(name: &str) -> Self {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos/tune");
        let truth = json_of(&folder.join(format!("{name}.json")));
        let mut shapes = BTreeMap::new();
        for piece in truth["pieces"].as_array().unwrap() {
            let word = |key: &str| piece[key].as_str().unwrap();
            *shapes
                .entry(format!("{} {}", word("form"), word("size")))
                .or_default() += 1;
        }
        Self {
            photo: folder
                .join(format!("{name}.jpg"))
                .to_str()
                .unwrap()
                .to_owned(),
            shapes,
        }
    }

    fn grams(&self) -> f64 {
        let each = |(shape, count): (&String, &usize)| true_mass(shape) * *count as f64;
        self.shapes.iter().map(each).sum()
    }

    fn pieces(&self) -> usize {
        self.shapes.values().sum()
    }
}

/// Masses of our own making, g: so many a stud, and some more for the ends.
fn true_mass(shape: &str) -> f64 {
    let (form, size) = shape.split_once(' ').unwrap();
    let (short, long) = size.split_once('x').unwrap();
    let studs: f64 = short.parse::<f64>().unwrap() * long.parse::<f64>().unwrap();
    let (stud, ends) = if form == "brick" {
        (0.27, 0.19)
    } else {
        (0.13, 0.11)
    };
    stud * studs + ends
}

fn json_of(path: &Path) -> Value {
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

/// Holds a file to its schema.
pub fn fits(schema: &str, file: &Value) {
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs");
    let validator = jsonschema::validator_for(&json_of(&docs.join(schema))).unwrap();
    (validator.validate(file)).unwrap_or_else(|error| panic!("{schema}: {error}"));
}

/// Without the line breaks by which words fit a terminal.
fn in_one_line(told: &str) -> String {
    told.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_scale_agrees_with_a_right_count_and_sees_two_pieces_that_are_missing() {
    let tray = Tray::of(PLATES);
    let home = Home::taught(&tray);
    let grams = format!("{:.1}", tray.grams());
    let ended = home.run(&["count", &tray.photo, "--form", "plate", "--grams", &grams]);
    let line = format!("scale: {grams} g on the scale, ");
    let said = in_one_line(&ended.out);
    let (_, said) = (said.split_once(&line))
        .unwrap_or_else(|| panic!("no '{line}' in {}{}", ended.out, ended.err));
    let (said, _) = said.split_once(" sheet: ").unwrap();
    assert!(said.contains("measured): agrees"), "{said}");
    assert!(!ended.out.contains("[weight]"), "{}", ended.out);
    let sheet = json_of(&home.sheet(PLATES));
    fits("sheet-v1.schema.json", &sheet);
    let weighing = &sheet["weighing"];
    assert_eq!(
        (&weighing["agrees"], &weighing["step_g"]),
        (&json!(true), &json!(0.1))
    );
    let off = weighing["counted_g"].as_f64().unwrap() - tray.grams();
    assert!(off.abs() < 0.2, "{weighing}");

    let lacking = 2.0 * true_mass("plate 2x3");
    let about = (lacking / (tray.grams() / tray.pieces() as f64)).round();
    let grams = format!("{:.1}", tray.grams() - lacking);
    let args = [
        "count",
        &tray.photo,
        "--form",
        "plate",
        "--json",
        "--grams",
        &grams,
    ];
    let ended = home.run(&args);
    assert_eq!(ended.code, 3, "{}", ended.err);
    let sheets: Value = serde_json::from_str(&ended.out).unwrap();
    let sheet = &sheets[0];
    fits("sheet-v1.schema.json", sheet);
    let mut warnings = sheet["warnings"].as_array().unwrap().iter();
    let warning = warnings.find(|w| w["code"] == "weight");
    let text = warning.unwrap_or_else(|| panic!("{sheet}"))["text"].as_str();
    let words = format!("about {about} pieces fewer on the scale than counted");
    assert!(
        text.unwrap().contains(&words),
        "'{words}' is not in {text:?}"
    );
    let weighing = &sheet["weighing"];
    assert_eq!(weighing["agrees"], json!(false));
    let told = weighing["explanations"].as_array().unwrap();
    let right = |told: &Value| {
        told["size"] == "2x3" && told["number"] == 2 && told["change_g"].as_f64().unwrap() < 0.0
    };
    assert!(told.len() <= 3 && told.iter().any(right), "{told:?}");

    // Corrections and posting leave it as it is.
    let mut sheet: Sheet = serde_json::from_value(sheet.clone()).unwrap();
    let kept = sheet.weighing.clone();
    let step = resolve(
        &sheet,
        None,
        Shapes::shipped(),
        &Correction::Remove { ids: vec![1] },
    )
    .unwrap();
    let step = Step {
        what: step.what,
        who: "mara".to_owned(),
        time: "2026-05-02T10:12:00Z".parse().unwrap(),
        from: step.from,
        to: step.to,
        settled: step.settled,
        count: step.count,
        place: step.place,
    };
    record(&mut sheet, step);
    let path = home.sheet("corrected");
    fs::write(&path, lines::to_vec(&sheet).unwrap()).unwrap();
    let before = fs::read(&path).unwrap();
    let ended = home.run(&["post", path.to_str().unwrap(), "--place", "cup 2"]);
    assert_eq!(ended.code, 3, "{}", ended.err);
    assert_eq!(fs::read(&path).unwrap(), before);
    let again: Sheet = serde_json::from_slice(&before).unwrap();
    assert!(kept.is_some() && again.weighing == kept);
}

/// On this photo nothing else asks for a look, so the exit code is the scale's.
#[test]
fn a_scale_that_does_not_agree_asks_for_a_look() {
    let tray = Tray::of(BRICKS);
    let home = Home::taught(&tray);
    for (grams, code) in [
        (tray.grams(), 0),
        (tray.grams() + 2.0 * true_mass("brick 2x4"), 3),
    ] {
        let grams = format!("{grams:.1}");
        let ended = home.run(&["count", &tray.photo, "--form", "brick", "--grams", &grams]);
        assert_eq!(ended.code, code, "{}{}", ended.out, ended.err);
        assert_eq!(ended.out.contains("[weight]"), code == 3, "{}", ended.out);
        assert_eq!(
            in_one_line(&ended.out).contains("more on the scale than counted"),
            code == 3,
            "{}",
            ended.out
        );
    }
}

#[test]
fn what_was_weighed_is_kept_and_a_later_weighing_replaces_it() {
    let home = Home::new();
    let first = home.run(&["teach", "--weigh", "plate 2x4", "--grams", "1.2"]);
    assert_eq!(first.code, 0, "{}", first.err);
    assert!(
        first.out.starts_with("plate 2x4: 1.20 g each"),
        "{}",
        first.out
    );
    let words = [
        "teach",
        "--weigh",
        "4x2 plate",
        "--of",
        "10",
        "--grams",
        "11.3",
    ];
    let second = home.run(&[&words[..], &["--json"]].concat());
    assert_eq!((second.code, second.err.as_str()), (0, ""));
    let told: Value = serde_json::from_str(&second.out).unwrap();
    assert_eq!(
        (&told["each_g"], &told["number"]),
        (&json!(1.13), &json!(10))
    );
    home.run(&[
        "teach",
        "--weigh",
        "brick 1x1",
        "--of",
        "20",
        "--grams",
        "9.02",
    ]);
    let kept = json_of(&home.weights());
    fits("weights-v1.schema.json", &kept);
    let entry = |form: &str, size: &str, number: u32, grams: f64, step_g: f64| json!({"form": form, "size": size, "number": number, "grams": grams, "step_g": step_g});
    let shapes = [
        entry("brick", "1x1", 20, 9.02, 0.01),
        entry("plate", "2x4", 10, 11.3, 0.1),
    ];
    assert_eq!(kept, json!({"weights": "v1", "shapes": shapes}));
}

#[test]
fn a_doubtful_weighing_is_kept_and_says_why() {
    let home = Home::new();
    let coarse = home.run(&["teach", "--weigh", "plate 2x4", "--grams", "1"]);
    assert_eq!(coarse.code, 3);
    assert!(
        coarse.err.contains("put more of these pieces"),
        "{}",
        coarse.err
    );
    let args = [
        "teach",
        "--weigh",
        "plate 2x4",
        "--of",
        "30",
        "--grams",
        "11.3",
    ];
    let mistaken = home.run(&args);
    assert_eq!(mistaken.code, 3);
    assert!(
        mistaken.err.contains("check the piece and --of"),
        "{}",
        mistaken.err
    );
    assert!(home.weights().exists());
}

/// Grams mistyped by a factor, and a kilogram scale: both figures are told and nothing is kept.
#[test]
fn a_weight_that_no_piece_has_is_not_kept() {
    let home = Home::new();
    for (grams, says) in [
        ("1130", "about 1.27 g, and this is 1130.00 g each"),
        ("6.40", "about 1.27 g, and this is 6.40 g each"),
        ("0.25", "about 1.27 g, and this is 0.25 g each"),
    ] {
        home.run(&["teach", "--weigh", "plate 2x4", "--grams", grams])
            .refused(2, says);
    }
    assert!(!home.weights().exists());
    let light = ["teach", "--weigh", "plate 2x4", "--grams", "0.26"];
    assert_eq!(home.run(&light).code, 3);
    assert!(home.weights().exists());
}

#[test]
fn what_cannot_be_weighed_is_refused() {
    let home = Home::new();
    let photo = Tray::of(PLATES).photo;
    let other = Tray::of(BRICKS).photo;
    for (grams, words) in [
        ("-5", "is not above 0"),
        ("0", "is not above 0"),
        ("heavy", "is no number of grams"),
        ("NaN", "is no number of grams"),
        ("1e3", "is no number of grams"),
        ("100000.5", "is more than 100000 g"),
    ] {
        home.run(&["count", &photo, "--grams", grams])
            .refused(2, words);
        let weigh = ["teach", "--weigh", "plate 2x4", "--grams", grams];
        home.run(&weigh).refused(2, words);
    }
    home.run(&["count", &photo, &other, "--grams", "61"])
        .refused(2, "but 2 photos are named");
    for (args, words) in [
        (
            &["--weigh", "roof", "--grams", "3"][..],
            "'roof' is no piece",
        ),
        (
            &["--weigh", "2x4", "--grams", "3"],
            "leaves form or size open",
        ),
        (
            &["--weigh", "plate", "--grams", "3"],
            "leaves form or size open",
        ),
        (
            &["--weigh", "plate 2x9", "--grams", "3"],
            "there is no plate 2x9",
        ),
        (&["--weigh", "plate 2x4"], "--grams"),
        (
            &["--weigh", "plate 2x4", "--grams", "3", "--of", "0"],
            "0 is not in",
        ),
        (
            &["--weigh", "plate 2x4", "--grams", "3", "--of", "some"],
            "--of",
        ),
        (
            &["--weigh", "plate 2x4", "--grams", "3", "--names", "tar"],
            "cannot be used with",
        ),
        (
            &["--weigh", "plate 2x4", "--grams", "3", "--light", "lamp"],
            "cannot be used with",
        ),
        (
            &["--weigh", "plate 2x4", "--grams", "3", "--form", "tile"],
            "cannot be used with",
        ),
        (
            &["--weigh", "plate 2x4", "--grams", "3", "--card", "two"],
            "cannot be used with",
        ),
        (
            &["--weigh", "plate 2x4", "--grams", "3", &photo],
            "cannot be used with",
        ),
        (
            &[&photo, "--names", "tar", "--grams", "3"],
            "cannot be used with",
        ),
        (
            &[&photo, "--names", "tar", "--of", "3"],
            "cannot be used with",
        ),
        (&[&photo], "--names"),
        (&["--names", "tar"], "<PHOTO>"),
        (&[], "<PHOTO>"),
    ] {
        home.run(&[&["teach"], args].concat()).refused(2, words);
    }
    assert_eq!(fs::read_dir(home.0.path()).unwrap().count(), 0);
}

#[test]
fn a_damaged_file_of_weights_is_named_and_left_alone() {
    let home = Home::new();
    let photo = Tray::of(PLATES).photo;
    home.run(&[
        "teach",
        "--weigh",
        "plate 2x4",
        "--of",
        "10",
        "--grams",
        "11.3",
    ]);
    let good = fs::read_to_string(home.weights()).unwrap();
    for (damaged, words) in [
        (
            good[..good.len() / 2].to_owned(),
            "not a list of weights of version v1",
        ),
        (
            good.replace("v1", "v2"),
            "not a list of weights of version v1",
        ),
        (good.replace("2x4", "2x9"), "there is no plate 2x9"),
        (good.replace("11.3", "-11.3"), "grams that cannot be"),
        (
            good.replace("\"number\": 10", "\"number\": 0"),
            "a number of pieces",
        ),
    ] {
        assert_ne!(damaged, good);
        fs::write(home.weights(), &damaged).unwrap();
        for args in [
            &["teach", "--weigh", "tile 1x1", "--grams", "3"][..],
            &["count", &photo, "--grams", "30"],
        ] {
            let ended = home.run(args);
            ended.refused(1, words);
            assert!(ended.err.contains("weights.json"), "{}", ended.err);
            assert_eq!(ended.err.trim_end().lines().count(), 1, "{}", ended.err);
        }
        assert_eq!(fs::read_to_string(home.weights()).unwrap(), damaged);
    }
}
