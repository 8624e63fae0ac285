//! The folder tree is the pipeline: no stage imports a later one, and only some touch files.

use crate::code::bare;
use crate::text::{read, texts};

/// Stages that may read and write files, look at the clock or open sockets.
const AT_THE_EDGE: [&str; 6] = ["photo", "stock", "serve", "review", "desk", "cli"];

/// The stages in the order in which `src/lib.rs` declares them.
fn stages() -> Vec<String> {
    let code = bare(&read("src/lib.rs"));
    let declared = code
        .lines()
        .filter_map(|line| line.trim().strip_prefix("pub mod ")?.strip_suffix(';'));
    declared.map(str::to_owned).collect()
}

/// The stage a file belongs to and how many modules deep it lies; none for `lib.rs` and `main.rs`.
fn stage_of(file: &str) -> Option<(&str, usize)> {
    let module = file.strip_prefix("src/")?.strip_suffix(".rs")?;
    if ["lib", "main"].contains(&module) {
        return None;
    }
    let module = module.strip_suffix("/mod").unwrap_or(module);
    Some((module.split('/').next()?, module.split('/').count()))
}

/// Later stages that the code of a stage, `depth` modules deep, names.
fn later_stages(code: &str, stage: &str, depth: usize, stages: &[String]) -> Vec<String> {
    let rank = |name: &str| stages.iter().position(|stage| stage == name);
    let own = rank(stage);
    let mut late: Vec<String> = roots_named(&bare(code), depth)
        .into_iter()
        .filter(|name| rank(name).is_some() && rank(name) > own)
        .collect();
    late.sort();
    late.dedup();
    late
}

/// Names that follow the crate's root: `crate::x`, `crate::{x, y::z}`, the crate by its own
/// name, or `super` as many times as the file is deep (deeper ones come from inline modules).
fn roots_named(code: &str, depth: usize) -> Vec<String> {
    let code: String = code.split_whitespace().collect::<Vec<_>>().join(" ");
    let code = code.replace(" ::", "::").replace(":: ", "::");
    let supers = "super::".repeat(depth);
    let mut names = Vec::new();
    for root in ["crate::", "cuptally::", &supers] {
        for (at, _) in code.match_indices(root) {
            if code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_') {
                continue;
            }
            let mut after = &code[at + root.len()..];
            while let Some(deeper) = after.strip_prefix("super::") {
                after = deeper;
            }
            names.extend(first_names(after));
        }
    }
    names
}

/// The first name of a path, or of each path in a brace group.
fn first_names(path: &str) -> Vec<String> {
    let name = |path: &str| -> String {
        let word = |c: &char| c.is_alphanumeric() || *c == '_';
        path.trim_start().chars().take_while(word).collect()
    };
    let Some(group) = path.trim_start().strip_prefix('{') else {
        return vec![name(path)];
    };
    let mut names = vec![name(group)];
    let mut depth = 1;
    for (at, c) in group.char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 1 => names.push(name(&group[at + 1..])),
            _ => {}
        }
        if depth == 0 {
            break;
        }
    }
    names
}

#[test]
fn no_stage_imports_a_later_one() {
    let stages = stages();
    assert!(stages.len() > 8, "{stages:?}");
    let mut seen = 0;
    for file in texts("src") {
        let Some((stage, depth)) = stage_of(&file.name) else {
            continue;
        };
        assert!(
            stages.iter().any(|known| known == stage),
            "{}: lib.rs knows no {stage}",
            file.name
        );
        let late = later_stages(&file.text, stage, depth, &stages);
        assert!(
            late.is_empty(),
            "{} imports {late:?}, which come after {stage} in src/lib.rs; move what is shared \
             to the earlier stage",
            file.name
        );
        seen += 1;
    }
    assert!(seen > 50, "only {seen} files were looked at");
}

#[test]
fn only_the_edge_touches_the_world() {
    for file in texts("src") {
        let Some((stage, _)) = stage_of(&file.name) else {
            continue;
        };
        if AT_THE_EDGE.contains(&stage) {
            continue;
        }
        let touched = world(&file.text);
        assert!(
            touched.is_empty(),
            "{} uses {touched:?}; hand the data in instead",
            file.name
        );
    }
}

/// Ways to files, sockets, the environment and the clock.
fn world(code: &str) -> Vec<&'static str> {
    let code = bare(code);
    let ways = [
        "std::fs",
        "fs::read",
        "File::open",
        "std::net",
        "std::env",
        "env::var",
        "SystemTime",
        "Instant::now",
        "Timestamp::now",
        "image::open",
        "println!",
    ];
    ways.into_iter().filter(|way| code.contains(way)).collect()
}

/// The checks themselves: each planted fault is found, and what only looks like one is not.
#[test]
fn the_layer_check_finds_what_is_planted() {
    let stages: Vec<String> = ["units", "photo", "view", "sheet", "stock"]
        .map(str::to_owned)
        .into();
    let late = |code: &str, depth| later_stages(code, "view", depth, &stages);
    assert_eq!(late("use crate::stock::Stock;", 2), ["stock"]);
    assert_eq!(
        late("use crate::{units::Mm, sheet::{Piece, Group}, stock};", 1),
        ["sheet", "stock"]
    );
    assert_eq!(
        late("use crate :: {\n    photo,\n    sheet,\n};", 1),
        ["sheet"]
    );
    assert_eq!(late("let x = crate::sheet::Group::new();", 3), ["sheet"]);
    assert_eq!(late("use super::super::stock::Lots;", 2), ["stock"]);
    assert_eq!(
        late("mod tests { use super::super::super::stock; }", 2),
        ["stock"]
    );
    assert_eq!(late("use cuptally::stock;", 1), ["stock"]);
    for harmless in [
        "// use crate::stock::Stock;",
        "let s = \"crate::stock\";",
        "use crate::photo::Photo; use crate::view::camera; use crate::units::Mm;",
        "use super::stock::Local;",
        "use other_crate::stock::Thing;",
        "use crate::photo::{sheet, stock};",
    ] {
        assert_eq!(late(harmless, 2), [""; 0], "{harmless}");
    }
}

#[test]
fn the_edge_check_finds_what_is_planted() {
    assert_eq!(world("use std::fs;"), ["std::fs"]);
    assert_eq!(world("let t = Instant::now();"), ["Instant::now"]);
    assert!(world("// std::fs\nlet s = \"std::fs\"; use std::fmt;").is_empty());
    assert_eq!(stage_of("src/view/camera.rs"), Some(("view", 2)));
    assert_eq!(stage_of("src/view/mod.rs"), Some(("view", 1)));
    assert_eq!(stage_of("src/units.rs"), Some(("units", 1)));
    assert_eq!(stage_of("src/lib.rs"), None);
}
