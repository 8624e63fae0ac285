//! How many things lie apart on a tray, told in a moment and without a search: one patch of foreground each.

use super::seeds::{Seed, seeds};
use crate::numbers::median;
use crate::tray::foreground::Kind;
use crate::tray::{Foreground, LabView};
use crate::units::Mm;

/// Less than this is no piece: half of the top of the smallest, 8 mm by 8 mm.
const LEAST_MM2: f64 = 32.0;
/// Pieces to teach by are of one kind as a rule. What covers so many times the median is no one piece, with as much of its
/// shadow and its sides as it may show (common practice, no source: two flush pieces cover twice as much).
const LIKE: (f64, f64) = (0.5, 1.6);
/// What lies no further from the card than this may be the card's own shadow, mm.
const BESIDE_CARD_MM: f64 = 6.0;

/// Box around a thing on the tray: its corners nearest to and farthest from the card's top left.
pub type Around = (Mm, Mm);

/// The things that lie apart from each other, from the card and from the photo's edge, with their shadows, as a piece may
/// be of the tray's colour, only darker. `None` where their number is open, as they are not of one size, such as two that
/// touch.
pub fn things_apart(
    view: &LabView,
    foreground: &Foreground,
    card: &dyn Fn(Mm, f64) -> bool,
) -> Option<Vec<Around>> {
    let kind = |row: usize, column: usize| foreground.kind[(row, column)];
    let is_seen = |row, column| matches!(kind(row, column), Kind::Piece | Kind::Dim);
    let place = |row: usize, column: usize| {
        let at = |origin: f64, px: usize| origin + (px as f64 + 0.5) * view.mm_per_px;
        Mm::new(at(view.origin.x, column), at(view.origin.y, row))
    };
    let is_beside_card = |thing: &Seed| {
        let mut pixels = thing.pixels();
        pixels.any(|(row, column)| card(place(row, column), BESIDE_CARD_MM))
    };
    let mut things: Vec<Seed> = seeds(view, is_seen, LEAST_MM2);
    things.retain(|thing| !thing.at_frame && !is_beside_card(thing));
    let usual = median(things.iter().map(|thing| thing.area_mm2))?;
    let (least, most) = (LIKE.0 * usual, LIKE.1 * usual);
    // What is small and nowhere unlike a shadow is one.
    let is_shadow = |thing: &Seed| {
        thing.area_mm2 < least
            && thing
                .pixels()
                .all(|(row, column)| kind(row, column) == Kind::Dim)
    };
    things.retain(|thing| !is_shadow(thing));
    let is_like = |thing: &Seed| (least..=most).contains(&thing.area_mm2);
    things.iter().all(is_like).then(|| {
        let around = things.iter().map(|thing| thing.bounds(view));
        around.collect()
    })
}
