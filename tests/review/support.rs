//! The real server, asked over a real socket.

// The bench of the page uses its part of this too.
#![allow(dead_code)]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

/// The program under test.
pub const PROGRAM: &str = env!("CARGO_BIN_EXE_cuptally");

/// Longer than any answer takes on a busy machine; only a failure waits this long.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// Folder of the shipped photos.
pub fn rendered() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos")
}

/// A running `cuptally review` or `cuptally desk`; killed when dropped.
pub struct Server {
    child: Child,
    pub address: String,
    /// The address that pairs a phone, where there is a door for phones.
    pub door: Option<String>,
}

/// A call of `cuptally review` with clock and user pinned.
pub fn command(home: &Path, args: &[&Path]) -> Command {
    let mut command = Command::new(PROGRAM);
    command
        .env("CUPTALLY_HOME", home)
        .env("CUPTALLY_NOW", "2026-05-02T10:12:00Z")
        .env("USER", "mara")
        .arg("review")
        .arg("--no-open")
        .args(args);
    command
}

impl Server {
    /// Starts it on sheets whose photos are shipped ones.
    pub fn start(home: &Path, sheets: &[&Path]) -> Self {
        Self::of(&mut command(home, sheets))
    }

    /// The same by a command that is at hand.
    pub fn of(command: &mut Command) -> Self {
        Self::at(command, &rendered().join("tune"))
    }

    /// The same with photos of a folder.
    pub fn at(command: &mut Command, photos: &Path) -> Self {
        Self::started(command.arg("--photos").arg(photos))
    }

    /// By a command that says all.
    pub fn started(command: &mut Command) -> Self {
        let mut child = command
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap());
        let mut line = || {
            let mut line = String::new();
            lines.read_line(&mut line).unwrap();
            line.trim().to_owned()
        };
        let address = line();
        assert!(address.starts_with("http://127.0.0.1:"), "{address}");
        let is_door = |arg: &std::ffi::OsStr| arg.to_string_lossy().starts_with("--phone=");
        let door = command.get_args().any(is_door).then(&mut line);
        Self {
            child,
            address,
            door,
        }
    }

    /// `127.0.0.1:PORT`.
    pub fn host(&self) -> &str {
        self.address.split('/').nth(2).unwrap()
    }

    /// The first part of every path.
    pub fn token(&self) -> &str {
        self.address.split('/').nth(3).unwrap()
    }

    /// The most memory that it had at once, bytes (Linux).
    pub fn most_memory(&self) -> u64 {
        let about = format!("/proc/{}/status", self.child.id());
        let about = std::fs::read_to_string(about).unwrap();
        let line = about
            .lines()
            .find(|line| line.starts_with("VmHWM:"))
            .unwrap();
        1024 * line
            .split_whitespace()
            .nth(1)
            .unwrap()
            .parse::<u64>()
            .unwrap()
    }

    /// Kills it at once, as `kill -9` does.
    pub fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Interrupts it, as Ctrl+C does.
    pub fn interrupt(&self) {
        let pid = self.child.id().to_string();
        let sent = Command::new("kill").args(["-INT", &pid]).status().unwrap();
        assert!(sent.success());
    }

    /// Waits for it to end by itself.
    pub fn ended(&mut self) -> i32 {
        let start = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status.code().unwrap();
            }
            assert!(start.elapsed() < PATIENCE, "it does not end");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Asks as the page asks.
    pub fn get(&self, path: &str) -> Answer {
        let path = format!("/{}/{path}", self.token());
        ask(self.host(), "GET", &path, &[("Host", self.host())], b"")
    }

    /// Writes as the page writes.
    pub fn post(&self, path: &str, body: &Value) -> Answer {
        let path = format!("/{}/{path}", self.token());
        let origin = format!("http://{}", self.host());
        let headers = [
            ("Host", self.host()),
            ("Origin", origin.as_str()),
            ("Content-Type", "application/json"),
        ];
        ask(
            self.host(),
            "POST",
            &path,
            &headers,
            body.to_string().as_bytes(),
        )
    }

    /// The first sheet as the page is told of it.
    pub fn shown(&self) -> Value {
        self.get("api/sheet/0").ok().json()
    }

    /// Corrects the first sheet as it stands.
    pub fn correct(&self, correction: Value) -> Answer {
        let version = self.shown()["version"].clone();
        let body = serde_json::json!({ "version": version, "correction": correction });
        self.post("api/sheet/0/correct", &body)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// An answer.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Answer {
    /// Asserts that it was answered.
    #[track_caller]
    pub fn ok(self) -> Self {
        assert_eq!(self.status, 200, "{}", self.text());
        self
    }

    /// Asserts that it was refused with this status and words.
    #[track_caller]
    pub fn refused(self, status: u16, words: &str) {
        assert_eq!(self.status, status, "{}", self.text());
        assert!(
            self.text().contains(words),
            "no '{words}' in {}",
            self.text()
        );
    }

    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap()
    }

    /// A header's value.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().find_map(|line| {
            let (key, value) = line.split_once(':')?;
            key.eq_ignore_ascii_case(name).then_some(value.trim())
        })
    }
}

/// One question on a socket of its own, headers as given and no others.
pub fn ask(host: &str, method: &str, path: &str, headers: &[(&str, &str)], body: &[u8]) -> Answer {
    let mut stream = TcpStream::connect(host).unwrap();
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    let mut text = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
    for (name, value) in headers {
        text.push_str(&format!("{name}: {value}\r\n"));
    }
    text.push_str(&format!("Content-Length: {}\r\n\r\n", body.len()));
    stream.write_all(text.as_bytes()).unwrap();
    stream.write_all(body).unwrap();
    let mut bytes = Vec::new();
    stream.read_to_end(&mut bytes).unwrap();
    let end = bytes
        .windows(4)
        .position(|four| four == b"\r\n\r\n")
        .unwrap();
    let head = String::from_utf8_lossy(&bytes[..end]).into_owned();
    let status = head.split(' ').nth(1).unwrap().parse().unwrap();
    Answer {
        status,
        head,
        body: bytes[end + 4..].to_vec(),
    }
}
