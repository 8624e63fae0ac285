//! No test touches the home of whoever runs it.

use crate::text::texts;

/// How tests and benches start the program.
const STARTS: [&str; 5] = [
    "Command::new(PROGRAM)",
    "arg(PROGRAM)",
    "cargo_bin(\"cuptally\")",
    "CARGO_BIN_EXE_cuptally",
    "symlink(PROGRAM",
];

/// How they say which home it has.
const SAYS: [&str; 3] = ["\"CUPTALLY_HOME\", ", "\"--home\"", "\"HOME\", "];

/// Whether code starts the program and leaves its home to chance.
fn is_careless(code: &str) -> bool {
    let has = |words: &[&str]| words.iter().any(|word| code.contains(word));
    has(&STARTS) && !has(&SAYS)
}

#[test]
fn whatever_starts_the_program_says_which_home_it_has() {
    let mut starts = 0;
    for file in texts("tests").into_iter().chain(texts("benches")) {
        // This one only speaks of it.
        if !file.name.ends_with(".rs") || file.name == "tests/docs/homes.rs" {
            continue;
        }
        starts += usize::from(STARTS.iter().any(|start| file.text.contains(start)));
        assert!(
            !is_careless(&file.text),
            "{} starts the program in the user's own home; set CUPTALLY_HOME or say --home",
            file.name
        );
    }
    assert!(starts > 15, "{starts}");
}

#[test]
fn the_home_check_finds_what_is_planted() {
    assert!(is_careless("Command::new(PROGRAM).arg(\"stock\")"));
    assert!(is_careless(
        "Command::new(PROGRAM).env_remove(\"CUPTALLY_HOME\")"
    ));
    assert!(!is_careless(
        "Command::new(PROGRAM).env(\"CUPTALLY_HOME\", home)"
    ));
    assert!(!is_careless("Command::cargo_bin(\"x\")"));
}
