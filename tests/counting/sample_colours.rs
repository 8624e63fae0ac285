//! The colours of the sample pieces, which come along: used without anything taught, and what teaching makes anew.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_cuptally");
const ROOT: &str = env!("CARGO_MANIFEST_DIR");
const PHOTO: &str = "sample-photos/tune/plates-sorted-close-a-18.jpg";

fn cuptally(home: &Path) -> Command {
    let mut command = Command::new(PROGRAM);
    command.current_dir(ROOT).env("CUPTALLY_HOME", home);
    command
}

fn colours(sheet: &Value, key: &str) -> Vec<String> {
    let of = |piece: &Value| piece["colour"].as_str().unwrap().to_owned();
    sheet[key].as_array().unwrap().iter().map(of).collect()
}

/// Without a word about colours the pieces carry general names, and one line says so.
#[test]
fn an_untaught_home_names_no_colour() {
    let home = TempDir::new().unwrap();
    let counted = cuptally(home.path())
        .args(["count", PHOTO, "--form", "plate"])
        .output()
        .unwrap();
    let out = String::from_utf8(counted.stdout).unwrap();
    let words = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("colours unnamed"), "{out}");
    let told = out.lines().filter(|line| {
        line.contains("general colour names; `cuptally teach` gives them yours [untaught]")
    });
    assert_eq!(told.count(), 1, "{out}");
}

#[test]
fn sample_photos_are_counted_with_their_colours_and_nothing_is_taught() {
    let home = TempDir::new().unwrap();
    let counted = cuptally(home.path())
        .args([
            "count",
            PHOTO,
            "--form",
            "plate",
            "--sample-colours",
            "--json",
        ])
        .output()
        .unwrap();
    let sheets: Vec<Value> = serde_json::from_slice(&counted.stdout).unwrap();
    let truth = fs::read_to_string(Path::new(ROOT).join(PHOTO).with_extension("json")).unwrap();
    let truth: Value = serde_json::from_str(&truth).unwrap();
    let (mut said, mut is) = (colours(&sheets[0], "pieces"), colours(&truth, "pieces"));
    said.sort();
    is.sort();
    let right = is.iter().filter(|name| said.contains(name)).count();
    // Names of the truth, not general ones; whether each is the right one is for the accuracy table to say.
    assert!(right * 10 >= is.len() * 7, "{said:?} of {is:?}");
    assert!(!home.path().join("calibration").exists());
    let codes = sheets[0]["warnings"].as_array().unwrap();
    assert!(codes.iter().all(|warning| warning["code"] != "untaught"));
}

/// Every file below a folder.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for item in fs::read_dir(folder).unwrap() {
        let path = item.unwrap().path();
        if path.is_dir() {
            found.extend(files(&path));
        } else {
            found.insert(path.clone(), fs::read(path).unwrap());
        }
    }
    found
}

/// Its files by their names within it.
fn within(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let short = |path: PathBuf| path.strip_prefix(folder).unwrap().to_owned();
    files(folder)
        .into_iter()
        .map(|(path, bytes)| (short(path), bytes))
        .collect()
}

#[test]
#[ignore = "reads many photos"]
fn teaching_anew_gives_what_comes_along() {
    let made = TempDir::new().unwrap();
    let status = Command::new("bash")
        .current_dir(ROOT)
        .arg("calibration/make.sh")
        .arg(made.path())
        .env("CUPTALLY", PROGRAM)
        .env_remove("CUPTALLY_HOME")
        .status()
        .unwrap();
    assert!(status.success());
    let (anew, kept) = (
        within(made.path()),
        within(&Path::new(ROOT).join("calibration/sample")),
    );
    assert!(
        anew.keys().eq(kept.keys()),
        "{:?} and {:?}",
        anew.keys(),
        kept.keys()
    );
    // When it was taught is kept, and is another time each time.
    let timeless = |bytes: &[u8]| -> Vec<String> {
        let text = String::from_utf8(bytes.to_vec()).unwrap();
        let lines = text.lines().filter(|line| !line.contains("\"time\": "));
        lines.map(str::to_owned).collect()
    };
    for (path, bytes) in &kept {
        assert!(
            timeless(&anew[path]) == timeless(bytes),
            "{}: bash calibration/make.sh",
            path.display()
        );
    }
}

/// The demo for people and for programs, and going on in its folder.
#[test]
#[ignore = "reads many photos"]
fn the_demo_is_a_home_to_go_on_in() {
    let folder = TempDir::new().unwrap();
    let demo = |options: &[&str]| {
        let output = cuptally(&folder.path().join("none"))
            .args(["demo", "--out"])
            .arg(folder.path().join("demo"))
            .args(options)
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        let said = String::from_utf8(output.stderr).unwrap();
        for number in 1..=6 {
            let sign = format!(", {number} of 6\n");
            assert_eq!(said.matches(&sign).count(), 1, "{said}");
        }
        (String::from_utf8(output.stdout).unwrap(), said)
    };
    let (told, _) = demo(&[]);
    assert!(
        told.starts_with("Knows the colours of the sample pieces: 24 names"),
        "{told}"
    );
    assert!(told.chars().all(|c| c != '\u{fffd}'), "{told}");
    // The stock as a line a place, and not as one for each of its two hundred kinds.
    let totals = (told.lines()).skip_while(|line| !line.contains("Kinds"));
    let totals = totals.take_while(|line| !line.trim().is_empty());
    assert_eq!(totals.count(), 2 + 6 + 1, "{told}");
    let (json, said) = demo(&["--json"]);
    let json: Value = serde_json::from_str(&json).unwrap();
    assert!(
        said.contains("holds a former demo and nothing else; it is made anew"),
        "{said}"
    );
    assert_eq!(json["photos"].as_array().unwrap().len(), 6);
    assert_eq!(json["posted"]["places"].as_array().unwrap().len(), 6);
    assert_eq!(
        (&json["colours"], &json["cover"]["wanted"]),
        (&24.into(), &3.into())
    );
    // In it, or below it, its stock, its colours and its plan are at hand.
    let demo = folder.path().join("demo");
    let run = |at: &str, args: &[&str]| {
        let mut command = Command::new(PROGRAM);
        command
            .current_dir(demo.join(at))
            .env_remove("CUPTALLY_HOME")
            .env("HOME", folder.path());
        let output = command.args(args).output().unwrap();
        assert!(
            [0, 3].contains(&output.status.code().unwrap()),
            "{output:?}"
        );
        (
            String::from_utf8(output.stdout).unwrap(),
            String::from_utf8(output.stderr).unwrap(),
        )
    };
    let (_, said) = run("sheets", &["cover", "../ramp.plan.csv"]);
    assert!(said.contains("it holds cuptally.toml"), "{said}");
    let photo = Path::new(ROOT).join(PHOTO);
    let (out, _) = run(".", &["count", "--form", "plate", photo.to_str().unwrap()]);
    assert!(!out.contains("colours unnamed"), "{out}");
    let sample = fs::read(Path::new(ROOT).join("calibration/sample/swatches.json")).unwrap();
    assert!(fs::read(demo.join("calibration/swatches.json")).unwrap() == sample);
}
