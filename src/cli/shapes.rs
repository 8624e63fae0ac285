//! `cuptally shapes`: the list of shapes that pieces may have.

use serde::Serialize;

use super::say::{self, Column};
use super::{Context, Failure, Outcome, home};
use crate::pieces::{Shape, Shapes};

/// Arguments of `cuptally shapes`.
#[derive(clap::Args)]
pub struct Args {
    /// Print JSON and nothing else.
    #[arg(long)]
    json: bool,
}

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
    /// Whether the user's own list adds it.
    own: bool,
}

/// Shows the shipped shapes and the user's own.
///
/// # Errors
/// When the user's list cannot be used.
pub fn run(args: &Args, context: &Context) -> Result<Outcome, Failure> {
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
        own: shipped.named(shape.form().name(), &shape.size()).is_none(),
    };
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
    let path = home::calibration(&context.home).join(home::SHAPES);
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

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}
