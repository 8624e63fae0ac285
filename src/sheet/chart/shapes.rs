//! All shapes of a list at a glance, form by form.

use super::{DARK, MARGIN, faint, strong, title};
use crate::drawing::lettering::Style;
use crate::drawing::{Drawing, DrawingError, Lettering};
use crate::pieces::{Form, Shape, Shapes, drawn::drawn};
use crate::units::Mm;

/// Width of the sheet, mm.
const WIDTH: f64 = 297.0;
/// Of how many mm one is drawn.
const SCALE: f64 = 0.6;
/// A shape that would be wider, mm, is drawn smaller.
const WIDEST: f64 = 48.0;
/// Between two shapes, and from a shape's foot to the baseline of its size below, mm.
const APART: f64 = 6.0;
const BELOW: f64 = 4.2;
/// Between two forms, mm: beside and below each other.
const FORMS_APART: (f64, f64) = (14.0, 9.0);
/// From a form's name to its shapes, mm.
const UNDER_NAME: f64 = 7.5;

/// Every shape of a list; `own` tells which the user added, and those come first.
///
/// # Errors
/// When a built-in font is damaged.
pub fn of_shapes(list: Shapes, own: &dyn Fn(Shape) -> bool) -> Result<Drawing, DrawingError> {
    let lettering = Lettering::load()?;
    let mut sheet = Drawing::sheet(WIDTH, 0.0);
    let count = list.all().filter(|shape| own(*shape)).count();
    let told = match count {
        0 => "all of them come with the program".to_owned(),
        1 => "one of them is your own, marked *".to_owned(),
        n => format!("{n} of them are your own, marked *"),
    };
    let head = "Shapes that pieces are looked for in";
    let mut y = FORMS_APART.1 + title(&mut sheet, &lettering, head, &told);
    let (mut x, mut lowest) = (MARGIN, y);
    let mut forms = list.forms();
    forms.sort_by_key(|form| !list.of_form(*form).into_iter().any(own));
    for form in forms {
        let block = block(list, form, own, &lettering);
        if x > MARGIN && x + block.width_mm > WIDTH - MARGIN {
            (x, y) = (MARGIN, lowest + FORMS_APART.1);
        }
        lowest = lowest.max(y + block.height_mm);
        let width = block.width_mm;
        sheet.place(block, Mm::new(x, y));
        x += width + FORMS_APART.0;
    }
    let mut whole = Drawing::sheet(WIDTH, lowest + MARGIN);
    whole.shapes.extend(sheet.shapes.into_iter().skip(1));
    Ok(whole)
}

/// A form's name and height, and all its shapes below.
fn block(list: Shapes, form: Form, own: &dyn Fn(Shape) -> bool, lettering: &Lettering) -> Drawing {
    let shapes = list.of_form(form);
    let mut heights: Vec<String> = shapes.iter().map(|s| s.height_mm().to_string()).collect();
    heights.dedup();
    let high = format!("{} mm high", heights.join(", "));
    let (name, beside) = (strong(4.4), faint(3.4));
    let after = lettering.width_mm(form.name(), name) + 2.5;
    let mut block = Drawing {
        width_mm: after + lettering.width_mm(&high, beside),
        height_mm: UNDER_NAME,
        shapes: vec![
            lettering.line(form.name(), name, Mm::new(0.0, 4.0)),
            lettering.line(&high, beside, Mm::new(after, 4.0)),
        ],
    };
    let mut row: Vec<(Shape, Drawing)> = Vec::new();
    let mut room = WIDTH - 2.0 * MARGIN;
    for shape in shapes {
        let mut picture = drawn(shape, SCALE);
        if picture.width_mm > WIDEST {
            picture = drawn(shape, SCALE * WIDEST / picture.width_mm);
        }
        if picture.width_mm > room {
            shelf(&mut block, std::mem::take(&mut row), own, lettering);
            room = WIDTH - 2.0 * MARGIN;
        }
        room -= picture.width_mm + APART;
        row.push((shape, picture));
    }
    shelf(&mut block, row, own, lettering);
    block
}

/// Adds a row at the foot of a block, each shape with its size below.
fn shelf(
    block: &mut Drawing,
    row: Vec<(Shape, Drawing)>,
    own: &dyn Fn(Shape) -> bool,
    lettering: &Lettering,
) {
    let high = row.iter().map(|(_, d)| d.height_mm).fold(0.0, f64::max);
    let style = Style {
        ink: DARK,
        ..faint(3.2)
    };
    let (y, mut x) = (block.height_mm, 0.0);
    for (shape, picture) in row {
        let mark = if own(shape) { "*" } else { "" };
        let size = format!("{}{mark}", shape.size());
        let words = lettering.width_mm(&size, style);
        let (width, height) = (picture.width_mm.max(words), picture.height_mm);
        let middle = |part: f64| x + (width - part) / 2.0;
        let under = Mm::new(middle(words), y + high + BELOW);
        let above = Mm::new(middle(picture.width_mm), y + high - height);
        block.place(picture, above);
        block.shapes.push(lettering.line(&size, style, under));
        block.width_mm = block.width_mm.max(x + width);
        x += width + APART;
    }
    block.height_mm = y + high + BELOW + 2.0;
}
