//! What commands show on a terminal of 80 by 24, and what they do not show where there is none.
#![cfg(unix)]

use crate::support::need_tool;
use std::path::PathBuf;
use std::process::{Command, Output};
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_cuptally");
const POURED: &str = "poured-mixed-d50-90";
const SORTED: &str = "plates-sorted-d50-42";

fn sample(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(format!("sample-photos/tune/{name}.jpg"))
}

/// Runs the program in a home folder with these photos in it.
fn run(home: &TempDir, args: &[&str]) -> Output {
    for name in [POURED, SORTED] {
        let here = home.path().join(format!("{name}.jpg"));
        if !here.exists() {
            std::fs::copy(sample(name), here).unwrap();
        }
    }
    Command::new(PROGRAM)
        .current_dir(home.path())
        .env_remove("CUPTALLY_HOME")
        .args(["--home", "."])
        .args(args)
        .output()
        .unwrap()
}

#[track_caller]
fn narrow(output: &Output) -> Vec<String> {
    let text = String::from_utf8(output.stdout.clone()).unwrap();
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "wider than 80 columns: {line}");
    }
    text.lines().map(str::to_owned).collect()
}

#[test]
fn an_untaught_tray_takes_ten_lines_at_most_and_several_photos_a_total() {
    let home = TempDir::new().unwrap();
    let (poured, sorted) = (format!("{POURED}.jpg"), format!("{SORTED}.jpg"));
    let lines = narrow(&run(&home, &["count", &poured, &sorted, "--form", "any"]));
    let of = |name: &str| lines.iter().position(|line| line.starts_with(name));
    let (first, second) = (of(&poured).unwrap(), of(&sorted).unwrap());
    let total = of("all 2 photos: ").expect("a total at the end");
    assert_eq!(total, lines.len() - 1);
    for part in [&lines[first..second], &lines[second..total]] {
        // Notes and all.
        assert!((4..=10).contains(&part.len()), "{part:#?}");
        for words in ["  sheet: ", "  picture: "] {
            assert!(
                part.iter().any(|line| line.starts_with(words)),
                "{words}: {part:#?}"
            );
        }
    }
    let note = lines[first..second]
        .iter()
        .filter(|line| line.starts_with("  note: "));
    assert_eq!(note.count(), 1, "the note on undersides: {lines:#?}");
    let why = "  doubtful mainly as: ";
    assert!(
        lines[first..second]
            .iter()
            .any(|line| line.starts_with(why))
    );
    let pieces = |line: &str| -> u32 {
        let (_, told) = line.split_once(": ").unwrap();
        told.split(' ').next().unwrap().parse().unwrap()
    };
    assert_eq!(
        pieces(&lines[total]),
        pieces(&lines[first]) + pieces(&lines[second])
    );
}

#[test]
fn all_is_told_where_it_is_asked_for_but_no_rows_of_almost_nothing() {
    let home = TempDir::new().unwrap();
    let poured = format!("{POURED}.jpg");
    // Taught, so that some pieces are of no colour that is known and their kinds hardly sure.
    let teach = sample("teach-daylight-24");
    let truth = std::fs::read_to_string(teach.with_extension("json")).unwrap();
    let truth: serde_json::Value = serde_json::from_str(&truth).unwrap();
    let names = truth["names"].as_array().unwrap().iter();
    let names: Vec<&str> = names.map(|name| name.as_str().unwrap()).collect();
    let (teach, names) = (teach.to_str().unwrap(), names.join(","));
    narrow(&run(
        &home,
        &["teach", teach, "--names", &names, "--form", "plate"],
    ));
    let lines = narrow(&run(&home, &["count", &poured, "--all"]));
    let looks = lines
        .iter()
        .filter(|line| line.starts_with("  look at piece "));
    assert!(looks.count() > 12);
    let rows = lines.iter().filter(|line| line.ends_with(" %"));
    let mut seen = 0;
    for row in rows {
        let sure: u32 = row
            .split_whitespace()
            .rev()
            .nth(1)
            .unwrap()
            .parse()
            .unwrap();
        assert!(sure >= 10 || !row.contains("(0-"), "{row}");
        seen += 1;
    }
    assert!(seen > 20, "{lines:#?}");
}

#[test]
fn a_light_and_colours_are_told_in_words_and_in_figures_where_asked_for() {
    let home = TempDir::new().unwrap();
    let photo = format!("{SORTED}.jpg");
    let told = narrow(&run(&home, &["calibrate", &photo, "--light", "lamp"])).join("\n");
    assert!(told.contains("light: "), "{told}");
    let figures = narrow(&run(&home, &["calibrate", &photo, "--light", "lamp", "-v"])).join("\n");
    for figure in ["dE00", "L45h000", "L* a* b*"] {
        assert!(!told.contains(figure), "{figure}: {told}");
        assert!(figures.contains(figure), "{figure}: {figures}");
    }
}

#[test]
fn a_folder_is_all_its_photos_without_our_own_pictures() {
    let home = TempDir::new().unwrap();
    let tray = home.path().join("tray");
    std::fs::create_dir(&tray).unwrap();
    for name in ["b.jpg", "a.JPG", "c.marked.jpg"] {
        std::fs::copy(sample("empty-tray-0"), tray.join(name)).unwrap();
    }
    std::fs::write(tray.join("notes.txt"), "none").unwrap();
    let output = run(&home, &["count", "tray", "--json"]);
    let sheets: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let files = sheets
        .as_array()
        .unwrap()
        .iter()
        .map(|sheet| sheet["photo"]["file"].as_str());
    assert_eq!(files.collect::<Vec<_>>(), [Some("a.JPG"), Some("b.jpg")]);
    std::fs::create_dir(home.path().join("empty")).unwrap();
    let output = run(&home, &["count", "empty"]);
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(
        said.contains("there is no photo in the folder empty"),
        "{said}"
    );
}

/// What is written to a terminal of 80 by 24 while a command runs.
fn watched(home: &TempDir, command: &str, variables: &[(&str, &str)]) -> String {
    let output = Command::new("script")
        .current_dir(home.path())
        .env_remove("CUPTALLY_HOME")
        .env_remove("NO_COLOR")
        .env("TERM", "xterm-256color")
        .envs(variables.iter().copied())
        .args([
            "-qec",
            &format!("stty cols 80 rows 24; {PROGRAM} --home . {command}"),
            "/dev/null",
        ])
        .output()
        .unwrap();
    String::from_utf8_lossy(&output.stdout).into_owned()
}

#[test]
fn every_stage_of_a_single_photo_gives_a_sign_of_life_on_a_terminal_only() {
    if !need_tool("script", "bsdutils") {
        return;
    }
    let home = TempDir::new().unwrap();
    let photo = format!("{SORTED}.jpg");
    let silent = run(&home, &["count", &photo]);
    let silent = String::from_utf8(silent.stderr).unwrap();
    for line in silent.lines() {
        assert!(line.starts_with("cuptally: "), "{line}");
    }
    assert!(
        !silent.contains('\r') && !silent.contains('\u{1b}'),
        "{silent}"
    );
    let stages = [
        "opening the photo",
        "finding the card",
        "reading card and tray",
        "finding pieces",
        "reading colours",
        "drawing the picture",
    ];
    let seen = watched(&home, &format!("count {photo}"), &[]);
    let mut from = 0;
    for stage in stages {
        let at = seen[from..].find(stage);
        from += at.unwrap_or_else(|| panic!("no sign of '{stage}' in its turn: {seen:?}"));
    }
    // The longest stage: the sign moves within it.
    let begin = seen.find("finding pieces").unwrap();
    let end = seen.find("reading colours").unwrap();
    let signs: std::collections::BTreeSet<char> = seen[begin..end]
        .chars()
        .filter(|c| ('\u{2800}'..='\u{28ff}').contains(c))
        .collect();
    assert!(signs.len() > 3, "{signs:?}");
    for command in [
        format!("calibrate {photo} --light lamp"),
        format!("teach {photo} --names one --form plate"),
    ] {
        let seen = watched(&home, &command, &[("NO_COLOR", "1")]);
        assert!(seen.contains("finding the card"), "{seen:?}");
        assert!(!coloured(&seen), "{seen:?}");
    }
    assert!(coloured("a\u{1b}[33mb"));
}

/// Whether there is a sequence that sets type: `ESC [ numbers m`.
fn coloured(text: &str) -> bool {
    text.split("\u{1b}[").skip(1).any(|after| {
        let end = after.find(|c: char| !c.is_ascii_digit() && c != ';');
        end.is_some_and(|at| after[at..].starts_with('m'))
    })
}
