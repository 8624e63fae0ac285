//! What a command says of what it did: the change stands though it cannot be told, JSON for
//! programs, the clock on the wall for people.

use crate::harbour::{Ended, Harbour, Row};
use serde_json::Value;
use std::fs;

const ROSE: Row = ("plate", "2x4", "rose", 7, 7, 7);

/// Runs it with a full disk for its standard output.
#[cfg(target_os = "linux")]
fn untold(harbour: &Harbour, args: &[&str]) -> Ended {
    let mut command = std::process::Command::new(crate::harbour::PROGRAM);
    let made = harbour.command(args);
    command.args(args).current_dir(harbour.path("")).env_clear();
    for (name, value) in made.get_envs() {
        command.env(name, value.unwrap());
    }
    let full = fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let output = command.stdout(full).output().unwrap();
    Ended {
        code: output.status.code().unwrap(),
        out: String::new(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Reported as failed, a change is made a second time by whoever tries again.
#[test]
#[cfg(target_os = "linux")]
fn a_change_that_cannot_be_told_is_said_to_stand() {
    let harbour = Harbour::new();
    let sheet = harbour.sheet("quay", Some("cup 3"), &[ROSE]);
    let csv = "place,form,size,colour,count\ncup 9,plate,2x4,rose,4\n";
    fs::write(harbour.path("more.csv"), csv).unwrap();
    let plan = "module,wanted,form,size,count,colours\nquay,1,plate,2x4,1,rose\n";
    fs::write(harbour.path("one.csv"), plan).unwrap();
    let calls: [&[&str]; 9] = [
        &["post", &sheet],
        &["stock", "confirm"],
        &["stock", "put", "20 plate 2x4 rose", "--place", "cup 1"],
        &["stock", "take", "2 plate 2x4 rose", "--from", "cup 1"],
        &[
            "stock",
            "move",
            "1 plate 2x4 rose",
            "--from",
            "cup 1",
            "--to",
            "cup 2",
        ],
        &["stock", "rename", "place", "cup 2", "drawer"],
        &["stock", "import", "more.csv"],
        &["stock", "undo"],
        &["cover", "one.csv", "--take"],
    ];
    for (args, entry) in calls.into_iter().zip(1..) {
        for json in [false, true] {
            let args = if json {
                [args, &["--json"]].concat()
            } else {
                args.to_vec()
            };
            let copy = fs::read(harbour.stock_file()).ok();
            let ended = untold(&harbour, &args).code(1);
            let says = format!("entry {entry} stands, so do not do it again");
            assert!(ended.err.contains(&says), "{args:?}: {ended:?}");
            assert!(ended.err.contains("cannot write the result"), "{ended:?}");
            assert!(!ended.err.contains("os error"), "{ended:?}");
            assert_eq!(harbour.stock().history.len(), entry, "{args:?}");
            // The other way of telling does the same from the same stock.
            if !json {
                match copy {
                    Some(bytes) => fs::write(harbour.stock_file(), bytes).unwrap(),
                    None => fs::remove_dir_all(harbour.home()).unwrap(),
                }
            }
        }
    }
    // Where nothing was done nothing stands.
    let ended = untold(&harbour, &["stock"]).code(1);
    assert!(!ended.err.contains("stands"), "{ended:?}");
}

#[test]
fn every_stock_command_speaks_json() {
    let harbour = Harbour::new();
    let sheet = harbour.checked("quay", Some("cup 3"), &[ROSE]);
    harbour.run(&["post", &sheet]).code(0);
    let json = |args: &[&str]| -> Value {
        let ended = harbour.run(&[args, &["--json"]].concat());
        assert!([0, 3].contains(&ended.code), "{args:?}: {ended:?}");
        ended.json()
    };
    let moved = json(&[
        "stock",
        "move",
        "1 plate 2x4 rose",
        "--from",
        "cup 3",
        "--to",
        "cup 2",
    ]);
    assert_eq!(
        (&moved["number"], &moved["what"]),
        (&2.into(), &"move".into())
    );
    assert_eq!(moved["changes"].as_array().unwrap().len(), 2);
    let renamed = json(&["stock", "rename", "colour", "rose", "hull-red"]);
    assert_eq!(renamed["renamed"]["to"], "hull-red");
    let undone = json(&["stock", "undo"]);
    assert_eq!(
        (&undone["undoes"], &undone["in_force"]),
        (&3.into(), &true.into())
    );
    let rows = json(&["stock", "export"]);
    assert_eq!(rows[0]["place"], "cup 2");
    assert_eq!(
        (&rows[0]["count"], &rows[0]["status"]),
        (&1.into(), &"checked".into())
    );
    let wrote = json(&["stock", "export", "--out", "t.csv"]);
    assert_eq!(wrote["wrote"], "t.csv");
    let imported = json(&["stock", "import", "t.csv", "--recount"]);
    assert_eq!(imported["from"], "t.csv");
    assert_eq!(
        json(&["stock", "check"])["differences"],
        Value::Array(Vec::new())
    );
    assert_eq!(
        json(&["stock", "check", "--keep", "history"])["put_right"],
        0
    );
    fs::write(harbour.stock_file(), "the tide took it").unwrap();
    let restored = json(&["stock", "restore"]);
    assert_eq!(restored["entries"], 4);
    assert!(restored["damaged"].as_str().unwrap().ends_with("damaged-1"));
}

#[test]
fn the_history_tells_the_time_of_the_clock_on_the_wall() {
    let harbour = Harbour::new();
    let sheet = harbour.checked("quay", Some("cup 3"), &[ROSE]);
    harbour.run(&["post", &sheet]).code(0);
    let shown = |zone: &str, args: &[&str]| {
        let output = harbour.command(args).env("TZ", zone).output().unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    // Pinned to 10:12 UTC; five hours east of it, and nine and a half west.
    for (zone, time) in [
        ("UTC0", "10:12"),
        ("<+05>-5", "15:12"),
        ("<-0930>9:30", "00:42"),
    ] {
        for args in [&["stock", "history"][..], &["stock", "history", "1"]] {
            let told = shown(zone, args);
            assert!(
                told.contains(&format!("2026-05-02 {time}")),
                "{zone}: {told}"
            );
            assert!(!told.contains("UTC"), "{told}");
        }
        // Files and programs have one time everywhere.
        let json = shown(zone, &["stock", "history", "--json"]);
        assert!(json.contains("2026-05-02T10:12:00Z"), "{json}");
    }
}

#[test]
fn one_entry_is_told_as_one() {
    let harbour = Harbour::new();
    let sheet = harbour.checked("quay", Some("cup 3"), &[ROSE]);
    harbour.run(&["post", &sheet]).code(0);
    let other = Harbour::new();
    let file = harbour.stock_file();
    other
        .run(&["stock", "merge", file.to_str().unwrap()])
        .code(0)
        .prints("with 1 entry that was not here");
}

/// A folder stands for the sheets in it.
#[test]
fn folders_are_posted() {
    let harbour = Harbour::new();
    fs::create_dir(harbour.path("sheets")).unwrap();
    harbour
        .run(&["post", "sheets"])
        .code(1)
        .says("there is no sheet in sheets");
    for (name, place) in [("quay", "cup 3"), ("mole", "cup 4")] {
        let file = harbour.checked(name, Some(place), &[ROSE]);
        fs::rename(harbour.path(&file), harbour.path("sheets").join(&file)).unwrap();
    }
    fs::write(harbour.path("sheets/notes.json"), "{}").unwrap();
    harbour
        .run(&["post", "sheets"])
        .code(0)
        .prints("2 sheets posted.")
        .prints("cup 3: 1 sheet; it now holds")
        .prints("cup 4: 1 sheet; it now holds");
    assert_eq!(harbour.checked_rows().len(), 2);
    // What is in the stock already is left out, and a new one beside it goes in.
    let file = harbour.checked("slip", Some("cup 5"), &[ROSE]);
    fs::rename(harbour.path(&file), harbour.path("sheets").join(&file)).unwrap();
    harbour
        .run(&["post", "sheets"])
        .code(0)
        .says("left out sheets/mole.sheet.json")
        .prints("posted to cup 5");
    assert_eq!(harbour.checked_rows().len(), 3);
    // Named one by one it is still an error.
    harbour
        .run(&["post", "sheets/mole.sheet.json"])
        .code(1)
        .says("was already posted, by entry 1");
}

/// The name is asked for once, on a terminal, and is kept.
#[test]
#[cfg(target_os = "linux")]
fn the_author_is_asked_once() {
    use std::io::Write;
    use std::process::Stdio;
    if !crate::support::need_tool("script", "bsdutils") {
        return;
    }
    let harbour = Harbour::new();
    // As if typed at a terminal, which `script` lends.
    let typed = |pieces: &str, keys: &str| {
        let call = format!(
            "'{}' stock put '{pieces}' --place 'cup 1'",
            crate::harbour::PROGRAM
        );
        let mut child = std::process::Command::new("script")
            .args(["-qec", &call, "/dev/null"])
            .current_dir(harbour.path(""))
            .env("CUPTALLY_HOME", harbour.home())
            .env("USER", "mara")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        child
            .stdin
            .take()
            .unwrap()
            .write_all(keys.as_bytes())
            .unwrap();
        let output = child.wait_with_output().unwrap();
        assert!(output.status.success(), "{output:?}");
        String::from_utf8(output.stdout).unwrap()
    };
    let first = typed("2 plate 2x4 rose", "Mara of the quay\n");
    assert!(
        first.contains("stand in the stock's history? [mara]"),
        "{first}"
    );
    let second = typed("3 plate 2x4 rose", "\n");
    assert!(!second.contains("history?"), "{second}");
    harbour
        .run(&["stock", "put", "1 plate 2x4 rose", "--place", "cup 1"])
        .code(0);
    for entry in harbour.stock().history {
        assert_eq!(entry.who.to_string(), "Mara of the quay");
    }
    // Where nobody can be asked it is the system's name, and nothing is kept.
    let other = Harbour::new();
    other
        .run(&["stock", "put", "1 plate 2x4 rose", "--place", "cup 1"])
        .code(0);
    assert_eq!(other.stock().history[0].who.to_string(), "mara");
    assert!(!other.home().join("author.txt").exists());
}
