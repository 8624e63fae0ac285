//! Polygons: footprints in their own axes, and outlines on the tray.

use i_overlay::core::fill_rule::FillRule;
use i_overlay::float::simplify::SimplifyShape;

use crate::units::Mm;

/// Convex hull in order of angle (Andrew's monotone chain).
pub fn convex_hull(mut points: Vec<Mm>) -> Vec<Mm> {
    points.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    let turn = |o: &Mm, a: &Mm, b: &Mm| (a.x - o.x) * (b.y - o.y) - (a.y - o.y) * (b.x - o.x);
    let chain = |points: &mut dyn Iterator<Item = Mm>| {
        let mut hull: Vec<Mm> = Vec::new();
        for p in points {
            while let [.., a, b] = hull.as_slice() {
                if turn(a, b, &p) > 1e-12 {
                    break;
                }
                hull.pop();
            }
            hull.push(p);
        }
        hull.pop();
        hull
    };
    let mut hull = chain(&mut points.iter().copied());
    hull.extend(chain(&mut points.iter().rev().copied()));
    hull
}

/// Area and middle of a polygon (shoelace), in its own units.
pub fn area_and_middle(polygon: &[(f64, f64)]) -> (f64, (f64, f64)) {
    let (mut area, mut mx, mut my) = (0.0, 0.0, 0.0);
    for (i, a) in polygon.iter().enumerate() {
        let b = polygon[(i + 1) % polygon.len()];
        let cross = a.0 * b.1 - b.0 * a.1;
        area += cross / 2.0;
        mx += (a.0 + b.0) * cross / 6.0;
        my += (a.1 + b.1) * cross / 6.0;
    }
    if area.abs() < 1e-12 {
        return (0.0, polygon.first().copied().unwrap_or_default());
    }
    (area.abs(), (mx / area, my / area))
}

/// Whether a place lies inside a polygon: a line from there crosses it an odd number of times.
pub fn inside<Place: Copy + Into<(f64, f64)>>(polygon: &[Place], at: Place) -> bool {
    let (x, y) = at.into();
    let mut odd = false;
    let mut from = polygon.last().map(|last| (*last).into());
    for to in polygon {
        let to: (f64, f64) = (*to).into();
        if let Some(from) = from.filter(|from| (from.1 > y) != (to.1 > y)) {
            odd ^= x < from.0 + (y - from.1) / (to.1 - from.1) * (to.0 - from.0);
        }
        from = Some(to);
    }
    odd
}

/// Whether two sides of a polygon meet elsewhere than in a corner that both share.
pub fn crossings(polygon: &[(f64, f64)]) -> bool {
    let n = polygon.len();
    let side = |k: usize| (polygon[k], polygon[(k + 1) % n]);
    let turn = |a: (f64, f64), b: (f64, f64), c: (f64, f64)| {
        let cross = (b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0);
        if cross == 0.0 { 0.0 } else { cross.signum() }
    };
    let overlap = |a: f64, b: f64, c: f64, d: f64| a.min(b) <= c.max(d) && c.min(d) <= a.max(b);
    let flat = |v: f64| v.abs() < 1e-12;
    (0..n).any(|i| {
        let (a, b) = side(i);
        let meets = |k: usize| {
            let (c, d) = side(k);
            overlap(a.0, b.0, c.0, d.0)
                && overlap(a.1, b.1, c.1, d.1)
                && turn(a, b, c) * turn(a, b, d) <= 0.0
                && turn(c, d, a) * turn(c, d, b) <= 0.0
        };
        let apart = |k: &usize| (i + 1) % n != *k && (k + 1) % n != i;
        flat(a.0 - b.0) && flat(a.1 - b.1) || (i + 1..n).filter(apart).any(meets)
    })
}

/// Whether a polygon turns the other way anywhere.
pub fn has_notch(outline: &[(f64, f64)]) -> bool {
    let n = outline.len();
    let turn = |k: usize| {
        let (a, b, c) = (outline[k], outline[(k + 1) % n], outline[(k + 2) % n]);
        (b.0 - a.0) * (c.1 - b.1) - (b.1 - a.1) * (c.0 - b.0)
    };
    (0..n).any(|k| turn(k) > 1e-9) && (0..n).any(|k| turn(k) < -1e-9)
}

/// A polygon with every side moved inwards; `None` where one all but doubles back.
pub fn narrowed(outline: &[(f64, f64)], by_mm: f64) -> Option<Vec<(f64, f64)>> {
    let n = outline.len();
    let at = |k: usize| outline[k % n];
    let twice: f64 = (0..n)
        .map(|k| at(k).0 * at(k + 1).1 - at(k + 1).0 * at(k).1)
        .sum();
    let inwards = twice.signum();
    let unit = |a: (f64, f64), b: (f64, f64)| {
        let (dx, dy) = (b.0 - a.0, b.1 - a.1);
        let length = dx.hypot(dy);
        (length > 1e-9).then(|| (dx / length, dy / length))
    };
    let corner = |k: usize| {
        let (before, after) = (unit(at(k + n - 1), at(k))?, unit(at(k), at(k + 1))?);
        let normal = |d: (f64, f64)| (-d.1 * inwards, d.0 * inwards);
        let (p, q) = (normal(before), normal(after));
        // Both sides' lines, moved in: the corner is where they meet.
        let scale = 1.0 + p.0 * q.0 + p.1 * q.1;
        (scale > 0.05).then(|| {
            (
                at(k).0 + (p.0 + q.0) / scale * by_mm,
                at(k).1 + (p.1 + q.1) / scale * by_mm,
            )
        })
    };
    (0..n).map(corner).collect()
}

/// Outline of all that lies between two polygons, corner by corner.
pub fn swept(base: &[Mm], top: &[Mm]) -> Vec<Mm> {
    let mut contours: Vec<Vec<[f64; 2]>> = [base, top]
        .map(|corners| corners.iter().map(|p| [p.x, p.y]).collect())
        .to_vec();
    for k in 0..base.len() {
        let next = (k + 1) % base.len();
        let side = [base[k], base[next], top[next], top[k]];
        contours.push(side.map(|p| [p.x, p.y]).to_vec());
    }
    // All one way round, so that what two of them cover does not cancel.
    for contour in &mut contours {
        let n = contour.len();
        let cross = |k: usize| {
            let (a, b) = (contour[k], contour[(k + 1) % n]);
            a[0] * b[1] - b[0] * a[1]
        };
        if (0..n).map(cross).sum::<f64>() < 0.0 {
            contour.reverse();
        }
    }
    let merged = contours.simplify_shape(FillRule::NonZero);
    let outer = merged
        .into_iter()
        .filter_map(|shape| shape.into_iter().next());
    let area = |contour: &Vec<[f64; 2]>| {
        let corners: Vec<(f64, f64)> = contour.iter().map(|p| (p[0], p[1])).collect();
        area_and_middle(&corners).0
    };
    let largest = outer.max_by(|a, b| area(a).total_cmp(&area(b)));
    let corners = largest.unwrap_or_default();
    corners.into_iter().map(|[x, y]| Mm::new(x, y)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Px;

    #[test]
    fn sides_that_cross_are_told() {
        let bow = [(0.0, 0.0), (2.0, 2.0), (2.0, 0.0), (0.0, 2.0)];
        let notch = [
            (0.0, 0.0),
            (2.0, 0.0),
            (2.0, 1.0),
            (1.0, 1.0),
            (1.0, 2.0),
            (0.0, 2.0),
        ];
        let touching = [(0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (2.0, 0.0), (0.0, 2.0)];
        // Two sides of one line that do not meet.
        let fork = [
            (0.0, 0.0),
            (3.0, 0.0),
            (3.0, 2.0),
            (2.0, 2.0),
            (2.0, 1.0),
            (1.0, 1.0),
            (1.0, 2.0),
            (0.0, 2.0),
        ];
        assert!(crossings(&bow) && crossings(&touching));
        assert!(!crossings(&notch) && !crossings(&fork));
    }

    #[test]
    fn tells_inside_from_outside() {
        // A notch, and on paper as in the photo.
        let corner = [(0, 0), (20, 0), (20, 10), (10, 10), (10, 20), (0, 20)];
        let tray = corner.map(|(x, y)| Mm::new(x.into(), y.into()));
        let photo = corner.map(|(x, y)| Px::new(x.into(), y.into()));
        for ((x, y), is) in [
            ((5.0, 15.0), true),
            ((15.0, 5.0), true),
            ((15.0, 15.0), false),
            ((-1.0, 5.0), false),
            ((f64::NAN, 5.0), false),
        ] {
            assert_eq!(inside(&tray, Mm::new(x, y)), is, "{x} {y}");
            assert_eq!(inside(&photo, Px::new(x, y)), is, "{x} {y}");
        }
        assert!(!inside(&[], Mm::new(0.0, 0.0)));
    }
}
