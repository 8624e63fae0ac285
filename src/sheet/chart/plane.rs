//! Colours in the a* b* plane.

use super::swatches::Taught;
use super::{ALERT, DARK, FAINT, GRID, faint, ink_of, plain, stroke, strong};
use crate::drawing::{Drawing, Ink, Lettering, circle_path};
use crate::sheet::PatchReport;
use crate::units::Mm;

/// Side of the plane, mm.
const SIDE: f64 = 128.0;
/// Room above it for its heading.
const HEAD: f64 = 8.0;
/// The plane reaches at least so far from grey.
const LEAST_REACH: f64 = 50.0;
/// Height of a line of names, mm.
const LINE: f64 = 3.1;
/// Patches further off than this (dE00) are drawn as needing a look.
const FAR: f64 = 5.0;

struct Plane {
    drawing: Drawing,
    reach: f64,
}

impl Plane {
    fn new(head: &str, colours: impl Iterator<Item = [f64; 3]>, lettering: &Lettering) -> Self {
        let most = colours
            .flat_map(|lab| [lab[1].abs(), lab[2].abs()])
            .filter(|v| v.is_finite())
            .fold(LEAST_REACH, f64::max);
        let reach = ((most + 4.0) / 10.0).ceil() * 10.0;
        let mut plane = Self {
            drawing: Drawing::sheet(SIDE, SIDE + HEAD),
            reach,
        };
        let at = |x: f64, y: f64| Mm::new(x, y);
        let words = lettering.line(head, strong(4.4), at(0.0, 4.5));
        plane.drawing.shapes.push(words);
        let step = 20.0;
        let lines = (reach / step).floor() as i32;
        for k in -lines..=lines {
            let value = f64::from(k) * step;
            let ink = if k == 0 { FAINT } else { GRID };
            let (x, y) = (plane.at(value, 0.0).x, plane.at(0.0, value).y);
            let sheet = &mut plane.drawing;
            sheet.upright_line(at(x, HEAD), SIDE, 0.25, ink);
            sheet.level_line(at(0.0, y), SIDE, 0.25, ink);
            let label = format!("{value:.0}");
            let (below, beside) = (HEAD + SIDE - 1.2, 1.0);
            // None at the very edge, where there is no room.
            if k != 0 && value.abs() < 0.95 * reach {
                let words = lettering.line(&label, faint(2.8), at(x + 0.6, below));
                sheet.shapes.push(words);
                let words = lettering.line(&label, faint(2.8), at(beside, y - 0.6));
                sheet.shapes.push(words);
            }
        }
        let ends = [
            ("a*", SIDE - 5.0, HEAD + SIDE / 2.0 - 1.5),
            ("b*", SIDE / 2.0 + 1.5, HEAD + 4.0),
        ];
        for (name, x, y) in ends {
            let words = lettering.line(name, strong(3.6), at(x, y));
            plane.drawing.shapes.push(words);
        }
        plane
    }

    fn at(&self, a: f64, b: f64) -> Mm {
        let scale = SIDE / (2.0 * self.reach);
        Mm::new(SIDE / 2.0 + a * scale, HEAD + SIDE / 2.0 - b * scale)
    }

    fn dot(&mut self, lab: [f64; 3], radius: f64, rim: Ink) {
        let middle = self.at(lab[1], lab[2]);
        self.drawing.path(circle_path(middle, radius), rim);
        let inner = circle_path(middle, radius - 0.35);
        self.drawing.path(inner, ink_of(lab));
    }
}

/// Each patch: a ring where the greys alone put it, a line to where the correction does, and a cross at
/// what it should be.
pub fn of_patches(patches: &[PatchReport], lettering: &Lettering) -> Drawing {
    let colours = patches.iter().flat_map(|p| [p.target_lab, p.balanced_lab]);
    let mut plane = Plane::new(
        "Patches before (ring) and after (dot); cross: as they should be",
        colours,
        lettering,
    );
    for patch in patches {
        let [before, after, target] = [patch.balanced_lab, patch.corrected_lab, patch.target_lab]
            .map(|lab| plane.at(lab[1], lab[2]));
        let sheet = &mut plane.drawing;
        stroke(sheet, before, after, 0.35, FAINT);
        sheet.path(circle_path(before, 1.3), FAINT);
        sheet.path(circle_path(before, 0.95), Ink::WHITE);
        let rim = if patch.de00 > FAR { ALERT } else { DARK };
        plane.dot(patch.corrected_lab, 2.0, rim);
        for (dx, dy) in [(1.6, 1.6), (1.6, -1.6)] {
            let (from, to) = (
                Mm::new(target.x - dx, target.y - dy),
                Mm::new(target.x + dx, target.y + dy),
            );
            stroke(&mut plane.drawing, from, to, 0.3, DARK);
        }
    }
    plane.drawing
}

/// Each taught colour with its name.
pub fn of_swatches(taught: &[Taught], lettering: &Lettering) -> Drawing {
    let colours = taught.iter().map(|t| t.lab);
    let mut plane = Plane::new("Where they lie", colours, lettering);
    for swatch in taught {
        let rim = if swatch.close { ALERT } else { DARK };
        plane.dot(swatch.lab, 2.4, rim);
    }
    let style = plain(2.9);
    let mut taken: Vec<(Mm, f64)> = Vec::new();
    for swatch in taught {
        let middle = plane.at(swatch.lab[1], swatch.lab[2]);
        let width = lettering.width_mm(&swatch.name, style);
        // Names near the right edge stand to the left of their dot.
        let x = if middle.x + 3.0 + width > SIDE {
            middle.x - 3.0 - width
        } else {
            middle.x + 3.0
        };
        // The nearest line, up or down, that no other name stands on.
        let free = |at: &Mm| {
            taken.iter().all(|(other, other_width)| {
                (at.y - other.y).abs() > LINE - 0.1
                    || at.x > other.x + other_width + 1.0
                    || other.x > at.x + width + 1.0
            })
        };
        let lines = (0..12).flat_map(|k| [f64::from(k), -f64::from(k)]);
        let mut places = lines.map(|k| Mm::new(x, middle.y + 1.0 + k * LINE));
        let place = places.find(free).unwrap_or(Mm::new(x, middle.y + 1.0));
        taken.push((place, width));
        let words = lettering.line(&swatch.name, style, place);
        plane.drawing.shapes.push(words);
    }
    plane.drawing
}
