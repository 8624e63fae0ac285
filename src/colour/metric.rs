//! CIEDE2000 as a quadratic form, so that least squares can minimise it.

use nalgebra::{Matrix3, Vector3};

/// The linear map from a small Lab difference at `lab` to a vector whose length is its dE00.
///
/// CIEDE2000 (Sharma, Wu, Dalal 2005, eqs 2-22) for a vanishing difference: with l, c, h the
/// weighted differences of lightness, chroma and hue,
/// dE² = l² + c² + h² + RT c h = l² + (c + RT h / 2)² + (1 - RT² / 4) h².
/// The change of G with chroma is left out.
pub fn metric(lab: [f64; 3]) -> Matrix3<f64> {
    let [lightness, a, b] = lab;
    let g = 0.5 * (1.0 - saturation(a.hypot(b)));
    let a1 = (1.0 + g) * a;
    let chroma = a1.hypot(b);
    let hue = b.atan2(a1);
    let degrees = hue.to_degrees().rem_euclid(360.0);
    let cosine = |factor: f64, offset: f64| (factor * degrees + offset).to_radians().cos();
    let t = 1.0 - 0.17 * cosine(1.0, -30.0) + 0.24 * cosine(2.0, 0.0) + 0.32 * cosine(3.0, 6.0)
        - 0.20 * cosine(4.0, -63.0);
    let l50 = (lightness - 50.0).powi(2);
    let sl = 1.0 + 0.015 * l50 / (20.0 + l50).sqrt();
    let sc = 1.0 + 0.045 * chroma;
    let sh = 1.0 + 0.015 * chroma * t;
    let theta = 30.0 * (-((degrees - 275.0) / 25.0).powi(2)).exp();
    let rt = -(2.0 * theta).to_radians().sin() * 2.0 * saturation(chroma);
    let (sin, cos) = hue.sin_cos();
    let along = Vector3::new(0.0, cos * (1.0 + g), sin) / sc;
    let across = Vector3::new(0.0, -sin * (1.0 + g), cos) / sh;
    Matrix3::from_rows(&[
        Vector3::new(1.0 / sl, 0.0, 0.0).transpose(),
        (along + across * (0.5 * rt)).transpose(),
        (across * (1.0 - 0.25 * rt * rt).max(0.0).sqrt()).transpose(),
    ])
}

/// sqrt(C^7 / (C^7 + 25^7)), the step from greys to colours in the formula's G and RC.
fn saturation(chroma: f64) -> f64 {
    let c7 = chroma.powi(7);
    (c7 / (c7 + 25f64.powi(7))).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::lab::de00;

    /// Against the formula itself: 3 % covers the change of G with chroma, at most 0.02 units
    /// the curvature over a step of 0.3.
    #[test]
    fn small_differences_have_the_length_of_their_de00() {
        for lab in [
            [50.0, 0.0, 0.0],
            [20.0, 30.0, 10.0],
            [72.0, -46.0, 0.0],
            [45.0, 8.0, -47.0],
            [90.0, -5.0, 60.0],
            [30.0, 20.0, -60.0],
        ] {
            for step in [
                [0.3, 0.0, 0.0],
                [0.0, 0.3, 0.0],
                [0.0, 0.0, 0.3],
                [0.2, -0.2, 0.1],
                [0.0, 0.2, 0.2],
            ] {
                let there = [lab[0] + step[0], lab[1] + step[1], lab[2] + step[2]];
                let length = (metric(lab) * Vector3::from(step)).norm();
                let exact = de00(lab, there);
                assert!(
                    (length - exact).abs() < 0.03 * exact + 0.02,
                    "{lab:?} + {step:?}: {length}, dE00 {exact}"
                );
            }
        }
    }
}
