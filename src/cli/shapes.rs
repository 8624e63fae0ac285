//! `cuptally shapes`: the list of shapes that pieces may have.

mod trace;

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::atomic::write_files;
use super::say::{self, Column};
use super::{Context, Failure, Outcome, home};
use crate::card::print::svg::svg;
use crate::pieces::{Along, Below, Shape, Shapes};
use crate::review::own_shapes;
use crate::sheet::chart::of_shapes;

/// Arguments of `cuptally shapes`.
#[derive(clap::Args)]
pub struct Args {
    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,

    /// Folder to write shapes.svg into, a drawing of each shape; made if missing.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,

    #[command(flatten)]
    trace: trace::Args,
}

/// The file of the drawings.
const DRAWINGS: &str = "shapes.svg";

/// One shape of the list.
#[derive(Serialize)]
struct Line {
    form: &'static str,
    size: String,
    long_mm: f64,
    short_mm: f64,
    height_mm: f64,
    studs: usize,
    area_mm2: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    profile: Option<Lines>,
    below: Below,
    /// Whether the user's own list adds it.
    own: bool,
}

/// A profile's lines: distances from the middle of its side, and heights, mm.
#[derive(Serialize)]
struct Lines {
    along: Along,
    top_mm: Vec<[f64; 2]>,
    bottom_mm: Vec<[f64; 2]>,
}

/// Shows the shipped shapes and the user's own.
///
/// # Errors
/// When the user's list cannot be used, or the drawings cannot be written.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
    let entry = trace::run(&args.trace, context)?;
    let shapes = home::shapes(&context.home)?;
    let shipped = Shapes::shipped();
    let line = |shape: Shape| Line {
        form: shape.form().name(),
        size: shape.size(),
        long_mm: tenth(shape.long_mm()),
        short_mm: tenth(shape.short_mm()),
        height_mm: shape.height_mm(),
        studs: shape.studs().len(),
        area_mm2: tenth(shape.area_mm2()),
        profile: shape.profile().map(|profile| {
            let line = |corners: &[(f64, f64)]| {
                (corners.iter().map(|(at, z)| [tenth(*at), tenth(*z)])).collect()
            };
            Lines {
                along: profile.along(),
                top_mm: line(profile.top()),
                bottom_mm: line(profile.bottom()),
            }
        }),
        below: shape.below(),
        own: shipped.named(shape.form().name(), &shape.size()).is_none(),
    };
    if let Some(folder) = &args.out {
        draw(shapes, shipped, folder)?;
    }
    if let Some(entry) = entry {
        if args.json {
            say::print_json(&entry)?;
        } else {
            say::print(&entry.to_string())?;
        }
        return Ok(Outcome::Done);
    }
    if args.json {
        say::print_json(&shapes.all().map(line).collect::<Vec<_>>())?;
        return Ok(Outcome::Done);
    }
    let mut table = say::table(&[
        ("Form", Column::Text),
        ("Height", Column::Number),
        ("Studs", Column::Text),
        ("Sizes", Column::Text),
    ]);
    for form in shapes.forms() {
        let all = shapes.of_form(form);
        let mut heights: Vec<String> = all.iter().map(|s| s.height_mm().to_string()).collect();
        heights.dedup();
        let sizes: Vec<String> = all.iter().map(|shape| shape.size()).collect();
        let studded = all.iter().filter(|shape| shape.has_studs()).count();
        let studs = match studded {
            0 => "no",
            n if n == all.len() => "yes",
            _ => "some",
        };
        table.add_row([
            form.name().to_owned(),
            format!("{} mm", heights.join(", ")),
            studs.to_owned(),
            sizes.join(" "),
        ]);
    }
    say::print_table(&table)?;
    let own = shapes.all().count() - shipped.all().count();
    let path = own_shapes::path(&context.home);
    say::print(&if own > 0 {
        format!(
            "{} from {}",
            say::plural(own, "shape of your own is", "shapes of your own are"),
            path.display()
        )
    } else {
        format!("shapes of your own go into {}", path.display())
    })?;
    Ok(Outcome::Done)
}

/// Writes the drawings and says where.
fn draw(shapes: Shapes, shipped: Shapes, folder: &Path) -> Result<(), Failure> {
    let own = |shape: Shape| (shipped.named(shape.form().name(), &shape.size())).is_none();
    let text = svg(
        &of_shapes(shapes, &own)?,
        "Shapes that pieces are looked for in",
    );
    let paths = write_files(folder, &[(DRAWINGS, text.as_bytes())])?;
    for path in paths {
        say::note(&format!("the shapes are drawn in {}", path.display()));
    }
    Ok(())
}

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}
