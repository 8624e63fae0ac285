//! The plans and offers of the home folder.

use std::io;
use std::path::{Path, PathBuf};

use serde::Serialize;

use sha2::{Digest, Sha256};

use super::ask::{Ask, Folders};
use super::program::Program;
use crate::legible::is_invisible;
use crate::stock::durable;
use crate::stock::lock::{Lock, LockError};
use crate::stock::natural::natural_order;
use crate::stock::reader::{self, PLAN, ReadError};
use crate::stock::why::why;

/// Why a plan was not read or kept.
#[derive(Debug, thiserror::Error)]
pub enum PlanError {
    /// No such name.
    #[error(
        "'{0}' is no name for a plan: take letters, digits, blanks and hyphens, {LONGEST} at most, and .csv or .json at the end"
    )]
    Name(String),
    /// Reading.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// Another program keeps it.
    #[error(transparent)]
    Lock(#[from] LockError),
    /// It is no plan.
    #[error("{0}")]
    Refused(String),
    /// No text.
    #[error("{0} is no text; a plan is CSV or JSON")]
    NoText(String),
    /// Another window or program changed it.
    #[error(
        "{0} was changed elsewhere meanwhile; it is shown anew, and your last change was not kept"
    )]
    Stale(String),
    /// The disk.
    #[error("cannot keep {}: {}; nothing was changed", .path.display(), why(.cause))]
    Disk {
        /// Where.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
}

/// A plan or a list of offers.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Listed {
    /// Its file name.
    pub name: String,
    /// Whether it says what can be bought.
    pub offers: bool,
    /// Which state of the file this is.
    pub version: String,
}

/// A plan as it was read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Read {
    /// What is in it.
    pub text: String,
    /// Which state of the file this is.
    pub version: String,
}

fn version(bytes: &[u8]) -> String {
    let digest = Sha256::digest(bytes);
    digest.iter().take(8).map(|b| format!("{b:02x}")).collect()
}

/// The longest name.
const LONGEST: usize = 80;

/// Whether a file may be called so.
fn is_name(name: &str) -> bool {
    let is_fit = |c: char| !is_invisible(c) && !"/\\<>:\"|?*".contains(c);
    !name.starts_with(['.', '-', ' '])
        && name.len() <= LONGEST
        && name.chars().all(is_fit)
        && [".csv", ".json"]
            .iter()
            .any(|end| name.len() > end.len() && name.ends_with(end))
}

/// The plans and offers in a folder, by name.
pub fn list(folder: &Path) -> Vec<Listed> {
    let items = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<String> = items
        .filter(|item| item.path().is_file())
        .filter_map(|item| item.file_name().into_string().ok())
        .filter(|name| is_name(name))
        .collect();
    names.sort_by_key(|name| natural_order(name));
    (names.into_iter())
        .map(|name| {
            let bytes = reader::bytes(&folder.join(&name), PLAN).unwrap_or_default();
            Listed {
                offers: name.ends_with(".json") && is_offers(&bytes),
                version: version(&bytes),
                name,
            }
        })
        .collect()
}

/// Offers are JSON that says so.
fn is_offers(bytes: &[u8]) -> bool {
    let value: Result<serde_json::Value, _> = serde_json::from_slice(bytes);
    value.is_ok_and(|value| value.get("offers").is_some())
}

/// A plan's text.
///
/// # Errors
/// When there is none of that name or it is no text.
pub fn read(folder: &Path, name: &str) -> Result<Read, PlanError> {
    if !is_name(name) {
        return Err(PlanError::Name(name.to_owned()));
    }
    let bytes = reader::bytes(&folder.join(name), PLAN)?;
    let version = version(&bytes);
    let text = String::from_utf8(bytes).map_err(|_| PlanError::NoText(name.to_owned()))?;
    Ok(Read { text, version })
}

/// A plan that was kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Kept {
    /// What looks like a mistake in it.
    pub said: Vec<String>,
    /// Which state of the file this is.
    pub version: String,
}

/// The least plan, to look at offers with.
const NO_PLAN: (&str, &str) = (
    "no plan.csv",
    "module,wanted,form,size,count,colours\nnone,1,brick,1x1,1,any\n",
);

/// Keeps a plan or a list of offers, if it is one and the file is still as it was read: of version `was`, or not there.
///
/// # Errors
/// When it is none, with what is wrong with it, the file is another by now, or the disk does not take it; what was there
/// before is then still there.
pub fn keep(
    program: &Program,
    folder: &Path,
    name: &str,
    (text, was): (&str, Option<&str>),
) -> Result<Kept, PlanError> {
    if !is_name(name) {
        return Err(PlanError::Name(name.to_owned()));
    }
    let path = folder.join(name);
    let disk = |cause| PlanError::Disk {
        path: path.clone(),
        cause,
    };
    std::fs::create_dir_all(folder).map_err(disk)?;
    // Looked at under its name in a folder of its own, so that what is said of it names it.
    let aside = tempfile::tempdir_in(folder).map_err(disk)?;
    std::fs::write(aside.path().join(name), text).map_err(disk)?;
    let looked = Folders {
        photos: folder,
        plans: aside.path(),
    };
    let offers = is_offers(text.as_bytes());
    if offers {
        std::fs::write(aside.path().join(NO_PLAN.0), NO_PLAN.1).map_err(disk)?;
    }
    let ask = Ask::Check {
        plan: if offers { NO_PLAN.0 } else { name }.to_owned(),
        offers: offers.then(|| name.to_owned()),
    };
    let words = (ask.command(&looked)).map_err(|e| PlanError::Refused(e.to_string()))?;
    let mut answer = program.ask(&words).map_err(disk)?;
    let within = format!("{}/", aside.path().display());
    for said in &mut answer.said {
        *said = said.replace(&within, "");
    }
    if !answer.is_done() {
        return Err(PlanError::Refused(answer.said.join("\n")));
    }
    if offers {
        answer.said.clear();
    }
    let _lock = Lock::take(&folder.join(format!(".{name}.lock")), &mut || {})?;
    let now = path
        .exists()
        .then(|| reader::bytes(&path, PLAN))
        .transpose()?;
    if now.map(|bytes| version(&bytes)).as_deref() != was {
        return Err(PlanError::Stale(name.to_owned()));
    }
    (durable::sweep(&path))
        .and_then(|()| durable::replace(&path, text.as_bytes()))
        .map_err(disk)?;
    Ok(Kept {
        said: answer.said,
        version: version(text.as_bytes()),
    })
}

#[cfg(test)]
mod tests {
    use super::is_name;

    #[test]
    fn a_plans_name_leads_nowhere_else() {
        for name in ["quay.csv", "ferry ramp 2.json", "Mole.json"] {
            assert!(is_name(name), "{name}");
        }
        for name in [
            "",
            ".csv",
            "../quay.csv",
            "a/b.csv",
            "a\\b.csv",
            "-take.csv",
            "quay.txt",
            "q\u{202e}.csv",
        ] {
            assert!(!is_name(name), "{name}");
        }
    }
}
