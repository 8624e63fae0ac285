//! `cuptally shapes --from`: an entry for the user's list, traced from a photo.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::cli::say::{self, Progress};
use crate::cli::{Context, Failure, home, look};
use crate::pieces::Shapes;
use crate::pieces::traced::{Footprint, Traced};
use crate::pipeline::{self, Targets};
use crate::review::kept::{self, KeptError};

/// A thing to trace.
#[derive(clap::Args)]
pub struct Args {
    /// Photo of a shape of your own, lying apart from all others beside the card: proposes its entry for your list.
    #[arg(long, value_name = "PHOTO", requires_all = ["at", "name", "height"])]
    from: Option<PathBuf>,

    /// A place on it, in pixels of the upright photo.
    #[arg(long, value_name = "X,Y", value_parser = crate::cli::teach::place, requires = "from")]
    at: Option<[f64; 2]>,

    /// What to call it: lower-case letters, spaces and hyphens.
    #[arg(long, value_name = "NAME", requires = "from")]
    name: Option<String>,

    /// Its height without studs, mm, which one photo does not tell: 3.2 of a plate, 9.6 of a brick.
    #[arg(long, value_name = "MM", requires = "from")]
    height: Option<f64>,

    /// Put the entry into your list.
    #[arg(long, requires = "from")]
    keep: bool,

    /// Which measured copy of the card lies on the tray, where several were measured.
    #[arg(long, value_name = "COPY", requires = "from")]
    card: Option<String>,
}

/// The entry that was asked for, in your list where it was to be kept; `None` where none was asked for.
///
/// # Errors
/// When the photo shows nothing that can be traced, the entry is none, or the list cannot be written.
pub fn run(args: &Args, context: &Context) -> Result<Option<Value>, Failure> {
    let (Some(photo), Some(at), Some(name), Some(height)) =
        (&args.from, args.at, &args.name, args.height)
    else {
        return Ok(None);
    };
    let list = home::shapes(&context.home)?;
    if !(0.5..=60.0).contains(&height) {
        return Err(Failure::wrong_use(format!(
            "--height {height} is no height of a shape: say 0.5 to 60 mm"
        )));
    }
    // The name is the list's to judge, before the photo is looked at: by a size that nobody lists.
    let tried = json!({ "form": name, "sizes": ["16x16"], "height_mm": height, "studs": "none" });
    list.extended(&list_of(&tried))
        .map_err(|e| Failure::wrong_use(format!("--name: {e}")))?;
    let targets = home::targets(&context.home, args.card.as_deref())?;
    let entry = traced(photo, (at, name, height), &targets)?;
    list.extended(&list_of(&entry))
        .map_err(|e| Failure::failed(format!("what was traced cannot be listed: {e}")))?;
    if args.keep {
        keep(&entry, &context.home)?;
    }
    Ok(Some(entry))
}

/// A list that holds one entry.
fn list_of(entry: &Value) -> String {
    json!({ "shapes": "v2", "pieces": [entry] }).to_string()
}

fn traced(
    path: &Path,
    (at, name, height_mm): ([f64; 2], &str, f64),
    targets: &Targets,
) -> Result<Value, Failure> {
    let progress = Progress::of(1);
    progress.begin(path);
    let photo = look::open(path)?;
    let told = |stage| progress.stage(stage);
    let scene = pipeline::measure(&photo, targets, &told).map_err(|e| look::trouble(path, &e))?;
    let traced = scene
        .trace(at, height_mm)
        .map_err(|e| look::fault(path, &e))?;
    drop(progress);
    say::note(&format!(
        "{:.1} mm x {:.1} mm as seen; its height is as you said, {height_mm} mm",
        traced.sides_mm.1, traced.sides_mm.0
    ));
    Ok(entry(name, height_mm, &traced))
}

fn entry(name: &str, height_mm: f64, traced: &Traced) -> Value {
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

/// Adds an entry to the user's list as it is by now.
fn keep(entry: &Value, folder: &Path) -> Result<(), Failure> {
    let path = home::calibration(folder).join(home::SHAPES);
    let unfit =
        |e: &dyn std::fmt::Display| Failure::failed(format!("cannot use {}: {e}", path.display()));
    let fault = |e: KeptError| Failure::failed(e.to_string());
    kept::change(&path, fault, |text| {
        let pieces = match &text {
            Some(text) => {
                let list: Value = serde_json::from_str(text).map_err(|e| unfit(&e))?;
                let pieces = list.get("pieces").and_then(Value::as_array).cloned();
                pieces.ok_or_else(|| unfit(&"it has no 'pieces' to add to"))?
            }
            None => Vec::new(),
        };
        let lines = pieces.iter().chain([entry]).map(|one| format!("  {one}"));
        let lines = lines.collect::<Vec<_>>().join(",\n");
        let text = format!("{{ \"shapes\": \"v2\", \"pieces\": [\n{lines}\n] }}");
        Shapes::shipped().extended(&text).map_err(|e| unfit(&e))?;
        Ok((Some(text), ()))
    })?;
    say::note(&format!("put into {}", path.display()));
    Ok(())
}
