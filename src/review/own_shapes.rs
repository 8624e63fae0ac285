//! The user's own shapes, as they lie in the home folder (`calibration/shapes.json`).

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::kept::{self, KeptError};
use crate::pieces::Shapes;
use crate::pieces::footprint::Footprint;
use crate::pieces::list::ShapeError;
use crate::pieces::traced::Traced;

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
    /// An entry by itself is none.
    #[error("what was traced cannot be listed: {0}")]
    Entry(#[from] ShapeError),
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

/// The shapes once the user's list has that entry too, which may be there already. Nothing is written.
///
/// # Errors
/// When the list cannot be read, or the entry does not fit into it.
pub fn with(home: &Path, entry: &Value) -> Result<Shapes, OwnShapesError> {
    let path = path(home);
    let (_, shapes) = added(&path, kept::read(&path)?.as_deref(), entry)?;
    Ok(shapes)
}

/// Puts an entry into the user's list as it is by now, if it is not there already; gives the shapes with it, and where the
/// list lies. When it fails the list is as it was.
///
/// # Errors
/// When the list cannot be read or written, or the entry does not fit into it.
pub fn keep(home: &Path, entry: &Value) -> Result<(Shapes, PathBuf), OwnShapesError> {
    let path = path(home);
    let shapes = kept::change(&path, OwnShapesError::from, |text| {
        added(&path, text.as_deref(), entry)
    })?;
    Ok((shapes, path))
}

/// The list with that entry, where it is not there already, and the shapes with it.
fn added(
    path: &Path,
    text: Option<&str>,
    entry: &Value,
) -> Result<(Option<String>, Shapes), OwnShapesError> {
    let unusable = |cause| OwnShapesError::Unusable {
        path: path.to_owned(),
        cause,
    };
    let (own, pieces) = match text {
        Some(text) => {
            let own = Shapes::shipped().extended(text).map_err(unusable)?;
            let list: Value =
                serde_json::from_str(text).map_err(|e| unusable(ShapeError::Format(e)))?;
            let pieces = list.get("pieces").and_then(Value::as_array).cloned();
            (
                own,
                pieces.ok_or_else(|| OwnShapesError::NoPieces(path.to_owned()))?,
            )
        }
        None => (Shapes::shipped(), Vec::new()),
    };
    if pieces.contains(entry) {
        return Ok((None, own));
    }
    let lines = pieces.iter().chain([entry]).map(|one| format!("  {one}"));
    let lines = lines.collect::<Vec<_>>().join(",\n");
    let text = format!("{{ \"shapes\": \"v2\", \"pieces\": [\n{lines}\n] }}");
    let shapes = Shapes::shipped().extended(&text)?;
    Ok((Some(text), shapes))
}

/// The shipped shapes and that entry.
///
/// # Errors
/// When it cannot be listed.
pub fn alone(entry: &Value) -> Result<Shapes, OwnShapesError> {
    Ok(Shapes::shipped().extended(&list_of(entry))?)
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
