//! A found piece with what speaks for it, and what is left over.

use std::collections::BTreeMap;

use imageproc::point::Point;

use super::frame::Frame;
use super::refine::Score;
use super::shape::Shape;
use super::stance::Stance;
use crate::units::Mm;

/// One piece with the evidence for it.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundPiece {
    /// What stands where.
    pub stance: Stance,
    /// Mean edge evidence along the outline, -1..1.
    pub outline: f64,
    /// The same for its weakest side.
    pub weakest_side: f64,
    /// The same for its stud rims.
    pub studs: f64,
    /// Share of the silhouette that certainly is no tray.
    pub piece_share: f64,
    /// Share of the silhouette that looks like plain tray.
    pub ground_share: f64,
    /// Score of the best explanation.
    pub score: f64,
    /// The best explanation of the same place by another size: its shape and score.
    pub runner_up: Option<(Shape, f64)>,
    /// The best explanation by another shape where the net was taught only one of the two and
    /// cannot choose: its shape, and by how much its score falls short.
    pub rival: Option<(Shape, f64)>,
    /// A rectangle, or a shape that is none, that looks nearly the same from here, as the piece lies on its side.
    pub twin_on_side: Option<Shape>,
    /// Whether shapes that the net was not taught make it less certain: it is in a clump on a tray that holds some, or
    /// seen by the net alone there; or it is one, and the net saw several pieces in it or its studs hardly show.
    pub among_odd: bool,
    /// The best one by the same footprint in another form, where several were looked for.
    pub other_form: Option<(Shape, f64)>,
    /// Probability of the form given the size, where the net had to tell it; else 1.
    pub form_p: f64,
    /// Whether the piece reaches the photo's edge.
    pub at_frame: bool,
    /// Whether it was found only by letting it have the tray's own colour, or by the net where nothing else
    /// shows a piece.
    pub like_tray: bool,
    /// Whether another piece is said to lie in the same place, and both to be seen whole: one of them is wrong.
    pub disputed: bool,
    /// Whether something else lies right beside it.
    pub touched: bool,
    /// Mean share beyond [`FREE`] that others hide of the pieces around it: how much of a heap it lies in.
    pub heaped: f64,
    /// Who saw it.
    pub witness: Witness,
}

/// Score a mm of length and width by which one form must beat another to be told
/// apart for certain. On the rendered trays wrong forms beat right ones by up to
/// 1.16; many right ones win by less, and are left open.
const FORM_CLEAR_PER_MM: f64 = 1.5;

impl FoundPiece {
    /// A piece with what edges and areas say of it, and nothing else against or beside it.
    pub(super) fn of(stance: Stance, score: &Score, witness: Witness) -> Self {
        Self {
            stance,
            outline: score.outline,
            weakest_side: score.weakest_side,
            studs: score.studs,
            piece_share: score.piece_share,
            ground_share: score.ground_share,
            score: score.total,
            runner_up: None,
            rival: None,
            twin_on_side: None,
            among_odd: false,
            other_form: None,
            form_p: 1.0,
            at_frame: false,
            like_tray: false,
            disputed: false,
            touched: false,
            heaped: 0.0,
            witness,
        }
    }

    /// Share that others hide, as the net says.
    pub fn covered(&self) -> f64 {
        let said = match self.witness {
            Witness::Both(said) | Witness::Net(said) => 1.0 - said.visible,
            Witness::Search | Witness::Contested | Witness::Untaught | Witness::Seam => 0.0,
        };
        if said < WORTH_TELLING { 0.0 } else { said }
    }

    /// Whether edges confirm its outline all round: it is one piece far more often than
    /// several that lie flush in a block.
    pub(super) fn is_whole(&self) -> bool {
        self.outline > ALL_ROUND.0 && self.weakest_side > ALL_ROUND.1
    }

    /// Whether its form can be told from the others that were looked for.
    pub fn form_is_told(&self) -> bool {
        let shape = self.stance.shape;
        let by_net = self.form_p < 1.0;
        by_net
            || self.other_form.is_none_or(|(_, score)| {
                self.score - score > FORM_CLEAR_PER_MM * (shape.long_mm() + shape.short_mm())
            })
    }
}

/// Evidence of the whole outline and of its weakest side from which edges confirm a piece.
const ALL_ROUND: (f64, f64) = (0.8, 0.5);

/// Covered by less than this a piece may as well stand behind a taller neighbour.
pub const FREE: f64 = 0.15;

/// Less hidden than this is no more than the net's own error.
const WORTH_TELLING: f64 = 0.05;

/// Who saw a piece: the search by edges and areas, the net, or both.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Witness {
    /// Both, in the same size and place.
    Both(Said),
    /// The search alone: the net sees nothing there.
    Search,
    /// The search, and the net something else.
    Contested,
    /// The net alone.
    Net(Said),
    /// The search; the net was not taught such a shape.
    Untaught,
    /// Either, as a part of something longer that a seam runs across.
    Seam,
}

/// What the net says of a piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Said {
    /// Probability of the size. The net's own, not calibrated.
    pub size_p: f64,
    /// Probability that it is of a form and size that was looked for at all. The net's own, not calibrated.
    pub allowed_p: f64,
    /// How firmly the piece is there, 0 to 1.
    pub score: f64,
    /// Share of its silhouette that can be seen.
    pub visible: f64,
}

/// Something on the tray that no piece explains.
#[derive(Clone, Debug, PartialEq)]
pub struct Leftover {
    /// Its middle on the tray.
    pub at: Mm,
    /// Area of what is seen of it, mm².
    pub area_mm2: f64,
    /// Sides of the smallest box around what is seen of it on the tray's plane, mm: the short one, the long one.
    pub sides_mm: (f64, f64),
    /// Whether it reaches the photo's edge.
    pub at_frame: bool,
    /// Places spread over it, to read its colour at.
    pub places: Vec<Mm>,
}

/// So many places tell a colour: the median of 400 has a standard error of a sixteenth of their spread.
const PLACES: usize = 400;

impl Leftover {
    /// What is left of a piece whose top is hardly in the photo.
    pub fn hardly_in(piece: &FoundPiece) -> Self {
        let shape = piece.stance.shape;
        Self {
            at: piece.stance.at,
            area_mm2: shape.area_mm2(),
            sides_mm: (shape.short_mm(), shape.long_mm()),
            at_frame: piece.at_frame,
            places: Vec::new(),
        }
    }

    /// What square cells of this side show of a thing, by their middles.
    pub(super) fn of(at: Mm, cells: &[Mm], cell_mm: f64, at_frame: bool) -> Self {
        let first = cells.first().copied().unwrap_or(at);
        let step = |v: f64| (v / cell_mm).round() as i32;
        // The ends of each row are enough for the box, and few where a patch fills the view.
        let mut rows: BTreeMap<i32, (i32, i32)> = BTreeMap::new();
        for cell in cells {
            let (x, y) = (step(cell.x - first.x), step(cell.y - first.y));
            let ends = rows.entry(y).or_insert((x, x));
            *ends = (ends.0.min(x), ends.1.max(x));
        }
        let points: Vec<Point<i32>> = (rows.iter())
            .flat_map(|(y, (from, to))| [Point::new(*from, *y), Point::new(*to, *y)])
            .collect();
        let sides = Frame::of(&points).map_or((1.0, 1.0), |frame| (frame.short_px, frame.long_px));
        Self {
            at,
            area_mm2: cells.len() as f64 * cell_mm * cell_mm,
            sides_mm: (sides.0 * cell_mm, sides.1 * cell_mm),
            at_frame,
            places: (cells.iter().copied())
                .step_by(cells.len() / PLACES + 1)
                .collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 12 mm by 4 mm, turned by 30 degrees, seen in cells of a quarter millimetre: by hand.
    #[test]
    fn what_is_left_over_is_as_large_as_its_cells_show() {
        let (sin, cos) = 30.0f64.to_radians().sin_cos();
        let cells = (0..10_000).map(|n| {
            let (row, column) = (f64::from(n / 100), f64::from(n % 100));
            Mm::new(column * 0.25 - 12.4, row * 0.25 - 12.6)
        });
        let is_on = |at: &Mm| {
            (at.x * cos + at.y * sin).abs() < 6.0 && (at.y * cos - at.x * sin).abs() < 2.0
        };
        let cells: Vec<Mm> = cells.filter(is_on).collect();
        let left = Leftover::of(Mm::new(0.0, 0.0), &cells, 0.25, false);
        assert!((left.sides_mm.0 - 4.0).abs() < 0.4, "{:?}", left.sides_mm);
        assert!((left.sides_mm.1 - 12.0).abs() < 0.4, "{:?}", left.sides_mm);
        assert!((left.area_mm2 - 48.0).abs() < 2.0, "{}", left.area_mm2);
        assert!(left.places.len() <= PLACES && left.places.len() > PLACES / 2);
    }
}
