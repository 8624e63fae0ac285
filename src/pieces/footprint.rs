//! Footprints in the axes of a list of shapes, and whether two things that were traced may be copies of one shape.
//!
//! The axes begin at a corner of the box around the footprint, in studs: x along its long side, y along the short one, away from
//! a viewer for whom x runs to the right.

use super::polygon::inside;
use super::shape::PITCH_MM;
use super::traced::Traced;
use crate::units::Mm;

/// A stud stands this far from its footprint's rim at least, in studs: two thirds of its radius.
const STUD_ROOM: f64 = 0.2;
/// Two things may be copies where the IoU of their footprints is at least this: one stud more or less in up to nine makes
/// less of it, a corner that is half a stud off in six makes 0.92. Set by hand: in `sample-photos/tune/own-sorted-yard-34` each
/// bracket finds both others and nothing else, and of the gates that can be traced at all each finds three or four of five.
const LEAST_IOU: f64 = 0.9;
/// And where at most this share of the box's cells has a stud on one of them only, as a rim in glare or shadow is missed.
const STUDS_APART: f64 = 0.25;
/// Steps a stud in which footprints are compared.
const STEPS: u32 = 4;

/// A footprint in the words of a list of shapes.
#[derive(Clone, Debug, PartialEq)]
pub enum Footprint {
    /// Its whole box.
    Rectangle,
    /// Round.
    Disc,
    /// Its corners in turn: see `docs/shapes-v2.schema.json`.
    Corners(Vec<[f64; 2]>),
}

impl Footprint {
    /// Whether it covers a place; its box has so many studs along the short and the long side.
    fn covers(&self, [x, y]: [f64; 2], (short, long): (u8, u8)) -> bool {
        let (short, long) = (f64::from(short), f64::from(long));
        match self {
            Self::Rectangle => (0.0..=long).contains(&x) && (0.0..=short).contains(&y),
            Self::Disc => (x - long / 2.0).hypot(y - short / 2.0) <= short / 2.0,
            Self::Corners(corners) => {
                let ring: Vec<(f64, f64)> = corners.iter().map(|c| (c[0], c[1])).collect();
                inside(&ring, (x, y))
            }
        }
    }

    /// Where studs can stand on it: the middles of those cells of its box on which one has room.
    pub fn stud_places(&self, (short, long): (u8, u8)) -> Vec<[f64; 2]> {
        let middle = |k: u8| f64::from(k) + 0.5;
        let cells = (0..long).flat_map(|i| (0..short).map(move |j| [middle(i), middle(j)]));
        if !matches!(self, Self::Corners(_)) {
            return cells.collect();
        }
        let around = [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)];
        let has_room = |[x, y]: &[f64; 2]| {
            around
                .iter()
                .all(|(u, v)| self.covers([x + u * STUD_ROOM, y + v * STUD_ROOM], (short, long)))
        };
        cells.filter(has_room).collect()
    }
}

impl Traced {
    /// By how many quarters beyond its `turn` this thing lies turned, where it may be a copy of the shape that `first` gave the
    /// list; `None` where it cannot.
    pub fn quarters_from(&self, first: &Self) -> Option<u8> {
        let (short, long) = self.studs_box;
        if self.studs_box != first.studs_box {
            return None;
        }
        let turns: &[u8] = if short == long {
            &[3, 2, 1, 0]
        } else {
            &[2, 0]
        };
        let likeliest = (turns.iter().copied())
            .map(|quarters| (quarters, self.iou(first, quarters)))
            .filter(|(quarters, iou)| {
                *iou >= LEAST_IOU && self.studs_apart(first, *quarters) <= STUDS_APART
            })
            // Of equals the last: that which is turned least.
            .max_by(|(a, x), (b, y)| {
                let studs = |quarters| self.studs_apart(first, quarters);
                (x - studs(*a)).total_cmp(&(y - studs(*b)))
            });
        likeliest.map(|(quarters, _)| quarters)
    }

    /// Intersection over union of two footprints of one box, this one turned by so many quarters.
    fn iou(&self, first: &Self, quarters: u8) -> f64 {
        let (short, long) = self.studs_box;
        let place = |k: u32| (f64::from(k) + 0.5) / f64::from(STEPS);
        let (mut both, mut either) = (0_u32, 0_u32);
        for i in 0..u32::from(long) * STEPS {
            for j in 0..u32::from(short) * STEPS {
                let at = [place(i), place(j)];
                let on_first = first.footprint.covers(at, self.studs_box);
                let at = turned(at, quarters, self.studs_box);
                let on_this = self.footprint.covers(at, self.studs_box);
                both += u32::from(on_first && on_this);
                either += u32::from(on_first || on_this);
            }
        }
        f64::from(both) / f64::from(either.max(1))
    }

    /// Share of the box's cells that have a stud on one of both only.
    fn studs_apart(&self, first: &Self, quarters: u8) -> f64 {
        let has = |at: [f64; 2]| {
            let near = |stud: &[f64; 2]| (stud[0] - at[0]).hypot(stud[1] - at[1]) < 0.5;
            self.studs.iter().any(near)
        };
        let studs = first.studs.iter();
        let shared = studs.filter(|stud| has(turned(**stud, quarters, self.studs_box)));
        let apart = first.studs.len() + self.studs.len() - 2 * shared.count();
        apart as f64 / (f64::from(self.studs_box.0) * f64::from(self.studs_box.1))
    }

    /// Whether a place of the tray lies on the footprint.
    pub fn holds(&self, at: Mm) -> bool {
        let (short, long) = (f64::from(self.studs_box.0), f64::from(self.studs_box.1));
        let [along, across] = self.in_box(at);
        let place = [along + long / 2.0, across + short / 2.0];
        self.footprint.covers(place, self.studs_box)
    }

    /// Whether a place of the tray is no further than so many mm off the box.
    pub fn is_beside(&self, at: Mm, most_mm: f64) -> bool {
        let (short, long) = (f64::from(self.studs_box.0), f64::from(self.studs_box.1));
        let [along, across] = self.in_box(at);
        let off = (along.abs() - long / 2.0).max(across.abs() - short / 2.0);
        off * PITCH_MM <= most_mm
    }

    /// A place of the tray from the box's middle along the list's axes, in studs.
    fn in_box(&self, at: Mm) -> [f64; 2] {
        let (sin, cos) = self.turn.sin_cos();
        let (dx, dy) = (at.x - self.at.x, at.y - self.at.y);
        [dx * cos + dy * sin, dx * sin - dy * cos].map(|mm| mm / PITCH_MM)
    }
}

/// Where a place in a shape's axes lies in those of a copy's box that it fills turned by so many quarters. An odd number of them
/// is only of squares.
fn turned([x, y]: [f64; 2], quarters: u8, (short, long): (u8, u8)) -> [f64; 2] {
    let (short, long) = (f64::from(short), f64::from(long));
    match quarters {
        0 => [x, y],
        1 => [y, long - x],
        2 => [long - x, short - y],
        _ => [short - y, x],
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;

    /// A 2x3 that lacks two studs of a long side.
    pub(crate) const BRACKET: [[f64; 2]; 6] = [
        [0.0, 0.0],
        [3.0, 0.0],
        [3.0, 1.0],
        [1.0, 1.0],
        [1.0, 2.0],
        [0.0, 2.0],
    ];
    /// A 2x2 that lacks one.
    const CORNER: [[f64; 2]; 6] = [
        [0.0, 0.0],
        [2.0, 0.0],
        [2.0, 1.0],
        [1.0, 1.0],
        [1.0, 2.0],
        [0.0, 2.0],
    ];

    fn traced(studs_box: (u8, u8), corners: &[[f64; 2]], studs: &[[f64; 2]]) -> Traced {
        Traced {
            studs_box,
            sides_mm: (0.0, 0.0),
            footprint: Footprint::Corners(corners.to_vec()),
            studs: studs.to_vec(),
            at: Mm::new(100.0, 50.0),
            turn: 0.0,
        }
    }

    #[test]
    fn copies_are_known_by_the_quarters_they_are_turned() {
        let studs = [[0.5, 0.5], [1.5, 0.5], [0.5, 1.5]];
        let first = traced((2, 2), &CORNER, &studs);
        for quarters in 0..4 {
            let of = |places: &[[f64; 2]]| -> Vec<[f64; 2]> {
                (places.iter())
                    .map(|at| turned(*at, quarters, (2, 2)))
                    .collect()
            };
            let other = traced((2, 2), &of(&CORNER), &of(&studs));
            assert_eq!(other.quarters_from(&first), Some(quarters));
        }
        let bare = traced((2, 2), &CORNER, &[]);
        assert_eq!(bare.quarters_from(&first), None, "no studs");
        assert_eq!(first.quarters_from(&bare), None, "studs");
        let whole = Traced {
            footprint: Footprint::Rectangle,
            ..first.clone()
        };
        assert_eq!(whole.quarters_from(&first), None);
    }

    #[test]
    fn a_mirror_image_is_another_shape() {
        let bracket = traced((2, 3), &BRACKET, &[]);
        let over = BRACKET.map(|[x, y]| [3.0 - x, 2.0 - y]);
        let mirrored = BRACKET.map(|[x, y]| [3.0 - x, y]);
        let quarters = |corners| traced((2, 3), corners, &[]).quarters_from(&bracket);
        assert_eq!(quarters(&BRACKET), Some(0));
        assert_eq!(quarters(&over), Some(2));
        assert_eq!(quarters(&mirrored), None);
    }

    /// By hand: the bracket's long arm lies towards the viewer, so at larger y on the tray; turned by a quarter towards the
    /// card's y axis the long side runs down and that arm lies to the left.
    #[test]
    fn places_of_the_tray_are_told_by_its_turn() {
        let mut bracket = traced((2, 3), &BRACKET, &[]);
        let holds = |bracket: &Traced, x: f64, y: f64| bracket.holds(Mm::new(100.0 + x, 50.0 + y));
        assert!(holds(&bracket, 8.0, 4.0) && !holds(&bracket, 8.0, -4.0));
        assert!(holds(&bracket, -8.0, -4.0) && !holds(&bracket, 13.0, 4.0));
        bracket.turn = std::f64::consts::FRAC_PI_2;
        assert!(holds(&bracket, -4.0, 8.0) && !holds(&bracket, 4.0, 8.0));
        let beside = |x: f64, y: f64| bracket.is_beside(Mm::new(100.0 + x, 50.0 + y), 4.0);
        assert!(beside(11.0, 0.0) && !beside(13.0, 0.0) && beside(4.0, 8.0));
    }

    /// A cell that a slanting side cuts through its middle has no room for a stud.
    #[test]
    fn studs_stand_where_they_have_room() {
        let wedge = Footprint::Corners(vec![[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [0.0, 2.0]]);
        let places = wedge.stud_places((2, 2));
        assert_eq!(places, [[0.5, 0.5], [0.5, 1.5], [1.5, 0.5]]);
        let half = Footprint::Corners(vec![[0.0, 0.0], [2.0, 0.0], [0.0, 2.0]]);
        assert_eq!(half.stud_places((2, 2)), [[0.5, 0.5]]);
    }
}
