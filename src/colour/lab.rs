//! Linear sRGB to CIELAB (D65, 2 degree observer) and back, and the CIEDE2000 difference.
//!
//! The arithmetic is [`palette`]'s. Its matrix from linear sRGB to XYZ is derived
//! from the primaries of IEC 61966-2-1 and the white X 0.95047, Y 1, Z 1.08883, so
//! that equal channels are neutral to 2e-5. The matrix printed in the standard
//! (four decimals) would give white a\* 0.008, b\* 0.004 instead; for the sRGB primaries
//! the two differ by less than 0.02 dE00.
//!
//! Components may lie outside 0..1: nothing is clipped on the way.

use palette::LinSrgb;
use palette::color_difference::Ciede2000;
use palette::convert::FromColorUnclamped as _;
use palette::encoding::{FromLinear, IntoLinear, Srgb};
use palette::white_point::D65;

type Lab = palette::Lab<D65, f64>;
type Xyz = palette::Xyz<D65, f64>;

/// CIELAB (D65, 2 degree) of a linear sRGB colour; white is (1, 1, 1).
pub fn lab_from_linear(rgb: [f64; 3]) -> [f64; 3] {
    let lab = Lab::from_color_unclamped(LinSrgb::from(rgb));
    [lab.l, lab.a, lab.b]
}

/// Linear sRGB of a CIELAB (D65, 2 degree) colour; outside 0..1 when out of gamut.
pub fn linear_from_lab(lab: [f64; 3]) -> [f64; 3] {
    LinSrgb::from_color_unclamped(Lab::new(lab[0], lab[1], lab[2])).into()
}

/// The nearest linear sRGB that something can have: none of its X, Y and Z is below zero. A correction that is
/// learned from a card's inks goes beyond that on yellows which are stronger than any ink.
pub fn possible(rgb: [f64; 3]) -> [f64; 3] {
    let xyz = Xyz::from_color_unclamped(LinSrgb::from(rgb));
    if xyz.x.min(xyz.y).min(xyz.z) >= 0.0 {
        return rgb;
    }
    let xyz = Xyz::new(xyz.x.max(0.0), xyz.y.max(0.0), xyz.z.max(0.0));
    LinSrgb::from_color_unclamped(xyz).into()
}

/// Linear light of one encoded sRGB component (IEC 61966-2-1), odd-symmetric below zero.
pub fn decode(encoded: f64) -> f64 {
    let linear: f64 = <Srgb as IntoLinear<f64, f64>>::into_linear(encoded.abs());
    linear.copysign(encoded)
}

/// Encoded sRGB component of one linear component (IEC 61966-2-1), odd-symmetric below zero.
pub fn encode(linear: f64) -> f64 {
    let encoded: f64 = <Srgb as FromLinear<f64, f64>>::from_linear(linear.abs());
    encoded.copysign(linear)
}

/// CIELAB (D65, 2 degree) of an 8-bit sRGB colour.
pub fn lab_from_srgb8(srgb: [u8; 3]) -> [f64; 3] {
    lab_from_linear(srgb.map(|v| decode(f64::from(v) / 255.0)))
}

/// CIEDE2000 difference of two CIELAB colours (Sharma, Wu, Dalal 2005; kL = kC = kH = 1).
pub fn de00(a: [f64; 3], b: [f64; 3]) -> f64 {
    Lab::new(a[0], a[1], a[2]).difference(Lab::new(b[0], b[1], b[2]))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
    use super::*;

    #[test]
    fn what_nothing_can_look_like_is_moved_to_what_something_can() {
        let yellow = [1.1, 1.0, -0.25];
        assert!(lab_from_linear(yellow)[2] > 200.0);
        let moved = possible(yellow);
        let lab = lab_from_linear(moved);
        // Y as before, Z at zero: b* is 200 (f(Y) - 4/29) (ISO/CIE 11664-4).
        let luminance = |v: [f64; 3]| 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2];
        let y = luminance(yellow);
        assert!((luminance(moved) - y).abs() < 1e-3);
        assert!(
            (lab[2] - 200.0 * (y.cbrt() - 4.0 / 29.0)).abs() < 0.1,
            "{lab:?}"
        );
        for real in [
            [0.2, 0.5, 0.1],
            [1.2, 1.1, 1.0],
            [0.0, 0.0, 0.0],
            [1.0, 0.9, -0.02],
        ] {
            assert_eq!(possible(real), real);
        }
    }

    fn near(got: [f64; 3], want: [f64; 3], tolerance: f64) {
        for (g, w) in got.iter().zip(want) {
            assert!((g - w).abs() < tolerance, "{got:?}, expected {want:?}");
        }
    }

    /// colour-science 0.4.7: `XYZ_to_Lab(M @ rgb, XYZ_to_xy(W))` with the matrix and the
    /// white named in the module's documentation. 2e-5: the matrix has seven decimals.
    #[test]
    fn lab_agrees_with_colour_science_on_the_same_matrix() {
        for (rgb, lab) in [
            (
                [1.0, 0.0, 0.0],
                [53.2407941413, 80.0924595964, 67.2031965159],
            ),
            (
                [0.0, 1.0, 0.0],
                [87.7347223528, -86.1827164205, 83.1793205027],
            ),
            (
                [0.0, 0.0, 1.0],
                [32.2970109329, 79.1875198451, -107.8601617541],
            ),
            (
                [0.5, 0.2, 0.05],
                [57.3642063384, 19.1258113086, 42.3682463295],
            ),
            (
                [0.02, 0.3, 0.6],
                [58.2362349067, -11.2383632697, -36.5492888854],
            ),
            (
                [0.003, 0.002, 0.004],
                [2.1290902365, 1.7778094441, -2.190157734],
            ),
            (
                [1.3, 0.9, -0.05],
                [96.6771757453, -4.1459690911, 108.8302554861],
            ),
        ] {
            near(lab_from_linear(rgb), lab, 2e-5);
        }
    }

    /// colour-science 0.4.7 with its default, printed matrix: another reading of the same
    /// standard, so 0.02 dE00 rather than rounding.
    #[test]
    fn lab_is_close_to_the_printed_matrix() {
        for (rgb, lab) in [
            ([1.0, 0.0, 0.0], [53.2329, 80.1112, 67.2237]),
            ([0.0, 1.0, 0.0], [87.7370, -86.1829, 83.1878]),
            ([0.0, 0.0, 1.0], [32.3026, 79.1981, -107.8504]),
            ([1.0, 1.0, 1.0], [100.0, 0.0077, 0.0035]),
        ] {
            let difference = de00(lab_from_linear(rgb), lab);
            assert!(difference < 0.02, "{rgb:?} differs by {difference}");
        }
    }

    #[test]
    fn transfer_curve_agrees_with_colour_science() {
        assert!((decode(0.5) - 0.2140411405).abs() < 1e-9);
        assert!((encode(0.18) - 0.4613561295).abs() < 1e-9);
        assert!((encode(decode(-0.3)) + 0.3).abs() < 1e-9);
    }

    #[test]
    fn lab_and_back_is_the_identity_outside_the_gamut_too() {
        for rgb in [
            [0.2, 0.5, 0.9],
            [1.4, -0.05, 0.3],
            [0.0; 3],
            [1e-4, 2e-4, 0.0],
        ] {
            near(linear_from_lab(lab_from_linear(rgb)), rgb, 1e-6);
        }
    }
}
