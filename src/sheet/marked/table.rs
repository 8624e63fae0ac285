//! The panel's table of groups.

use super::flow::{Block, COLUMN_MM};
use super::{DARK_AMBER, GREY, HAIRLINE, INK, is_sure, words};
use crate::colour::lab::{encode, linear_from_lab};
use crate::drawing::lettering::{Style, Weight};
use crate::drawing::{Ink, Lettering, Outline, Shape, round_rect_path};
use crate::sheet::file::{Group, Sheet};
use crate::units::Mm;
use std::cmp::Ordering;

/// More groups than this are not listed one by one.
const MOST_ROWS: usize = 240;

const ROW: Style = style(Weight::Regular, 3.25, INK);
const COUNT: Style = style(Weight::SemiBold, 3.25, INK);
const HEAD: Style = style(Weight::Regular, 2.75, GREY);
pub const HEADING: Style = style(Weight::SemiBold, 3.8, INK);

const ROW_MM: f64 = 5.0;
const BASELINE_MM: f64 = 3.75;
/// From one line of a colour's name to the next.
const LEADING_MM: f64 = 3.9;
const HEAD_MM: f64 = 5.4;
const HEAD_BASELINE_MM: f64 = 3.0;
pub const HEADING_MM: f64 = 6.6;

const CHIP_MM: f64 = 3.5;
const NAME_MM: f64 = 5.8;
const NAME_WIDTH_MM: f64 = 35.5;
const FORM_MM: f64 = 43.0;
const FORM_WIDTH_MM: f64 = 10.5;
const SIZE_MM: f64 = 54.5;
/// Right edge of the figures.
const COUNT_RIGHT_MM: f64 = 71.0;
const RANGE_RIGHT_MM: f64 = COLUMN_MM;
const THIN_MM: f64 = 0.15;

const fn style(weight: Weight, size_mm: f64, ink: Ink) -> Style {
    Style {
        weight,
        size_mm,
        ink,
    }
}

/// A heading over a list.
pub fn heading(words: &str, lettering: &Lettering) -> Block {
    Block {
        height_mm: HEADING_MM,
        shapes: vec![lettering.line(words, HEADING, Mm::new(0.0, 4.0))],
        stays_with_next: true,
        at_top: None,
    }
}

/// Heading, rows and the total.
pub fn blocks(sheet: &Sheet, lettering: &Lettering) -> Vec<Block> {
    let mut blocks = vec![Block::gap(4.0), heading("Groups", lettering)];
    let (mut groups, perhaps): (Vec<&Group>, Vec<&Group>) =
        sheet.groups.iter().partition(|group| group.is_counted());
    if groups.is_empty() {
        let at = Mm::new(0.0, BASELINE_MM);
        blocks.push(Block {
            height_mm: ROW_MM,
            shapes: vec![lettering.line("No pieces were found.", ROW, at)],
            ..Block::default()
        });
        return blocks;
    }
    let head = head(lettering);
    blocks.push(Block {
        stays_with_next: true,
        ..head.clone()
    });
    groups.sort_by(|a, b| order(a, b));
    let mut before = None;
    for group in groups.iter().take(MOST_ROWS) {
        let first = before != Some(&group.colour);
        let chip = mean_colour(sheet, group);
        let mut block = row(group, chip, first, before.is_some(), lettering);
        let top = row(group, chip, true, false, lettering);
        block.at_top = Some(Box::new(under(&head, top)));
        before = Some(&group.colour);
        blocks.push(block);
    }
    if let Some(more) = groups.len().checked_sub(MOST_ROWS).filter(|more| *more > 0) {
        blocks.push(note(
            &format!("and {more} more groups, in the sheet file"),
            lettering,
        ));
    }
    if !perhaps.is_empty() {
        let kinds = if perhaps.len() == 1 {
            "1 other kind".to_owned()
        } else {
            format!("{} other kinds", perhaps.len())
        };
        blocks.push(note(&format!("Some pieces may be of {kinds}."), lettering));
    }
    // The total never stands alone at the top of a column.
    if let Some(last) = blocks.last_mut() {
        last.stays_with_next = true;
    }
    blocks.push(total(&sheet.groups, lettering));
    blocks
}

/// A quiet line of its own.
pub fn note(words: &str, lettering: &Lettering) -> Block {
    Block {
        height_mm: ROW_MM,
        shapes: vec![lettering.line(words, HEAD, Mm::new(0.0, BASELINE_MM))],
        ..Block::default()
    }
}

/// By colour, then form, then size; sizes as numbers.
fn order(a: &Group, b: &Group) -> Ordering {
    let studs = |group: &Group| -> Option<(u32, u32)> {
        let (small, large) = group.size.split_once('x')?;
        Some((small.parse().ok()?, large.parse().ok()?))
    };
    a.colour
        .cmp(&b.colour)
        .then_with(|| a.form.cmp(&b.form))
        .then_with(|| studs(a).cmp(&studs(b)))
        .then_with(|| a.size.cmp(&b.size))
}

/// Mean of the corrected colours of a group's pieces; `None` when there are none.
fn mean_colour(sheet: &Sheet, group: &Group) -> Option<Ink> {
    let mut sum = [0.0; 3];
    let mut count = 0.0;
    for piece in &sheet.pieces {
        let same = piece.colour == group.colour
            && piece.size == group.size
            && piece.form == group.form
            && piece.lab.iter().all(|value| value.is_finite());
        if same {
            for (sum, value) in sum.iter_mut().zip(piece.lab) {
                *sum += value;
            }
            count += 1.0;
        }
    }
    (count > 0.0).then(|| {
        let linear = linear_from_lab(sum.map(|value| value / count));
        // What the screen cannot show is clipped.
        Ink(linear.map(|value| (encode(value) * 255.0).round().clamp(0.0, 255.0) as u8))
    })
}

fn head(lettering: &Lettering) -> Block {
    let right =
        |words: &str, right_mm: f64| right(words, HEAD, right_mm, HEAD_BASELINE_MM, lettering);
    let left = |words: &str, x: f64| lettering.line(words, HEAD, Mm::new(x, HEAD_BASELINE_MM));
    Block {
        height_mm: HEAD_MM,
        shapes: vec![
            left("colour", 0.0),
            left("form", FORM_MM),
            left("size", SIZE_MM),
            right("count", COUNT_RIGHT_MM),
            right("range", RANGE_RIGHT_MM),
            hairline(HEAD_MM - 0.9, 0.0),
        ],
        ..Block::default()
    }
}

fn row(group: &Group, chip: Option<Ink>, named: bool, ruled: bool, lettering: &Lettering) -> Block {
    let mut shapes = Vec::new();
    let mut lines = 1;
    if named {
        if ruled {
            shapes.push(hairline(0.0, NAME_MM));
        }
        let colour = words::clean(&group.colour, 80);
        let set = words::lines(lettering, &colour, ROW, NAME_WIDTH_MM, 3);
        lines = set.len().max(1);
        for (line, words) in set.iter().enumerate() {
            let y = BASELINE_MM + line as f64 * LEADING_MM;
            shapes.push(lettering.line(words, ROW, Mm::new(NAME_MM, y)));
        }
    }
    shapes.extend(chip_shapes(chip));
    let form = words::clean(&group.form, 20);
    let form = words::lines(lettering, &form, ROW, FORM_WIDTH_MM, 1);
    let size = words::size(&group.size);
    for (words, x) in [(form.concat(), FORM_MM), (size, SIZE_MM)] {
        shapes.push(lettering.line(&words, ROW, Mm::new(x, BASELINE_MM)));
    }
    shapes.extend(figures(group, lettering));
    Block {
        height_mm: ROW_MM + (lines - 1) as f64 * LEADING_MM,
        shapes,
        ..Block::default()
    }
}

/// Count, and beside it the range or, when only the kind is in doubt, a question mark.
fn figures(group: &Group, lettering: &Lettering) -> Vec<Shape> {
    let doubtful = !is_sure(group.sure);
    let count = group.count.to_string();
    let mut shapes = vec![right(&count, COUNT, COUNT_RIGHT_MM, BASELINE_MM, lettering)];
    let range = if group.low != group.high {
        format!("{}–{}", group.low, group.high)
    } else if doubtful {
        "?".to_owned()
    } else {
        return shapes;
    };
    let ink = if doubtful { DARK_AMBER } else { GREY };
    let style = Style { ink, ..ROW };
    shapes.push(right(&range, style, RANGE_RIGHT_MM, BASELINE_MM, lettering));
    shapes
}

/// The sum of the counts. Not of the ranges: a piece that may belong to another
/// group is in doubt in both, and still one piece.
fn total(groups: &[Group], lettering: &Lettering) -> Block {
    let counts = groups.iter().map(|group| group.count);
    let count = counts.fold(0, u32::saturating_add).to_string();
    let y = BASELINE_MM + 0.6;
    Block {
        height_mm: ROW_MM + 0.6,
        shapes: vec![
            hairline(0.3, 0.0),
            lettering.line("total", COUNT, Mm::new(NAME_MM, y)),
            right(&count, COUNT, COUNT_RIGHT_MM, y, lettering),
        ],
        ..Block::default()
    }
}

/// Words that end at `right_mm`.
fn right(words: &str, style: Style, right_mm: f64, y_mm: f64, lettering: &Lettering) -> Shape {
    let x = right_mm - lettering.width_mm(words, style);
    lettering.line(words, style, Mm::new(x, y_mm))
}

fn chip_shapes(chip: Option<Ink>) -> Vec<Shape> {
    let rect = |inset: f64, ink: Ink| {
        let side = CHIP_MM - 2.0 * inset;
        let corner = Mm::new(inset, 0.8 + inset);
        Shape {
            outline: Outline::Path(round_rect_path(corner, side, side, 0.6)),
            ink,
            words: None,
        }
    };
    // A thin grey edge, so that white is seen on the white panel. Without a known
    // colour the chip is empty.
    let edge = Ink([170, 174, 178]);
    vec![rect(0.0, edge), rect(THIN_MM, chip.unwrap_or(Ink::WHITE))]
}

fn hairline(y: f64, from_mm: f64) -> Shape {
    Shape {
        outline: Outline::Rect {
            corner: Mm::new(from_mm, y - THIN_MM / 2.0),
            width_mm: COLUMN_MM - from_mm,
            height_mm: THIN_MM,
        },
        ink: HAIRLINE,
        words: None,
    }
}

/// A block right below another.
fn under(upper: &Block, lower: Block) -> Block {
    let mut shapes = upper.shapes.clone();
    let down = Mm::new(0.0, upper.height_mm);
    shapes.extend(lower.shapes.into_iter().map(|shape| shape.moved(down)));
    Block {
        height_mm: upper.height_mm + lower.height_mm,
        shapes,
        ..Block::default()
    }
}
