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

#[cfg(test)]
mod tests {
    use super::*;

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
