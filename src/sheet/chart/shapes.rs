//! All shapes of a list at a glance, form by form.

use super::{DARK, GRID, MARGIN, faint, strong, title};
use crate::drawing::{Drawing, DrawingError, Lettering};
use crate::pieces::{Shape, Shapes, drawn::drawn};
use crate::units::Mm;

/// Width of the sheet, mm.
const WIDTH: f64 = 297.0;
/// Of how many mm one is drawn.
const SCALE: f64 = 0.6;
/// A shape that would be wider, mm, is drawn smaller.
const WIDEST: f64 = 48.0;
/// Between two shapes, and between a shape and what is written below it, mm.
const APART: f64 = 6.0;
const BELOW: f64 = 4.2;
/// Above a form's shapes, mm: its name.
const HEAD: f64 = 8.0;

/// Every shape of a list; `own` tells which the user added.
///
/// # Errors
/// When a built-in font is damaged.
pub fn of_shapes(list: Shapes, own: &dyn Fn(Shape) -> bool) -> Result<Drawing, DrawingError> {
    let lettering = Lettering::load()?;
    let mut sheet = Drawing::sheet(WIDTH, 0.0);
    let count = list.all().filter(|shape| own(*shape)).count();
    let mut y = title(
        &mut sheet,
        &lettering,
        "Shapes that pieces are looked for in",
        &match count {
            0 => "all of them come with the program".to_owned(),
            1 => "one of them is your own, marked *".to_owned(),
            n => format!("{n} of them are your own, marked *"),
        },
    );
    // What somebody wrote they want to see first.
    let mut forms = list.forms();
    forms.sort_by_key(|form| !list.of_form(*form).into_iter().any(own));
    for form in forms {
        y += HEAD;
        let shapes = list.of_form(form);
        let mut heights: Vec<String> = shapes.iter().map(|s| s.height_mm().to_string()).collect();
        heights.dedup();
        let words = format!("{} mm high without studs", heights.join(", "));
        let name = lettering.line(form.name(), strong(4.4), Mm::new(MARGIN, y));
        let beside = MARGIN + lettering.width_mm(form.name(), strong(4.4)) + 3.0;
        sheet.shapes.push(name);
        sheet
            .shapes
            .push(lettering.line(&words, faint(3.4), Mm::new(beside, y)));
        y += 2.0;
        let mut row: Vec<(Shape, Drawing)> = Vec::new();
        let mut room = WIDTH - 2.0 * MARGIN;
        for shape in shapes {
            let mut picture = drawn(shape, SCALE);
            if picture.width_mm > WIDEST {
                picture = drawn(shape, SCALE * WIDEST / picture.width_mm);
            }
            if picture.width_mm > room {
                y = shelf(&mut sheet, &lettering, std::mem::take(&mut row), y, own);
                room = WIDTH - 2.0 * MARGIN;
            }
            room -= picture.width_mm + APART;
            row.push((shape, picture));
        }
        y = shelf(&mut sheet, &lettering, row, y, own);
        sheet.level_line(Mm::new(MARGIN, y + 2.0), WIDTH - 2.0 * MARGIN, 0.2, GRID);
    }
    let mut whole = Drawing::sheet(WIDTH, y + MARGIN);
    whole.shapes.extend(sheet.shapes.into_iter().skip(1));
    Ok(whole)
}

/// Draws a row, each shape with its size below; gives where it ends.
fn shelf(
    sheet: &mut Drawing,
    lettering: &Lettering,
    row: Vec<(Shape, Drawing)>,
    y: f64,
    own: &dyn Fn(Shape) -> bool,
) -> f64 {
    let high = row.iter().map(|(_, d)| d.height_mm).fold(0.0, f64::max);
    let mut x = MARGIN;
    for (shape, picture) in row {
        let mark = if own(shape) { "*" } else { "" };
        let size = format!("{}{mark}", shape.size());
        let style = super::Style {
            ink: DARK,
            ..faint(3.2)
        };
        let (width, height) = (picture.width_mm, picture.height_mm);
        let words = lettering.width_mm(&size, style);
        sheet.place(picture, Mm::new(x, y + high - height));
        let under = Mm::new(x + (width - words) / 2.0, y + high + BELOW);
        sheet.shapes.push(lettering.line(&size, style, under));
        x += width + APART;
    }
    y + high + BELOW + 1.5
}
