//! Colours in the a* b* plane.

use super::names;
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
/// Patches further off than this (dE00) are drawn as needing a look.
const FAR: f64 = 5.0;

struct Plane {
    drawing: Drawing,
    reach: f64,
}

impl Plane {
    fn new(head: &str, colours: impl Iterator<Item = [f64; 3]>, lettering: &Lettering) -> Self {
        let colours: Vec<[f64; 3]> = colours.collect();
        let most = colours
            .iter()
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
        // On the side of its axis where no colour lies.
        let dots: Vec<Mm> = colours.iter().map(|lab| plane.at(lab[1], lab[2])).collect();
        let free = |x: f64, y: f64| {
            let middle = at(x + 2.0, y - 1.5);
            dots.iter().all(|dot| dot.distance(middle) > 5.0)
        };
        let ends = [
            (
                "a*",
                [SIDE - 5.0; 2],
                [-1.5, 4.5].map(|d| HEAD + SIDE / 2.0 + d),
            ),
            ("b*", [1.5, -6.0].map(|d| SIDE / 2.0 + d), [HEAD + 4.0; 2]),
        ];
        for (name, x, y) in ends {
            let k = usize::from(!free(x[0], y[0]) && free(x[1], y[1]));
            let words = lettering.line(name, strong(3.6), at(x[k], y[k]));
            plane.drawing.shapes.push(words);
        }
        plane
    }

    fn at(&self, a: f64, b: f64) -> Mm {
        let scale = SIDE / (2.0 * self.reach);
        Mm::new(SIDE / 2.0 + a * scale, HEAD + SIDE / 2.0 - b * scale)
    }

    fn dot(&mut self, lab: [f64; 3], radius: f64, rim: Ink) {
        self.dot_at(self.at(lab[1], lab[2]), lab, radius, rim);
    }

    fn dot_at(&mut self, middle: Mm, lab: [f64; 3], radius: f64, rim: Ink) {
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
    let style = plain(2.9);
    let place = |t: &Taught| plane.at(t.lab[1], t.lab[2]);
    let dots: Vec<Mm> = taught.iter().map(place).collect();
    let width = |t: &Taught| lettering.width_mm(&t.name, style);
    let widths: Vec<f64> = taught.iter().map(width).collect();
    let labels = names::place(&dots, &widths, HEAD, Mm::new(SIDE, HEAD + SIDE));
    // Lines lie below all dots, so that none is taken for part of one.
    for [from, to] in labels.iter().filter_map(|label| label.leader) {
        stroke(&mut plane.drawing, from, to, 0.2, FAINT);
    }
    let rim = |swatch: &Taught| if swatch.close { ALERT } else { DARK };
    for swatch in taught {
        plane.dot(swatch.lab, names::DOT, rim(swatch));
    }
    for (swatch, label) in taught.iter().zip(labels) {
        if let Some([_, to]) = label.leader {
            // A dot of its own, as the other may be covered.
            plane.dot_at(to, swatch.lab, names::CHIP, rim(swatch));
        }
        let words = lettering.line(&swatch.name, style, label.at);
        plane.drawing.shapes.push(words);
    }
    plane.drawing
}
