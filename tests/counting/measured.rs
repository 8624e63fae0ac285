//! The real program, run with an eye on its memory.

use std::io::Read;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

/// How a run ended.
pub struct Ended {
    /// Exit code; `None` where a signal ended it.
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
    /// Peak memory, bytes; 0 where the system does not tell of it as Linux does.
    pub peak: u64,
}

/// Between two looks at the peak; what a run takes in its last such while may be missed.
const LOOK: Duration = Duration::from_millis(5);

/// Runs the program in this home with these arguments.
///
/// The peak is read from the running program. What the system tells of an ended one would include the memory of
/// this test, which began it.
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
    let read = |from: &mut dyn Read| {
        let mut text = String::new();
        from.read_to_string(&mut text).unwrap();
        text
    };
    let (out, err) = (
        std::thread::spawn(move || read(&mut stdout)),
        std::thread::spawn(move || read(&mut stderr)),
    );
    let status = format!("/proc/{}/status", child.id());
    let mut peak = 0;
    let ended = loop {
        peak = peak.max(peak_of(&status).unwrap_or(0));
        if let Some(ended) = child.try_wait().unwrap() {
            break ended;
        }
        std::thread::sleep(LOOK);
    };
    Ended {
        code: ended.code(),
        out: out.join().unwrap(),
        err: err.join().unwrap(),
        peak,
    }
}

/// `VmHWM`, the most that was ever resident.
fn peak_of(status: &str) -> Option<u64> {
    let text = std::fs::read_to_string(status).ok()?;
    let line = text.lines().find(|line| line.starts_with("VmHWM:"))?;
    let kilobytes: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kilobytes * 1024)
}
