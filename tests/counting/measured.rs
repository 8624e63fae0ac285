//! The real program, run with an eye on its memory.

use std::io::Read;
use std::path::Path;
use std::process::{Command, Stdio};
use wait4::Wait4;

/// How a run ended.
pub struct Ended {
    /// Exit code; `None` where a signal ended it.
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
    /// Peak memory, bytes.
    pub peak: u64,
}

/// Runs the program in this home with these arguments.
pub fn measured(home: &Path, args: &[&str]) -> Ended {
    let mut child = Command::new(env!("CARGO_BIN_EXE_cuptally"))
        .env("CUPTALLY_HOME", home)
        .args(args)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let (mut stdout, mut stderr) = (child.stdout.take().unwrap(), child.stderr.take().unwrap());
    let talk = std::thread::spawn(move || {
        let mut text = String::new();
        stderr.read_to_string(&mut text).map(|_| text)
    });
    let mut out = String::new();
    stdout.read_to_string(&mut out).unwrap();
    let ended = child.wait4().unwrap();
    Ended {
        code: ended.status.code(),
        out,
        err: talk.join().unwrap().unwrap(),
        peak: ended.rusage.maxrss,
    }
}
