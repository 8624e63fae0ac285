//! Commands and options that the documents speak of exist, and none is kept from the reader.

use crate::harbour::Harbour;
use crate::text::{documents, read};
use std::collections::BTreeMap;

/// Ways in which the documents start the program.
const STARTS: [&str; 2] = ["cuptally ", "cargo run --release -- "];

/// `--help` of each command, asked for once.
struct Program {
    harbour: Harbour,
    asked: BTreeMap<String, String>,
}

impl Program {
    fn new() -> Self {
        Self {
            harbour: Harbour::new(),
            asked: BTreeMap::new(),
        }
    }

    fn help(&mut self, path: &[&str]) -> String {
        let key = path.join(" ");
        if let Some(text) = self.asked.get(&key) {
            return text.clone();
        }
        let ended = self.harbour.run(&[path, &["--help"]].concat()).code(0);
        self.asked.insert(key, ended.out.clone());
        ended.out
    }

    fn subcommands(&mut self, path: &[&str]) -> Vec<String> {
        let help = self.help(path);
        let listed = help.split("Commands:\n").nth(1).unwrap_or("");
        let lines = listed.lines().take_while(|line| !line.trim().is_empty());
        lines
            .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
            .filter_map(|line| line.split_whitespace().next())
            .filter(|name| *name != "help")
            .map(str::to_owned)
            .collect()
    }

    /// What is wrong with a call as a document writes it, without the program's name.
    fn fault(&mut self, call: &str) -> Option<String> {
        let words: Vec<&str> = call
            .split_whitespace()
            .take_while(|word| !["#", "|", ">", "&&"].contains(word))
            .collect();
        let mut path: Vec<&str> = Vec::new();
        let mut subcommands = self.subcommands(&path);
        for word in &words {
            if let Some(option) = option(word) {
                if !self.has(&path, option) {
                    return Some(format!(
                        "`{call}`: no {option} in `{} --help`",
                        path.join(" ")
                    ));
                }
            } else if subcommands.iter().any(|name| name == word) {
                path.push(word);
                subcommands = self.subcommands(&path);
            } else if path.is_empty() && !self.follows_a_value_option(&words, word) {
                return Some(format!("`{call}`: there is no command {word}"));
            }
        }
        None
    }

    /// Whether the option stands in the help, not merely as the beginning of a longer one.
    fn has(&mut self, path: &[&str], option: &str) -> bool {
        let help = self.help(path);
        help.match_indices(option).any(|(at, _)| {
            let after = help[at + option.len()..].chars().next();
            after.is_none_or(|c| !c.is_alphanumeric() && c != '-')
        })
    }

    /// `--home DIR` may stand before the command; its value is no command.
    fn follows_a_value_option(&self, words: &[&str], word: &str) -> bool {
        words.windows(2).any(|pair| pair == ["--home", word])
    }
}

/// `--name` or `-n`, also of `--name=value` and `[--name]`.
fn option(word: &str) -> Option<&str> {
    let word = word.trim_matches(|c| "[](),.;:".contains(c));
    let name = word.split('=').next()?;
    let is_option = name.starts_with("--") && name.len() > 2
        || name.len() == 2 && name.starts_with('-') && name != "--";
    is_option.then_some(name)
}

/// Every call of the program in a document's code, block or span.
fn calls(text: &str) -> Vec<String> {
    let mut fenced = false;
    let mut found = Vec::new();
    let mut take = |code: &str| {
        let code = code.trim().trim_start_matches("$ ");
        if let Some(call) = STARTS.iter().find_map(|start| code.strip_prefix(start)) {
            found.push(call.to_owned());
        }
    };
    for line in text.lines() {
        if line.trim_start().starts_with("```") {
            fenced = !fenced;
        } else if fenced {
            take(line);
        } else {
            line.split('`').skip(1).step_by(2).for_each(&mut take);
        }
    }
    found
}

#[test]
fn every_call_in_the_documents_can_be_made() {
    let mut program = Program::new();
    let mut faults = Vec::new();
    let mut count = 0;
    for file in documents() {
        for call in calls(&file.text) {
            count += 1;
            let fault = program.fault(&call);
            faults.extend(fault.map(|fault| format!("{}: {fault}", file.name)));
        }
    }
    assert!(count > 10, "only {count} calls were found");
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_documents_speak_of_every_command() {
    let shown: Vec<String> = documents()
        .iter()
        .flat_map(|file| calls(&file.text))
        .collect();
    for command in Program::new().subcommands(&[]) {
        let spoken_of = |call: &String| call.split_whitespace().any(|word| word == command);
        assert!(
            shown.iter().any(spoken_of),
            "no document shows `cuptally {command}`"
        );
    }
}

/// README is read in one sitting; what is longer has a page of its own.
#[test]
fn the_readme_is_short() {
    let lines = read("README.md").lines().count();
    assert!(lines <= 150, "README.md has {lines} lines");
}

/// The two commands that the README begins with, which continuous integration runs too.
#[test]
fn continuous_integration_runs_what_the_readme_promises() {
    let readme = read("README.md");
    let first = readme.split("```").nth(1).unwrap();
    let commands: Vec<&str> = first
        .lines()
        .skip(1)
        .filter(|line| !line.is_empty())
        .collect();
    assert_eq!(commands.len(), 2, "{commands:?}");
    let script = read(".ci/run");
    for command in commands {
        assert!(script.contains(command), ".ci/run does not run '{command}'");
    }
}

#[test]
fn the_call_check_finds_what_is_planted() {
    let text =
        "Say `cuptally stock undo 3` or `stock.json`.\n```\n$ cuptally card --out x\ntalk\n```\n";
    assert_eq!(calls(text), ["stock undo 3", "card --out x"]);
    let mut program = Program::new();
    for good in [
        "card --out here --paper letter",
        "--home club stock export --out stock.csv",
        "post quay.sheet.json --place 'cup 3' --recount",
        "stock",
        "--version",
    ] {
        assert_eq!(program.fault(good), None);
    }
    for bad in [
        "sail",
        "card --colour",
        "stock --ou x",
        "stock export --by place",
        "card --pap a4",
    ] {
        assert!(program.fault(bad).is_some(), "{bad}");
    }
}
