//! The demo where it cannot begin, where it was stopped, and where somebody went on in its folder.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use tempfile::TempDir;

const PHOTOS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/sample-photos/tune");
const FIRST: &str = "counting plates-sorted-d65-window-48.jpg, 1 of 6";

/// The demo in a folder that is not the source code's, of a user who has nothing.
fn demo(folder: &Path, args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_cuptally"));
    command
        .current_dir(folder)
        .env_remove("CUPTALLY_HOME")
        .env_remove("CARGO_MANIFEST_DIR")
        .env("HOME", folder.join("me"))
        .arg("demo")
        .args(args);
    command
}

/// Runs it until it begins with its first photo, kills it there, and gives what it said by then.
pub fn stopped(folder: &Path) -> String {
    let mut child = demo(folder, &["--photos", PHOTOS])
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = String::new();
    for line in BufReader::new(child.stderr.take().unwrap()).lines() {
        let line = line.unwrap();
        said.push_str(&line);
        said.push('\n');
        if line.contains(FIRST) {
            break;
        }
    }
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(said.contains(FIRST), "{said}");
    said
}

#[test]
fn without_the_sample_photos_it_says_where_they_are_and_makes_nothing() {
    let folder = TempDir::new().unwrap();
    for (args, says) in [
        (
            &[][..],
            "run it in the folder that the program was built from",
        ),
        (
            &["--photos", "."][..],
            "there is no plates-sorted-d65-window-48.jpg in the folder .; name the folder sample-photos/tune",
        ),
    ] {
        let ended = demo(folder.path(), args).output().unwrap();
        assert_eq!(ended.status.code(), Some(1));
        let said = String::from_utf8(ended.stderr).unwrap();
        assert!(said.contains(says), "{said}");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}

#[test]
fn one_that_was_stopped_is_begun_anew_and_what_came_to_it_is_kept() {
    let folder = TempDir::new().unwrap();
    let out = folder.path().join("cuptally-demo");
    // A folder with nothing in it is as good as none.
    fs::create_dir(&out).unwrap();
    let said = stopped(folder.path());
    assert!(!said.contains("holds"), "{said}");
    assert!(out.join("cuptally.toml").is_file());
    let said = stopped(folder.path());
    let plain = "cuptally-demo holds a demo that was stopped before its end and nothing else; it is made anew";
    assert!(said.contains(plain), "{said}");
    // Somebody went on in it: all of it stays, under another name.
    let swatches = out.join("calibration/swatches.json");
    fs::write(&swatches, "mine").unwrap();
    for number in 1..=2 {
        let said = stopped(folder.path());
        let aside = format!("put aside as cuptally-demo.kept-{number}");
        assert!(said.contains(&aside), "{said}");
        let kept = folder.path().join(format!("cuptally-demo.kept-{number}"));
        let kept = fs::read_to_string(kept.join("calibration/swatches.json")).unwrap();
        assert_eq!(kept, "mine");
        assert_ne!(fs::read_to_string(&swatches).unwrap(), "mine");
        fs::write(&swatches, "mine").unwrap();
    }
}

#[test]
fn a_folder_of_somebody_else_is_left_alone() {
    let folder = TempDir::new().unwrap();
    let theirs = folder.path().join("cuptally-demo/notes.txt");
    fs::create_dir(theirs.parent().unwrap()).unwrap();
    fs::write(&theirs, "mine").unwrap();
    let ended = demo(folder.path(), &["--photos", PHOTOS]).output().unwrap();
    assert_eq!(ended.status.code(), Some(1));
    let said = String::from_utf8(ended.stderr).unwrap();
    assert!(
        said.contains("was not made by the demo; name another folder"),
        "{said}"
    );
    assert_eq!(fs::read_to_string(theirs).unwrap(), "mine");
}
