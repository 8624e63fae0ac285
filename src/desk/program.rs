//! This very program, run once more for each thing that is asked.

use std::ffi::OsString;
use std::io::{self, BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;

use serde::Serialize;

/// Set, the program says each stage of a count on a line of its own.
pub const STAGES: &str = "CUPTALLY_STAGES";
/// How such a line begins.
pub const STAGE: &str = "stage: ";
/// How the program's sentences begin.
const NAME: &str = "cuptally: ";
/// Sentences that say which home folder is used: on the page there is one.
const HOME: &str = "home: ";
/// No answer is longer: that of a stock of all kinds in a hundred places has 20 MB.
const MOST_BYTES: u64 = 64 * 1024 * 1024;
/// No command says more sentences than are worth showing.
const MOST_SAID: usize = 40;

/// The program, and the home folder that it works in.
#[derive(Clone, Debug)]
pub struct Program {
    file: PathBuf,
    home: PathBuf,
}

/// What came of a command.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Answer {
    /// Its exit code; 0 and 3 are done, with nothing or something to look at. None where it was ended from outside.
    pub code: Option<i32>,
    /// What it printed, JSON as a rule.
    pub out: String,
    /// The sentences that it said beside that.
    pub said: Vec<String>,
}

impl Answer {
    /// Whether it did what was asked.
    pub fn is_done(&self) -> bool {
        matches!(self.code, Some(0 | 3))
    }
}

/// A command that runs.
#[derive(Clone, Debug)]
pub struct Running(Arc<Mutex<Child>>);

impl Running {
    /// Ends it; nothing happens where it has ended already.
    pub fn end(&self) {
        let mut child = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        // One that is gone needs no end.
        let _ = child.kill();
    }
}

impl Program {
    /// This one, in a home folder.
    ///
    /// # Errors
    /// When the system does not tell where its file lies.
    pub fn in_home(home: &Path) -> io::Result<Self> {
        Ok(Self {
            file: std::env::current_exe()?,
            home: std::path::absolute(home)?,
        })
    }

    /// Runs a command to its end.
    ///
    /// # Errors
    /// When it cannot be started or heard.
    pub fn ask(&self, words: &[OsString]) -> io::Result<Answer> {
        self.watch(words, |_| {}, |_| {})
    }

    /// Runs a command to its end; `begun` gets hold of it, `stage` hears what it is at.
    ///
    /// # Errors
    /// When it cannot be started or heard.
    pub fn watch(
        &self,
        words: &[OsString],
        begun: impl FnOnce(Running),
        mut stage: impl FnMut(&str),
    ) -> io::Result<Answer> {
        let mut home = OsString::from("--home=");
        home.push(&self.home);
        let mut child = Command::new(&self.file)
            .arg(home)
            .args(words)
            .env(STAGES, "1")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()?;
        let (out, said) = (child.stdout.take(), child.stderr.take());
        let running = Running(Arc::new(Mutex::new(child)));
        begun(running.clone());
        let out = thread::spawn(move || -> io::Result<String> {
            let mut text = Vec::new();
            if let Some(out) = out {
                out.take(MOST_BYTES).read_to_end(&mut text)?;
            }
            Ok(String::from_utf8_lossy(&text).into_owned())
        });
        let mut sentences: Vec<String> = Vec::new();
        for line in said
            .into_iter()
            .flat_map(|said| BufReader::new(said).lines())
        {
            let line = line?;
            if let Some(at) = line.strip_prefix(STAGE) {
                stage(at);
            } else if sentences.len() < MOST_SAID {
                hear(&mut sentences, &line);
            }
        }
        let out = out
            .join()
            .map_err(|_| io::Error::other("it could not be heard"))??;
        let mut child = running.0.lock().unwrap_or_else(PoisonError::into_inner);
        sentences.retain(|sentence| !sentence.starts_with(HOME));
        Ok(Answer {
            code: child.wait()?.code(),
            out,
            said: sentences,
        })
    }
}

/// Adds a line to what was said: a sentence of its own, or more of the one before.
fn hear(sentences: &mut Vec<String>, line: &str) {
    match (line.strip_prefix(NAME), sentences.last_mut()) {
        (Some(sentence), _) => sentences.push(sentence.to_owned()),
        (None, Some(last)) => {
            last.push(' ');
            last.push_str(line.trim_start());
        }
        (None, None) => sentences.push(line.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_that_go_on_belong_to_the_sentence_before() {
        let mut said = Vec::new();
        for line in [
            "cuptally: home: here",
            "cuptally: look: two",
            "  lines",
            "cuptally: end",
        ] {
            hear(&mut said, line);
        }
        assert_eq!(said, ["home: here", "look: two lines", "end"]);
    }
}
