//! The project's own text files, as they lie in the checkout.

use std::fs;
use std::path::{Path, PathBuf};

/// The project's root.
pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A text file's path from the root, with `/`, and what is in it.
#[derive(Clone)]
pub struct Text {
    pub name: String,
    pub text: String,
}

/// Every text file under `folder` (from the root; empty for all), sorted by name, without
/// what is built, made on the fly or kept by other programs.
pub fn texts(folder: &str) -> Vec<Text> {
    let mut paths = Vec::new();
    walk(&root().join(folder), &mut paths);
    paths.sort();
    let read = |path: PathBuf| {
        let name = path.strip_prefix(root()).ok()?.to_str()?.replace('\\', "/");
        // What is not UTF-8 is a picture or a font.
        let text = fs::read_to_string(&path).ok()?;
        Some(Text { name, text })
    };
    paths.into_iter().filter_map(read).collect()
}

/// The documents: every Markdown file.
pub fn documents() -> Vec<Text> {
    let mut documents = texts("");
    documents.retain(|file| file.name.ends_with(".md"));
    documents
}

/// One file as text.
#[track_caller]
pub fn read(name: &str) -> String {
    fs::read_to_string(root().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

fn walk(folder: &Path, paths: &mut Vec<PathBuf>) {
    for item in fs::read_dir(folder).unwrap() {
        let path = item.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        // `.ci` is ours; other names with a dot belong to tools.
        if name.starts_with('.') && name != ".ci" {
            continue;
        }
        if path.is_dir() {
            let made = ["target", "cuptally-demo", "__pycache__"].contains(&name.as_str())
                || name.ends_with(".venv")
                || path.join("pyvenv.cfg").exists();
            if !made {
                walk(&path, paths);
            }
        } else {
            paths.push(path);
        }
    }
}
