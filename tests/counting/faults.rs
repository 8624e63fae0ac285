//! What is wrong with a photo is named, and nothing is named in a good one. Through the real
//! program, on the shipped photos (rendered).

use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;

/// Codes that name a fault of the photo.
const FAULTS: [&str; 8] = [
    "blurred",
    "too-dark",
    "too-bright",
    "card-glare",
    "card-bent",
    "busy-tray",
    "tray-coloured",
    "cut-by-edge",
];

/// Runs `count --json` on a photo in `tune`, for the form that lies there: exit code, stdout, stderr.
fn count(name: &str) -> (i32, String, String) {
    let photo = Path::new("sample-photos/tune").join(format!("{name}.jpg"));
    let truth = std::fs::read_to_string(photo.with_extension("json")).unwrap();
    let truth: Value = serde_json::from_str(&truth).unwrap();
    let forms = truth["pieces"].as_array().unwrap().iter();
    let mut forms: Vec<&str> = forms.map(|p| p["form"].as_str().unwrap()).collect();
    forms.sort_unstable();
    forms.dedup();
    let form = match forms.as_slice() {
        [one] => one,
        _ => "any",
    };
    let home = tempfile::tempdir().unwrap();
    let output = Command::cargo_bin("cuptally")
        .unwrap()
        .args(["count", "--json", "--form", form, "--home"])
        .arg(home.path())
        .arg(photo)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        output.status.code().unwrap(),
        text(output.stdout),
        text(output.stderr),
    )
}

fn sheet(name: &str) -> Value {
    let (_, stdout, stderr) = count(name);
    let sheets: Value = serde_json::from_str(&stdout).unwrap_or_else(|e| panic!("{e}: {stderr}"));
    sheets[0].clone()
}

fn faults_of(sheet: &Value) -> Vec<&str> {
    let codes = sheet["warnings"].as_array().unwrap().iter();
    codes
        .filter_map(|w| w["code"].as_str())
        .filter(|code| FAULTS.contains(code))
        .collect()
}

#[test]
#[ignore = "reads many photos"]
fn a_failing_photo_names_its_fault_and_a_spoilt_one_is_sure_of_nothing() {
    for (name, codes, spoilt) in [
        ("failing-out-of-focus-40", &["blurred"][..], true),
        ("failing-too-dark-38", &["too-dark"], true),
        ("failing-too-bright-38", &["too-bright"], true),
        ("failing-glare-on-card-36", &["card-glare"], false),
        ("failing-wooden-table-44", &["busy-tray"], false),
        ("failing-curled-card-40", &["card-bent"], false),
        ("failing-tray-like-pieces-36", &["tray-coloured"], false),
        ("failing-pieces-cut-by-frame-40", &["cut-by-edge"], false),
    ] {
        let sheet = sheet(name);
        assert_eq!(faults_of(&sheet), codes, "{name}");
        let pieces = sheet["pieces"].as_array().unwrap();
        assert!(!pieces.is_empty(), "{name}: nothing to be unsure of");
        let sure = pieces.iter().any(|p| p["sure"].as_f64().unwrap() >= 0.9);
        assert!(!(spoilt && sure), "{name}: sure of a piece");
    }
}

#[test]
fn a_good_photo_has_no_fault() {
    for name in [
        "empty-tray-0",
        "plates-sorted-d50-42",
        "plates-sorted-close-a-18",
    ] {
        assert!(faults_of(&sheet(name)).is_empty(), "{name}");
    }
}

#[test]
fn a_refused_photo_says_what_is_wrong() {
    let (code, stdout, stderr) = count("failing-moved-40");
    assert_eq!(code, 1);
    assert!(!stdout.contains("pieces"), "{stdout}");
    assert!(stderr.contains("blurred"), "{stderr}");
}

/// A lamp in the card and a pattern of the tray take of each piece's probability what was measured: what is sure even so is
/// there, in that size.
#[test]
fn what_is_sure_beside_glare_or_on_wood_is_right() {
    for name in ["failing-glare-on-card-36", "failing-wooden-table-44"] {
        let truth = std::fs::read_to_string(format!("sample-photos/tune/{name}.json")).unwrap();
        let truth: Value = serde_json::from_str(&truth).unwrap();
        let truth = truth["pieces"].as_array().unwrap();
        let sheet = sheet(name);
        let sure = |p: &&Value| p["sure"].as_f64().unwrap() >= 0.9;
        let sure: Vec<&Value> = sheet["pieces"]
            .as_array()
            .unwrap()
            .iter()
            .filter(sure)
            .collect();
        assert!(!sure.is_empty(), "{name}: sure of nothing");
        for piece in sure {
            let off = |other: &&Value, axis: &str| {
                (piece[axis].as_f64().unwrap() - other[axis].as_f64().unwrap()).abs()
            };
            let there = truth
                .iter()
                .find(|p| off(p, "x_mm") < 4.0 && off(p, "y_mm") < 4.0);
            assert_eq!(
                there.map(|p| &p["size"]),
                Some(&piece["size"]),
                "{name}: {piece}"
            );
        }
    }
}

/// The tray is nearly white, and so is one of the 24 plates: neither its area nor its outline tells it from the
/// tray.
#[test]
fn a_piece_of_the_trays_own_colour_is_counted() {
    let truth = std::fs::read_to_string("sample-photos/tune/teach-cool-led-b5-24.json").unwrap();
    let truth: Value = serde_json::from_str(&truth).unwrap();
    let mut white = truth["pieces"].as_array().unwrap().iter();
    let white = white.find(|p| p["colour"] == "gull").unwrap();
    let sheet = sheet("teach-cool-led-b5-24");
    let pieces = sheet["pieces"].as_array().unwrap();
    assert_eq!(pieces.len(), 24);
    let off = |piece: &Value, axis: &str| {
        (piece[axis].as_f64().unwrap() - white[axis].as_f64().unwrap()).abs()
    };
    let found = pieces
        .iter()
        .find(|p| off(p, "x_mm") < 4.0 && off(p, "y_mm") < 4.0);
    let found = found.unwrap();
    assert_eq!(found["size"], "2x4");
}
