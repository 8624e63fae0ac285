//! The card alone: tags, patches, check bar.

use crate::card::design::{CardDesign, ScaleBar, Tag};
use crate::drawing::lettering::{Lettering, Style, Weight};
use crate::drawing::{Drawing, Ink, rect_path};
use crate::units::Mm;

/// Thickness of the check bar's line and ticks: thin enough to read a ruler by,
/// and a whole number of pixels at [`super::png::PX_PER_MM`].
const BAR_THICK_MM: f64 = 0.3;
const TICK_THICK_MM: f64 = 0.2;

const BAR_WORDS: &str = "this bar is 100 mm long: check it with a ruler";
/// From the bar's line down to the baseline of its words.
const BAR_WORDS_DROP_MM: f64 = 5.15;
const BAR_WORDS_STYLE: Style = Style {
    weight: Weight::Regular,
    size_mm: 2.8,
    ink: Ink::BLACK,
};

/// Draws the card, [`CardDesign::width_mm`] x [`CardDesign::height_mm`].
pub fn card(design: &CardDesign, lettering: &Lettering) -> Drawing {
    let mut drawing = Drawing::sheet(design.width_mm, design.height_mm);
    for tag in &design.tags {
        draw_tag(&mut drawing, tag);
    }
    for patch in &design.patches {
        let corner = Mm::new(patch.x_mm, patch.y_mm);
        drawing.rect(corner, patch.width_mm, patch.height_mm, Ink(patch.srgb));
    }
    draw_bar(&mut drawing, &design.scale_bar, lettering);
    drawing
}

fn draw_tag(drawing: &mut Drawing, tag: &Tag) {
    let cell = tag.cell_mm();
    drawing.rect(
        Mm::new(tag.x_mm, tag.y_mm),
        tag.size_mm,
        tag.size_mm,
        Ink::BLACK,
    );
    // One path for all white cells: filled together they leave no hairlines where
    // two of them touch.
    let mut white = Vec::new();
    for row in 0..Tag::CELLS {
        for column in 0..Tag::CELLS {
            if tag.is_white(row, column) {
                let x = tag.x_mm + column as f64 * cell;
                let y = tag.y_mm + row as f64 * cell;
                white.extend(rect_path(Mm::new(x, y), cell, cell));
            }
        }
    }
    drawing.path(white, Ink::WHITE);
}

fn draw_bar(drawing: &mut Drawing, bar: &ScaleBar, lettering: &Lettering) {
    let half_tick = TICK_THICK_MM / 2.0;
    let start = Mm::new(bar.x_mm - half_tick, bar.y_mm);
    drawing.level_line(
        start,
        bar.length_mm + TICK_THICK_MM,
        BAR_THICK_MM,
        Ink::BLACK,
    );
    let ticks = (bar.length_mm / ScaleBar::STEP_MM).round() as u32;
    for tick in 0..=ticks {
        let x = bar.x_mm + f64::from(tick) * ScaleBar::STEP_MM;
        let top = Mm::new(x, bar.y_mm - bar.tick_mm / 2.0);
        drawing.upright_line(top, bar.tick_mm, TICK_THICK_MM, Ink::BLACK);
    }
    let at = Mm::new(bar.x_mm, bar.y_mm + BAR_WORDS_DROP_MM);
    drawing
        .shapes
        .push(lettering.line(BAR_WORDS, BAR_WORDS_STYLE, at));
}
