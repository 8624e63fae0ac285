//! The small pictures beside the directions.

use crate::card::design::CardDesign;
use crate::drawing::lettering::{Lettering, Style, Weight};
use crate::drawing::{Drawing, Ink, Segment, circle_path, round_rect_path};
use crate::units::Mm;

const BADGE_MM: f64 = 7.0;
const SIGN_WIDTH_MM: f64 = 6.4;
const SIGN_HEIGHT_MM: f64 = 5.8;

/// A number in a filled circle.
pub fn badge(lettering: &Lettering, number: u8, ink: Ink) -> Drawing {
    let radius = BADGE_MM / 2.0;
    let mut drawing = bare(BADGE_MM, BADGE_MM);
    drawing.path(circle_path(Mm::new(radius, radius), radius), ink);
    let style = Style {
        weight: Weight::SemiBold,
        size_mm: 4.4,
        ink: Ink::WHITE,
    };
    centred(
        &mut drawing,
        lettering,
        &number.to_string(),
        style,
        radius,
        5.05,
    );
    drawing
}

/// A triangle with an exclamation mark.
pub fn caution_sign(lettering: &Lettering) -> Drawing {
    let mut drawing = bare(SIGN_WIDTH_MM, SIGN_HEIGHT_MM);
    let middle = SIGN_WIDTH_MM / 2.0;
    drawing.path(
        vec![
            Segment::Move(Mm::new(middle, 0.0)),
            Segment::Line(Mm::new(SIGN_WIDTH_MM, SIGN_HEIGHT_MM)),
            Segment::Line(Mm::new(0.0, SIGN_HEIGHT_MM)),
            Segment::Close,
        ],
        Ink::BLACK,
    );
    let style = Style {
        weight: Weight::SemiBold,
        size_mm: 4.4,
        ink: Ink::WHITE,
    };
    centred(&mut drawing, lettering, "!", style, middle, 5.1);
    drawing
}

fn centred(
    drawing: &mut Drawing,
    lettering: &Lettering,
    words: &str,
    style: Style,
    middle: f64,
    baseline: f64,
) {
    let x = middle - lettering.width_mm(words, style) / 2.0;
    let line = lettering.line(words, style, Mm::new(x, baseline));
    drawing.shapes.push(line);
}

/// A tray from above with the card and a handful of pieces, inside the corners of
/// a camera's frame. Its card is a sign for the card, far from readable as one.
pub fn tray(design: &CardDesign, accent: Ink) -> Drawing {
    let (width, height) = (69.0, 38.0);
    let mut drawing = bare(width, height);
    frame(&mut drawing, width, height, accent);
    let inset = 2.6;
    let tray = round_rect_path(
        Mm::new(inset, inset),
        width - 2.0 * inset,
        height - 2.0 * inset,
        2.5,
    );
    drawing.path(tray, Ink([226, 229, 229]));
    small_card(&mut drawing, design, Mm::new(6.5, 6.5), 34.0);
    for piece in PIECES {
        draw_piece(&mut drawing, piece);
    }
    drawing
}

/// A piece on the tray.
struct Piece {
    middle: (f64, f64),
    /// Studs along and across it.
    studs: (u32, u32),
    turn_deg: f64,
    ink: Ink,
}

const fn piece(middle: (f64, f64), studs: (u32, u32), turn_deg: f64, ink: [u8; 3]) -> Piece {
    Piece {
        middle,
        studs,
        turn_deg,
        ink: Ink(ink),
    }
}

const RUST: [u8; 3] = [172, 78, 57];
const SEA: [u8; 3] = [46, 107, 186];
const SAND: [u8; 3] = [238, 158, 101];
const WEED: [u8; 3] = [123, 193, 118];
const SLATE: [u8; 3] = [82, 82, 82];

const PIECES: [Piece; 11] = [
    piece((48.0, 9.3), (4, 2), -18.0, RUST),
    piece((59.3, 9.0), (2, 2), 24.0, SEA),
    piece((54.2, 18.6), (4, 2), 74.0, SAND),
    piece((61.3, 19.6), (4, 1), 97.0, SLATE),
    piece((46.2, 18.2), (2, 2), 9.0, WEED),
    piece((12.3, 25.4), (4, 2), 12.0, SEA),
    piece((21.6, 30.3), (2, 1), -33.0, RUST),
    piece((28.6, 25.3), (3, 2), 63.0, SLATE),
    piece((37.4, 28.2), (3, 2), -8.0, SAND),
    piece((47.6, 29.2), (2, 2), 41.0, RUST),
    piece((57.8, 30.2), (3, 1), -14.0, WEED),
];

fn draw_piece(drawing: &mut Drawing, piece: Piece) {
    let pitch = 2.2;
    let (sin, cos) = piece.turn_deg.to_radians().sin_cos();
    let (middle_x, middle_y) = piece.middle;
    let turned = |p: Mm| {
        Mm::new(
            middle_x + p.x * cos - p.y * sin,
            middle_y + p.x * sin + p.y * cos,
        )
    };
    let (along, across) = (f64::from(piece.studs.0), f64::from(piece.studs.1));
    let corner = Mm::new(-along * pitch / 2.0, -across * pitch / 2.0);
    let body = round_rect_path(corner, along * pitch, across * pitch, 0.25);
    drawing.path(body.iter().map(|s| s.map(turned)).collect(), piece.ink);
    for row in 0..piece.studs.1 {
        for column in 0..piece.studs.0 {
            let stud = Mm::new(
                corner.x + (f64::from(column) + 0.5) * pitch,
                corner.y + (f64::from(row) + 0.5) * pitch,
            );
            drawing.path(circle_path(turned(stud), 0.66), lighter(piece.ink));
        }
    }
}

/// A third of the way to white: a stud's top in the light.
fn lighter(Ink(levels): Ink) -> Ink {
    Ink(levels.map(|level| level + (u8::MAX - level) / 3))
}

/// The card in small, its tags plain black squares.
fn small_card(drawing: &mut Drawing, design: &CardDesign, corner: Mm, width: f64) {
    let scale = width / design.width_mm;
    let at = |x: f64, y: f64| Mm::new(corner.x + x * scale, corner.y + y * scale);
    drawing.rect(corner, width, design.height_mm * scale, Ink::WHITE);
    for tag in &design.tags {
        let side = tag.size_mm * scale;
        drawing.rect(at(tag.x_mm, tag.y_mm), side, side, Ink::BLACK);
    }
    for patch in &design.patches {
        let (across, down) = (patch.width_mm * scale, patch.height_mm * scale);
        drawing.rect(at(patch.x_mm, patch.y_mm), across, down, Ink(patch.srgb));
    }
    let bar = &design.scale_bar;
    let start = at(bar.x_mm, bar.y_mm);
    drawing.level_line(start, bar.length_mm * scale, 0.25, Ink::BLACK);
}

/// The four corners of a camera's frame.
fn frame(drawing: &mut Drawing, width: f64, height: f64, ink: Ink) {
    let (arm, thick) = (6.0, 0.5);
    for x in [0.0, width - arm] {
        for y in [0.0, height - thick] {
            drawing.rect(Mm::new(x, y), arm, thick, ink);
        }
    }
    for x in [0.0, width - thick] {
        for y in [0.0, height - arm] {
            drawing.rect(Mm::new(x, y), thick, arm, ink);
        }
    }
}

/// A drawing with nothing on it, not even paper.
fn bare(width_mm: f64, height_mm: f64) -> Drawing {
    Drawing {
        width_mm,
        height_mm,
        shapes: Vec::new(),
    }
}
