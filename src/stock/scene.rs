//! Which tray a photo shows, told by where its pieces lie beside the card.
//!
//! A photo's hash knows the same file again. A second photo of the same tray has
//! other pixels but the same pieces in the same spots, measured from the card, from
//! wherever it was taken. Colours are left out: they are what differs most from
//! photo to photo.

use super::kind::{Size, fit_to_show};
use crate::card::design::CardDesign;
use crate::sheet::Sheet;
use serde::{Deserialize, Serialize};
use std::fmt;

/// The spots of the pieces nearest to the card's middle: those that two photos of
/// one tray both show, as both show the card.
///
/// In files one text, `2x4@95,120 1x2@-30,44`: size, then mm on the tray.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Scene(String);

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Spot {
    size: Size,
    x_mm: i16,
    y_mm: i16,
}

/// Spots kept of a photo. More make the history longer (some 11 bytes each); fewer
/// are more easily alike by chance.
pub const MOST_SPOTS: usize = 16;

/// Spots this near are one: half the stud pitch. Two pieces of one size cannot lie
/// nearer to each other than 7.8 mm, and places are measured to about 1 mm.
const NEAR_MM: i32 = 4;

/// Fewer common spots than this prove nothing.
const FEWEST_COMMON: usize = 3;

/// A piece further from the card than this is no measurement (mm).
const FURTHEST_MM: f64 = 9999.0;

impl Scene {
    /// The scene of a sheet; none when it shows too few pieces to know it again.
    pub fn of(sheet: &Sheet) -> Option<Self> {
        let card = CardDesign::v1();
        let (x0, y0) = (card.width_mm / 2.0, card.height_mm / 2.0);
        let mut spots: Vec<(f64, Spot)> = sheet
            .pieces
            .iter()
            .filter_map(|piece| {
                let size = Size::new(&piece.size).ok()?;
                let spot = Spot {
                    size,
                    x_mm: whole(piece.x_mm)?,
                    y_mm: whole(piece.y_mm)?,
                };
                Some(((piece.x_mm - x0).hypot(piece.y_mm - y0), spot))
            })
            .collect();
        spots.sort_by(|(a, first), (b, second)| a.total_cmp(b).then(first.cmp(second)));
        let mut spots: Vec<Spot> = spots.into_iter().map(|(_, spot)| spot).collect();
        spots.truncate(MOST_SPOTS);
        (spots.len() >= FEWEST_COMMON).then(|| {
            let spots: Vec<String> = spots.iter().map(Spot::to_string).collect();
            Self(spots.join(" "))
        })
    }

    /// The spots, for comparing with others.
    pub fn spots(&self) -> Spots {
        Spots(self.0.split(' ').filter_map(Spot::read).collect())
    }

    /// How many spots the two have in common; see [`Spots::common`].
    pub fn common(&self, other: &Self) -> Option<Common> {
        self.spots().common(&other.spots())
    }
}

/// The spots of one scene.
#[derive(Clone, Debug)]
pub struct Spots(Vec<Spot>);

impl Spots {
    /// How many spots the two have in common, when so many that they most likely
    /// show one tray: at least three and half of the fewer.
    pub fn common(&self, other: &Self) -> Option<Common> {
        let mut free: Vec<&Spot> = other.0.iter().collect();
        let mut same = 0;
        for spot in &self.0 {
            if let Some(at) = free.iter().position(|there| spot.is_near(there)) {
                free.swap_remove(at);
                same += 1;
            }
        }
        let of = self.0.len().min(other.0.len());
        (same >= FEWEST_COMMON && 2 * same >= of).then_some(Common { same, of })
    }
}

/// Whole millimetres; none for what cannot be a place.
fn whole(mm: f64) -> Option<i16> {
    // In range, so the cast only drops the fraction that rounding left none of.
    #[allow(clippy::cast_possible_truncation)]
    (mm.abs() <= FURTHEST_MM).then(|| mm.round() as i16)
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}@{},{}", self.size, self.x_mm, self.y_mm)
    }
}

impl Spot {
    fn read(text: &str) -> Option<Self> {
        let (size, place) = text.split_once('@')?;
        let (x, y) = place.split_once(',')?;
        Some(Self {
            size: Size::new(size).ok()?,
            x_mm: x.parse().ok()?,
            y_mm: y.parse().ok()?,
        })
    }

    fn is_near(&self, other: &Self) -> bool {
        let dx = i32::from(self.x_mm) - i32::from(other.x_mm);
        let dy = i32::from(self.y_mm) - i32::from(other.y_mm);
        self.size == other.size && dx * dx + dy * dy <= NEAR_MM * NEAR_MM
    }
}

/// What two scenes share.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Common {
    /// Pieces of the same size in the same spot.
    pub same: usize,
    /// Of so many that were compared.
    pub of: usize,
}

impl From<Scene> for String {
    fn from(scene: Scene) -> Self {
        scene.0
    }
}

/// Only what it is made of is looked at: a long history holds many scenes, and few
/// are ever compared. A spot that makes no sense is then like no other.
impl TryFrom<String> for Scene {
    type Error = SceneError;

    fn try_from(text: String) -> Result<Self, SceneError> {
        let fits = |b: u8| b.is_ascii_digit() || matches!(b, b'x' | b'@' | b',' | b'-' | b' ');
        if text.contains('@') && text.bytes().all(fits) {
            Ok(Self(text))
        } else {
            Err(SceneError(fit_to_show(&text)))
        }
    }
}

/// A text that is no scene.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("'{0}' is no list of sizes and spots such as 2x4@95,120 1x2@-30,44")]
pub struct SceneError(String);

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn scene(text: &str) -> Scene {
        Scene::try_from(text.to_owned()).unwrap()
    }

    #[test]
    fn the_same_tray_is_known_again_though_measured_a_little_otherwise() {
        let first = scene("2x4@95,120 1x2@-30,44 2x2@10,150 1x1@60,90");
        let again = scene("1x2@-31,46 2x4@97,118 2x2@13,152 1x1@200,90");
        assert_eq!(first.common(&again), Some(Common { same: 3, of: 4 }));
        assert_eq!(again.common(&first), Some(Common { same: 3, of: 4 }));
        assert_eq!(first.common(&first), Some(Common { same: 4, of: 4 }));
    }

    #[test]
    fn another_tray_is_another() {
        let first = scene("2x4@95,120 1x2@-30,44 2x2@10,150 1x1@60,90");
        for other in [
            // The same spots, other sizes.
            "2x3@95,120 1x4@-30,44 2x6@10,150 1x1@60,90",
            // 5 mm off.
            "2x4@100,120 1x2@-25,44 2x2@15,150 1x1@65,90",
            // Two of two prove nothing.
            "2x4@95,120 1x2@-30,44",
            // One piece is not two.
            "2x4@95,120 2x4@95,120 2x4@95,120 2x4@95,120",
        ] {
            assert_eq!(first.common(&scene(other)), None, "{other}");
        }
    }

    #[test]
    fn what_is_no_scene_is_refused_and_a_spot_without_sense_is_like_no_other() {
        for bad in ["", "2x4", "2x4@1,2;", "the tide@took,it"] {
            assert!(Scene::try_from(bad.to_owned()).is_err(), "{bad:?}");
        }
        let odd = scene("2x4@1,2 2x4@1 x@, 2x4@1,99999 2x2@1,2");
        assert_eq!(odd.common(&odd), None);
    }
}
