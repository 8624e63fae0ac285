//! All that is printed goes through `src/cli/say.rs`, where text from elsewhere is made fit to show.

use crate::code::bare;
use crate::text::texts;

/// Ways to a terminal, and libraries that take one.
const WAYS: [&str; 11] = [
    "println!",
    "print!",
    "eprintln!",
    "eprint!",
    "dbg!",
    // With something in the brackets it says where another program prints.
    "stdout()",
    "stderr()",
    "comfy_table::",
    "indicatif::",
    "terminal_size::",
    // clap prints what it ends with.
    ".exit()",
];

/// The ways that code takes.
fn ways(code: &str) -> Vec<&'static str> {
    let code = bare(code);
    let is_word = |c: char| c.is_alphanumeric() || c == '_';
    let taken = |way: &&str| {
        let mut found = code.match_indices(*way);
        found.any(|(at, _)| !(way.starts_with(is_word) && code[..at].ends_with(is_word)))
    };
    WAYS.into_iter().filter(taken).collect()
}

#[test]
fn nothing_is_printed_around_the_one_place_for_it() {
    let mut seen = 0;
    for file in texts("src") {
        if !file.name.ends_with(".rs") {
            continue;
        }
        let is_the_place = file.name == "src/cli/say.rs" || file.name.starts_with("src/cli/say/");
        let ways = ways(&file.text);
        if is_the_place {
            seen += ways.len();
        } else {
            assert!(
                ways.is_empty(),
                "{} prints by itself with {ways:?}; use src/cli/say.rs",
                file.name
            );
        }
    }
    assert!(seen >= 4, "src/cli/say.rs prints no more?");
}

#[test]
fn the_printing_check_finds_what_is_planted() {
    assert_eq!(ways("fn f() { println!(\"x\"); }"), ["println!"]);
    assert_eq!(ways("eprint!(\"x\")"), ["eprint!"]);
    assert_eq!(ways("let mut out = io::stdout().lock();"), ["stdout()"]);
    assert_eq!(ways("use comfy_table::Cell;"), ["comfy_table::"]);
    assert_eq!(ways("error.exit()"), [".exit()"]);
    assert!(ways("command.stdout(Stdio::piped())").is_empty());
    assert!(ways("// println!\nlet s = \"eprintln!\"; my_print!(1); say::print(x)").is_empty());
}
