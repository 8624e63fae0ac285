//! Calibration files that are no files: a pipe would be waited for without end, a device read without end.

#![cfg(unix)]

use std::fs;
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process;
use std::time::Duration;

use assert_cmd::Command;
use tempfile::TempDir;

/// Refusing takes no time; who waits for a pipe waits longer than a busy machine ever needs.
const PATIENCE: Duration = Duration::from_secs(120);

const PHOTO: &str = "sample-photos/tune/plates-sorted-close-a-18.jpg";

fn pipe(at: &Path) {
    assert!(
        process::Command::new("mkfifo")
            .arg(at)
            .status()
            .unwrap()
            .success()
    );
}

fn device(at: &Path) {
    symlink("/dev/zero", at).unwrap();
}

/// Larger than any, and no text at that.
fn sparse(at: &Path) {
    fs::File::create(at).unwrap().set_len(1 << 40).unwrap();
}

#[test]
fn each_is_refused_with_a_sentence() {
    let count: &[&str] = &["count", PHOTO, "--form", "plate"];
    let weighed: &[&str] = &["count", PHOTO, "--form", "plate", "--grams", "12.5"];
    let teach: &[&str] = &["teach", PHOTO, "--names", "rose"];
    let weigh: &[&str] = &["teach", "--weigh", "plate 2x4", "--grams", "1.1"];
    for (file, calls) in [
        (
            "shapes.json",
            &[count, teach, &["shapes"], &["cover", "none.csv"]][..],
        ),
        ("weights.json", &[weighed, weigh]),
        ("swatches.json", &[count, teach, &["review"]]),
        ("lights/kitchen.json", &[count]),
        ("prints/card.json", &[count, teach]),
    ] {
        for (make, told) in [
            (pipe as fn(&Path), "it is a pipe or a device"),
            (device, "it is a pipe or a device"),
            (sparse, "is larger than any calibration file"),
        ] {
            let home = TempDir::new().unwrap();
            let at = home.path().join("calibration").join(file);
            fs::create_dir_all(at.parent().unwrap()).unwrap();
            make(&at);
            for args in calls {
                let output = Command::cargo_bin("cuptally")
                    .unwrap()
                    .current_dir(env!("CARGO_MANIFEST_DIR"))
                    .env("CUPTALLY_HOME", home.path())
                    .args(*args)
                    .timeout(PATIENCE)
                    .output()
                    .unwrap();
                let said = String::from_utf8(output.stderr).unwrap();
                assert_eq!(output.status.code(), Some(1), "{args:?} of {file}: {said}");
                assert_eq!(said.lines().count(), 1, "{args:?}: {said}");
                assert!(
                    said.contains(told) && said.contains(file),
                    "{args:?}: {said}"
                );
                assert!(output.stdout.is_empty(), "{args:?}");
            }
        }
    }
}
