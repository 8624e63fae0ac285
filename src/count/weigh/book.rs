//! Shapes that the user weighed (`calibration/weights.json`), version 1. Schema:
//! `docs/weights-v1.schema.json`.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::reading::Reading;
use crate::pieces::{Shape, Shapes};

/// The most pieces of one weighing.
pub const MOST_PIECES: u32 = 10_000;

/// The weights file's format version.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Version {
    /// The first version.
    #[default]
    #[serde(rename = "v1")]
    V1,
}

/// Some pieces of one shape on a scale.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Weighed {
    /// As in the list of shapes.
    pub form: String,
    /// Studs, small side first.
    pub size: String,
    /// How many pieces lay on the scale.
    pub number: u32,
    /// What it showed, g.
    pub grams: f64,
    /// What one step of its last digit is worth, g.
    pub step_g: f64,
}

/// Every shape that was weighed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WeightBook {
    shapes: BTreeMap<Shape, Weighed>,
}

/// The book as its file holds it.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    /// Format version, always `v1`.
    weights: Version,
    /// One entry a shape, sorted by form and size.
    shapes: Vec<Weighed>,
}

/// Why weights cannot be used; each is a sentence.
#[derive(Debug, thiserror::Error)]
pub enum WeightError {
    /// The text is no book of weights.
    #[error(
        "this is not a list of weights of version v1 ({0}); put it right, or take the file away and weigh again with `cuptally teach --weigh`"
    )]
    Format(#[from] serde_json::Error),
    /// No such shape.
    #[error("there is no {form} {size} in the list of pieces; take this entry out")]
    NoShape {
        /// As in the file.
        form: String,
        /// As in the file.
        size: String,
    },
    /// A number that cannot be.
    #[error("the weight of {shape} has {what}; weigh it again with `cuptally teach --weigh`")]
    Number {
        /// Which.
        shape: Shape,
        /// What is wrong.
        what: &'static str,
    },
    /// The same shape twice.
    #[error("the weight of {0} stands there twice; remove one of them")]
    Twice(Shape),
}

impl Weighed {
    /// Some pieces of a shape and what the scale showed.
    pub fn new(shape: Shape, number: u32, reading: Reading) -> Self {
        Self {
            form: shape.form().name().to_owned(),
            size: shape.size(),
            number,
            grams: reading.grams,
            step_g: reading.step_g,
        }
    }

    /// What was weighed, its numbers checked.
    ///
    /// # Errors
    /// When the list has no such shape or a number is out of range.
    pub fn shape(&self, list: Shapes) -> Result<Shape, WeightError> {
        let shape = list.named(&self.form, &self.size);
        let shape = shape.ok_or_else(|| WeightError::NoShape {
            form: self.form.chars().take(40).collect(),
            size: self.size.chars().take(40).collect(),
        })?;
        self.checked(shape)
    }

    fn checked(&self, shape: Shape) -> Result<Shape, WeightError> {
        let finest = 1.0 / 10f64.powi(Reading::MOST_DECIMALS as i32);
        let what = if !(1..=MOST_PIECES).contains(&self.number) {
            "a number of pieces that cannot be"
        } else if !(self.grams > 0.0 && self.grams <= Reading::MOST_G) {
            "grams that cannot be"
        } else if !(finest..=1.0).contains(&self.step_g) {
            "a step of the scale that cannot be"
        } else {
            return Ok(shape);
        };
        Err(WeightError::Number { shape, what })
    }

    /// Mass of one piece, g.
    pub fn each_g(&self) -> f64 {
        self.grams / f64::from(self.number)
    }

    /// Standard deviation of [`Self::each_g`], g: half the scale's last digit over the number of
    /// pieces, and 1 % of the mass, as independent of each other.
    pub fn each_sd_g(&self) -> f64 {
        let scale = self.step_g / 2.0 / f64::from(self.number);
        scale.hypot(PIECES_DIFFER * self.each_g())
    }
}

/// Pieces of one shape differ, by mould and colour, and so do scales: as a share of the mass,
/// common practice, no source. Raising it lets more differences pass as agreement.
const PIECES_DIFFER: f64 = 0.01;

impl WeightBook {
    /// Reads a book and checks it.
    ///
    /// # Errors
    /// When the text is no v1 book, a shape is not listed or stands twice, or a number cannot be.
    pub fn from_json(text: &str, list: Shapes) -> Result<Self, WeightError> {
        let read: File = serde_json::from_str(text)?;
        let mut book = Self::default();
        for weighed in read.shapes {
            let shape = weighed.shape(list)?;
            if book.shapes.insert(shape, weighed).is_some() {
                return Err(WeightError::Twice(shape));
            }
        }
        Ok(book)
    }

    /// The book as its file holds it.
    ///
    /// # Errors
    /// When it cannot be put into JSON.
    pub fn to_json(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string_pretty(&File {
            weights: Version::V1,
            shapes: self.shapes.values().cloned().collect(),
        })
    }

    /// Takes some pieces of a shape on a scale in; gives what was weighed earlier, which this
    /// replaces.
    ///
    /// # Errors
    /// When a number is out of range; then nothing changes.
    pub fn keep(
        &mut self,
        shape: Shape,
        number: u32,
        reading: Reading,
    ) -> Result<Option<Weighed>, WeightError> {
        let weighed = Weighed::new(shape, number, reading);
        weighed.checked(shape)?;
        Ok(self.shapes.insert(shape, weighed))
    }

    /// Every weighed shape.
    pub fn shapes(&self) -> impl Iterator<Item = (Shape, &Weighed)> {
        self.shapes.iter().map(|(shape, weighed)| (*shape, weighed))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::pieces::list::tests::shape;

    fn weighed(form: &str, size: &str, number: u32, grams: f64, step_g: f64) -> Weighed {
        Weighed {
            form: form.into(),
            size: size.into(),
            number,
            grams,
            step_g,
        }
    }

    /// By hand: ten of 11.3 g are 1.13 g each; half of 0.1 g over ten is 0.005 g, 1 % is
    /// 0.0113 g, and both together √(0.005² + 0.0113²) = 0.012357 g.
    #[test]
    fn one_piece_of_ten_by_hand() {
        let ten = weighed("plate", "2x4", 10, 11.3, 0.1);
        assert!((ten.each_g() - 1.13).abs() < 1e-12);
        assert!((ten.each_sd_g() - 0.012_357).abs() < 1e-6);
    }

    #[test]
    fn a_later_weighing_replaces_the_earlier_and_the_file_keeps_all() {
        let mut book = WeightBook::default();
        let of = |grams, step_g| Reading { grams, step_g };
        for (form, size, number, reading) in [
            ("tile", "1x2", 3, of(1.5, 0.1)),
            ("brick", "2x4", 1, of(2.0, 1.0)),
            ("brick", "2x2", 1, of(1.0, 1.0)),
        ] {
            let kept = book.keep(shape(form, size), number, reading);
            assert_eq!(kept.unwrap(), None);
        }
        let better = weighed("brick", "2x4", 10, 23.1, 0.1);
        let old = book.keep(shape("brick", "2x4"), 10, of(23.1, 0.1)).unwrap();
        assert_eq!(old.map(|w| w.number), Some(1));
        let names: Vec<String> = book.shapes().map(|(shape, _)| shape.to_string()).collect();
        assert_eq!(names, ["brick 2x2", "brick 2x4", "tile 1x2"]);
        let again = WeightBook::from_json(&book.to_json().unwrap(), Shapes::shipped()).unwrap();
        assert_eq!(again, book);
        assert!(again.shapes().any(|(_, weighed)| *weighed == better));
    }

    #[test]
    fn a_damaged_file_is_refused_with_the_reason() {
        let file = |entries: &str| format!(r#"{{"weights": "v1", "shapes": [{entries}]}}"#);
        let good =
            r#"{"form": "plate", "size": "2x4", "number": 10, "grams": 11.3, "step_g": 0.1}"#;
        assert!(WeightBook::from_json(&file(good), Shapes::shipped()).is_ok());
        for (text, says) in [
            (file(good).replace("v1", "v2"), "version v1"),
            (file(good)[..40].to_owned(), "version v1"),
            (file(&good.replace("grams", "ounces")), "version v1"),
            (file(&format!("{good}, {good}")), "stands there twice"),
            (file(&good.replace("2x4", "2x9")), "no plate 2x9"),
            (file(&good.replace("plate", "roof")), "no roof 2x4"),
            (file(&good.replace("10", "0")), "a number of pieces"),
            (file(&good.replace("11.3", "-1")), "grams that"),
            (file(&good.replace("0.1", "0")), "a step of the scale"),
        ] {
            let error = WeightBook::from_json(&text, Shapes::shipped())
                .unwrap_err()
                .to_string();
            assert!(error.contains(says), "{text}: {error}");
        }
    }
}
