//! The name by which a person stands in the history: kept in the home folder once it was asked for.

use super::durable;
use super::kind::Label;
use super::reader::{self, FileKind};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// The file's name in the home folder.
pub const NAME: &str = "author.txt";

/// One line.
const AUTHOR: FileKind = FileKind {
    name: "name of an author",
    most_bytes: 4096,
};

/// Where it is kept.
pub fn path(home: &Path) -> PathBuf {
    home.join(NAME)
}

/// The name that is kept; none where none is, or nothing that can be read as one.
pub fn read(home: &Path) -> Option<Label> {
    let text = reader::text(&path(home), AUTHOR).ok()?;
    let name = text.lines().next().unwrap_or_default().trim();
    (!name.is_empty()).then(|| Label::new(name))
}

/// Keeps a name, in a folder that is made if need be.
///
/// # Errors
/// When the system does not let it be written.
pub fn keep(home: &Path, name: &Label) -> io::Result<()> {
    fs::create_dir_all(home)?;
    let target = durable::resolve(&path(home))?;
    durable::replace(&target, format!("{name}\n").as_bytes())
}
