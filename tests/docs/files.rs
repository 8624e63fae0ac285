//! What the documents say about files and exit codes, and what no file may hold.

use crate::harbour::Harbour;
use crate::text::{Text, read, root, texts};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;

const CONVENTIONS: &str = "docs/conventions.md";

/// The lines of the table under a heading, each as its cells.
fn table(document: &str, heading: &str) -> Vec<Vec<String>> {
    let text = read(document);
    let part = text.split(&format!("\n{heading}\n")).nth(1);
    let part = part.unwrap_or_else(|| panic!("{document} has no heading '{heading}'"));
    let rows = part
        .lines()
        .skip_while(|line| !line.starts_with('|'))
        .take_while(|line| line.starts_with('|'))
        .skip(2);
    let cells = |line: &str| {
        let line = line.trim_matches('|');
        line.split('|')
            .map(|cell| cell.trim().replace('`', ""))
            .collect()
    };
    rows.map(cells).collect()
}

/// Each row's code is what the program ends with in such a case.
#[test]
fn exit_codes_are_those_of_the_table() {
    let told: Vec<String> = table(CONVENTIONS, "## Exit codes")
        .into_iter()
        .map(|row| row[0].clone())
        .collect();
    assert_eq!(told, ["0", "1", "2", "3"]);
    let harbour = Harbour::new();
    let row = ("plate", "2x4", "rose", 7, 7, 7);
    let checked = harbour.checked("quay", Some("cup 3"), &[row]);
    let pending = harbour.sheet("slip", Some("cup 4"), &[row]);
    harbour.run(&["post", &checked]).code(0);
    harbour.run(&["post", "no-such.sheet.json"]).code(1);
    harbour.run(&["sail"]).code(2);
    harbour.run(&["card", "--paper", "a9"]).code(2);
    harbour.run(&["post", &pending]).code(3);
    harbour.run(&["stock"]).code(3);
}

/// Every schema is valid itself, is told of, and takes what the program writes today.
#[test]
fn schemas_take_what_the_program_writes() {
    let harbour = Harbour::new();
    let row = ("brick", "2x4", "basalt", 41, 40, 42);
    let sheet = harbour.checked("quay", Some("cup 3"), &[row]);
    harbour.run(&["post", &sheet]).code(0);
    let fresh = [
        ("sheet-v1.schema.json", harbour.path(&sheet)),
        ("stock-v3.schema.json", harbour.stock_file()),
    ];
    let conventions = read(CONVENTIONS);
    let mut checked = BTreeSet::new();
    for file in texts("docs") {
        let Some(name) = file.name.strip_prefix("docs/") else {
            continue;
        };
        if !name.ends_with(".schema.json") {
            continue;
        }
        assert!(
            conventions.contains(&format!("({name})")),
            "{CONVENTIONS} does not link to {name}"
        );
        let schema: Value = serde_json::from_str(&file.text).unwrap();
        jsonschema::draft202012::meta::validate(&schema).unwrap();
        let validator = jsonschema::validator_for(&schema).unwrap();
        // Of a schema that is not listed above, at least it refuses what is nothing.
        assert!(
            !validator.is_valid(&serde_json::json!({})),
            "{name} takes anything"
        );
        if let Some((_, path)) = fresh.iter().find(|(schema, _)| *schema == name) {
            let file: Value = serde_json::from_slice(&fs::read(path).unwrap()).unwrap();
            validator
                .validate(&file)
                .unwrap_or_else(|error| panic!("{name}: {error}"));
            checked.insert(name.to_owned());
        }
    }
    assert_eq!(checked.len(), fresh.len(), "{checked:?}");
}

/// Words that mark what is not finished, written apart so that this file has none.
const UNFINISHED: [&str; 5] = [
    concat!("TO", "DO"),
    concat!("FIX", "ME"),
    concat!("X", "XX"),
    concat!("to be ", "written)"),
    concat!("FILL", " IN"),
];

/// Beginnings of paths that exist on one machine only.
const MACHINE: [&str; 6] = [
    concat!("/ro", "ot/"),
    concat!("/wo", "rk/"),
    concat!("/ho", "me/"),
    concat!("/Us", "ers/"),
    concat!("C:", "\\"),
    concat!("/tm", "p/"),
];

/// The first place where one of the words stands, not as part of a longer word or path.
fn first_of<'a>(text: &str, words: &[&'a str]) -> Option<(usize, &'a str)> {
    text.lines().enumerate().find_map(|(at, line)| {
        let found = words.iter().find(|word| {
            line.match_indices(**word).any(|(start, _)| {
                let before = line[..start].chars().next_back();
                !before.is_some_and(|c| c.is_alphanumeric() || "_-.".contains(c))
            })
        });
        found.map(|word| (at + 1, *word))
    })
}

#[test]
fn no_file_is_unfinished_or_names_a_machine() {
    let mut faults = Vec::new();
    for file in texts("") {
        for words in [&UNFINISHED[..], &MACHINE[..]] {
            if let Some((line, word)) = first_of(&file.text, words) {
                faults.push(format!("{}:{line} has '{word}'", file.name));
            }
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_word_check_finds_what_is_planted() {
    let planted = format!("one\n// {} later", UNFINISHED[0]);
    assert_eq!(first_of(&planted, &UNFINISHED), Some((2, UNFINISHED[0])));
    let path = format!("see {}me/notes", MACHINE[0]);
    assert_eq!(first_of(&path, &MACHINE), Some((1, MACHINE[0])));
    assert_eq!(first_of("her.home/cup, src/workshop", &MACHINE), None);
}

/// The licences that must travel with what is built in, and the notes that say so.
#[test]
fn what_is_bundled_has_its_licence() {
    for row in table("docs/licences.md", "## In the program") {
        let path = row[0].as_str();
        assert!(
            root().join(path).exists(),
            "docs/licences.md tells of {path}, which is not there"
        );
    }
    let told = read("docs/licences.md");
    let ours = |file: &&Text| {
        ![".rs", ".md", ".sh"]
            .iter()
            .any(|end| file.name.ends_with(end))
    };
    let bundled = [texts("src"), texts("calibration")].concat();
    for file in bundled.iter().filter(ours) {
        let folders = file
            .name
            .match_indices('/')
            .map(|(at, _)| &file.name[..=at]);
        let of_a_folder = folders
            .skip(1)
            .any(|folder| told.contains(&format!("`{folder}`")));
        let known = told.contains(&file.name) || of_a_folder;
        assert!(known, "docs/licences.md does not tell of {}", file.name);
    }
}
