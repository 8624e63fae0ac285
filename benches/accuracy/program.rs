//! The real program as a child: what it says, how long it takes, how much memory it holds.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Instant;

use anyhow::{Context, Result, bail};
use serde::Deserialize;
use tempfile::TempDir;
use wait4::Wait4;

use crate::decode;
use crate::lessons::{light, measures_the_print};
use crate::set::{Kind, Photo};

/// The parts of a sheet that are judged, as `docs/sheet-v1.schema.json` has them.
#[derive(Debug, Deserialize)]
pub struct Said {
    /// Every piece.
    pub pieces: Vec<SaidPiece>,
    /// Pieces by form, size and colour.
    pub groups: Vec<SaidGroup>,
    /// What a person should know.
    pub warnings: Vec<SaidWarning>,
}

/// A piece as the sheet has it.
#[derive(Debug, Deserialize)]
pub struct SaidPiece {
    /// Number within the sheet.
    pub id: u32,
    /// `brick`, `plate`, `tile` or `any`.
    pub form: String,
    /// Studs, small side first.
    pub size: String,
    /// Name.
    pub colour: String,
    /// Middle of the visible part.
    pub x_px: f64,
    /// Middle of the visible part.
    pub y_px: f64,
    /// On the tray.
    pub x_mm: f64,
    /// On the tray.
    pub y_mm: f64,
    /// What looks up.
    pub face: String,
    /// Probability that all of it is right.
    pub sure: f64,
    /// Why it is doubtful, the main reason first.
    #[serde(default)]
    pub doubts: Vec<String>,
}

/// A group as the sheet has it.
#[derive(Debug, Deserialize)]
pub struct SaidGroup {
    /// As a piece's.
    pub form: String,
    /// As a piece's.
    pub size: String,
    /// As a piece's.
    pub colour: String,
    /// The best single number.
    pub count: u32,
    /// No fewer.
    pub low: u32,
    /// No more.
    pub high: u32,
    /// Probability that `count` is right.
    pub sure: f64,
}

/// A warning as the sheet has it.
#[derive(Debug, Deserialize)]
pub struct SaidWarning {
    /// For programs.
    pub code: String,
}

/// How one photo ended.
pub struct Answer {
    /// The sheet, or the sentence with which the photo was refused.
    pub said: Result<Said, String>,
    /// From start to end of the process.
    pub seconds: f64,
    /// Processor time, all threads together.
    pub cpu_seconds: f64,
    /// Time to decode the photo, measured beside it.
    pub decode_seconds: f64,
    /// The most memory that the process held at once, MiB.
    pub peak_mib: f64,
}

struct Ended {
    code: Option<i32>,
    out: String,
    err: String,
    seconds: f64,
    cpu_seconds: f64,
    peak_mib: f64,
}

fn run(root: &Path, home: &Path, args: &[&str]) -> Result<Ended> {
    // Files instead of pipes: nobody needs to read while the child writes.
    let scratch = TempDir::new().context("making a folder for the program's output")?;
    let (out, err) = (scratch.path().join("out"), scratch.path().join("err"));
    let start = Instant::now();
    let child = Command::new(env!("CARGO_BIN_EXE_cuptally"))
        .current_dir(root)
        .arg("--home")
        .arg(home)
        .args(args)
        .env("NO_COLOR", "1")
        .env_remove("CUPTALLY_HOME")
        .stdin(Stdio::null())
        .stdout(fs::File::create(&out)?)
        .stderr(fs::File::create(&err)?)
        .spawn()
        .context("starting cuptally")?;
    let used = child.wait4().context("waiting for cuptally")?;
    Ok(Ended {
        code: used.status.code(),
        seconds: start.elapsed().as_secs_f64(),
        cpu_seconds: (used.rusage.utime + used.rusage.stime).as_secs_f64(),
        peak_mib: used.rusage.maxrss as f64 / f64::from(1 << 20),
        out: fs::read_to_string(&out).context("the program's output is no text")?,
        err: fs::read_to_string(&err).context("the program's messages are no text")?,
    })
}

/// Counts one photo as a user would, with these colours taught.
///
/// # Errors
/// When the program cannot be run, ends in a way that no document tells of, or prints
/// what is no sheet.
pub fn count(photo: &Photo, home: &Path) -> Result<Answer> {
    let out = TempDir::new().context("making a folder for sheets")?;
    let (path, folder) = (photo.path.to_string_lossy(), out.path().to_string_lossy());
    let form = photo.truth.form_argument();
    let expect = photo.truth.expect_argument();
    let mut args = vec!["count", &path, "--json", "--form", form, "--out", &folder];
    let further = photo.further.iter().flat_map(|further| &further.paths);
    let further: Vec<_> = further.map(|path| path.to_string_lossy()).collect();
    if !further.is_empty() {
        args.push("--together");
        args.extend(further.iter().map(|path| &**path));
    }
    if matches!(photo.kind, Kind::Expected | Kind::Own) {
        args.extend(["--expect", &expect]);
    }
    let own = match photo.kind {
        Kind::Own => Some(with_own_shapes(home, &photo.root)?),
        _ => None,
    };
    let home = own.as_ref().map_or(home, |own| own.path());
    let ended = run(&photo.root, home, &args)?;
    let said = match ended.code {
        Some(0 | 3) => {
            let mut sheets: Vec<Said> = serde_json::from_str(&ended.out)
                .with_context(|| format!("what count --json printed of {}", photo.name))?;
            match (sheets.pop(), sheets.is_empty()) {
                (Some(sheet), true) => Ok(sheet),
                _ => bail!("count --json did not print one sheet of {}", photo.name),
            }
        }
        Some(1) => Err(without_path(&ended.err)),
        other => bail!(
            "count of {} ended with {other:?}: {}",
            photo.name,
            ended.err.trim()
        ),
    };
    Ok(Answer {
        said,
        seconds: ended.seconds,
        cpu_seconds: ended.cpu_seconds,
        decode_seconds: decode::seconds(photo)?,
        peak_mib: ended.peak_mib,
    })
}

/// The shapes of a user's own that sample photos hold.
const OWN_SHAPES: &str = "sample-photos/own-shapes.json";

/// A copy of a home whose user wrote that list.
fn with_own_shapes(home: &Path, root: &Path) -> Result<TempDir> {
    let own = TempDir::new().context("making a home with shapes of its own")?;
    copy(home, own.path())?;
    let calibration = own.path().join("calibration");
    fs::create_dir_all(&calibration)?;
    fs::copy(root.join(OWN_SHAPES), calibration.join("shapes.json"))
        .context("copying the list of shapes")?;
    Ok(own)
}

/// Home folders in which lessons were taught, each made once.
pub struct Homes {
    folder: PathBuf,
    /// Whether what lies there from the last run is good enough.
    reuse: bool,
    ready: Vec<String>,
    /// Of each lesson that was given, nothing or the sentence with which it was refused.
    pub lessons: BTreeMap<String, Option<String>>,
}

impl Homes {
    /// Homes below a folder; with `reuse`, those of the last run are taken as they are.
    pub fn new(folder: PathBuf, reuse: bool) -> Self {
        Self {
            folder,
            reuse,
            ready: Vec::new(),
            lessons: BTreeMap::new(),
        }
    }

    /// Where the home with these lessons lies, or will.
    pub fn place(&self, lessons: &[&Photo]) -> PathBuf {
        self.folder.join(key(lessons))
    }

    /// Makes the home with these lessons, from the one that lacks the last.
    ///
    /// # Errors
    /// When the program cannot be run or a folder not be made.
    pub fn teach(&mut self, lessons: &[&Photo]) -> Result<()> {
        let (key, place) = (key(lessons), self.place(lessons));
        if self.ready.contains(&key) {
            return Ok(());
        }
        if !(self.reuse && place.is_dir()) {
            if place.exists() {
                fs::remove_dir_all(&place)?;
            }
            if let Some((last, before)) = lessons.split_last() {
                self.teach(before)?;
                copy(&self.place(before), &place)?;
                if measures_the_print(lessons) {
                    let refused = print(last, &place)?;
                    self.lessons
                        .insert(format!("{} (print)", last.name), refused);
                }
                let refused = lesson(last, &place)?;
                self.lessons.insert(last.name.clone(), refused);
            } else {
                fs::create_dir_all(&place)?;
            }
        }
        self.ready.push(key);
        Ok(())
    }
}

fn key(lessons: &[&Photo]) -> String {
    let names: Vec<String> = lessons.iter().map(|l| l.name.replace('/', "-")).collect();
    format!("taught-{}", names.join("+"))
}

/// Nothing, or the sentence with which the photo was refused.
fn lesson(photo: &Photo, home: &Path) -> Result<Option<String>> {
    eprintln!("teaching colours from {}", photo.name);
    let (path, names) = (photo.path.to_string_lossy(), photo.truth.names.join(","));
    let light = light(photo);
    let args = ["teach", &path, "--names", &names, "--light", &light];
    refusal(photo, home, run(&photo.root, home, &args)?)
}

/// Measures the printed copy of the card as well; ends as a lesson does.
fn print(photo: &Photo, home: &Path) -> Result<Option<String>> {
    let (path, light) = (photo.path.to_string_lossy(), light(photo));
    let args = ["calibrate", &path, "--light", &light, "--print"];
    refusal(photo, home, run(&photo.root, home, &args)?)
}

fn refusal(photo: &Photo, home: &Path, ended: Ended) -> Result<Option<String>> {
    match ended.code {
        Some(0 | 3) => Ok(None),
        Some(1 | 2) => Ok(Some(
            without_path(&ended.err).replace(&*home.to_string_lossy(), "HOME"),
        )),
        other => bail!(
            "teaching from {} ended with {other:?}: {}",
            photo.name,
            ended.err.trim()
        ),
    }
}

/// A refusal begins with the photo's path, which the record has already as a name.
fn without_path(said: &str) -> String {
    let said = said.trim();
    said.split_once(".jpg: ").map_or(said, |s| s.1).to_owned()
}

fn copy(from: &Path, to: &Path) -> Result<()> {
    fs::create_dir_all(to)?;
    for item in fs::read_dir(from)? {
        let item = item?;
        let target = to.join(item.file_name());
        if item.file_type()?.is_dir() {
            copy(&item.path(), &target)?;
        } else {
            fs::copy(item.path(), &target)?;
        }
    }
    Ok(())
}
