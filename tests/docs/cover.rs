//! docs/cover.md: its outputs are the program's, and its sums come out.

use crate::harbour::Harbour;
use crate::text::{read, root};
use serde_json::Value;
use std::fs;

const DOCUMENT: &str = "docs/cover.md";
const EXAMPLES: &str = "docs/examples/harbour";

fn harbour() -> Harbour {
    let harbour = Harbour::new();
    for file in fs::read_dir(root().join(EXAMPLES)).unwrap() {
        let file = file.unwrap();
        fs::copy(
            file.path(),
            harbour.path(file.file_name().to_str().unwrap()),
        )
        .unwrap();
    }
    harbour.run(&["stock", "import", "stock.csv"]).code(0);
    harbour
}

/// The document's fenced blocks, with what stands behind the fence.
fn blocks() -> Vec<(String, String)> {
    let text = read(DOCUMENT);
    let parts = text.split("```").skip(1).step_by(2);
    let split = |part: &str| {
        let (kind, body) = part.split_once('\n').unwrap();
        (kind.to_owned(), body.to_owned())
    };
    parts.map(split).collect()
}

/// `[...]` stands for lines that are left out.
#[test]
fn outputs_are_those_of_the_program() {
    let harbour = harbour();
    let mut shown = 0;
    for (_, body) in blocks() {
        let Some((call, told)) = body
            .strip_prefix("$ cuptally ")
            .and_then(|b| b.split_once('\n'))
        else {
            continue;
        };
        let ended = harbour.run(&call.split_whitespace().collect::<Vec<_>>());
        let out = ended.out.trim_end();
        match told.trim_end().strip_prefix("[...]\n") {
            Some(end) => assert!(out.ends_with(end), "{call} does not end so:\n{out}"),
            None => assert_eq!(out, told.trim_end(), "{call}"),
        }
        shown += 1;
    }
    assert_eq!(shown, 3);
}

/// The examples that the document shows are the files.
#[test]
fn examples_are_the_files() {
    let bodies: Vec<String> = blocks().into_iter().map(|(_, body)| body).collect();
    for name in ["quay.plan.json", "jetty.plan.csv", "offers.json"] {
        let file = read(&format!("{EXAMPLES}/{name}"));
        assert!(
            bodies.contains(&file),
            "{DOCUMENT} does not show {name} as it is"
        );
    }
}

/// `52 - 44 = 8   missing: /missing/0/pieces`: the sum, and what the program says.
fn sum(line: &str) -> (u64, u64, Option<&str>) {
    let words: Vec<&str> = line.split_whitespace().collect();
    let number = |at: usize| words[at].parse::<u64>().unwrap();
    let (a, b) = (number(0), number(2));
    let result = match words[1] {
        "+" => a + b,
        "-" => a - b,
        "x" => a * b,
        "/" => a / b,
        "min" => a.min(b),
        other => panic!("{other}"),
    };
    assert_eq!(words[3], "=", "{line}");
    let pointer = words
        .last()
        .filter(|word| word.starts_with('/') && word.len() > 1);
    (result, number(4), pointer.copied())
}

#[test]
fn sums_come_out_and_are_what_the_program_says() {
    let report = harbour().run(&["cover", "quay.plan.json", "--json"]).json();
    let blocks = blocks();
    let (_, lines) = blocks
        .iter()
        .find(|(kind, _)| kind == "arithmetic")
        .unwrap();
    let mut compared = 0;
    for line in lines.lines() {
        let (result, said, pointer) = sum(line);
        assert_eq!(result, said, "{line}");
        if let Some(pointer) = pointer {
            let found = report.pointer(pointer).and_then(Value::as_u64);
            assert_eq!(found, Some(said), "{line}");
            compared += 1;
        }
    }
    assert!(compared >= 12, "only {compared} sums were compared");
}

#[test]
fn a_wrong_sum_is_found() {
    let (result, said, pointer) = sum("52 - 44 = 9   missing: /missing/0/pieces");
    assert_ne!(result, said);
    assert_eq!(pointer, Some("/missing/0/pieces"));
}
