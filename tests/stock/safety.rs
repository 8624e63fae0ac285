//! The stock file against everything that may happen to it: damage, other
//! versions, other processes, and the end of this one.

use crate::harbour::{Harbour, PROGRAM, Row, sound};
use std::collections::BTreeSet;
use std::fs;
use std::process::{Command, Stdio};
use std::thread;
use std::time::Duration;

const ROSE: Row = ("plate", "2x4", "rose", 7, 7, 7);

fn posted() -> Harbour {
    let harbour = Harbour::new();
    for name in ["quay", "mole"] {
        let sheet = harbour.checked(name, Some("cup 3"), &[ROSE]);
        harbour.run(&["post", &sheet, "--add"]).code(0);
    }
    harbour
}

/// Names in the home folder.
fn names(harbour: &Harbour) -> BTreeSet<String> {
    let items = fs::read_dir(harbour.home()).unwrap();
    items
        .map(|item| item.unwrap().file_name().into_string().unwrap())
        .collect()
}

#[test]
fn a_damaged_file_is_told_with_its_place_and_never_overwritten() {
    let harbour = posted();
    let text = fs::read_to_string(harbour.stock_file()).unwrap();
    let last = fs::read(harbour.home().join("stock.json.last")).unwrap();
    let sheet = harbour.checked("new", Some("cup 4"), &[ROSE]);
    let lots = r#"{"form":"plate","size":"2x4","colour":"rose","count":14,"low":14,"high":14}"#;
    assert!(text.contains(lots));
    let damaged = [
        ("the tide took it".to_owned(), "line 1, column 2"),
        (String::new(), "line 1, column 0: EOF"),
        (text[..text.len() / 2].to_owned(), "damaged at line"),
        (text.replacen("count", "kount", 1), "unknown field `kount`"),
        (text.replacen("\"cup 3\"", "\"cup \\u0007\"", 1), "cannot be seen"),
        (text.replacen(lots, &format!("{lots},\n      {lots}"), 1), "listed twice"),
        (text.replacen("\"number\":2", "\"number\":3", 1), "has entry 3 where entry 2 belongs"),
        (text.replacen("\"places\"", "\"plaices\"", 1), "unknown field `plaices`"),
        (text.replace("\"v3\"", "\"v4\""), "it has version v4, and this program reads versions up to v3"),
        // As a merge of two edits may leave it.
        (
            text.replacen("  \"places\": {", "  \"places\": {\n    \"cup 3\": [\n      {\"form\":\"plate\",\"size\":\"2x4\",\"colour\":\"rose\",\"count\":1,\"low\":1,\"high\":1}\n    ],", 1),
            "the place cup 3 is listed twice",
        ),
    ];
    for (bytes, says) in damaged {
        fs::write(harbour.stock_file(), &bytes).unwrap();
        for args in [
            &["stock"][..],
            &["post", &sheet],
            &["stock", "undo"],
            &["stock", "check", "--keep", "history"],
        ] {
            let ended = harbour
                .run(args)
                .code(1)
                .says(says)
                .says("nothing was changed");
            assert_eq!(ended.err.lines().count(), 1, "{}", ended.err);
            if !says.contains("version") {
                let offer = "stock.json.last, has 1 entry of history: `cuptally stock restore` goes back to it";
                assert!(ended.err.contains(offer), "{}", ended.err);
            }
        }
        assert_eq!(fs::read_to_string(harbour.stock_file()).unwrap(), bytes);
        assert_eq!(
            fs::read(harbour.home().join("stock.json.last")).unwrap(),
            last
        );
    }
    // A newer program's file is not damaged.
    fs::write(harbour.stock_file(), text.replace("\"v3\"", "\"v4\"")).unwrap();
    harbour
        .run(&["stock", "restore"])
        .code(1)
        .says("use a newer cuptally");
    // The copy is what the sentence says it is, and the damaged file stays at hand.
    let bytes = &text.as_bytes()[..text.len() / 2];
    fs::write(harbour.stock_file(), bytes).unwrap();
    harbour
        .run(&["stock", "restore"])
        .code(3)
        .prints("stock.json.last again: 1 entry of history, the last of 2026-05-02 10:12.")
        .says("stock.json.damaged-1; what was done after that copy was made");
    assert_eq!(
        fs::read(harbour.home().join("stock.json.damaged-1")).unwrap(),
        bytes
    );
    assert_eq!(fs::read(harbour.stock_file()).unwrap(), last);
    harbour
        .run(&["stock", "restore"])
        .code(1)
        .says("can be read, so nothing was changed");
    assert_eq!(harbour.stock().history.len(), 1);
    harbour.run(&["post", &sheet]).code(0);
}

#[test]
fn a_file_that_is_gone_is_not_begun_anew_over_its_copy() {
    let harbour = posted();
    fs::remove_file(harbour.stock_file()).unwrap();
    let sheet = harbour.checked("new", Some("cup 4"), &[ROSE]);
    harbour
        .run(&["post", &sheet])
        .code(1)
        .says("is gone, but its last copy");
    harbour
        .run(&["stock"])
        .code(1)
        .says("`cuptally stock restore` puts that back");
    let last = fs::read(harbour.home().join("stock.json.last")).unwrap();
    harbour.run(&["stock", "restore"]).code(3);
    assert_eq!(fs::read(harbour.stock_file()).unwrap(), last);
    fs::remove_file(harbour.stock_file()).unwrap();
    fs::remove_file(harbour.home().join("stock.json.last")).unwrap();
    harbour
        .run(&["stock", "restore"])
        .code(1)
        .says("there is no good copy");
    harbour.run(&["post", &sheet]).code(0);
}

#[test]
fn the_last_copy_is_the_one_before_the_last_change() {
    let harbour = posted();
    assert_eq!(
        sound(&harbour.home().join("stock.json.last")).history.len(),
        1
    );
    let before = fs::read(harbour.stock_file()).unwrap();
    let sheet = harbour.checked("new", Some("cup 4"), &[ROSE]);
    harbour.run(&["post", &sheet]).code(0);
    assert_eq!(
        fs::read(harbour.home().join("stock.json.last")).unwrap(),
        before
    );
    assert_eq!(
        names(&harbour),
        BTreeSet::from(["stock.json", "stock.json.last", "stock.json.lock"].map(String::from))
    );
}

#[test]
fn a_home_that_cannot_be_written_is_told() {
    let harbour = Harbour::new();
    let sheet = harbour.checked("new", Some("cup 4"), &[ROSE]);
    fs::write(harbour.path("file"), "in the way").unwrap();
    for home in ["file", "file/home"] {
        harbour
            .run(&["post", &sheet, "--home", home])
            .code(1)
            .says("cuptally: cannot ");
        harbour.run(&["stock", "undo", "--home", home]).code(1);
    }
    // A folder, where the file should be.
    fs::create_dir_all(harbour.stock_file()).unwrap();
    harbour
        .run(&["post", &sheet])
        .code(1)
        .says("is no ordinary file");
    harbour.run(&["stock"]).code(1).says("is no ordinary file");
    assert_eq!(
        fs::read_to_string(harbour.path("file")).unwrap(),
        "in the way"
    );
}

#[test]
fn export_does_not_write_over_the_stock_or_into_nothing() {
    let harbour = posted();
    let before = fs::read(harbour.stock_file()).unwrap();
    for name in [
        "home/stock.json",
        "home/../home/stock.json",
        "home/stock.json.last",
        "home/stock.json.lock",
    ] {
        harbour
            .run(&["stock", "export", "--out", name])
            .code(2)
            .says("belongs to the stock itself");
    }
    harbour
        .run(&["stock", "export", "--out", "nowhere/stock.csv"])
        .code(1)
        .says("cannot write nowhere/stock.csv");
    assert_eq!(fs::read(harbour.stock_file()).unwrap(), before);
}

#[cfg(unix)]
#[test]
fn links_and_permissions_stay() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let harbour = Harbour::new();
    fs::create_dir_all(harbour.path("shared")).unwrap();
    fs::create_dir_all(harbour.home()).unwrap();
    symlink("../shared/club.json", harbour.stock_file()).unwrap();
    let post = |name: &str| {
        let sheet = harbour.checked(name, Some("cup 3"), &[ROSE]);
        harbour.run(&["post", &sheet, "--add"]).code(0);
    };
    post("one");
    let real = harbour.path("shared/club.json");
    let mode = |path: &std::path::Path| fs::metadata(path).unwrap().permissions().mode() & 0o7777;
    // What this user's mask leaves of 666 on any new file.
    fs::write(harbour.path("usual"), "").unwrap();
    assert_eq!(mode(&real), mode(&harbour.path("usual")));
    for wanted in [0o600, 0o664] {
        fs::set_permissions(&real, PermissionsExt::from_mode(wanted)).unwrap();
        post(&format!("mode {wanted:o}"));
        assert_eq!(mode(&real), wanted);
        assert_eq!(mode(&harbour.path("shared/club.json.last")), wanted);
    }
    assert!(
        fs::symlink_metadata(harbour.stock_file())
            .unwrap()
            .is_symlink()
    );
    assert_eq!(sound(&real).history.len(), 3);
    assert_eq!(
        names(&harbour),
        BTreeSet::from(["stock.json".to_owned()]),
        "all else lies beside the file itself"
    );

    fs::set_permissions(&real, PermissionsExt::from_mode(0o444)).unwrap();
    let sheet = harbour.checked("more", Some("cup 3"), &[ROSE]);
    harbour
        .run(&["post", &sheet, "--add"])
        .code(1)
        .says("is write-protected");
    assert_eq!(sound(&real).history.len(), 3);

    fs::remove_file(harbour.stock_file()).unwrap();
    symlink("stock.json", harbour.stock_file()).unwrap();
    harbour.run(&["stock"]).code(1).says("go round in a circle");
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let harbour = posted();
    let mut child = Command::new(PROGRAM)
        .args(["stock", "--home"])
        .arg(harbour.home())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!(
        output.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
}

#[test]
fn the_next_writer_sweeps_what_a_killed_one_left_and_nothing_else() {
    let harbour = posted();
    for name in [
        ".stock.json.k1LlEd.tmp",
        ".stock.json.last.k1LlEd.tmp",
        "notes.tmp",
        ".stock.json.mine",
    ] {
        fs::write(harbour.home().join(name), "half").unwrap();
    }
    let sheet = harbour.checked("new", Some("cup 4"), &[ROSE]);
    harbour.run(&["post", &sheet]).code(0);
    let left = names(&harbour);
    assert!(
        left.contains("notes.tmp") && left.contains(".stock.json.mine"),
        "{left:?}"
    );
    assert_eq!(left.len(), 5, "{left:?}");
}

#[test]
fn a_lock_that_is_held_is_waited_for() {
    let harbour = posted();
    let lock = fs::File::open(harbour.home().join("stock.json.lock")).unwrap();
    lock.lock().unwrap();
    let sheet = harbour.checked("new", Some("cup 4"), &[ROSE]);
    thread::scope(|scope| {
        let waiting = scope.spawn(|| harbour.run(&["post", &sheet]));
        thread::sleep(Duration::from_millis(2500));
        assert!(!waiting.is_finished());
        assert_eq!(harbour.stock().history.len(), 2);
        // Reading waits for nobody.
        harbour.run(&["stock"]).code(0);
        lock.unlock().unwrap();
        waiting
            .join()
            .unwrap()
            .code(0)
            .says("waiting for another cuptally");
    });
    assert_eq!(harbour.stock().history.len(), 3);
}
