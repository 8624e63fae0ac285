//! What `calibrate` and `teach` keep, and what `count` makes of it, through the real program.

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use assert_cmd::assert::Assert;
use serde_json::Value;

struct Home(tempfile::TempDir);

impl Home {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn run(&self, args: &[&str]) -> Assert {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin!("cuptally"));
        command.arg("--home").arg(self.0.path()).args(args).assert()
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join("calibration").join(name)
    }
}

fn photo(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos/tune");
    folder.join(name).to_str().unwrap().to_owned()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

fn json(path: &Path) -> Value {
    serde_json::from_slice(&fs::read(path).unwrap()).unwrap()
}

/// Holds a file to its schema, and sees that the schema refuses the file without one of its parts.
fn fits(schema: &str, file: &Value, part: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("docs")
        .join(schema);
    let validator = jsonschema::validator_for(&json(&path)).unwrap();
    validator
        .validate(file)
        .unwrap_or_else(|error| panic!("{schema}: {error}"));
    let mut broken = file.clone();
    broken.as_object_mut().unwrap().remove(part).unwrap();
    assert!(!validator.is_valid(&broken), "{schema} does without {part}");
}

/// The picture is one that another program reads and that shows something.
fn drawn(path: &Path) {
    let options = resvg::usvg::Options::default();
    let tree = resvg::usvg::Tree::from_data(&fs::read(path).unwrap(), &options).unwrap();
    let mut pixels = resvg::tiny_skia::Pixmap::new(400, 340).unwrap();
    let scale = 400.0 / tree.size().width();
    let transform = resvg::tiny_skia::Transform::from_scale(scale, scale);
    resvg::render(&tree, transform, &mut pixels.as_mut());
    let mut colours: Vec<_> = pixels
        .pixels()
        .iter()
        .map(|p| (p.red(), p.green(), p.blue()))
        .collect();
    colours.sort_unstable();
    colours.dedup();
    // 24 swatches and a map of light have more colours than words alone.
    assert!(
        colours.len() > 200,
        "{} has {} colours",
        path.display(),
        colours.len()
    );
}

#[test]
fn a_measured_print_is_kept_and_used() {
    let home = Home::new();
    let tray = photo("empty-tray-0.jpg");
    let before = home
        .run(&["count", &tray, "--json"])
        .get_output()
        .stdout
        .clone();
    let before: Value = serde_json::from_slice(&before).unwrap();
    assert_eq!(before[0]["colour"]["print_profile"], false);

    let run = home.run(&[
        "calibrate",
        &photo("teach-daylight-24.jpg"),
        "--light",
        "daylight",
        "--print",
        "--verbose",
    ]);
    let told = text(&run.code(0).get_output().stdout);
    assert!(told.contains("this copy's print profile"), "{told}");
    assert!(told.contains("printed copy 'card'"), "{told}");
    let profile = json(&home.path("prints/card.json"));
    fits("print-v1.schema.json", &profile, "copy");
    let light = json(&home.path("lights/daylight.json"));
    fits("light-v1.schema.json", &light, "patches");
    drawn(&home.path("lights/daylight.svg"));

    let after = home
        .run(&["count", &tray, "--json"])
        .get_output()
        .stdout
        .clone();
    let after: Value = serde_json::from_slice(&after).unwrap();
    assert_eq!(after[0]["colour"]["print_profile"], true);
    let mean = |sheet: &Value| sheet[0]["colour"]["mean_de00"].as_f64().unwrap();
    // The studio's print misses its nominal values by 0.7 on average.
    assert!(
        mean(&after) <= mean(&before) + 0.1,
        "{} {}",
        mean(&after),
        mean(&before)
    );

    // A second copy makes the choice the user's.
    fs::copy(
        home.path("prints/card.json"),
        home.path("prints/second.json"),
    )
    .unwrap();
    let refused = home.run(&["count", &tray]).code(2);
    let said = text(&refused.get_output().stderr);
    assert!(
        said.contains("--card NAME") && said.contains("card, second"),
        "{said}"
    );
    let out = home.run(&["count", &tray, "--card", "second", "--json"]);
    // There is no piece on it.
    let chosen: Value = serde_json::from_slice(&out.code(3).get_output().stdout).unwrap();
    assert_eq!(chosen[0]["colour"]["print_profile"], true);
    home.run(&["count", &tray, "--card", "third"]).code(2);

    // A damaged profile is refused, not passed over.
    fs::write(home.path("prints/second.json"), "{}").unwrap();
    let refused = home.run(&["count", &tray, "--card", "second"]).code(1);
    let said = text(&refused.get_output().stderr);
    assert!(
        said.contains("second.json") && said.contains("measure the copy again"),
        "{said}"
    );
}

/// Without the line breaks by which words fit a terminal.
fn in_one_line(told: &str) -> String {
    told.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// One sentence says whether the light will do, by what a count of the photo would warn of.
#[test]
fn the_verdict_is_what_a_count_would_warn_of() {
    for (name, verdict, deciding) in [
        ("empty-tray-0.jpg", "light: good; colours come out", None),
        (
            "failing-half-a-card-36.jpg",
            "light: usable, but ",
            Some("card-partial"),
        ),
        (
            "failing-glare-on-card-36.jpg",
            "light: take the photo again: a lamp mirrors",
            Some("card-glare"),
        ),
    ] {
        let home = Home::new();
        let run = home.run(&["calibrate", &photo(name), "--light", "x"]);
        let output = run.code(if deciding.is_some() { 3 } else { 0 });
        let told = in_one_line(&text(&output.get_output().stdout));
        let (_, sentences) = told.split_once(" light: ").unwrap();
        let (sentences, _) = sentences.split_once(" kept: ").unwrap();
        let sentences = format!("light: {sentences}");
        let said: Vec<&str> = sentences.split(" note: ").collect();
        assert!(said[0].starts_with(verdict), "{told}");
        let out = home.run(&["count", &photo(name), "--form", "plate", "--json"]);
        let sheets: Value = serde_json::from_slice(&out.get_output().stdout).unwrap();
        let warnings = sheets[0]["warnings"].as_array().unwrap();
        let codes = warnings.iter().map(|w| w["code"].as_str().unwrap());
        // Those about pieces are none of the light's.
        let of_pieces = ["no-pieces", "untaught", "unexplained", "at-edge", "heap"];
        let mut of_light: Vec<&str> = codes.filter(|code| !of_pieces.contains(code)).collect();
        assert_eq!(said.len(), of_light.len().max(1), "{told} {of_light:?}");
        assert!(deciding.is_none_or(|code| said[0].ends_with(&format!("[{code}]"))));
        of_light.retain(|code| !told.contains(&format!("[{code}]")));
        assert!(of_light.is_empty(), "not told: {of_light:?}");
    }
}

#[test]
fn a_print_is_not_measured_from_half_a_card() {
    let home = Home::new();
    let run = home.run(&[
        "calibrate",
        &photo("failing-half-a-card-36.jpg"),
        "--light",
        "x",
        "--print",
    ]);
    let said = text(&run.code(1).get_output().stderr);
    assert!(said.contains("the whole card"), "{said}");
    assert!(!home.path("prints").exists() && !home.path("lights").exists());
}

#[test]
fn another_lamp_is_warned_of_and_the_same_is_not() {
    let home = Home::new();
    home.run(&[
        "calibrate",
        &photo("teach-warm-led-24.jpg"),
        "--light",
        "lamp",
    ])
    .code(0);
    let codes = |name: &str, more: &[&str]| -> Vec<String> {
        let path = photo(name);
        let args = [&["count", &path, "--form", "plate", "--json"], more].concat();
        let out = home.run(&args).get_output().stdout.clone();
        let sheets: Value = serde_json::from_slice(&out).unwrap();
        let warnings = sheets[0]["warnings"].as_array().unwrap();
        warnings
            .iter()
            .map(|w| w["code"].as_str().unwrap().to_owned())
            .collect()
    };
    let drifted = "light-drifted".to_owned();
    // Also LED-B1, before the same camera.
    assert!(!codes("plates-sorted-led-b1-64.jpg", &[]).contains(&drifted));
    assert!(codes("empty-tray-0.jpg", &["--light", "lamp"]).contains(&drifted));
    home.run(&["count", &photo("empty-tray-0.jpg"), "--light", "attic"])
        .code(2);
    fs::write(home.path("lights/lamp.json"), "[]").unwrap();
    let refused = home.run(&["count", &photo("empty-tray-0.jpg")]).code(1);
    let said = text(&refused.get_output().stderr);
    assert!(
        said.contains("lamp.json") && said.contains("measure the light again"),
        "{said}"
    );
}

/// Teaches what a photo shows, by the names beside it.
fn teach(home: &Home, name: &str, light: &str, form: &str) -> assert_cmd::assert::Assert {
    let truth = json(Path::new(&photo(&format!("{name}.json"))));
    let names: Vec<&str> = truth["names"]
        .as_array()
        .unwrap()
        .iter()
        .map(|n| n.as_str().unwrap())
        .collect();
    let (path, names) = (photo(&format!("{name}.jpg")), names.join(","));
    home.run(&[
        "teach", &path, "--names", &names, "--light", light, "--form", form,
    ])
}

#[test]
fn what_is_taught_is_kept_and_drawn() {
    let home = Home::new();
    let run = teach(&home, "teach-daylight-24", "day", "plate");
    let told = text(&run.code(0).get_output().stdout);
    assert!(told.contains("taught 24 colours in light 'day'"), "{told}");
    assert!(!told.contains("dE00"), "{told}");
    let swatches = json(&home.path("swatches.json"));
    fits("swatches-v1.schema.json", &swatches, "colours");
    assert_eq!(swatches["colours"].as_array().unwrap().len(), 24);
    drawn(&home.path("swatches-day.svg"));
}

/// Taught in one light. What tells this light again is how the card looked; without it, as in books that earlier
/// programs wrote, no colour with a close neighbour is sure.
#[test]
fn close_colours_are_sure_in_the_light_of_their_teaching_alone() {
    let home = Home::new();
    teach(&home, "teach-daylight-24", "day", "plate").code(0);
    let sure_of = |name: &str, form: &str| {
        let (_, sheet) = counted(&home, name, form);
        let pieces = sheet["pieces"].as_array().unwrap();
        let sure = |piece: &&Value| piece["sure"].as_f64() >= Some(0.9);
        pieces.iter().filter(sure).count()
    };
    let both = || {
        [
            sure_of("plates-stored-turned-40", "plate"),
            sure_of("bricks-sorted-a-30", "brick"),
        ]
    };
    let [same, other] = both();
    let book = home.path("swatches.json");
    let mut swatches = json(&book);
    fits("swatches-v1.schema.json", &swatches, "colours");
    let seen = swatches.as_object_mut().unwrap().remove("seen").unwrap();
    assert_eq!(seen[0]["colours"].as_array().unwrap().len(), 24);
    fs::write(&book, swatches.to_string()).unwrap();
    let [unknown, still_other] = both();
    assert!(same >= 30 && same > 2 * unknown, "{same} and {unknown}");
    assert_eq!(other, still_other);
}

/// A lamp lies on some of these pieces, and the palest are too bright. The bodies' own colours are known
/// from the scene.
#[test]
fn what_a_lamp_hides_is_marked_and_told() {
    let home = Home::new();
    let run = teach(&home, "teach-tubes-fl11-24", "tubes", "brick");
    let told = text(&run.code(3).get_output().stdout);
    assert!(
        told.contains("a lamp mirrors in") && told.contains("tar"),
        "{told}"
    );
    let swatches = json(&home.path("swatches.json"));
    fits("swatches-v1.schema.json", &swatches, "colours");
    let bodies = &json(Path::new(&photo("teach-tubes-fl11-24.json")))["palette_lab"];
    let (mut marked, mut plain) = (0, 0);
    for swatch in swatches["colours"].as_array().unwrap() {
        let lightness = |lab: &serde_json::Value| lab[0].as_f64().unwrap();
        let name = swatch["name"].as_str().unwrap();
        let over = lightness(&swatch["samples"][0]) - lightness(&bodies[name]);
        if swatch["flaw"] == "lamp" {
            marked += 1;
            assert!(over > 8.0, "{name} is lighter by {over}");
        } else {
            plain += 1;
            assert!(over < 15.0, "{name} is lighter by {over}");
        }
    }
    assert!(marked >= 1 && plain >= 15, "{marked} {plain}");
}

/// What `count` says of a photo, in words and in the sheet that it writes.
fn counted(home: &Home, name: &str, form: &str) -> (String, Value) {
    let out = tempfile::tempdir().unwrap();
    let folder = out.path().to_str().unwrap();
    let path = photo(&format!("{name}.jpg"));
    let run = home.run(&["count", &path, "--form", form, "--out", folder]);
    let said = in_one_line(&text(&run.get_output().stdout));
    (said, json(&out.path().join(format!("{name}.sheet.json"))))
}

fn codes(sheet: &Value) -> Vec<&str> {
    let warnings = sheet["warnings"].as_array().unwrap();
    warnings
        .iter()
        .map(|w| w["code"].as_str().unwrap())
        .collect()
}

/// Taught under tubes, under some of which a lamp's image hid the colour: counted under tubes as well, and in
/// daylight.
#[test]
fn a_photo_unlike_the_teaching_is_warned_of_and_one_in_its_light_is_not() {
    let home = Home::new();
    teach(&home, "teach-tubes-fl11-24", "tubes", "brick").code(3);
    let (said, sheet) = counted(&home, "plates-sorted-d50-42", "plate");
    assert_eq!(codes(&sheet), ["colours-unlike"], "{said}");
    let sentence = sheet["warnings"][0]["text"].as_str().unwrap();
    for part in ["no colour is sure", "teach all colours", "under this light"] {
        assert!(sentence.contains(part), "{part}: {sentence}");
    }
    assert!(
        said.contains(&format!("note: {sentence} [colours-unlike]")),
        "{said}"
    );
    // So it is, and the sheet is as its schema has it.
    let pieces = sheet["pieces"].as_array().unwrap();
    assert!(pieces.len() > 40 && pieces.iter().all(|p| p["sure"].as_f64() < Some(0.9)));
    fits("sheet-v1.schema.json", &sheet, "warnings");
    let (said, sheet) = counted(&home, "tiles-touching-fl11-52", "tile");
    assert!(!said.contains("colours-unlike"), "{said}");
    assert!(!codes(&sheet).contains(&"colours-unlike"));
    let sure = |piece: &Value| piece["sure"].as_f64() >= Some(0.9);
    assert!(sheet["pieces"].as_array().unwrap().iter().any(sure));
    // A lamp on the card spoils all colours: nobody should teach by such a photo.
    let (_, sheet) = counted(&home, "failing-glare-on-card-36", "plate");
    assert_eq!(codes(&sheet), ["card-glare"]);
}

/// The same photo, with its own colours taught and with those of another palette only.
#[test]
fn pieces_of_colours_that_nobody_taught_are_warned_of() {
    let name = "plates-sorted-d50-42";
    let home = Home::new();
    teach(&home, "teach-daylight-24", "day", "plate").code(0);
    let (said, sheet) = counted(&home, name, "plate");
    assert!(codes(&sheet).is_empty(), "{said}");
    let home = Home::new();
    teach(&home, "teach-other-d50-14", "day", "plate").code(0);
    let (said, sheet) = counted(&home, name, "plate");
    assert_eq!(codes(&sheet), ["colours-unlike"], "{said}");
}
