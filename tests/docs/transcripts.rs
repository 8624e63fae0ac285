//! What the documents show of a terminal is what the program prints.
//!
//! A block fenced as `console` holds commands after `$ ` and below each what it prints. All blocks of a
//! document run in order in one fresh folder that has the sample photos and `docs` in it. A line `[...]`
//! stands for any number of lines, `[..]` within a line for any text. `cd` holds for what follows. A command
//! that serves a page until it is stopped is stopped as soon as it says where the page is.

use crate::harbour::PROGRAM;
use crate::text::{documents, read, root};
use std::io::{BufRead, BufReader};
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::{Command, Stdio};

/// A command as a document shows it.
#[derive(Debug, PartialEq)]
struct Step {
    command: String,
    shown: Vec<String>,
}

/// The commands of a document's `console` blocks, in order.
fn steps(text: &str) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    let mut inside = false;
    for line in text.lines() {
        if line.starts_with("```") {
            inside = line == "```console";
        } else if !inside {
            continue;
        } else if let Some(command) = line.strip_prefix("$ ") {
            steps.push(Step {
                command: command.to_owned(),
                shown: Vec::new(),
            });
        } else if let Some(step) = steps.last_mut() {
            step.shown.push(line.trim_end().to_owned());
        }
    }
    steps
}

/// Whether one printed line is as shown.
fn alike(shown: &str, printed: &str) -> bool {
    let mut parts = shown.split("[..]");
    let first = parts.next().unwrap_or("");
    let Some(mut rest) = printed.strip_prefix(first) else {
        return false;
    };
    let parts: Vec<&str> = parts.collect();
    let Some((last, middle)) = parts.split_last() else {
        return rest.is_empty();
    };
    for part in middle {
        match rest.find(part) {
            Some(at) => rest = &rest[at + part.len()..],
            None => return false,
        }
    }
    rest.ends_with(last)
}

/// Whether all that was printed is as shown.
fn matches(shown: &[String], printed: &[String]) -> bool {
    match shown.split_first() {
        None => printed.is_empty(),
        Some((line, rest)) if line == "[...]" => {
            (0..=printed.len()).any(|skipped| matches(rest, &printed[skipped..]))
        }
        Some((line, rest)) => printed
            .split_first()
            .is_some_and(|(first, others)| alike(line, first) && matches(rest, others)),
    }
}

/// Runs a command in `folder` and gives all that it prints, in the order of its printing. `fresh` has the
/// program and is the user's home.
fn printed(step: &Step, fresh: &Path, folder: &Path) -> Vec<String> {
    let path = std::env::var("PATH").unwrap_or_default();
    let mut child = Command::new("sh")
        .args(["-c", &format!("exec 2>&1; {}", step.command)])
        .current_dir(folder)
        .env_clear()
        .env("PATH", format!("{}:{path}", fresh.join("bin").display()))
        .env("HOME", fresh.join("me"))
        .env("USER", "mara")
        .env("TZ", "UTC")
        .env("CUPTALLY_NOW", "2026-05-02T10:12:00Z")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let serves = step.command.starts_with("cuptally review");
    let mut lines = Vec::new();
    for line in BufReader::new(child.stdout.take().unwrap()).lines() {
        lines.push(line.unwrap().trim_end().to_owned());
        if serves
            && lines
                .last()
                .is_some_and(|line| line.contains("http://127.0.0.1"))
        {
            child.kill().unwrap();
            break;
        }
    }
    child.wait().unwrap();
    lines
}

/// Runs a document's commands and tells each that prints something else than is shown.
fn faults(document: &str) -> Vec<String> {
    let fresh = tempfile::tempdir().unwrap();
    let mut folder = fresh.path().to_owned();
    std::fs::create_dir(folder.join("bin")).unwrap();
    std::fs::create_dir(folder.join("me")).unwrap();
    symlink(PROGRAM, folder.join("bin/cuptally")).unwrap();
    for shown in ["sample-photos", "docs", "calibration"] {
        symlink(root().join(shown), folder.join(shown)).unwrap();
    }
    let mut faults = Vec::new();
    for step in steps(&read(document)) {
        if let Some(to) = step.command.strip_prefix("cd ") {
            folder = folder.join(to);
            continue;
        }
        let printed = printed(&step, fresh.path(), &folder);
        if !step.shown.is_empty() && !matches(&step.shown, &printed) {
            faults.push(format!(
                "{document}: `{}` prints\n{}\nand is shown with\n{}\n",
                step.command,
                printed.join("\n"),
                step.shown.join("\n")
            ));
        }
    }
    faults
}

#[test]
#[ignore = "counts photos for a minute"]
fn what_documents_show_of_a_terminal_is_what_is_printed() {
    let shown: Vec<String> = documents()
        .into_iter()
        .filter(|file| !steps(&file.text).is_empty())
        .map(|file| file.name)
        .collect();
    assert!(shown.iter().any(|name| name == "README.md"), "{shown:?}");
    let faults: Vec<String> = shown.iter().flat_map(|name| faults(name)).collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_check_of_what_is_shown_finds_what_is_planted() {
    let text = "```console\n$ cuptally a\none\n$ cuptally b\n```\nx\n```\n$ c\n```\n";
    let found = steps(text);
    assert_eq!(found.len(), 2);
    assert_eq!(found[0].shown, ["one"]);
    assert!(alike("a [..] c [..]", "a bb c d"));
    assert!(alike("as it is", "as it is"));
    assert!(!alike("as it is", "as it is not"));
    assert!(!alike("a [..] c", "a bb d"));
    let lines = |text: &str| -> Vec<String> { text.lines().map(str::to_owned).collect() };
    assert!(matches(&lines("a\n[...]\nd"), &lines("a\nb\nc\nd")));
    assert!(matches(&lines("[...]"), &lines("")));
    assert!(!matches(&lines("a\n[...]\nd"), &lines("a\nb")));
    assert!(!matches(&lines("a"), &lines("a\nb")));
}
