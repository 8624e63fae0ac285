//! Where names go beside dots, so that it can be seen whose each is: right beside its dot where that is free, else
//! further off at the end of a line from the dot.

use crate::units::Mm;

/// Radius of a dot, mm.
pub const DOT: f64 = 2.4;
/// Radius of the small dot before a name that stands further off, mm.
pub const CHIP: f64 = 1.1;
/// From a dot's middle to a name beside it, mm.
const BESIDE: f64 = 3.0;
/// How far a name's letters reach above and below its baseline, mm, set 2.9 mm high.
const ABOVE: f64 = 2.3;
const BELOW: f64 = 0.8;
/// Least room between two names, and between a name and another's dot, mm.
const APART: f64 = 0.5;
/// Room that the small dot takes, with what is between it and the name.
const CHIP_ROOM: f64 = 2.0 * CHIP + 0.8;
/// Rings around a dot in which a place is looked for, mm: the first leaves the line long enough to be seen.
const RINGS: std::ops::Range<u32> = 3..24;
const RING_MM: f64 = 2.0;
/// Directions tried in each ring.
const DIRECTIONS: u32 = 24;
/// Dots so near to each other lie in one pile: a line cannot keep clear of them.
const PILE: f64 = 3.0 * DOT;

/// Where a name stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Label {
    /// Left end of its baseline.
    pub at: Mm,
    /// Where it stands further off: from the middle of its dot to that of the small dot at the name.
    pub leader: Option<[Mm; 2]>,
}

#[derive(Clone, Copy, Debug)]
struct Area {
    from: Mm,
    to: Mm,
}

impl Area {
    /// The letters of a name.
    fn of(at: Mm, width: f64) -> Self {
        Self {
            from: Mm::new(at.x, at.y - ABOVE),
            to: Mm::new(at.x + width, at.y + BELOW),
        }
    }

    fn distance(&self, point: Mm) -> f64 {
        let dx = (self.from.x - point.x).max(point.x - self.to.x).max(0.0);
        let dy = (self.from.y - point.y).max(point.y - self.to.y).max(0.0);
        dx.hypot(dy)
    }

    fn is_clear_of(&self, other: &Self) -> bool {
        self.from.x > other.to.x + APART
            || other.from.x > self.to.x + APART
            || self.from.y > other.to.y
            || other.from.y > self.to.y
    }

    fn is_inside(&self, other: &Self) -> bool {
        self.from.x >= other.from.x
            && self.from.y >= other.from.y
            && self.to.x <= other.to.x
            && self.to.y <= other.to.y
    }
}

/// Points of a line, dense enough that no letter fits between two.
fn along([from, to]: [Mm; 2]) -> impl Iterator<Item = Mm> {
    let steps = (from.distance(to) / 0.4).ceil().max(1.0) as u32;
    (0..=steps).map(move |k| {
        let share = f64::from(k) / f64::from(steps);
        Mm::new(
            from.x + (to.x - from.x) * share,
            from.y + (to.y - from.y) * share,
        )
    })
}

/// What already stands in the field.
struct Taken<'a> {
    dots: &'a [Mm],
    field: Area,
    names: Vec<Area>,
    lines: Vec<[Mm; 2]>,
}

impl Taken<'_> {
    /// Whether a name may stand there: in the field, over no name, line or dot.
    fn has_room(&self, area: &Area) -> bool {
        area.is_inside(&self.field)
            && self.names.iter().all(|other| area.is_clear_of(other))
            && self
                .dots
                .iter()
                .all(|dot| area.distance(*dot) > DOT + APART)
            && (self.lines.iter()).all(|line| along(*line).all(|p| area.distance(p) > APART))
    }

    /// Whether a line may be drawn there: over no name, no line, and no dot but those that lie on its own.
    fn is_open(&self, line: [Mm; 2]) -> bool {
        let near = |a: Mm, b: Mm, least: f64| a.distance(b) < least;
        along(line).all(|p| {
            self.names.iter().all(|name| name.distance(p) > APART)
                && (self.dots.iter())
                    .all(|dot| near(*dot, line[0], PILE) || !near(*dot, p, DOT + APART))
                && (self.lines.iter())
                    .filter(|_| !near(p, line[0], PILE))
                    .all(|other| along(*other).all(|q| !near(p, q, APART)))
        })
    }
}

/// A place for the name of each dot, given how wide the names are; the field is from the left edge at `top` to
/// `bottom`. Where there is no room at all a name stands on others.
pub fn place(dots: &[Mm], widths: &[f64], top: f64, bottom: Mm) -> Vec<Label> {
    let mut taken = Taken {
        dots,
        field: Area {
            from: Mm::new(0.0, top),
            to: bottom,
        },
        names: Vec::new(),
        lines: Vec::new(),
    };
    let mut labels: Vec<Option<Label>> = Vec::with_capacity(dots.len());
    for (dot, width) in dots.iter().zip(widths) {
        let found = beside(*dot, *width)
            .into_iter()
            .find(|at| taken.has_room(&Area::of(*at, *width)));
        taken.names.extend(found.map(|at| Area::of(at, *width)));
        labels.push(found.map(|at| Label { at, leader: None }));
    }
    let placed = labels.into_iter().zip(dots.iter().zip(widths));
    placed
        .map(|(label, (dot, width))| {
            label
                .or_else(|| further_off(*dot, *width, &mut taken))
                .unwrap_or(Label {
                    at: Mm::new(dot.x + BESIDE, dot.y + 1.0),
                    leader: None,
                })
        })
        .collect()
}

/// To the right of its dot, to the left, above, below.
fn beside(dot: Mm, width: f64) -> [Mm; 4] {
    let level = dot.y + (ABOVE - BELOW) / 2.0;
    let middle = dot.x - width / 2.0;
    [
        Mm::new(dot.x + BESIDE, level),
        Mm::new(dot.x - BESIDE - width, level),
        Mm::new(middle, dot.y - BESIDE - BELOW),
        Mm::new(middle, dot.y + BESIDE + ABOVE),
    ]
}

fn further_off(dot: Mm, width: f64, taken: &mut Taken<'_>) -> Option<Label> {
    let rings = RINGS.flat_map(|ring| (0..DIRECTIONS).map(move |k| (ring, k)));
    for (ring, k) in rings {
        let angle = f64::from(k) * std::f64::consts::TAU / f64::from(DIRECTIONS);
        let reach = f64::from(ring) * RING_MM;
        let chip = Mm::new(dot.x + reach * angle.cos(), dot.y + reach * angle.sin());
        let x = if angle.cos() >= 0.0 {
            chip.x - CHIP + CHIP_ROOM
        } else {
            chip.x + CHIP - CHIP_ROOM - width
        };
        let at = Mm::new(x, chip.y + (ABOVE - BELOW) / 2.0);
        let mut area = Area::of(at, width);
        let line = [dot, chip];
        area.from.x = area.from.x.min(chip.x - CHIP);
        area.to.x = area.to.x.max(chip.x + CHIP);
        if taken.has_room(&area) && taken.is_open(line) {
            taken.names.push(area);
            taken.lines.push(line);
            return Some(Label {
                at,
                leader: Some(line),
            });
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    const FIELD: Mm = Mm { x: 128.0, y: 136.0 };

    /// Every name keeps clear of all dots and of the other names, and is nearest to its own dot or has a line.
    fn is_legible(dots: &[Mm], widths: &[f64]) -> usize {
        let labels = place(dots, widths, 8.0, FIELD);
        let areas: Vec<Area> = labels
            .iter()
            .zip(widths)
            .map(|(label, width)| Area::of(label.at, *width))
            .collect();
        for (k, area) in areas.iter().enumerate() {
            for (i, dot) in dots.iter().enumerate() {
                assert!(area.distance(*dot) > DOT, "name {k} on dot {i}");
                let own = area.distance(dots[k]);
                assert!(
                    labels[k].leader.is_some() || i == k || own < area.distance(*dot),
                    "name {k} seems to be of dot {i}"
                );
            }
            for (i, other) in areas.iter().enumerate() {
                assert!(i == k || area.is_clear_of(other), "names {k} and {i}");
            }
            assert!(area.from.x >= 0.0 && area.to.x <= FIELD.x, "{area:?}");
            if let Some([from, to]) = labels[k].leader {
                assert_eq!(from, dots[k]);
                assert!((area.distance(to) - (CHIP_ROOM - CHIP)).abs() < 1e-9);
            }
        }
        labels.iter().filter(|label| label.leader.is_some()).count()
    }

    #[test]
    fn a_dot_by_itself_has_its_name_beside_it() {
        let dots = [Mm::new(20.0, 20.0), Mm::new(120.0, 60.0)];
        assert_eq!(is_legible(&dots, &[15.0, 15.0]), 0);
        let labels = place(&dots, &[15.0, 15.0], 8.0, FIELD);
        assert!(
            labels[0].at.x > dots[0].x,
            "to the right where there is room"
        );
        assert!(labels[1].at.x + 15.0 < dots[1].x, "else to the left");
    }

    /// Greys all lie around the middle of the plane.
    #[test]
    fn greys_on_a_pile_are_led_to() {
        let greys: Vec<Mm> = (0..7)
            .map(|k| Mm::new(64.0 + 0.6 * f64::from(k % 3), 70.0 + 0.9 * f64::from(k)))
            .collect();
        let led = is_legible(&greys, &[6.0, 9.0, 5.0, 5.0, 7.0, 4.0, 11.0]);
        assert!(led >= 4, "{led}");
    }
}
