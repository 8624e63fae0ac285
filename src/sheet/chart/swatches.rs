//! The taught colours as a list.

use super::{ALERT, faint, ink_of, plain, strong};
use crate::drawing::lettering::Style;
use crate::drawing::{Drawing, Lettering, round_rect_path};
use crate::units::Mm;

/// A taught colour for drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Taught {
    /// Its name.
    pub name: String,
    /// Its colour, CIELAB D65.
    pub lab: [f64; 3],
    /// The nearest other one and how far it is, dE00.
    pub nearest: Option<(String, f64)>,
    /// Whether the two are so close that pieces will often be doubtful.
    pub close: bool,
}

const WIDTH: f64 = 140.0;
const HEAD: f64 = 9.0;
const ROW: f64 = 13.0;

/// Two columns of swatches with name and nearest neighbour.
pub fn list(taught: &[Taught], lettering: &Lettering) -> Drawing {
    let rows = taught.len().div_ceil(2);
    let mut sheet = Drawing::sheet(WIDTH, HEAD + ROW * rows as f64);
    let head = lettering.line("What was taught", strong(4.4), Mm::new(0.0, 4.5));
    sheet.shapes.push(head);
    for (k, swatch) in taught.iter().enumerate() {
        let x = (WIDTH / 2.0) * (k / rows.max(1)) as f64;
        let y = HEAD + ROW * (k % rows.max(1)) as f64;
        let block = round_rect_path(Mm::new(x, y), 18.0, ROW - 2.5, 1.5);
        sheet.path(block, ink_of(swatch.lab));
        let line = |words: &str, style: Style, below: f64| {
            lettering.line(words, style, Mm::new(x + 21.0, y + below))
        };
        sheet.shapes.push(line(&swatch.name, strong(3.8), 4.4));
        let note = match &swatch.nearest {
            Some((other, off)) => format!("{off:.1} from {other}"),
            None => "the only one".to_owned(),
        };
        let style = if swatch.close {
            Style {
                ink: ALERT,
                ..plain(3.0)
            }
        } else {
            faint(3.0)
        };
        sheet.shapes.push(line(&note, style, 9.0));
    }
    sheet
}
