//! What several test programs share.
// No test program uses all of it.
#![allow(dead_code, clippy::panic, clippy::unwrap_used)]

pub mod card;

use std::env;

/// Whether an outside program that a test leans on is there.
///
/// Where it is missing the test may say so and pass, so that a checkout without it
/// can still be tested; with `CUPTALLY_TEST_ALL=1` a missing program is a failure.
pub fn need_tool(tool: &str, package: &str) -> bool {
    let path = env::var_os("PATH").unwrap_or_default();
    let found = env::split_paths(&path)
        .map(|folder| folder.join(tool).with_extension(env::consts::EXE_EXTENSION))
        .any(|file| file.is_file());
    if found {
        return true;
    }
    missing(&format!(
        "needs {tool} (Debian package {package}), which is not installed"
    ));
    false
}

/// Says that this test is left out and why; with `CUPTALLY_TEST_ALL=1` it fails instead.
pub fn missing(why: &str) {
    assert!(
        env::var_os("CUPTALLY_TEST_ALL").is_none_or(|all| all != "1"),
        "this test {why}, and CUPTALLY_TEST_ALL=1 allows no skipping"
    );
    eprintln!("skipped: this test {why}");
}
