//! What a printed patch can say about a moulded piece, and what it cannot.
//!
//! A print and a pigmented plastic that look alike in daylight do not look alike to a camera
//! in lamplight (metamerism). A correction that is right for pieces is therefore off on the card's
//! patches, more on some than on others, and partly always in the same direction. `calibration/prints.csv`
//! says by how much, from simulated pigments, lights and cameras (its header has the origin).
//! The fit trusts each patch accordingly.

use std::sync::LazyLock;

use nalgebra::Vector3;

use super::lab::de00;

/// Lightness, chroma and hue components as of [`super::metric::metric`], dE00.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Patchness {
    /// Error that the right correction is expected to leave.
    pub expected: Vector3<f64>,
    /// Standard deviation around that, measuring and printing included.
    pub deviation: Vector3<f64>,
}

struct Row {
    lab: [f64; 3],
    mean: Vector3<f64>,
    sd: Vector3<f64>,
}

/// Share of the expected error that is believed: a print with inks like the pieces' pigments would
/// have none of it, one like those simulated all. Between a half and the whole it matters little,
/// for print models that the table was not made from too.
const BELIEF: f64 = 0.75;
/// Error of a patch for other reasons: 8-bit rounding, the print, the measurement; dE00.
const OTHER: f64 = 0.5;
/// A target further than this (dE00) from a patch of the table is another patch.
const NEAR: f64 = 12.0;

static TABLE: LazyLock<Vec<Row>> = LazyLock::new(|| {
    let row = |line: &str| {
        let numbers: Vec<f64> = line
            .split(',')
            .skip(1)
            .map_while(|v| v.parse().ok())
            .collect();
        let &[lightness, a, b, m0, m1, m2, s0, s1, s2] = numbers.as_slice() else {
            return None;
        };
        Some(Row {
            lab: [lightness, a, b],
            mean: Vector3::new(m0, m1, m2),
            sd: Vector3::new(s0, s1, s2),
        })
    };
    include_str!("../../calibration/prints.csv")
        .lines()
        .filter_map(row)
        .collect()
});

/// What to expect of a patch with this target (CIELAB D65).
///
/// A target that is like none of the card's patches has nothing expected of it, and the median deviation.
pub fn patchness(target: [f64; 3]) -> Patchness {
    let nearest = TABLE
        .iter()
        .map(|row| (de00(row.lab, target), row))
        .filter(|(distance, _)| *distance <= NEAR)
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let (expected, sd) = nearest.map_or(
        (Vector3::zeros(), Vector3::new(0.5, 1.1, 1.4)),
        |(_, row)| (row.mean * BELIEF, row.sd),
    );
    Patchness {
        expected,
        deviation: sd.map(|sd| sd.hypot(OTHER)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_whole() {
        assert_eq!(TABLE.len(), 24);
    }

    #[test]
    fn greys_are_trusted_most_and_strange_targets_in_the_middle() {
        let grey = patchness([51.0, 0.3, -0.2]);
        assert_eq!(grey.expected, Vector3::zeros());
        assert_eq!(grey.deviation, Vector3::from_element(OTHER));
        let cyan = patchness([72.0, -46.0, 0.0]);
        assert!(cyan.deviation.norm() > 2.0 * grey.deviation.norm());
        assert!(cyan.expected.norm() > 0.5);
        let strange = patchness([50.0, 90.0, 90.0]);
        assert_eq!(strange.expected, Vector3::zeros());
    }
}
