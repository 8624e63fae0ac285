//! Names and words from elsewhere reach a terminal only as what can be seen.
#![cfg(unix)]

use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use tempfile::TempDir;

/// Clears the screen, sets the window's title, forges a line, turns what follows around, hides in no width.
const HOSTILE: &str = "a\u{1b}[2J\u{1b}]0;b\u{7}\ncuptally: all sure\u{202e}\u{200b}\u{9b}1m";

struct Home(TempDir);

impl Home {
    fn new() -> Self {
        Self(TempDir::new().unwrap())
    }

    fn path(&self, name: &str) -> std::path::PathBuf {
        self.0.path().join(name)
    }

    fn write(&self, name: &str, text: &str) {
        let path = self.path(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }

    fn run(&self, args: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_cuptally"))
            .current_dir(self.0.path())
            .env_remove("CUPTALLY_HOME")
            .args(["--home", "."])
            .args(args)
            .output()
            .unwrap()
    }
}

/// Fails where something was printed that cannot be seen, or a line that the name wrote; gives all of it.
#[track_caller]
fn seen(output: &Output) -> String {
    let [out, err] =
        [&output.stdout, &output.stderr].map(|b| String::from_utf8(b.clone()).unwrap());
    for text in [&out, &err] {
        let bad = |c: &char| *c != '\n' && cuptally::legible::is_invisible(*c);
        assert_eq!(text.chars().find(bad), None, "{text:?}");
        assert!(
            !text.lines().any(|line| line == "cuptally: all sure"),
            "{text}"
        );
        assert!(
            !text
                .lines()
                .any(|line| line.starts_with("cuptally: all sure")),
            "{text}"
        );
    }
    out + &err
}

fn sample(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("sample-photos/tune/{name}.jpg"))
}

#[test]
fn what_was_not_found_is_told_without_what_garbles() {
    let home = Home::new();
    for args in [
        &["count", HOSTILE][..],
        &["count", "p.jpg", "--form", HOSTILE],
        &["count", "p.jpg", "--expect", HOSTILE],
        &["count", "p.jpg", "--light", HOSTILE],
        &["count", "p.jpg", "--card", HOSTILE],
        &["count", "p.jpg", "--place", HOSTILE],
        &["count", "p.jpg", "--grams", HOSTILE],
        &["count", "p.jpg", &format!("--{HOSTILE}")],
        &["teach", "p.jpg", "--names", HOSTILE],
        &["calibrate", HOSTILE, "--light", "lamp"],
        &["calibrate", "p.jpg", "--light", HOSTILE],
        &["review", HOSTILE],
        &["post", HOSTILE],
        &["stock", "import", HOSTILE],
        &["plan", "check", HOSTILE],
        &["cover", HOSTILE],
        &[HOSTILE],
    ] {
        let output = home.run(args);
        assert!(!output.status.success(), "{args:?}");
        let said = seen(&output);
        assert!(
            said.contains('\u{fffd}') || said.contains("cannot be seen"),
            "{args:?}: {said}"
        );
    }
}

#[test]
fn a_photo_and_files_of_a_home_with_such_names_are_told_as_what_can_be_seen() {
    let home = Home::new();
    let photo = format!("{HOSTILE}.jpg").replace('/', "");
    fs::copy(sample("empty-tray-0"), home.path(&photo)).unwrap();
    let output = home.run(&["count", &photo]);
    let said = seen(&output);
    assert!(
        said.contains("a\u{fffd}[2J\u{fffd}]0;b\u{fffd}\u{fffd}cuptally: all sure"),
        "{said}"
    );
    let output = home.run(&["count", &photo, "--json"]);
    seen(&output);
    let sheets: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(
        sheets[0]["photo"]["file"], photo,
        "the sheet keeps the name as it is"
    );

    home.write(
        &format!("calibration/lights/{HOSTILE}.json"),
        "{\"light\": \"\u{1b}[2J\"",
    );
    let said = seen(&home.run(&["count", &photo]));
    assert!(said.contains("lights/a\u{fffd}[2J"), "{said}");
    fs::remove_dir_all(home.path("calibration")).unwrap();

    let book = serde_json::json!({"swatches": "v1", "colours": [
        {"name": HOSTILE, "light": "lamp", "samples": [[40.0, -30.0, 25.0]]}
    ]});
    home.write("calibration/swatches.json", &book.to_string());
    let said = seen(&home.run(&["count", &photo]));
    assert!(
        said.contains("the colour name") && said.contains("cannot be seen"),
        "{said}"
    );
}

#[test]
fn names_that_cannot_be_told_apart_are_refused() {
    let home = Home::new();
    for name in ["ke\u{200b}lp", "kelp\u{200e}", "ke\u{ad}lp", "kelp\u{2066}"] {
        for args in [
            &["count", "p.jpg", "--place", name][..],
            &["teach", "p.jpg", "--names", name],
            &["calibrate", "p.jpg", "--light", name],
            &["stock", "rename", "place", "cup", name],
            &[
                "stock",
                "put",
                &format!("2 plate 2x4 {name}"),
                "--place",
                "cup",
            ],
        ] {
            let output = home.run(args);
            assert!(!output.status.success(), "{args:?}");
            let said = seen(&output);
            assert!(
                said.contains("cannot be seen") || said.contains("not usable"),
                "{args:?}: {said}"
            );
        }
    }
}

#[test]
fn no_refusal_fills_the_screen() {
    let home = Home::new();
    let long = "x".repeat(5000);
    home.write("long.plan.csv", &format!("module,{long}\n1,2\n"));
    for args in [
        &["count", &long][..],
        &["count", "p.jpg", "--form", &long],
        &["count", "p.jpg", &format!("--{long}")],
        &["plan", "check", "long.plan.csv"],
    ] {
        let output = home.run(args);
        let said = seen(&output);
        assert!(!output.status.success(), "{args:?}");
        let longest = said.lines().map(|line| line.chars().count()).max().unwrap();
        assert!(longest <= 800, "{args:?}: a line of {longest} characters");
    }
}
