//! Silhouettes compared by the places that they cover.

use super::polygon::inside;
use crate::units::Mm;

/// Distance between places at which silhouettes are compared, mm.
const STEP_MM: f64 = 1.0;

/// A silhouette and places all over it.
pub(super) struct Shade {
    outline: Vec<Mm>,
    places: Vec<Mm>,
}

impl Shade {
    pub fn of(outline: &[Mm]) -> Self {
        let steps = |value: &dyn Fn(&Mm) -> f64| {
            let low = outline.iter().map(value).fold(f64::MAX, f64::min);
            let high = outline.iter().map(value).fold(f64::MIN, f64::max);
            (low / STEP_MM).floor() as i32..=(high / STEP_MM).ceil() as i32
        };
        let place = |step: i32| f64::from(step) * STEP_MM;
        let rows = steps(&|p| p.y);
        let places = rows
            .flat_map(|row| steps(&|p| p.x).map(move |column| Mm::new(place(column), place(row))))
            .filter(|at| inside(outline, *at))
            .collect();
        Self {
            outline: outline.to_vec(),
            places,
        }
    }

    fn common(&self, other: &Shade) -> f64 {
        let inside = |at: &&Mm| inside(&self.outline, **at);
        other.places.iter().filter(inside).count() as f64
    }

    /// Share of `other` that lies in this one.
    pub fn share_of(&self, other: &Shade) -> f64 {
        self.common(other) / other.places.len().max(1) as f64
    }

    /// Intersection over union.
    pub fn likeness(&self, other: &Shade) -> f64 {
        let common = self.common(other);
        let all = (self.places.len() + other.places.len()) as f64 - common;
        common / all.max(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rectangle(left: f64, top: f64, right: f64, bottom: f64) -> Shade {
        Shade::of(
            &[(left, top), (right, top), (right, bottom), (left, bottom)]
                .map(|(x, y)| Mm::new(x, y)),
        )
    }

    #[test]
    fn silhouettes_share_what_lies_in_both() {
        let (wide, left) = (
            rectangle(0.2, 0.2, 32.2, 16.2),
            rectangle(0.2, 0.2, 16.2, 16.2),
        );
        assert!((wide.share_of(&left) - 1.0).abs() < 1e-9);
        assert!((left.share_of(&wide) - 0.5).abs() < 0.02);
        assert!((wide.likeness(&left) - 0.5).abs() < 0.02);
        let away = rectangle(40.2, 0.2, 50.2, 10.2);
        assert_eq!((wide.share_of(&away), wide.likeness(&away)), (0.0, 0.0));
    }
}
