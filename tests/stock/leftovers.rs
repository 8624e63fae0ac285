//! What a killed program leaves, and commands that are told to be pasted.
#![cfg(unix)]

use crate::harbour::{Harbour, PROGRAM, Row};
use crate::support::need_tool;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

const ROSE: Row = ("plate", "2x4", "rose", 7, 7, 7);

/// Hidden files in a folder and below it.
fn hidden(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for item in fs::read_dir(folder).into_iter().flatten() {
        let path = item.unwrap().path();
        if path.is_dir() {
            found.extend(hidden(&path));
        } else if path.file_name().unwrap().to_string_lossy().starts_with('.') {
            found.push(path);
        }
    }
    found
}

/// Killed when all is written and nothing has its name yet: the next run takes the rest away.
#[test]
fn unfinished_files_are_swept_by_the_next_run() {
    if !need_tool("strace", "strace") {
        return;
    }
    let harbour = Harbour::new();
    let photo = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos/tune");
    let photo = photo.join("plates-sorted-d50-42.jpg");
    let photo = photo.to_str().unwrap();
    let calls: [&[&str]; 2] = [
        &["card", "--out", "cards"],
        &["calibrate", photo, "--light", "kitchen"],
    ];
    for args in calls {
        let out = Command::new("strace")
            .args([
                "-f",
                "-qq",
                "-o",
                "/dev/null",
                "-e",
                "trace=rename,renameat,renameat2",
            ])
            .args([
                "-e",
                "inject=rename,renameat,renameat2:signal=SIGKILL:when=1",
                PROGRAM,
            ])
            .args(args)
            .current_dir(harbour.path(""))
            .env("CUPTALLY_HOME", harbour.home())
            .output()
            .unwrap();
        assert!(!out.status.success(), "{args:?}: {out:?}");
        let left = hidden(&harbour.path(""));
        assert!(!left.is_empty(), "{args:?} leaves nothing to sweep");
        // Another program's file, and one that is being written just now, stay.
        let folder = left[0].parent().unwrap();
        let foreign = folder.join(".notes.tmp");
        fs::write(&foreign, "not ours").unwrap();
        let written = folder.join(".cuptally-12345.tmp");
        let writing = fs::File::create(&written).unwrap();
        writing.lock().unwrap();
        let ended = harbour.run(args);
        assert!([0, 3].contains(&ended.code), "{ended:?}");
        let mut kept = hidden(&harbour.path(""));
        kept.sort();
        assert_eq!(kept, [written.clone(), foreign.clone()], "{args:?}");
        fs::remove_file(written).unwrap();
        fs::remove_file(foreign).unwrap();
    }
}

/// A told command does what it says when it is pasted, whatever the home folder is called.
#[test]
fn told_commands_can_be_pasted() {
    for name in [
        "my club",
        "it's",
        "a\"b",
        "$HOME",
        "`id`",
        "a;b & c",
        "~mara",
        "*",
        "-x",
        "tide!",
        "back\\slash",
        "'\"$",
    ] {
        let harbour = Harbour::new();
        let home = harbour.path("homes").join(name);
        fs::create_dir_all(&home).unwrap();
        let sheet = harbour.sheet("quay", Some("cup 3"), &[ROSE]);
        let named = format!("--home={}", Path::new("homes").join(name).display());
        let told = harbour.run(&[&named, "post", &sheet]).code(3).err;
        // The last command in it is the one that takes the sheet as counted.
        let (_, told) = told.rsplit_once("with `cuptally").unwrap();
        let (told, _) = told.rsplit_once('`').unwrap();
        assert!(told.ends_with("stock confirm 1"), "{told}");
        let pasted = Command::new("sh")
            .args(["-c", &format!("{PROGRAM}{told}")])
            .current_dir(harbour.path(""))
            .output()
            .unwrap();
        assert!(pasted.status.success(), "{name}: {told}: {pasted:?}");
        assert!(home.join("stock.json").is_file());
        let stock = crate::harbour::sound(&home.join("stock.json"));
        assert_eq!(stock.history.len(), 2, "{name}");
    }
}
