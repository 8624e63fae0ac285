//! Probabilities from what was measured, by maps that were fitted on photos whose truth is known.
//!
//! Each map is a logistic regression: a weight for each named feature, and the most that the evidence allows.
//! The weights are data, `calibration/doubt.json`, which says what they were fitted on and how well they held
//! on desks, cameras and a renderer that were left out; `cargo bench --bench doubt -- --write` makes it.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::{Deserialize, Serialize};

use super::features::Feature;

/// A fitted map.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Map {
    /// Weight of each feature.
    pub weights: BTreeMap<String, f64>,
    /// More than this no probability is.
    pub most: f64,
}

impl Map {
    /// One that knows nothing.
    pub fn none() -> Self {
        Self {
            weights: BTreeMap::new(),
            most: 0.5,
        }
    }

    /// The probability.
    pub fn of(&self, features: &[Feature]) -> f64 {
        let weight = |name: &str| self.weights.get(name).copied().unwrap_or(0.0);
        let sum: f64 = features.iter().map(|(name, v)| weight(name) * v).sum();
        (1.0 / (1.0 + (-sum).exp())).min(self.most)
    }
}

/// The maps that ship.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fitted {
    /// Whether a piece is there and of its size.
    pub size: Map,
    /// Whether its form is right, given the size.
    pub form: Map,
    /// Whether its colour is.
    pub colour: Map,
    /// Whether all three are.
    pub whole: Map,
    /// From this probability on a piece is called sure: so many of those are right that a person need not look.
    pub sure_from: f64,
    /// The same of several photos of a tray together.
    pub together: FittedTogether,
    /// Whether a second photo makes a piece sure that one leaves doubtful.
    pub second_photo: Map,
}

/// The maps of several photos of a tray together.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FittedTogether {
    /// Whether a piece is there, and of that form and size.
    pub shape: Map,
    /// Whether its colour is right.
    pub colour: Map,
    /// Whether all of it is.
    pub whole: Map,
    /// As of one photo.
    pub sure_from: f64,
}

/// What a file without maps leaves: nothing is known.
fn none() -> Fitted {
    Fitted {
        size: Map::none(),
        form: Map::none(),
        colour: Map::none(),
        whole: Map::none(),
        sure_from: 1.0,
        together: FittedTogether {
            shape: Map::none(),
            colour: Map::none(),
            whole: Map::none(),
            sure_from: 1.0,
        },
        second_photo: Map::none(),
    }
}

static FITTED: LazyLock<Fitted> = LazyLock::new(|| {
    serde_json::from_str(include_str!("../../calibration/doubt.json")).unwrap_or_else(|_| none())
});

/// The maps that are part of the program.
pub fn fitted() -> &'static Fitted {
    &FITTED
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_map_is_a_logistic_regression_held_below_its_most() {
        let weights = BTreeMap::from([("base".to_owned(), -1.0), ("told".to_owned(), 2.0)]);
        let map = Map { weights, most: 0.9 };
        // By hand: 1 / (1 + exp(1 - 2 * 0.5)) = 0.5, and 1 / (1 + exp(1 - 2 * 3)) = 0.9933.
        assert!((map.of(&[("base", 1.0), ("told", 0.5)]) - 0.5).abs() < 1e-12);
        assert!((map.of(&[("base", 1.0), ("told", 3.0)]) - 0.9).abs() < 1e-12);
        assert!((map.of(&[("told", 0.0), ("unheard of", 9.0)]) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn the_shipped_maps_are_read_and_rise_with_what_speaks_for_a_piece() {
        let shipped = fitted();
        assert_ne!(*shipped, none());
        for (map, name) in [
            (&shipped.size, "net size"),
            (&shipped.form, "net form"),
            (&shipped.colour, "told"),
            (&shipped.whole, "product"),
            (&shipped.together.shape, "right"),
            (&shipped.together.colour, "own"),
            (&shipped.together.whole, "product"),
        ] {
            assert!(map.weights[name] > 0.0, "{name}");
            assert!(map.most > 0.9 && map.most < 1.0, "{name}: {}", map.most);
        }
        assert!(shipped.sure_from > crate::sheet::SURE && shipped.sure_from < shipped.whole.most);
    }
}
