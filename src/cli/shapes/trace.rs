//! `cuptally shapes --from`: an entry for the user's list, traced from a photo.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::cli::atomic::write_files;
use crate::cli::say::{self, Progress};
use crate::cli::{Context, Failure, home, look};
use crate::pieces::Shapes;
use crate::pieces::traced::{Footprint, Traced};
use crate::pipeline;
use crate::stock::reader::{self, CALIBRATION};

/// A thing to trace.
#[derive(clap::Args)]
pub struct Args {
    /// Photo of a shape of your own, lying apart from all others beside the card: proposes its entry for your list.
    #[arg(long, value_name = "PHOTO", requires_all = ["at", "name"])]
    from: Option<PathBuf>,

    /// A place on it, in pixels of the upright photo.
    #[arg(long, value_name = "X,Y", value_parser = crate::cli::teach::place, requires = "from")]
    at: Option<[f64; 2]>,

    /// What to call it: lower-case letters, spaces and hyphens.
    #[arg(long, value_name = "NAME", requires = "from")]
    name: Option<String>,

    /// Its height without studs, mm, which one photo does not tell: 3.2 of a plate, 9.6 of a brick.
    #[arg(long, value_name = "MM", default_value_t = 3.2, requires = "from")]
    height: f64,

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
    let (Some(photo), Some(at), Some(name)) = (&args.from, args.at, &args.name) else {
        return Ok(None);
    };
    let list = home::shapes(&context.home)?;
    if !(0.5..=60.0).contains(&args.height) {
        return Err(Failure::wrong_use(format!(
            "--height {} is no height of a shape: say 0.5 to 60 mm",
            args.height
        )));
    }
    let entry = traced(photo, at, name, args, context)?;
    // Whether it can stand in the list is the list's to say.
    let alone = json!({ "shapes": "v2", "pieces": [entry] }).to_string();
    list.extended(&alone)
        .map_err(|e| Failure::failed(format!("what was traced cannot be listed: {e}")))?;
    if args.keep {
        keep(&entry, &context.home)?;
    }
    Ok(Some(entry))
}

fn traced(
    path: &Path,
    at: [f64; 2],
    name: &str,
    args: &Args,
    context: &Context,
) -> Result<Value, Failure> {
    let targets = home::targets(&context.home, args.card.as_deref())?;
    let progress = Progress::of(1);
    progress.begin(path);
    let photo = look::open(path)?;
    let told = |stage| progress.stage(stage);
    let scene = pipeline::measure(&photo, &targets, &told).map_err(|e| look::trouble(path, &e))?;
    let traced = scene
        .trace(at, args.height)
        .map_err(|e| look::fault(path, &e))?;
    drop(progress);
    say::note(&format!(
        "{:.1} mm x {:.1} mm as seen; its height is as you said, {} mm",
        traced.sides_mm.1, traced.sides_mm.0, args.height
    ));
    Ok(entry(name, args.height, &traced))
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

/// Adds an entry to the user's list, which is sound.
fn keep(entry: &Value, folder: &Path) -> Result<(), Failure> {
    let calibration = home::calibration(folder);
    let path = calibration.join(home::SHAPES);
    let mut list = match reader::text_if_there(&path, CALIBRATION)? {
        Some(text) => serde_json::from_str(&text)
            .map_err(|e| Failure::failed(format!("cannot use {}: {e}", path.display())))?,
        None => json!({ "pieces": [] }),
    };
    list["shapes"] = json!("v2");
    if let Some(pieces) = list["pieces"].as_array_mut() {
        pieces.push(entry.clone());
    }
    let text = written(&list);
    Shapes::shipped()
        .extended(&text)
        .map_err(|e| Failure::failed(format!("cannot use {}: {e}", path.display())))?;
    for path in write_files(&calibration, &[(home::SHAPES, text.as_bytes())])? {
        say::note(&format!("put into {}", path.display()));
    }
    Ok(())
}

/// A list as somebody would write it: an entry a line.
fn written(list: &Value) -> String {
    let pieces = list["pieces"]
        .as_array()
        .map(Vec::as_slice)
        .unwrap_or_default();
    let lines: Vec<String> = pieces.iter().map(|one| format!("  {one}")).collect();
    format!(
        "{{ \"shapes\": \"v2\", \"pieces\": [\n{}\n] }}\n",
        lines.join(",\n")
    )
}
