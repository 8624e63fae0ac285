//! The stock on a disk that is full and in a folder that cannot be written.

#![cfg(target_os = "linux")]

use crate::harbour::{Harbour, PROGRAM, Row};
use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const ROSE: Row = ("plate", "2x4", "rose", 7, 7, 7);

fn is_root() -> bool {
    fs::metadata("/proc/self").unwrap().uid() == 0
}

/// A small disk of its own, taken away at the end.
struct SmallDisk(PathBuf);

impl SmallDisk {
    /// None where this user may not mount; says so.
    fn new(path: PathBuf, kilobytes: u32) -> Option<Self> {
        fs::create_dir_all(&path).unwrap();
        let mounted = Command::new("mount")
            .args(["-t", "tmpfs", "-o", &format!("size={kilobytes}k"), "tmpfs"])
            .arg(&path)
            .output();
        if mounted.is_ok_and(|output| output.status.success()) {
            return Some(Self(path));
        }
        eprintln!("skipped: this test needs the right to mount a small disk (root)");
        None
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.0).status();
    }
}

fn files(home: &Path) -> BTreeMap<String, Vec<u8>> {
    let items = fs::read_dir(home).unwrap().map(|item| item.unwrap());
    items
        .filter(|item| item.file_name() != "filler")
        .map(|item| {
            (
                item.file_name().into_string().unwrap(),
                fs::read(item.path()).unwrap(),
            )
        })
        .collect()
}

#[test]
fn a_full_disk_is_told_and_costs_nothing() {
    let harbour = Harbour::new();
    let Some(disk) = SmallDisk::new(harbour.home(), 400) else {
        return;
    };
    let mut csv = String::from("place,form,size,colour,count\n");
    for n in 0..300 {
        csv += &format!("cup 1,plate,2x4,colour {n},{}\n", n + 1);
    }
    fs::write(harbour.path("all.csv"), csv).unwrap();
    harbour.run(&["stock", "import", "all.csv"]).code(0);
    harbour
        .run(&[
            "stock",
            "put",
            "9 plate 2x4 rose",
            "--place",
            "cup 1",
            "--new",
        ])
        .code(0);
    let size = fs::metadata(harbour.stock_file()).unwrap().len();
    let (mut told, mut place, mut other) = (0, "cup 1", "cup 2");
    // From no room at all to room enough: the last copy is the old file itself and needs none.
    for room in [0, size / 3, size * 2 / 3, size + size / 2] {
        let filler = disk.0.join("filler");
        let _ = fs::remove_file(&filler);
        let free = 400 * 1024 - 2 * (size / 4096 + 1) * 4096;
        let mut fill = vec![0u8; usize::try_from(free.saturating_sub(room)).unwrap()];
        while fs::write(&filler, &fill).is_err() {
            fill.truncate(fill.len() - 4096);
        }
        for args in [
            &["stock", "put", "5 plate 2x4 rose", "--place", place][..],
            &["stock", "take", "5 plate 2x4 rose"],
            &["stock", "undo"],
            &["stock", "rename", "place", place, other],
        ] {
            let before = files(&disk.0);
            let ended = harbour.run(args);
            if ended.code == 0 {
                if args[1] == "rename" {
                    std::mem::swap(&mut place, &mut other);
                }
                continue;
            }
            told += 1;
            let ended = ended.code(1).says("cuptally: cannot write the stock file");
            assert!(ended.err.contains("No space left on device"), "{ended:?}");
            assert!(
                ended.err.trim_end().ends_with("it is as it was"),
                "{ended:?}"
            );
            assert!(files(&disk.0) == before, "{args:?} changed something");
        }
        harbour.run(&["stock"]).code(0);
    }
    assert!(told >= 8, "the disk was full {told} times only");
    fs::remove_file(disk.0.join("filler")).unwrap();
    harbour
        .run(&["stock", "put", "5 plate 2x4 rose", "--place", place])
        .code(0);
    assert!(harbour.stock().history.len() >= 3);
}

/// Runs the program as somebody whom permissions hold: root passes them all by.
fn unprivileged(harbour: &Harbour, args: &[&str]) -> Option<Output> {
    if !is_root() {
        return Some(harbour.command(args).output().unwrap());
    }
    if !crate::support::need_tool("setpriv", "util-linux") {
        return None;
    }
    // Where anybody can reach it.
    let program = harbour.path("cuptally");
    if !program.exists() {
        fs::copy(PROGRAM, &program).unwrap();
    }
    let output = Command::new("setpriv")
        .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
        .arg(program)
        .args(args)
        .current_dir(harbour.path(""))
        .env_clear()
        .env("CUPTALLY_HOME", harbour.home())
        .env("USER", "ove")
        .output();
    Some(output.unwrap())
}

#[test]
fn a_folder_that_cannot_be_written_is_told_and_can_still_be_read() {
    let harbour = Harbour::new();
    let sheet = harbour.checked("quay", Some("cup 3"), &[ROSE]);
    harbour.run(&["post", &sheet]).code(0);
    let more = harbour.checked("mole", Some("cup 3"), &[ROSE]);
    let mode = |path: &Path, mode| {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    };
    mode(&harbour.path(""), 0o755);
    mode(&harbour.home(), 0o555);
    let before = files(&harbour.home());
    let calls: [&[&str]; 5] = [
        &["post", &more, "--add"],
        &["stock", "take", "1 plate 2x4 rose"],
        &["stock", "undo"],
        &["stock", "move", "--from", "cup 3", "--to", "cup 4"],
        &["stock", "restore"],
    ];
    for args in calls {
        let Some(output) = unprivileged(&harbour, args) else {
            return;
        };
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(1), "{args:?}: {said}");
        assert_eq!(said.lines().count(), 1, "{said}");
        assert!(said.starts_with("cuptally: cannot lock "), "{said}");
        assert!(
            said.contains("see that the folder can be written to"),
            "{said}"
        );
    }
    let shown = unprivileged(&harbour, &["stock", "--find", "rose"]).unwrap();
    assert_eq!(shown.status.code(), Some(0), "{shown:?}");
    assert!(String::from_utf8_lossy(&shown.stdout).contains("rose"));
    mode(&harbour.home(), 0o755);
    assert!(files(&harbour.home()) == before, "something was changed");
}
