//! Photos that were drawn to fit by.

use std::fs;
use std::path::Path;

use anyhow::{Context, Result};

use crate::set::{self, Folder, Photo};

/// Those of a folder ([`Folder::Tune`]), by name.
///
/// # Errors
/// When the folder or a truth in it cannot be read.
pub fn drawn(folder: &Path) -> Result<Vec<Photo>> {
    let list = fs::read_dir(folder).with_context(|| format!("reading {}", folder.display()))?;
    let mut paths = Vec::new();
    for item in list {
        let path = item?.path();
        if path.extension().is_some_and(|e| e == "jpg") && path.with_extension("json").is_file() {
            paths.push(path);
        }
    }
    paths.sort();
    (paths.iter())
        .map(|path| set::photo(folder, path, Folder::Tune))
        .collect()
}
