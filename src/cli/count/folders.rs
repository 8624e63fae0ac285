//! Folders of photos in place of photos.

use std::path::{Path, PathBuf};

use super::keep::is_picture_name;
use crate::cli::Failure;

/// How names of photos end that can be read.
const ENDINGS: [&str; 5] = ["jpg", "jpeg", "png", "heic", "heif"];

/// The photos that are named, and those in the folders that are named: by name, without pictures that were marked up
/// here.
///
/// # Errors
/// When a folder cannot be looked into, or holds no photo.
pub fn photos(named: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut all = Vec::new();
    for path in named {
        if path.is_dir() {
            all.extend(within(path)?);
        } else {
            all.push(path.clone());
        }
    }
    Ok(all)
}

fn within(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let shown = folder.display();
    let cannot = |e: std::io::Error| {
        Failure::failed(format!(
            "cannot look into {shown}: {e}; change the folder's rights, or name the photos"
        ))
    };
    let mut photos = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(cannot)? {
        let path = entry.map_err(cannot)?.path();
        if path.is_file() && is_photo(&path) {
            photos.push(path);
        }
    }
    photos.sort();
    if photos.is_empty() {
        return Err(Failure::wrong_use(format!(
            "there is no photo in the folder {shown} (names ending in {}); check the folder, or name the photos",
            ENDINGS.join(", ")
        )));
    }
    Ok(photos)
}

fn is_photo(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let name = name.to_lowercase();
    let ending = name.rsplit_once('.').map(|(_, ending)| ending);
    ending.is_some_and(|ending| ENDINGS.contains(&ending))
        && !is_picture_name(&name)
        && !name.starts_with('.')
}
