//! A sheet of paper with the card on it: crop marks, and how to print, check, cut
//! and keep it.
//!
//! The card's left edge gives the sheet its left margin and the card's width its
//! measure. Two columns of directions stand beside an upright check bar: printers
//! stretch along the way of the paper too, which the card's own bar cannot show.

use super::Paper;
use super::card::card;
use super::picture;
use crate::card::design::{CardDesign, ScaleBar};
use crate::drawing::lettering::{Lettering, Style, Weight};
use crate::drawing::{Drawing, Ink, round_rect_path};
use crate::units::Mm;

/// Top of the card on the sheet: whole mm, so that a picture of the sheet at the
/// card's own resolution has its edges between pixels.
pub const CARD_TOP_MM: f64 = 37.0;

const TITLE_BASELINE_MM: f64 = 20.5;
const LEAD_BASELINE_MM: f64 = 27.5;
const STEPS_TOP_MM: f64 = 123.0;
/// Baseline of the last line, up from the sheet's lower edge; most printers reach
/// to within 5 mm.
const FOOT_MM: f64 = 12.0;

/// From the card's corner to a crop mark, and the mark's own length and thickness.
/// Gap and length together stay inside the 10 mm beside the card on A4 less the
/// 5 mm that a printer cannot reach.
const CROP_GAP_MM: f64 = 1.2;
const CROP_MM: f64 = 3.6;
const CROP_THICK_MM: f64 = 0.15;

/// The upright bar's place right of the margin, and its thickness as on the card.
const SIDE_BAR_MM: f64 = 2.0;
const SIDE_BAR_THICK_MM: f64 = 0.3;
const SIDE_TICK_MM: f64 = 4.0;
const SIDE_TICK_THICK_MM: f64 = 0.2;

const FIRST_COLUMN_MM: f64 = 20.0;
const SECOND_COLUMN_MM: f64 = 110.0;
const COLUMN_MM: f64 = 80.0;
/// From a column's edge to its text, right of the number.
const INDENT_MM: f64 = 11.0;
const ROW_GAP_MM: f64 = 9.0;

const ACCENT: Ink = Ink([9, 105, 110]);
const GREY: Ink = Ink([96, 96, 96]);
const TINT: Ink = Ink([240, 244, 244]);

const TITLE: Style = style(Weight::SemiBold, 8.0, Ink::BLACK);
const LEAD: Style = style(Weight::Regular, 4.2, GREY);
const HEADING: Style = style(Weight::SemiBold, 4.4, Ink::BLACK);
const BODY: Style = style(Weight::Regular, 3.7, Ink::BLACK);
const SMALL: Style = style(Weight::Regular, 3.2, GREY);
const LEADING_MM: f64 = 5.2;
/// From a step's top to its heading's baseline, level with the number beside it.
const HEADING_DROP_MM: f64 = 4.7;
const HEADING_TO_BODY_MM: f64 = 6.0;

const fn style(weight: Weight, size_mm: f64, ink: Ink) -> Style {
    Style {
        weight,
        size_mm,
        ink,
    }
}

const LEAD_WORDS: &str =
    "Lay it on the tray beside the pieces: it gives every photo its scale and its colours.";

struct Step {
    heading: &'static str,
    words: &'static str,
}

// A no-break space (\u{a0}) keeps a number with its unit. Paper weight: common
// practice, no source.
const PRINT: Step = Step {
    heading: "Print at true size",
    words: "Set the scale to 100\u{a0}% or “actual size”, never “fit to page”. Print in \
            colour at the best quality on matt white paper; heavy paper, 160\u{a0}g/m² \
            or more, lies flatter.",
};
// Half a millimetre in 100 makes the longest common piece, 8 studs or 64 mm, wrong by
// 0.3 mm: far from the 8 mm to the next size.
const CHECK: Step = Step {
    heading: "Check with a ruler",
    words: "The bar on the card and the bar at the left of this page must each be \
            100\u{a0}mm long. If one is off by more than half a millimetre, print \
            again with all scaling switched off.",
};
const CUT: Step = Step {
    heading: "Cut it out",
    words: "Cut from corner mark to corner mark. It need not be exact, but keep at \
            least 3\u{a0}mm of white around the black squares.",
};
const KEEP: Step = Step {
    heading: "Keep it flat and matt",
    words: "Lay it face up where the pieces lie. Do not laminate it or cover it with \
            tape: shine hides its colours. Print a new one when it is bent, stained \
            or faded.",
};
const CAUTION: Step = Step {
    heading: "Mind fingers and small children",
    words: "Cutting is a job for an adult: on a cutting mat, with the blade moving away \
            from the fingers that hold the ruler, or with scissors. Small pieces can \
            be swallowed: keep them away from small children.",
};
const PICTURE_WORDS: &str =
    "From straight above: the whole card and all the pieces in one photo, nothing on the card.";

/// Draws the sheet.
pub fn page(design: &CardDesign, paper: Paper, lettering: &Lettering) -> Drawing {
    let (width, height) = paper.size_mm();
    let left = (width - design.width_mm) / 2.0;
    let mut sheet = Sheet {
        drawing: Drawing::sheet(width, height),
        lettering,
        left,
        right: left + design.width_mm,
    };
    sheet.head();
    let corner = Mm::new(left, CARD_TOP_MM);
    sheet.drawing.place(card(design, lettering), corner);
    sheet.crop_marks(corner, design);
    sheet.side_bar(design.scale_bar.length_mm);
    sheet.directions(design);
    sheet.foot(design, paper, height - FOOT_MM);
    sheet.drawing
}

struct Sheet<'a> {
    drawing: Drawing,
    lettering: &'a Lettering,
    left: f64,
    right: f64,
}

impl Sheet<'_> {
    fn write(&mut self, words: &str, style: Style, x: f64, baseline: f64) {
        let line = self.lettering.line(words, style, Mm::new(x, baseline));
        self.drawing.shapes.push(line);
    }

    fn write_to_right(&mut self, words: &str, style: Style, baseline: f64) {
        let x = self.right - self.lettering.width_mm(words, style);
        self.write(words, style, x, baseline);
    }

    /// Writes words as a paragraph from this baseline; gives the last baseline.
    fn paragraph(&mut self, words: &str, style: Style, x: f64, width: f64, baseline: f64) -> f64 {
        let mut last = baseline;
        for (index, line) in self.lettering.wrap(words, style, width).iter().enumerate() {
            last = baseline + index as f64 * LEADING_MM;
            self.write(line, style, x, last);
        }
        last
    }

    fn head(&mut self) {
        self.write("Reference card", TITLE, self.left, TITLE_BASELINE_MM);
        self.write_to_right("cuptally card v1", SMALL, TITLE_BASELINE_MM);
        self.write(LEAD_WORDS, LEAD, self.left, LEAD_BASELINE_MM);
    }

    fn crop_marks(&mut self, corner: Mm, design: &CardDesign) {
        let away = CROP_GAP_MM + CROP_MM;
        let (right, bottom) = (corner.x + design.width_mm, corner.y + design.height_mm);
        for y in [corner.y, bottom] {
            for x in [corner.x - away, right + CROP_GAP_MM] {
                let from = Mm::new(x, y);
                self.drawing
                    .level_line(from, CROP_MM, CROP_THICK_MM, Ink::BLACK);
            }
        }
        for x in [corner.x, right] {
            for y in [corner.y - away, bottom + CROP_GAP_MM] {
                let from = Mm::new(x, y);
                self.drawing
                    .upright_line(from, CROP_MM, CROP_THICK_MM, Ink::BLACK);
            }
        }
    }

    /// A check bar along the way of the paper.
    fn side_bar(&mut self, length: f64) {
        let x = self.left + SIDE_BAR_MM;
        let top = Mm::new(x, STEPS_TOP_MM - SIDE_TICK_THICK_MM / 2.0);
        self.drawing.upright_line(
            top,
            length + SIDE_TICK_THICK_MM,
            SIDE_BAR_THICK_MM,
            Ink::BLACK,
        );
        let ticks = (length / ScaleBar::STEP_MM).round() as u32;
        for tick in 0..=ticks {
            let y = STEPS_TOP_MM + f64::from(tick) * ScaleBar::STEP_MM;
            let from = Mm::new(x - SIDE_TICK_MM / 2.0, y);
            self.drawing
                .level_line(from, SIDE_TICK_MM, SIDE_TICK_THICK_MM, Ink::BLACK);
        }
        let words = "this bar too is 100\u{a0}mm long";
        let at = Mm::new(x + 5.5, STEPS_TOP_MM + length);
        let line = self.lettering.line_upwards(words, SMALL, at);
        self.drawing.shapes.push(line);
    }

    fn directions(&mut self, design: &CardDesign) {
        let first = self.left + FIRST_COLUMN_MM;
        let second = self.left + SECOND_COLUMN_MM;
        let row = STEPS_TOP_MM;
        let end = self.step(1, &PRINT, first, row);
        let row_2 = end.max(self.step(2, &CHECK, second, row)) + ROW_GAP_MM;
        let end = self.step(3, &CUT, first, row_2);
        let row_3 = end.max(self.step(4, &KEEP, second, row_2)) + ROW_GAP_MM;
        self.caution(first, row_3);
        self.picture(design, second + INDENT_MM, row_3);
    }

    /// One numbered direction, its top at `top`; gives where it ends.
    fn step(&mut self, number: u8, step: &Step, x: f64, top: f64) -> f64 {
        let badge = picture::badge(self.lettering, number, ACCENT);
        self.drawing.place(badge, Mm::new(x, top));
        let text = x + INDENT_MM;
        let baseline = top + HEADING_DROP_MM;
        self.write(step.heading, HEADING, text, baseline);
        let width = COLUMN_MM - INDENT_MM;
        self.paragraph(step.words, BODY, text, width, baseline + HEADING_TO_BODY_MM)
    }

    fn caution(&mut self, x: f64, top: f64) {
        let padding = 5.0;
        let text = x + INDENT_MM;
        let width = COLUMN_MM - INDENT_MM - padding;
        let lines = self.lettering.wrap(CAUTION.words, BODY, width).len();
        let height =
            2.0 * padding + 4.0 + HEADING_TO_BODY_MM + lines.saturating_sub(1) as f64 * LEADING_MM;
        let panel = round_rect_path(Mm::new(x, top), COLUMN_MM, height, 2.5);
        self.drawing.path(panel, TINT);
        let sign = picture::caution_sign(self.lettering);
        self.drawing
            .place(sign, Mm::new(x + 2.6, top + padding - 1.2));
        let baseline = top + padding + 3.4;
        self.write(CAUTION.heading, HEADING, text, baseline);
        self.paragraph(
            CAUTION.words,
            BODY,
            text,
            width,
            baseline + HEADING_TO_BODY_MM,
        );
    }

    fn picture(&mut self, design: &CardDesign, x: f64, top: f64) {
        let picture = picture::tray(design, ACCENT);
        let below = top + picture.height_mm + 5.5;
        self.drawing.place(picture, Mm::new(x, top));
        let width = COLUMN_MM - INDENT_MM;
        self.paragraph(PICTURE_WORDS, SMALL, x, width, below);
    }

    fn foot(&mut self, design: &CardDesign, paper: Paper, baseline: f64) {
        let (width, height) = (design.width_mm, design.height_mm);
        let size = format!("Card {width} × {height}\u{a0}mm on {}", paper.name());
        self.write(&size, SMALL, self.left, baseline);
        self.write_to_right("Print at 100\u{a0}%", SMALL, baseline);
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    /// A character that the built-in fonts lack would be printed as an empty box.
    #[test]
    fn every_character_on_the_page_can_be_drawn() {
        let lettering = Lettering::load().unwrap();
        for paper in [Paper::A4, Paper::Letter] {
            let page = page(CardDesign::v1(), paper, &lettering);
            let words: Vec<String> = page.shapes.into_iter().filter_map(|s| s.words).collect();
            assert!(words.iter().any(|line| line.contains("ruler")));
            for character in words.concat().chars() {
                assert!(lettering.has(character), "no glyph for {character:?}");
            }
        }
        assert!(!lettering.has('☂'));
    }
}
