//! The light over the tray, seen from above.

use super::{DARK, faint, plain, strong};
use crate::card::design::CardDesign;
use crate::drawing::lettering::Style;
use crate::drawing::{Drawing, Ink, Lettering};
use crate::units::Mm;

/// Light on a grid of places.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LightMap {
    /// Side of a cell, mm.
    pub cell_mm: f64,
    /// Middle of each cell on the tray, and the light there relative to that on the card (1).
    pub cells: Vec<(Mm, f64)>,
}

/// Largest room for the map, mm.
const ROOM: [f64; 2] = [128.0, 74.0];
const HEAD: f64 = 8.0;
/// How far a cell reaches over the next ones, mm.
const OVER_MM: f64 = 0.4;

/// Room for the legend at the right, mm.
const LEGEND: f64 = 30.0;

/// Cells from dark to light, the card's place, and in words how much the light changes.
pub fn draw(map: &LightMap, fall_off_percent: [f64; 2], lettering: &Lettering) -> Drawing {
    let mut drawing = Drawing::sheet(ROOM[0], HEAD + ROOM[1]);
    let mut sheet = Sheet {
        drawing: &mut drawing,
        lettering,
    };
    let title = "Light on the tray, 100 % on the card";
    sheet.words(title, strong(4.4), 0.0, 4.5);
    let values = || map.cells.iter().map(|c| c.1).filter(|v| v.is_finite());
    let range = Range {
        least: values().fold(f64::INFINITY, f64::min),
        most: values().fold(f64::NEG_INFINITY, f64::max),
    };
    if range.least > range.most {
        sheet.words("no bare tray in view", faint(3.4), 0.0, 12.0);
        return drawing;
    }
    let frame = Frame::around(map);
    let side = map.cell_mm * frame.scale;
    for (place, value) in &map.cells {
        let middle = frame.at(*place);
        let corner = Mm::new(middle.x - side / 2.0, middle.y - side / 2.0);
        // Well over the next cells, which come later, so that no seams show.
        let side = side + OVER_MM;
        (sheet.drawing).rect(corner, side, side, range.shade(*value));
    }
    card(&mut sheet, &frame);
    legend(&mut sheet, &range, fall_off_percent);
    drawing
}

/// What is drawn on, with the letters to write on it.
struct Sheet<'a> {
    drawing: &'a mut Drawing,
    lettering: &'a Lettering,
}

impl Sheet<'_> {
    fn words(&mut self, text: &str, style: Style, x: f64, y: f64) {
        let line = self.lettering.line(text, style, Mm::new(x, y));
        self.drawing.shapes.push(line);
    }
}

/// The light on the darkest and the lightest cell.
struct Range {
    least: f64,
    most: f64,
}

impl Range {
    fn shade(&self, value: f64) -> Ink {
        let (least, most) = (self.least, self.most);
        // Half the range around what is there, so that an even light looks even.
        let span = (most - least).max(0.2);
        let share = ((value - (most + least) / 2.0) / span + 0.5).clamp(0.0, 1.0);
        let mix = |dark: f64, light: f64| (dark + (light - dark) * share).round() as u8;
        Ink([mix(44.0, 255.0), mix(62.0, 244.0), mix(92.0, 205.0)])
    }
}

/// How the tray lies on the sheet.
struct Frame {
    left: f64,
    top: f64,
    /// Millimetres of the sheet for one of the tray.
    scale: f64,
}

impl Frame {
    /// As large as cells and card fit beside the legend.
    fn around(map: &LightMap) -> Self {
        let card = CardDesign::v1().corners_mm();
        let places = || map.cells.iter().map(|c| c.0).chain(card);
        let half = map.cell_mm / 2.0;
        let edge = |of: fn(Mm) -> f64, pick: fn(f64, f64) -> f64, start: f64| {
            places().map(of).fold(start, pick)
        };
        let (left, right) = (
            edge(|p| p.x, f64::min, f64::INFINITY) - half,
            edge(|p| p.x, f64::max, f64::NEG_INFINITY) + half,
        );
        let (top, bottom) = (
            edge(|p| p.y, f64::min, f64::INFINITY) - half,
            edge(|p| p.y, f64::max, f64::NEG_INFINITY) + half,
        );
        let scale = ((ROOM[0] - LEGEND) / (right - left)).min(ROOM[1] / (bottom - top));
        Self { left, top, scale }
    }

    fn at(&self, p: Mm) -> Mm {
        Mm::new(
            (p.x - self.left) * self.scale,
            HEAD + (p.y - self.top) * self.scale,
        )
    }
}

fn card(sheet: &mut Sheet<'_>, frame: &Frame) {
    let design = CardDesign::v1();
    let corner = frame.at(design.corners_mm()[0]);
    let (width, height) = (
        design.width_mm * frame.scale,
        design.height_mm * frame.scale,
    );
    sheet.drawing.rect(corner, width, height, DARK);
    let inner = Mm::new(corner.x + 0.4, corner.y + 0.4);
    (sheet.drawing).rect(inner, width - 0.8, height - 0.8, Ink::WHITE);
    let label = plain(3.2);
    let x = corner.x + (width - sheet.lettering.width_mm("card", label)) / 2.0;
    sheet.words("card", label, x, corner.y + height / 2.0 + 1.1);
}

/// Which shade is which light, and how fast it falls off.
fn legend(sheet: &mut Sheet<'_>, range: &Range, fall_off_percent: [f64; 2]) {
    let x = ROOM[0] - LEGEND + 4.0;
    for k in 0..5 {
        let value = range.most + (range.least - range.most) * f64::from(k) / 4.0;
        let y = HEAD + 9.0 * f64::from(k);
        (sheet.drawing).rect(Mm::new(x, y), 7.0, 7.0, range.shade(value));
        let percent = format!("{:.0} %", 100.0 * value);
        sheet.words(&percent, plain(3.4), x + 9.0, y + 4.8);
    }
    if fall_off_percent.iter().all(|v| v.is_finite()) {
        let lines = [
            "per 100 mm".to_owned(),
            format!("{:+.0} % along,", fall_off_percent[0]),
            format!("{:+.0} % across", fall_off_percent[1]),
            "the card".to_owned(),
        ];
        for (k, line) in lines.iter().enumerate() {
            sheet.words(line, faint(3.0), x, HEAD + 51.0 + 4.2 * k as f64);
        }
    }
}
