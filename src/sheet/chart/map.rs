//! The light over the tray, seen from above.

use super::{DARK, faint, plain, strong};
use crate::card::design::CardDesign;
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

/// Cells from dark to light, the card's place, and in words how much the light changes.
pub fn draw(map: &LightMap, fall_off_percent: [f64; 2], lettering: &Lettering) -> Drawing {
    let mut sheet = Drawing::sheet(ROOM[0], HEAD + ROOM[1]);
    let words = |sheet: &mut Drawing, text: &str, style, x: f64, y: f64| {
        let line = lettering.line(text, style, Mm::new(x, y));
        sheet.shapes.push(line);
    };
    words(
        &mut sheet,
        "Light on the tray, 100 % on the card",
        strong(4.4),
        0.0,
        4.5,
    );
    let values = || map.cells.iter().map(|c| c.1).filter(|v| v.is_finite());
    let (least, most) = (
        values().fold(f64::INFINITY, f64::min),
        values().fold(f64::NEG_INFINITY, f64::max),
    );
    if least > most {
        words(&mut sheet, "no bare tray in view", faint(3.4), 0.0, 12.0);
        return sheet;
    }
    let design = CardDesign::v1();
    let card = design.corners_mm();
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
    let legend = 30.0;
    let scale = ((ROOM[0] - legend) / (right - left)).min(ROOM[1] / (bottom - top));
    let at = |p: Mm| Mm::new((p.x - left) * scale, HEAD + (p.y - top) * scale);
    let shade = |value: f64| {
        // Half the range around what is there, so that an even light looks even.
        let span = (most - least).max(0.2);
        let share = ((value - (most + least) / 2.0) / span + 0.5).clamp(0.0, 1.0);
        let mix = |dark: f64, light: f64| (dark + (light - dark) * share).round() as u8;
        Ink([mix(44.0, 255.0), mix(62.0, 244.0), mix(92.0, 205.0)])
    };
    let side = map.cell_mm * scale;
    for (place, value) in &map.cells {
        let middle = at(*place);
        let corner = Mm::new(middle.x - side / 2.0, middle.y - side / 2.0);
        // Well over the next cells, which come later, so that no seams show.
        sheet.rect(corner, side + OVER_MM, side + OVER_MM, shade(*value));
    }
    let corner = at(card[0]);
    let (width, height) = (design.width_mm * scale, design.height_mm * scale);
    sheet.rect(corner, width, height, DARK);
    let inner = Mm::new(corner.x + 0.4, corner.y + 0.4);
    sheet.rect(inner, width - 0.8, height - 0.8, Ink::WHITE);
    let label = plain(3.2);
    let x = corner.x + (width - lettering.width_mm("card", label)) / 2.0;
    words(&mut sheet, "card", label, x, corner.y + height / 2.0 + 1.1);
    let x = ROOM[0] - legend + 4.0;
    for k in 0..5 {
        let value = most + (least - most) * f64::from(k) / 4.0;
        let y = HEAD + 9.0 * f64::from(k);
        sheet.rect(Mm::new(x, y), 7.0, 7.0, shade(value));
        let percent = format!("{:.0} %", 100.0 * value);
        words(&mut sheet, &percent, plain(3.4), x + 9.0, y + 4.8);
    }
    if fall_off_percent.iter().all(|v| v.is_finite()) {
        let lines = [
            "per 100 mm".to_owned(),
            format!("{:+.0} % along,", fall_off_percent[0]),
            format!("{:+.0} % across", fall_off_percent[1]),
            "the card".to_owned(),
        ];
        for (k, line) in lines.iter().enumerate() {
            words(
                &mut sheet,
                line,
                faint(3.0),
                x,
                HEAD + 51.0 + 4.2 * k as f64,
            );
        }
    }
    sheet
}
