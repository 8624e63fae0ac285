//! The user's own shapes, as they lie in the home folder (`calibration/shapes.json`).

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::kept::{self, KeptError};
use crate::pieces::Shapes;
use crate::pieces::list::ShapeError;
use crate::pieces::traced::{Footprint, Traced};

/// Heights that a shape may have, mm.
pub const HEIGHTS_MM: RangeInclusive<f64> = 0.5..=60.0;

/// Why the user's shapes were not read or kept.
#[derive(Debug, thiserror::Error)]
pub enum OwnShapesError {
    /// The file cannot be read or written.
    #[error(transparent)]
    Kept(#[from] KeptError),
    /// It is damaged, or would be.
    #[error("cannot use {}: {cause}", .path.display())]
    Unusable {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        cause: ShapeError,
    },
    /// It has nothing to add to.
    #[error("cannot use {}: it has no 'pieces' to add to", .0.display())]
    NoPieces(PathBuf),
}

/// Where they lie.
pub fn path(home: &Path) -> PathBuf {
    home.join("calibration").join("shapes.json")
}

/// The shipped shapes and the user's.
///
/// # Errors
/// When the file is there but cannot be read or is damaged.
pub fn read(home: &Path) -> Result<Shapes, OwnShapesError> {
    let path = path(home);
    match kept::read(&path)? {
        Some(text) => (Shapes::shipped().extended(&text))
            .map_err(|cause| OwnShapesError::Unusable { path, cause }),
        None => Ok(Shapes::shipped()),
    }
}

/// Adds an entry to the user's list as it is by now; says where that lies. When it fails the list is as it was.
///
/// # Errors
/// When the list cannot be read or written, or the entry does not fit into it.
pub fn keep(home: &Path, entry: &Value) -> Result<PathBuf, OwnShapesError> {
    let path = path(home);
    let unusable = |cause| OwnShapesError::Unusable {
        path: path.clone(),
        cause,
    };
    kept::change(&path, OwnShapesError::from, |text| {
        let pieces = match &text {
            Some(text) => {
                let list: Value =
                    serde_json::from_str(text).map_err(|e| unusable(ShapeError::Format(e)))?;
                let pieces = list.get("pieces").and_then(Value::as_array).cloned();
                pieces.ok_or_else(|| OwnShapesError::NoPieces(path.clone()))?
            }
            None => Vec::new(),
        };
        let lines = pieces.iter().chain([entry]).map(|one| format!("  {one}"));
        let lines = lines.collect::<Vec<_>>().join(",\n");
        let text = format!("{{ \"shapes\": \"v2\", \"pieces\": [\n{lines}\n] }}");
        Shapes::shipped().extended(&text).map_err(unusable)?;
        Ok((Some(text), ()))
    })?;
    Ok(path)
}

/// A list that holds one entry.
pub fn list_of(entry: &Value) -> String {
    json!({ "shapes": "v2", "pieces": [entry] }).to_string()
}

/// The entry of a traced thing in a list of shapes.
pub fn entry(name: &str, height_mm: f64, traced: &Traced) -> Value {
    let (short, long) = traced.studs_box;
    let all = usize::from(short) * usize::from(long);
    let mut entry = json!({
        "form": name,
        "sizes": [format!("{short}x{long}")],
        "height_mm": height_mm,
        "studs": match traced.studs.len() {
            0 => json!("none"),
            n if n == all && !matches!(traced.footprint, Footprint::Corners(_)) => json!("all"),
            _ => json!(traced.studs),
        },
    });
    match &traced.footprint {
        Footprint::Rectangle => {}
        Footprint::Disc => entry["outline"] = json!("disc"),
        Footprint::Corners(corners) => entry["outline"] = json!(corners),
    }
    entry
}
