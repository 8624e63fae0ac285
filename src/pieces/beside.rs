//! Whether something lies right beside a piece.
//!
//! One piece that explains a patch of foreground with tray all around it is hardly ever wrong.
//! In a clump the same outline may be two pieces, or a part of one.

use super::polygon::area_and_middle;
use crate::units::Mm;

/// Where a neighbour is looked for, mm outside the outline: beyond the lens' blur and bleeding
/// colour (0.9), and within what two pieces that only nearly touch leave free.
const RING_MM: [f64; 2] = [1.3, 2.0];
/// Distance between places along the outline, mm.
const STEP_MM: f64 = 0.5;
/// So much of the outline with something beside it is a neighbour, mm: half a stud's pitch. Less may
/// be a glint's edge or a crumb.
const NEIGHBOUR_MM: f64 = 4.0;

/// Whether something lies right beside a convex outline; `taken` tells what is another piece's or
/// explained by none.
pub(super) fn is_touched(outline: &[Mm], taken: &dyn Fn(Mm) -> bool) -> bool {
    let corners: Vec<(f64, f64)> = outline.iter().map(|p| (p.x, p.y)).collect();
    let (_, (mx, my)) = area_and_middle(&corners);
    let mut beside_mm = 0.0;
    for (i, from) in outline.iter().enumerate() {
        let to = outline[(i + 1) % outline.len()];
        let length = from.distance(to);
        let steps = (length / STEP_MM).ceil();
        if steps < 1.0 {
            continue;
        }
        let (nx, ny) = ((to.y - from.y) / length, (from.x - to.x) / length);
        // Outwards, whichever way round the outline runs.
        let out = (nx * (from.x - mx) + ny * (from.y - my)).signum();
        for k in 0..steps as usize {
            let t = (k as f64 + 0.5) / steps;
            let (x, y) = (from.x + (to.x - from.x) * t, from.y + (to.y - from.y) * t);
            let near = |mm: &f64| taken(Mm::new(x + nx * out * mm, y + ny * out * mm));
            if RING_MM.iter().all(near) {
                beside_mm += length / steps;
            }
        }
    }
    beside_mm > NEIGHBOUR_MM
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_neighbour_is_told_from_tray_and_from_a_corner() {
        let square = [(20.0, 20.0), (36.0, 20.0), (36.0, 36.0), (20.0, 36.0)];
        let outline = square.map(|(x, y)| Mm::new(x, y));
        let mut backwards = outline;
        backwards.reverse();
        let touched = |left: f64, top: f64, right: f64, bottom: f64| {
            let taken = |at: Mm| (left..right).contains(&at.x) && (top..bottom).contains(&at.y);
            let both = [outline, backwards].map(|o| is_touched(&o, &taken));
            assert_eq!(both[0], both[1]);
            both[0]
        };
        // Its own colour bleeding; flush with another; along a part of a side; a corner's touch.
        assert!(!touched(19.1, 19.1, 36.9, 36.9));
        assert!(touched(36.0, 20.0, 52.0, 36.0));
        assert!(touched(36.2, 28.0, 52.0, 44.0));
        assert!(!touched(36.2, 33.0, 52.0, 52.0));
        // A stud's width away is apart.
        assert!(!touched(39.0, 20.0, 52.0, 36.0));
    }
}
