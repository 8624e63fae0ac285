//! The smallest box around pixels of a picture.

use imageproc::point::Point;

use super::polygon::convex_hull;
use crate::units::Mm;

/// A box around pixels: its axes in the picture.
pub(super) struct Frame {
    corner: [f64; 2],
    /// Unit vectors along the long side and, counter-clockwise as seen, along the short one.
    pub(super) along: [f64; 2],
    across: [f64; 2],
    pub(super) long_px: f64,
    pub(super) short_px: f64,
}

impl Frame {
    /// The smallest box around pixels, or around a contour that runs through them: one of its sides lies along the hull (Freeman
    /// and Shapira 1975). `None` of no pixel.
    pub(super) fn of(points: &[Point<i32>]) -> Option<Self> {
        let places = points
            .iter()
            .map(|p| Mm::new(f64::from(p.x), f64::from(p.y)));
        let hull = convex_hull(places.collect());
        let sides = hull.iter().zip(hull.iter().cycle().skip(1));
        let boxes = sides.filter_map(|(a, b)| {
            let length = a.distance(*b);
            (length > 1e-9)
                .then(|| Self::along(&hull, [(b.x - a.x) / length, (b.y - a.y) / length]))
        });
        let area = |frame: &Self| frame.long_px * frame.short_px;
        boxes.min_by(|a, b| area(a).total_cmp(&area(b)))
    }

    /// The box around places with a side in this direction.
    fn along(places: &[Mm], way: [f64; 2]) -> Self {
        let span = |way: [f64; 2]| {
            let far = places.iter().map(|p| p.x * way[0] + p.y * way[1]);
            far.fold((f64::MAX, f64::MIN), |(low, high), v| {
                (low.min(v), high.max(v))
            })
        };
        let beside = |way: [f64; 2]| [way[1], -way[0]];
        let length = |(low, high): (f64, f64)| high - low;
        let along = if length(span(way)) >= length(span(beside(way))) {
            way
        } else {
            beside(way)
        };
        // The list's y runs away from a viewer for whom x runs to the right; a picture's runs down.
        let across = beside(along);
        let (long, short) = (span(along), span(across));
        // A contour runs through its pixels' middles: half a pixel more at each end.
        let (u, v) = (long.0 - 0.5, short.0 - 0.5);
        Self {
            corner: [u * along[0] + v * across[0], u * along[1] + v * across[1]],
            along,
            across,
            long_px: length(long) + 1.0,
            short_px: length(short) + 1.0,
        }
    }

    /// A pixel in studs of the box.
    pub(super) fn studs(&self, x: f64, y: f64, (short, long): (u8, u8)) -> [f64; 2] {
        let (dx, dy) = (x - self.corner[0], y - self.corner[1]);
        let part = |way: [f64; 2], side: f64, studs: u8| {
            (dx * way[0] + dy * way[1]) / side * f64::from(studs)
        };
        [
            part(self.along, self.long_px, long),
            part(self.across, self.short_px, short),
        ]
    }

    /// The other way.
    pub(super) fn px(&self, [u, v]: [f64; 2], (short, long): (u8, u8)) -> [f64; 2] {
        let (a, b) = (
            u / f64::from(long) * self.long_px,
            v / f64::from(short) * self.short_px,
        );
        [0, 1].map(|k| self.corner[k] + a * self.along[k] + b * self.across[k])
    }
}
