//! Links in the documents lead somewhere.

use crate::text::{documents, read, root};
use std::path::Path;

/// Targets of `[text](target)` and `![text](target)` outside code, in order.
fn links(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    for line in prose(text) {
        for (at, _) in line.match_indices("](") {
            let target = &line[at + 2..];
            if let Some(end) = target.find(')') {
                found.push(target[..end].to_owned());
            }
        }
    }
    found
}

/// Lines that are not in a fenced block, without what stands in backticks.
fn prose(text: &str) -> Vec<String> {
    let mut fenced = false;
    let mut lines = Vec::new();
    for line in text.lines() {
        if line.trim_start().starts_with("```") {
            fenced = !fenced;
        } else if !fenced {
            let outside = line.split('`').step_by(2).collect::<Vec<_>>();
            lines.push(outside.join(" "));
        }
    }
    lines
}

/// The fragment by which a heading is linked to: lower case, spaces to hyphens, no punctuation.
fn fragment(heading: &str) -> String {
    let kept = |c: &char| c.is_alphanumeric() || " -_".contains(*c);
    let heading = heading.trim_start_matches('#').trim().to_lowercase();
    heading
        .chars()
        .filter(kept)
        .collect::<String>()
        .replace(' ', "-")
}

fn fragments(text: &str) -> Vec<String> {
    let mut fenced = false;
    let mut found = Vec::new();
    for line in text.lines() {
        if line.trim_start().starts_with("```") {
            fenced = !fenced;
        } else if !fenced && line.starts_with('#') {
            found.push(fragment(line));
        }
    }
    found
}

/// What is wrong with a link that stands in `document`.
fn fault(document: &str, link: &str) -> Option<String> {
    if link.starts_with("http") || link.starts_with("mailto:") {
        return None;
    }
    let (file, part) = link.split_once('#').unwrap_or((link, ""));
    let path = if file.is_empty() {
        root().join(document)
    } else {
        let folder = Path::new(document).parent().unwrap_or(Path::new(""));
        root().join(folder).join(file)
    };
    if !path.exists() {
        return Some(format!("{document} links to {link}, which is not there"));
    }
    if !part.is_empty() {
        let text = std::fs::read_to_string(&path).unwrap_or_default();
        if !fragments(&text).iter().any(|name| name == part) {
            return Some(format!(
                "{document} links to {link}, but no such heading is there"
            ));
        }
    }
    None
}

#[test]
fn every_link_leads_somewhere() {
    let documents = documents();
    assert!(documents.iter().any(|file| file.name == "README.md"));
    let mut faults = Vec::new();
    let mut count = 0;
    for file in &documents {
        for link in links(&file.text) {
            count += 1;
            faults.extend(fault(&file.name, &link));
        }
    }
    assert!(count > 10, "only {count} links were found");
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn the_library_and_the_readme_lead_to_the_other_documents() {
    assert!(read("src/lib.rs").contains("docs/conventions.md"));
    let links = links(&read("README.md"));
    for document in [
        "DEVELOPERS.md",
        "docs/conventions.md",
        "docs/licences.md",
        "sample-photos/README.md",
    ] {
        assert!(
            links.iter().any(|link| link == document),
            "README.md does not link to {document}"
        );
    }
}

#[test]
fn the_link_check_finds_what_is_planted() {
    let text = "See [a](docs/none.md), ![b](c.png) and `[d](e)`.\n```\n[f](g)\n```\n## What it can, and *not*\n";
    assert_eq!(links(text), ["docs/none.md", "c.png"]);
    assert_eq!(fragments(text), ["what-it-can-and-not"]);
    assert!(fault("README.md", "docs/none.md").is_some());
    assert!(fault("README.md", "Cargo.toml").is_none());
    assert!(fault("docs/conventions.md", "../Cargo.toml").is_none());
    assert!(fault("README.md", "README.md#no-such-heading-anywhere").is_some());
}
