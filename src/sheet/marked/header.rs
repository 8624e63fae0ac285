//! The head of the panel: which photo, how many, and what the lines mean.

use super::flow::{Block, COLUMN_MM};
use super::{AMBER, DARK_AMBER, DARK_ROSE, GREY, INK, ROSE, is_doubtful, words};
use crate::drawing::lettering::{Style, Weight};
use crate::drawing::{Drawing, Ink, Lettering, circle_path};
use crate::sheet::file::Sheet;
use crate::units::Mm;

const TITLE: Style = style(Weight::SemiBold, 4.6, INK);
const LEAD: Style = style(Weight::Regular, 3.1, GREY);
const FIGURE: Style = style(Weight::SemiBold, 8.0, INK);
const UNDER: Style = style(Weight::Regular, 2.9, GREY);

const TITLE_LEADING_MM: f64 = 5.6;
const FIGURE_BASELINE_MM: f64 = 6.4;
const UNDER_BASELINE_MM: f64 = 10.8;
const FIGURES_MM: f64 = 13.0;
const FIGURE_STEP_MM: f64 = 21.5;

/// Samples of the lines stand on grey, as over a photo.
const SAMPLE_GROUND: Ink = Ink([176, 178, 180]);
const SAMPLE_MM: [f64; 2] = [9.0, 5.4];
const SAMPLE_STEP_MM: f64 = 6.8;
const CASING: Ink = Ink([60, 64, 68]);

const fn style(weight: Weight, size_mm: f64, ink: Ink) -> Style {
    Style {
        weight,
        size_mm,
        ink,
    }
}

/// Title, totals and key.
pub fn blocks(sheet: &Sheet, lettering: &Lettering) -> Vec<Block> {
    let mut blocks = title(sheet, lettering);
    blocks.push(Block::gap(4.0));
    blocks.push(figures(sheet, lettering));
    blocks.push(Block::gap(3.0));
    blocks.extend(key(sheet, lettering));
    blocks
}

fn title(sheet: &Sheet, lettering: &Lettering) -> Vec<Block> {
    let file = words::clean(&sheet.photos.first.file, 120);
    let file = if file.is_empty() {
        "photo without a name".to_owned()
    } else {
        file
    };
    let mut blocks = Vec::new();
    for line in words::lines(lettering, &file, TITLE, COLUMN_MM, 3) {
        blocks.push(Block {
            height_mm: TITLE_LEADING_MM,
            shapes: vec![lettering.line(&line, TITLE, Mm::new(0.0, 4.0))],
            stays_with_next: true,
            at_top: None,
        });
    }
    let checked = if sheet.checked {
        "checked by a person"
    } else {
        "not yet checked by a person"
    };
    let lead = match &sheet.place {
        Some(place) => format!("{} · {checked}", words::clean(place, 80)),
        None => checked.to_owned(),
    };
    for line in words::lines(lettering, &lead, LEAD, COLUMN_MM, 2) {
        blocks.push(Block {
            height_mm: 4.4,
            shapes: vec![lettering.line(&line, LEAD, Mm::new(0.0, 3.2))],
            stays_with_next: true,
            at_top: None,
        });
    }
    blocks
}

fn figures(sheet: &Sheet, lettering: &Lettering) -> Block {
    let all = sheet.pieces.len();
    let doubtful = sheet.pieces.iter().filter(|p| is_doubtful(p)).count();
    let looked = if doubtful == 0 { INK } else { DARK_AMBER };
    let piece = if all == 1 { "piece" } else { "pieces" };
    let mut figures = vec![
        (all, piece, INK),
        (all - doubtful, "sure", INK),
        (doubtful, "doubtful", looked),
    ];
    if !sheet.unexplained.is_empty() {
        figures.push((sheet.unexplained.len(), "unexplained", DARK_ROSE));
    }
    let mut block = Block {
        height_mm: FIGURES_MM,
        ..Block::default()
    };
    for (column, (figure, under, ink)) in figures.into_iter().enumerate() {
        let x = column as f64 * FIGURE_STEP_MM;
        let style = Style { ink, ..FIGURE };
        let figure = figure.to_string();
        let at = Mm::new(x, FIGURE_BASELINE_MM);
        block.shapes.push(lettering.line(&figure, style, at));
        let at = Mm::new(x, UNDER_BASELINE_MM);
        block.shapes.push(lettering.line(under, UNDER, at));
    }
    block
}

/// What the lines over the photo mean; only those that occur.
fn key(sheet: &Sheet, lettering: &Lettering) -> Vec<Block> {
    let doubtful = sheet.pieces.iter().any(is_doubtful);
    let sure = sheet.pieces.iter().any(|piece| !is_doubtful(piece));
    let mut entries: Vec<(Drawing, &str)> = Vec::new();
    if sure {
        entries.push((
            sure_sample(),
            "a piece that is sure, with its size in studs",
        ));
    }
    if doubtful {
        entries.push((
            doubtful_sample(),
            "a doubtful piece; its number is in the list",
        ));
    }
    if !sheet.unexplained.is_empty() {
        entries.push((ring_sample(), "something lies here that no piece explains"));
    }
    let block = |(sample, meaning): (Drawing, &str)| {
        let mut shapes = sample.shapes;
        let at = Mm::new(SAMPLE_MM[0] + 3.0, SAMPLE_MM[1] / 2.0 + 1.0);
        shapes.push(lettering.line(meaning, UNDER, at));
        Block {
            height_mm: SAMPLE_STEP_MM,
            shapes,
            ..Block::default()
        }
    };
    entries.into_iter().map(block).collect()
}

fn sample() -> Drawing {
    let mut drawing = Drawing {
        width_mm: SAMPLE_MM[0],
        height_mm: SAMPLE_MM[1],
        shapes: Vec::new(),
    };
    drawing.rect(Mm::new(0.0, 0.0), SAMPLE_MM[0], SAMPLE_MM[1], SAMPLE_GROUND);
    drawing
}

/// Rectangles inside each other, each in from the last by so much.
fn nested(drawing: &mut Drawing, steps: &[(f64, Ink)]) {
    let mut inset = 1.0;
    for (step, ink) in steps {
        inset += step;
        let (width, height) = (SAMPLE_MM[0] - 2.0 * inset, SAMPLE_MM[1] - 2.0 * inset);
        drawing.rect(Mm::new(inset, inset), width, height, *ink);
    }
}

fn sure_sample() -> Drawing {
    let mut drawing = sample();
    nested(
        &mut drawing,
        &[
            (0.0, CASING),
            (0.14, Ink::WHITE),
            (0.23, CASING),
            (0.14, SAMPLE_GROUND),
        ],
    );
    drawing
}

fn doubtful_sample() -> Drawing {
    let mut drawing = sample();
    nested(&mut drawing, &[(-0.3, CASING), (1.03, SAMPLE_GROUND)]);
    let (near, thick) = (0.92, 0.58);
    let (far_x, far_y) = (SAMPLE_MM[0] - near - thick, SAMPLE_MM[1] - near - thick);
    // Dashes round the corners, and one in the middle of each long side.
    for (x, y) in [(near, near), (far_x, near), (near, far_y), (far_x, far_y)] {
        let corner = Mm::new(if x > near { x - 1.1 } else { x }, y);
        drawing.rect(corner, 1.1 + thick, thick, AMBER);
        let corner = Mm::new(x, if y > near { y - 0.6 } else { y });
        drawing.rect(corner, thick, 0.6 + thick, AMBER);
    }
    for y in [near, far_y] {
        drawing.rect(Mm::new(SAMPLE_MM[0] / 2.0 - 0.85, y), 1.7, thick, AMBER);
    }
    drawing
}

fn ring_sample() -> Drawing {
    let mut drawing = sample();
    let middle = Mm::new(SAMPLE_MM[0] / 2.0, SAMPLE_MM[1] / 2.0);
    for (radius, ink) in [
        (2.3, CASING),
        (2.07, ROSE),
        (1.5, CASING),
        (1.27, SAMPLE_GROUND),
    ] {
        drawing.path(circle_path(middle, radius), ink);
    }
    drawing
}
