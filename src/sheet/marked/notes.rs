//! What a person should look at, in words: doubtful pieces, places that no piece
//! explains, warnings.

use super::flow::{Block, COLUMN_MM};
use super::table::{heading, note};
use super::{AMBER, GREY, INK, ROSE, is_doubtful, letter, words};
use crate::drawing::lettering::{Style, Weight};
use crate::drawing::{Ink, Lettering, Outline, Shape, round_rect_path};
use crate::sheet::file::{Piece, Sheet, Unexplained};
use crate::units::Mm;

/// More than these are not listed one by one.
const MOST_DOUBTS: usize = 60;
const MOST_PLACES: usize = 40;
const MOST_WARNINGS: usize = 20;
/// Of one text, so many lines; a longer one is in the sheet file.
const MOST_LINES: usize = 6;

const STRONG: Style = style(Weight::SemiBold, 3.1, INK);
const BODY: Style = style(Weight::Regular, 3.1, INK);
const SIDE: Style = style(Weight::Regular, 2.9, GREY);
const BADGE: Style = style(Weight::SemiBold, 2.9, INK);

const BASELINE_MM: f64 = 3.4;
const LEADING_MM: f64 = 4.2;
const BETWEEN_MM: f64 = 2.0;
/// Text stands right of the badges.
const TEXT_MM: f64 = 13.0;
const BADGE_HEIGHT_MM: f64 = 4.0;

const fn style(weight: Weight, size_mm: f64, ink: Ink) -> Style {
    Style {
        weight,
        size_mm,
        ink,
    }
}

/// All three lists; an empty one has no heading.
pub fn blocks(sheet: &Sheet, lettering: &Lettering) -> Vec<Block> {
    let mut blocks = doubts(sheet, lettering);
    blocks.extend(places(sheet, lettering));
    blocks.extend(warnings(sheet, lettering));
    blocks
}

fn doubts(sheet: &Sheet, lettering: &Lettering) -> Vec<Block> {
    let mut doubtful: Vec<&Piece> = sheet.pieces.iter().filter(|p| is_doubtful(p)).collect();
    let more = doubtful.len().saturating_sub(MOST_DOUBTS);
    // When not all can be listed, the least sure are; then in the order of numbers.
    doubtful.sort_by(|a, b| a.sure.total_cmp(&b.sure));
    doubtful.truncate(MOST_DOUBTS);
    doubtful.sort_by_key(|piece| piece.id);
    let entries = doubtful.iter().map(|piece| doubt(piece, lettering));
    let more = more_note(more, "doubtful pieces, surer than these", lettering);
    list("Doubtful pieces", entries.chain(more), lettering)
}

fn doubt(piece: &Piece, lettering: &Lettering) -> Block {
    let mut entry = Entry::new(lettering);
    entry.badge(&format!("?\u{a0}{}", piece.id), AMBER);
    let share = format!("{} sure", words::percent(piece.sure));
    let side = lettering.width_mm(&share, SIDE);
    let at = Mm::new(COLUMN_MM - side, BASELINE_MM);
    entry.shapes.push(lettering.line(&share, SIDE, at));
    let what = format!(
        "{} {}, {}",
        words::clean(&piece.form, 20),
        words::size(&piece.size),
        words::clean(&piece.colour, 80)
    );
    entry.text(&what, STRONG, COLUMN_MM - TEXT_MM - side - 3.0);
    if piece.doubts.is_empty() {
        entry.text("no reason is given", SIDE, COLUMN_MM - TEXT_MM);
    }
    for reason in piece.doubts.iter().take(MOST_LINES) {
        entry.text(&words::clean(reason, 400), BODY, COLUMN_MM - TEXT_MM);
    }
    entry.finish()
}

/// How large a thing is, and of what colour.
fn thing(place: &Unexplained) -> String {
    let extent = match place.sides_mm {
        Some([short, long]) => format!("{}\u{a0}×\u{a0}{}\u{a0}mm", whole(short), whole(long)),
        None => format!("{}\u{a0}mm²", whole(place.area_mm2)),
    };
    match &place.colour {
        Some(colour) => format!("{extent}, {},", words::clean(colour, 80)),
        None => extent,
    }
}

fn places(sheet: &Sheet, lettering: &Lettering) -> Vec<Block> {
    let more = sheet.unexplained.len().saturating_sub(MOST_PLACES);
    let places = sheet.unexplained.iter().take(MOST_PLACES).enumerate();
    let entries = places.map(|(index, place)| {
        let mut entry = Entry::new(lettering);
        entry.badge(&letter(index), ROSE);
        let what = format!(
            "about {} at x\u{a0}{}, y\u{a0}{}\u{a0}mm",
            thing(place),
            whole(place.x_mm),
            whole(place.y_mm)
        );
        entry.text(&what, BODY, COLUMN_MM - TEXT_MM);
        entry.finish()
    });
    let more = more_note(more, "places, in the sheet file", lettering);
    let title = "Not explained by any piece";
    let mut blocks = list(title, entries.chain(more), lettering);
    // Right below the heading, which stands after the gap.
    if blocks.len() > 1 {
        let from = note(
            "measured from the card’s corner with the light dot",
            lettering,
        );
        let from = Block {
            height_mm: from.height_mm + 1.2,
            stays_with_next: true,
            shapes: from
                .shapes
                .into_iter()
                .map(|s| s.moved(Mm::new(0.0, -1.2)))
                .collect(),
            ..from
        };
        blocks.insert(2, from);
    }
    blocks
}

/// A length or an area that the reader need not know better.
fn whole(value: f64) -> String {
    if value.is_finite() && value.abs() < 1e6 {
        format!("{value:.0}").replace('-', "−")
    } else {
        "?".to_owned()
    }
}

fn warnings(sheet: &Sheet, lettering: &Lettering) -> Vec<Block> {
    let more = sheet.warnings.len().saturating_sub(MOST_WARNINGS);
    let warnings = sheet.warnings.iter().take(MOST_WARNINGS);
    let entries = warnings.map(|warning| {
        let mut entry = Entry::new(lettering);
        entry.left_mm = 0.0;
        entry.text(&words::clean(&warning.code, 60), STRONG, COLUMN_MM);
        entry.text(&words::clean(&warning.text, 600), BODY, COLUMN_MM);
        entry.finish()
    });
    let more = more_note(more, "warnings, in the sheet file", lettering);
    list("Warnings", entries.chain(more), lettering)
}

fn more_note(more: usize, what: &str, lettering: &Lettering) -> Option<Block> {
    (more > 0).then(|| note(&format!("and {more} more {what}"), lettering))
}

fn list(title: &str, entries: impl Iterator<Item = Block>, lettering: &Lettering) -> Vec<Block> {
    let mut blocks = Vec::new();
    for entry in entries {
        if blocks.is_empty() {
            blocks.push(Block::gap(6.0));
            blocks.push(heading(title, lettering));
        } else {
            blocks.push(Block::gap(BETWEEN_MM));
        }
        blocks.push(entry);
    }
    blocks
}

/// One entry of a list while it is set.
struct Entry<'a> {
    lettering: &'a Lettering,
    shapes: Vec<Shape>,
    left_mm: f64,
    height_mm: f64,
}

impl<'a> Entry<'a> {
    fn new(lettering: &'a Lettering) -> Self {
        Self {
            lettering,
            shapes: Vec::new(),
            left_mm: TEXT_MM,
            height_mm: 0.0,
        }
    }

    fn badge(&mut self, text: &str, ink: Ink) {
        let length = self.lettering.width_mm(text, BADGE);
        let width = (length + 2.4).max(BADGE_HEIGHT_MM);
        let middle = BASELINE_MM - 0.35 * STRONG.size_mm;
        let corner = Mm::new(0.0, middle - BADGE_HEIGHT_MM / 2.0);
        let radius = BADGE_HEIGHT_MM / 2.0;
        self.shapes.push(Shape {
            outline: Outline::Path(round_rect_path(corner, width, BADGE_HEIGHT_MM, radius)),
            ink,
            words: None,
        });
        let at = Mm::new((width - length) / 2.0, middle + 0.35 * BADGE.size_mm);
        self.shapes.push(self.lettering.line(text, BADGE, at));
    }

    fn text(&mut self, words: &str, style: Style, width_mm: f64) {
        for line in words::lines(self.lettering, words, style, width_mm, MOST_LINES) {
            let at = Mm::new(self.left_mm, self.height_mm + BASELINE_MM);
            self.shapes.push(self.lettering.line(&line, style, at));
            self.height_mm += LEADING_MM;
        }
    }

    fn finish(self) -> Block {
        Block {
            height_mm: self.height_mm.max(BADGE_HEIGHT_MM + 0.8),
            shapes: self.shapes,
            ..Block::default()
        }
    }
}
