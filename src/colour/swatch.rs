//! What one taught colour looked like, in which light.

use std::cmp::Ordering;

use serde::{Deserialize, Serialize};

/// Standard deviation, dE00 in one direction, of one surface's corrected colour between two photos.
/// Measured on the spectral test data (`tests/colour/reference.rs`), to be replaced by what
/// sample photos show.
pub const BETWEEN_PHOTOS: f64 = 1.3;
/// Distances beyond this many standard deviations are another colour: one piece in a hundred of a
/// taught colour lies further out (chi square, three degrees of freedom, 99 %: 11.34).
pub const LIMIT: f64 = 3.368;

/// Two colours nearer than this are pointed out when they are taught: a colour in another photo is off
/// by about 1.3 dE00 in each direction, and so is its neighbour.
pub const CLOSE_DE00: f64 = 4.0;

/// Why a taught piece may not show its own colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Flaw {
    /// A lamp mirrored in its top.
    Lamp,
    /// It was so bright that the camera cut a channel off.
    CutOff,
}

/// The photo of a counted tray that a swatch was read from, by what a person said of its pieces.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Origin {
    /// The photo's hash, as in its sheet.
    pub photo: String,
    /// The photo's file name, for people.
    pub file: String,
}

/// Digits of a photo's hash that tell it from all others a person ever takes.
const OWN_LIGHT_DIGITS: usize = 12;

impl Origin {
    /// What the photo's light is called where nobody said which it was.
    pub fn own_light(&self) -> String {
        let digits: String = self.photo.chars().take(OWN_LIGHT_DIGITS).collect();
        format!("photo-{digits}")
    }
}

/// What one colour looked like in one light.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Swatch {
    /// The user's name for the colour.
    pub name: String,
    /// Corrected colours of the pieces it was taught by, CIELAB D65.
    pub samples: Vec<[f64; 3]>,
    /// Name of the light they were seen in.
    pub light: String,
    /// What keeps them from showing the colour itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flaw: Option<Flaw>,
    /// The counted photo it was read from; none where it was taught by a photo for that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Origin>,
}

impl Swatch {
    /// Whether somebody said which light it was, so that it stands for that light and
    /// not for one photo only.
    pub fn light_is_named(&self) -> bool {
        (self.from.as_ref()).is_none_or(|from| from.own_light() != self.light)
    }

    /// Mean of its samples, CIELAB.
    pub fn middle(&self) -> [f64; 3] {
        mean(&self.samples)
    }

    /// In this order swatches are kept, each once.
    pub fn compare(&self, other: &Self) -> Ordering {
        let key = |s: &Self| {
            (
                s.name.clone(),
                s.light.clone(),
                s.from.clone().map(|f| f.photo),
            )
        };
        key(self).cmp(&key(other))
    }
}

/// Whether three numbers can be a colour in CIELAB; NaN cannot.
pub fn is_colour(lab: &[f64; 3]) -> bool {
    lab.iter().all(|v| v.abs() <= 200.0)
}

fn mean(samples: &[[f64; 3]]) -> [f64; 3] {
    let count = samples.len().max(1) as f64;
    std::array::from_fn(|c| samples.iter().map(|lab| lab[c]).sum::<f64>() / count)
}
