//! How a photo shows the card, by which the light of a teaching is known again.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::drift::change;

/// Mean difference of the card's patches by the greys alone (dE00) up to which two photos count as taken in one light by
/// one camera. Over the sample photos those of one lamp and camera are 0.5 to 1.3 apart, but for one pair of 1.8; those of
/// D65 and D50, which shift colours little, 1.1 to 1.5; of all other lamps, or of another camera, 2.0 and more.
pub const SAME_LIGHT: f64 = 1.3;

/// The card's patches in one photo, by name: by the greys alone, CIELAB
/// ([`super::Correction::balanced_lab`]).
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct CardLook(BTreeMap<String, [f64; 3]>);

impl CardLook {
    /// Mean difference of the patches in common, dE00; `None` where these are too few.
    pub fn apart(&self, other: &Self) -> Option<f64> {
        let pairs = (self.0.iter()).filter_map(|(name, lab)| Some((*lab, *other.0.get(name)?)));
        change(&pairs.collect::<Vec<_>>())
    }

    /// Whether both were taken in one light by one camera.
    pub fn is_of_same_light(&self, other: &Self) -> bool {
        self.apart(other).is_some_and(|apart| apart <= SAME_LIGHT)
    }

    /// The patches' colours.
    pub fn labs(&self) -> impl Iterator<Item = &[f64; 3]> {
        self.0.values()
    }
}

impl FromIterator<(String, [f64; 3])> for CardLook {
    fn from_iter<T: IntoIterator<Item = (String, [f64; 3])>>(patches: T) -> Self {
        Self(patches.into_iter().collect())
    }
}

#[cfg(test)]
pub(crate) mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// Eight patches, all lighter by so much.
    pub fn look(lighter: f64) -> CardLook {
        (0..8u8)
            .map(|k| {
                let lab = [50.0 + lighter, 6.0 * f64::from(k), 0.0];
                (format!("patch {k}"), lab)
            })
            .collect()
    }

    #[test]
    fn a_light_is_known_again_and_another_is_not() {
        assert!(look(0.0).is_of_same_light(&look(0.8)));
        assert!(!look(0.0).is_of_same_light(&look(4.0)));
    }

    #[test]
    fn patches_are_compared_by_name_and_few_tell_nothing() {
        let half: CardLook = look(0.0).0.into_iter().take(5).collect();
        assert_eq!(half.apart(&look(0.0)), None);
        assert!(!half.is_of_same_light(&look(0.0)));
        let most: CardLook = look(0.0).0.into_iter().skip(1).collect();
        assert_eq!(most.apart(&look(0.0)), Some(0.0));
    }
}
