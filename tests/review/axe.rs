//! What axe-core (npm package `axe-core`, MPL-2.0, not shipped) finds on a page.

use std::env;

use serde_json::Value;

use crate::browser::Browser;

/// axe-core's script, where `CUPTALLY_AXE` says; none where it may be missing.
pub fn axe() -> Option<String> {
    if let Some(path) = env::var_os("CUPTALLY_AXE") {
        return Some(std::fs::read_to_string(path).unwrap());
    }
    assert!(
        env::var_os("CUPTALLY_TEST_ALL").is_none_or(|all| all != "1"),
        "this test needs CUPTALLY_AXE, the path of axe.min.js from the npm package axe-core"
    );
    eprintln!(
        "skipped: this test needs CUPTALLY_AXE, the path of axe.min.js from the npm package axe-core"
    );
    None
}

/// What axe-core finds on the page as it stands: its rule and where.
pub fn findings(browser: &Browser) -> Vec<String> {
    let found = browser.later(
        "const done = arguments[arguments.length - 1];
         axe.run(document, { resultTypes: ['violations'] }).then((r) => done(r.violations), (e) => done([{ id: String(e), impact: 'critical', nodes: [] }]));",
    );
    let text = |v: &Value| v.as_str().unwrap_or_default().to_owned();
    found
        .as_array()
        .unwrap()
        .iter()
        .filter(|finding| ["serious", "critical"].contains(&text(&finding["impact"]).as_str()))
        .map(|finding| {
            let node = &finding["nodes"][0];
            format!(
                "{}: {} {}",
                text(&finding["id"]),
                node["html"],
                node["failureSummary"]
            )
        })
        .collect()
}
