//! A desk in a home folder of its own.

// The bench of the page uses its part of this too.
#![allow(dead_code)]

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;

use crate::support::{Answer, PATIENCE, PROGRAM, Server, ask};

/// A shipped photo.
pub fn photo(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos/tune");
    folder.join(format!("{name}.jpg"))
}

/// A call of the program with clock and user pinned, outside of any home folder.
pub fn program(home: &Path) -> Command {
    let mut command = Command::new(PROGRAM);
    command
        .env_remove("CUPTALLY_HOME")
        .env("CUPTALLY_NOW", "2026-05-02T10:12:00Z")
        .env("USER", "mara")
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .arg("--home")
        .arg(home);
    command
}

/// Runs a command and gives what it printed.
#[track_caller]
pub fn run(home: &Path, args: &[&str]) -> String {
    let output = program(home).args(args).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        matches!(output.status.code(), Some(0 | 3)),
        "{args:?}: {said}"
    );
    String::from_utf8(output.stdout).unwrap()
}

/// A running desk.
pub struct Desk {
    pub home: TempDir,
    pub server: Server,
}

impl Desk {
    /// In an empty folder.
    pub fn open() -> Self {
        Self::of(tempfile::tempdir().unwrap(), &[])
    }

    /// In a folder, with further arguments.
    pub fn of(home: TempDir, args: &[&str]) -> Self {
        let mut command = program(home.path());
        let server = Server::started(command.args(["desk", "--no-open"]).args(args));
        Self { home, server }
    }

    /// Killed at once, and started again in the same folder.
    pub fn killed_and_again(self) -> Self {
        let Self { home, mut server } = self;
        server.kill();
        Self::of(home, &[])
    }

    pub fn path(&self, rest: &str) -> PathBuf {
        self.home.path().join(rest)
    }

    pub fn state(&self) -> Value {
        self.server.get("api/state/none").ok().json()["state"].clone()
    }

    /// The photo of that name as it stands.
    pub fn photo(&self, name: &str) -> Value {
        let state = self.state();
        let photos = state["photos"].as_array().unwrap();
        let photo = photos.iter().find(|photo| photo["name"] == name);
        photo
            .unwrap_or_else(|| panic!("no {name} in {photos:?}"))
            .clone()
    }

    /// Waits until the count of a photo stands so.
    #[track_caller]
    pub fn until(&self, name: &str, stands: &str) -> Value {
        let start = Instant::now();
        loop {
            let photo = self.photo(name);
            if photo["count"]["is"] == stands {
                return photo;
            }
            assert!(start.elapsed() < PATIENCE, "never {stands}: {photo}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Announces photos; gives their names.
    pub fn announce(&self, names: &[&str]) -> Vec<String> {
        let given = self.server.post("api/announce", &json!({ "names": names }));
        serde_json::from_value(given.ok().json()).unwrap()
    }

    /// Sends what was announced.
    pub fn send(&self, name: &str, bytes: &[u8]) -> Answer {
        let origin = format!("http://{}", self.server.host());
        let headers = [
            ("Host", self.server.host()),
            ("Origin", origin.as_str()),
            ("Content-Type", "application/octet-stream"),
        ];
        let path = format!("/{}/photo-in/{name}", self.server.token());
        ask(self.server.host(), "POST", &path, &headers, bytes)
    }

    /// Brings a shipped photo in; gives its name.
    pub fn bring(&self, name: &str) -> String {
        let given = self.announce(&[&format!("{name}.jpg")]).remove(0);
        self.send(&given, &std::fs::read(photo(name)).unwrap()).ok();
        given
    }

    /// What a command printed, asked for as the page asks.
    #[track_caller]
    pub fn ask(&self, what: &Value) -> Value {
        let answer = self.server.post("api/ask", what).ok().json();
        serde_json::from_str(answer["out"].as_str().unwrap()).unwrap_or(Value::Null)
    }
}
