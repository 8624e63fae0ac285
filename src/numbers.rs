//! What more than one stage does with plain numbers: the one in the middle, and the decimals
//! that files keep.

/// The middle one in order of size, the upper of two; `None` of nothing.
pub fn median(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let mut sorted: Vec<f64> = values.into_iter().collect();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied()
}

/// One decimal.
pub fn round1(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// Two decimals: a hundredth of a pixel, of a mm, of a degree, of a CIELAB unit, of a gram.
pub fn round2(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

/// Three decimals: what a probability is worth in a file.
pub fn round3(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// The 0.975 quantile of the standard normal distribution, for intervals of 95 %.
const Z: f64 = 1.959_964;

/// The 95 % interval of a share of which `hits` of `of` were seen (Wilson 1927, "Probable Inference, the Law of
/// Succession, and Statistical Inference"); all there is where nothing was seen.
pub fn wilson(hits: u32, of: u32) -> [f64; 2] {
    if of == 0 {
        return [0.0, 1.0];
    }
    let n = f64::from(of);
    let p = f64::from(hits) / n;
    let middle = (p + Z * Z / (2.0 * n)) / (1.0 + Z * Z / n);
    let half = Z / (1.0 + Z * Z / n) * (p * (1.0 - p) / n + Z * Z / (4.0 * n * n)).sqrt();
    [(middle - half).max(0.0), (middle + half).min(1.0)]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Newcombe 1998, "Two-sided confidence intervals for the single proportion: comparison of seven methods", table I,
    /// method 3.
    #[test]
    fn the_interval_of_a_share_is_the_published_one() {
        for (hits, of, low, high) in [
            (81, 263, 0.2553, 0.3662),
            (15, 148, 0.0624, 0.1605),
            (0, 20, 0.0, 0.1611),
            (1, 29, 0.0061, 0.1718),
        ] {
            let [l, h] = wilson(hits, of);
            // Half a unit of the last printed digit.
            assert!((l - low).abs() <= 5e-5, "{hits} of {of}: {l}");
            assert!((h - high).abs() <= 5e-5, "{hits} of {of}: {h}");
        }
        assert_eq!(wilson(0, 0), [0.0, 1.0]);
    }

    #[test]
    fn median_is_the_middle_one_whatever_the_order() {
        assert_eq!(median([]), None);
        assert_eq!(median([7.0]), Some(7.0));
        assert_eq!(median([9.0, -1.0, 4.0]), Some(4.0));
        assert_eq!(median([9.0, -1.0, 4.0, 5.0]), Some(5.0));
    }

    #[test]
    fn rounding_keeps_so_many_decimals_away_from_zero_at_the_half() {
        assert_eq!([round1(2.25), round1(-2.25)], [2.3, -2.3]);
        assert_eq!([round2(0.125), round2(-0.125)], [0.13, -0.13]);
        assert_eq!([round3(0.0625), round3(1.0)], [0.063, 1.0]);
    }
}
