//! `cuptally shapes --from`: an entry for the user's list, traced from a photo.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::cli::say::{self, Progress};
use crate::cli::{Context, Failure, home, look};
use crate::pieces::traced::TraceError;
use crate::pipeline::{self, Targets};
use crate::review::own_shapes;

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
    if !own_shapes::HEIGHTS_MM.contains(&height) {
        return Err(Failure::wrong_use(format!(
            "--height {height} is no height of a shape: say 0.5 to 60 mm"
        )));
    }
    // The name is the list's to judge, before the photo is looked at: by a size that nobody lists.
    let tried = json!({ "form": name, "sizes": ["16x16"], "height_mm": height, "studs": "none" });
    list.extended(&own_shapes::list_of(&tried))
        .map_err(|e| Failure::wrong_use(format!("--name: {e}")))?;
    let targets = home::targets(&context.home, args.card.as_deref())?;
    let entry = traced(photo, (at, name, height), &targets)?;
    list.extended(&own_shapes::list_of(&entry))
        .map_err(|e| Failure::failed(format!("what was traced cannot be listed: {e}")))?;
    if args.keep {
        let (_, path) = own_shapes::keep(&context.home, &entry)?;
        say::note(&format!("put into {}", path.display()));
    }
    Ok(Some(entry))
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
    let traced = (scene.trace(&[at], height_mm).pop())
        .unwrap_or(Err(TraceError::Nothing))
        .map_err(|e| look::fault(path, &e))?;
    drop(progress);
    say::note(&format!(
        "{:.1} mm x {:.1} mm as seen; its height is as you said, {height_mm} mm",
        traced.sides_mm.1, traced.sides_mm.0
    ));
    Ok(own_shapes::entry(name, height_mm, &traced))
}
