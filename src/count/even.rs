//! CIELAB stretched so that a step of 1 looks about alike everywhere.
//!
//! CIEDE2000 divides a step by 1 + 0.045 C along chroma and by
//! 1 + 0.015 (L - 50)² / sqrt(20 + (L - 50)²) along lightness (Sharma, Wu, Dalal 2005,
//! eqs 15 and 16). Integrating both, the latter for |L - 50| well above 5, gives coordinates
//! in which plain distance is near its dE00, so that sums, means and Gaussians make sense in it.
//! Hue comes along with chroma: C' / C lies within a few per cent of 1 / (1 + 0.015 C T).

/// Lightness and the two chromatic coordinates, in steps of about 1 dE00.
pub type Even = [f64; 3];

const LIGHTNESS: f64 = 0.015;
const CHROMA: f64 = 0.045;

/// From CIELAB.
pub fn even(lab: [f64; 3]) -> Even {
    let [lightness, a, b] = lab;
    let from_middle = lightness - 50.0;
    // No overflow to fear here, and this is asked a million times a photo.
    let chroma = (a * a + b * b).sqrt();
    let shrink = if chroma < 1e-9 {
        1.0
    } else {
        (CHROMA * chroma).ln_1p() / (CHROMA * chroma)
    };
    let stretched = (LIGHTNESS * from_middle.abs()).ln_1p() / LIGHTNESS;
    [stretched.copysign(from_middle), a * shrink, b * shrink]
}

/// Back to CIELAB.
pub fn uneven(even: Even) -> [f64; 3] {
    let [stretched, a, b] = even;
    let from_middle = ((LIGHTNESS * stretched.abs()).exp_m1() / LIGHTNESS).copysign(stretched);
    let chroma = a.hypot(b);
    let grow = if chroma < 1e-9 {
        1.0
    } else {
        (CHROMA * chroma).exp_m1() / (CHROMA * chroma)
    };
    [50.0 + from_middle, a * grow, b * grow]
}

/// Plain distance.
pub fn distance(a: Even, b: Even) -> f64 {
    (0..3).map(|c| (a[c] - b[c]).powi(2)).sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::lab::de00;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(ProptestConfig { rng_seed: proptest::test_runner::RngSeed::Fixed(7), failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn there_and_back(l in 0.0..100.0, a in -80.0..80.0, b in -80.0..80.0) {
            let back = uneven(even([l, a, b]));
            for (got, want) in back.iter().zip([l, a, b]) {
                prop_assert!((got - want).abs() < 1e-9);
            }
        }

        /// A factor of two: T's swing with hue and what dE00 adds for greys (G) are left out here. So is its
        /// rotation term, which near hue 275 shrinks steps across by up to sqrt(1 - sin 60° · Rc / 2) = 0.38.
        #[test]
        fn distance_is_near_de00(
            l in 15.0..95.0, a in -50.0..50.0, b in -50.0..50.0,
            dl in -2.0..2.0, da in -4.0..4.0, db in -4.0..4.0,
        ) {
            let (one, other) = ([l, a, b], [l + dl, a + da, b + db]);
            let want = de00(one, other);
            prop_assume!(want > 0.5);
            let got = distance(even(one), even(other));
            let hue = b.atan2(a).to_degrees().rem_euclid(360.0);
            let most = if (hue - 275.0).abs() < 50.0 { 2.0 / 0.38 } else { 2.0 };
            prop_assert!((0.5..most).contains(&(got / want)), "{got} for {want}");
        }
    }
}
