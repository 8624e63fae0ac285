//! Two photos of one name, and photos counted again: no sheet of another photo and none that a person put right is
//! ever lost.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::support::need_tool;

const PROGRAM: &str = env!("CARGO_BIN_EXE_cuptally");

/// Two small photos of different trays.
const TRAYS: [&str; 2] = ["plates-sorted-close-a-18", "plates-sorted-d50-42"];

/// A home, and two folders that each hold a photo called `tray.jpg`.
struct Trays(TempDir);

impl Trays {
    fn new() -> Self {
        let folder = TempDir::new().unwrap();
        for (number, tray) in TRAYS.iter().enumerate() {
            let at = folder.path().join(format!("day-{number}"));
            fs::create_dir(&at).unwrap();
            let photos = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos/tune");
            fs::copy(photos.join(format!("{tray}.jpg")), at.join("tray.jpg")).unwrap();
        }
        Self(folder)
    }

    fn sheets(&self) -> PathBuf {
        self.0.path().join("home/sheets")
    }

    /// What lies in the folder of sheets, by name; without locks.
    fn files(&self) -> BTreeMap<String, Vec<u8>> {
        let Ok(all) = fs::read_dir(self.sheets()) else {
            return BTreeMap::new();
        };
        all.map(|item| item.unwrap().path())
            .map(|path| {
                let name = path.file_name().unwrap().to_str().unwrap().to_owned();
                (name, fs::read(path).unwrap())
            })
            .collect()
    }

    fn names(&self) -> Vec<String> {
        self.files().into_keys().collect()
    }

    fn command(&self, program: &str, before: &[&str], args: &[&str]) -> Command {
        let mut command = Command::new(program);
        command
            .current_dir(self.0.path())
            .env("CUPTALLY_HOME", "home")
            .args(before)
            .args(["count", "--form", "plate"])
            .args(args);
        command
    }

    fn count(&self, args: &[&str]) -> Output {
        self.command(PROGRAM, &[], args).output().unwrap()
    }

    /// Counts and must come through; gives what is said beside the result, without where home is.
    fn counted(&self, args: &[&str]) -> Vec<String> {
        let output = self.count(args);
        assert!(
            [0, 3].contains(&output.status.code().unwrap()),
            "{output:?}"
        );
        let said = String::from_utf8(output.stderr).unwrap();
        let beside = |line: &&str| line.contains("tray") && !line.contains("home:");
        said.lines().filter(beside).map(str::to_owned).collect()
    }

    fn sheet(&self, name: &str) -> Value {
        serde_json::from_slice(&fs::read(self.sheets().join(name)).unwrap()).unwrap()
    }

    /// Puts the sheet right as a person would: its first step is all that matters here.
    fn correct(&self, name: &str) -> Vec<u8> {
        let mut sheet = self.sheet(name);
        sheet["checked"] = json!(true);
        let text = serde_json::to_vec_pretty(&sheet).unwrap();
        fs::write(self.sheets().join(name), &text).unwrap();
        text
    }
}

/// The name that the second tray's sheet gets beside the first's.
fn second(trays: &Trays) -> String {
    let sheet = (trays.names().into_iter())
        .find(|name| name.ends_with(".sheet.json") && name != "tray.sheet.json")
        .unwrap();
    let hash = trays.sheet(&sheet)["photo"]["hash"].as_str().unwrap()[..8].to_owned();
    assert_eq!(sheet, format!("tray-{hash}.sheet.json"));
    sheet
}

#[test]
fn another_photo_of_the_same_name_gets_a_name_of_its_own() {
    let trays = Trays::new();
    assert_eq!(trays.counted(&["day-0/tray.jpg"]), [""; 0]);
    let first = trays.files();
    let said = trays.counted(&["day-1/tray.jpg"]);
    let second = second(&trays);
    assert_eq!(said.len(), 1, "{said:?}");
    assert!(
        said[0].contains("tray.sheet.json is of another photo"),
        "{said:?}"
    );
    assert!(said[0].contains(&second), "{said:?}");
    let both = trays.files();
    assert_eq!(both.len(), 4, "{:?}", trays.names());
    for (name, bytes) in &first {
        assert_eq!(&both[name], bytes, "{name} was touched");
    }
    assert_eq!(trays.sheet(&second)["photo"]["file"], "tray.jpg");
    // Counted again each keeps its name, and nobody needs to be told.
    assert_eq!(trays.counted(&["day-1/tray.jpg"]), [""; 0]);
    fs::remove_file(trays.sheets().join("tray.sheet.json")).unwrap();
    trays.counted(&["day-1/tray.jpg"]);
    assert!(!trays.sheets().join("tray.sheet.json").exists());
    // Both in one call.
    fs::remove_dir_all(trays.sheets()).unwrap();
    trays.counted(&["day-0", "day-1"]);
    assert_eq!(trays.names(), both.keys().cloned().collect::<Vec<_>>());
}

#[test]
fn a_file_that_is_no_sheet_of_ours_is_left_alone() {
    let trays = Trays::new();
    fs::create_dir_all(trays.sheets()).unwrap();
    fs::write(trays.sheets().join("tray.sheet.json"), r#"{"sheet":"v2"}"#).unwrap();
    trays.counted(&["day-1/tray.jpg"]);
    second(&trays);
    assert_eq!(trays.files()["tray.sheet.json"], br#"{"sheet":"v2"}"#);
}

#[test]
fn what_a_person_put_right_is_counted_anew_only_where_that_is_said() {
    let trays = Trays::new();
    trays.counted(&["day-0/tray.jpg"]);
    let corrected = trays.correct("tray.sheet.json");
    let before = trays.files();
    let output = trays.count(&["day-0/tray.jpg"]);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert_eq!(said.lines().count(), 1, "{said}");
    assert!(
        said.contains("put right") && said.contains("say --again"),
        "{said}"
    );
    assert_eq!(trays.files(), before);
    let said = trays.counted(&["day-0/tray.jpg", "--again"]);
    assert!(said[0].contains("tray.sheet.json.corrected-1"), "{said:?}");
    let after = trays.files();
    assert_eq!(after["tray.sheet.json.corrected-1"], corrected);
    assert_eq!(trays.sheet("tray.sheet.json")["checked"], false);
    // And once more: the first that was put aside stays.
    let second = trays.correct("tray.sheet.json");
    trays.counted(&["day-0/tray.jpg", "--again"]);
    let last = trays.files();
    assert_eq!(last["tray.sheet.json.corrected-1"], corrected);
    assert_eq!(last["tray.sheet.json.corrected-2"], second);
}

/// Killed at each system call that gives a file its name or takes one away.
#[test]
fn a_kill_between_two_files_loses_nothing() {
    if !cfg!(target_os = "linux") || !need_tool("strace", "strace") {
        return;
    }
    let traced = Command::new("strace")
        .args(["-o", "/dev/null", "true"])
        .output();
    if !traced.unwrap().status.success() {
        eprintln!("skipped: this system does not allow tracing");
        return;
    }
    let trays = Trays::new();
    trays.counted(&["day-0/tray.jpg"]);
    let corrected = trays.correct("tray.sheet.json");
    for args in [&["day-1/tray.jpg"][..], &["day-0/tray.jpg", "--again"]] {
        let mut kills = 0;
        for nth in 1.. {
            let calls = "renameat2,rename,renameat,link,linkat,unlink,unlinkat";
            let inject = format!("inject={calls}:signal=KILL:when={nth}");
            let strace = ["-f", "-qq", "-o", "trace.txt", "-e", &inject, PROGRAM];
            let output = trays.command("strace", &strace, args).output().unwrap();
            let is_kept = trays.files().into_values().any(|bytes| bytes == corrected);
            assert!(is_kept, "lost by a kill at call {nth} of {args:?}");
            for name in trays.names() {
                if name.ends_with(".sheet.json") {
                    trays.sheet(&name);
                }
            }
            if output.status.code().is_some_and(|code| code < 128) {
                break;
            }
            kills += 1;
        }
        assert!(kills >= 2, "{kills} kills of {args:?}");
    }
}
