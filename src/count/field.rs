//! What a piece's neighbours say about something that runs smoothly over the tray.
//!
//! A Gaussian process in the plane (kriging). Each piece's own value is left out of what is
//! predicted for it, by the inverse of the covariance (Rasmussen & Williams, 'Gaussian Processes
//! for Machine Learning', 2006, eqs 5.12).

use nalgebra::{DMatrix, DVector};

use crate::units::Mm;

/// How a field behaves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Field {
    /// Mean far from all pieces.
    pub mean: f64,
    /// Variance of the smooth part.
    pub smooth: f64,
    /// Distance over which it changes, mm.
    pub reach_mm: f64,
    /// Variance that each piece has on its own.
    pub own: f64,
}

/// For each place the mean and standard deviation that the others give it;
/// `None` where the numbers allow no answer.
pub fn by_the_others(
    places: &[Mm],
    values: &[(f64, f64)],
    field: &Field,
) -> Option<Vec<(f64, f64)>> {
    let n = places.len();
    let covariance = DMatrix::from_fn(n, n, |i, j| {
        let apart = places[i].distance(places[j]) / field.reach_mm;
        let smooth = field.smooth * (-0.5 * apart * apart).exp();
        if i == j {
            smooth + field.own + values[i].1
        } else {
            smooth
        }
    });
    let inverse = covariance.cholesky()?.inverse();
    let off = DVector::from_fn(n, |i, _| values[i].0 - field.mean);
    let pull = &inverse * off;
    Some(
        (0..n)
            .map(|i| {
                let precision = inverse[(i, i)];
                let variance = (1.0 / precision - values[i].1).max(field.own);
                (values[i].0 - pull[i] / precision, variance.sqrt())
            })
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// Two places: the conditional mean and variance of a Gaussian pair, by hand.
    #[test]
    fn a_pair_agrees_with_the_textbook() {
        let places = [Mm::new(0.0, 0.0), Mm::new(30.0, 40.0)];
        let field = Field {
            mean: 1.0,
            smooth: 2.0,
            reach_mm: 50.0,
            own: 0.1,
        };
        let values = [(1.5, 0.2), (3.0, 0.4)];
        let got = by_the_others(&places, &values, &field).unwrap();
        let shared = 2.0 * (-0.5f64).exp();
        let (mean, variance) = (1.0 + shared / 2.5 * 2.0, 2.1 - shared * shared / 2.5);
        assert!((got[0].0 - mean).abs() < 1e-12, "{got:?}");
        assert!((got[0].1 - variance.sqrt()).abs() < 1e-12, "{got:?}");
    }

    #[test]
    fn a_wild_value_does_not_tell_on_itself() {
        let places: Vec<Mm> = (0..9).map(|i| Mm::new(f64::from(i) * 10.0, 0.0)).collect();
        let mut values = vec![(0.0, 0.01); 9];
        values[4].0 = 5.0;
        let field = Field {
            mean: 0.0,
            smooth: 1.0,
            reach_mm: 40.0,
            own: 0.01,
        };
        let got = by_the_others(&places, &values, &field).unwrap();
        assert!(got[4].0.abs() < 0.5, "{got:?}");
        assert!(got[3].0 > 0.5, "{got:?}");
    }
}
