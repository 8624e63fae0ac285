//! What a person's word on the pieces of a sheet teaches of colours.
//!
//! A sheet holds each piece's colour as it was read (`lab`), the very quantity that a teaching photo
//! gives, and what may have spoilt it (`spoilt`). So nothing is measured again here: the photo may
//! have been moved or thrown away since, and read anew, by a later program or another print profile,
//! it would give another colour than the one that the person saw and judged.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::colour::lab::de00;
use crate::colour::swatch::CLOSE_DE00;
use crate::colour::{Origin, Swatch, SwatchBook, SwatchError};
use crate::sheet::{Piece, Sheet};
use crate::stock::PhotoHash;
use crate::stock::kind::{KindError, Name};

use super::witness::{LeftOut, known, spoken_of, trusted, unfit};

/// What a sheet teaches.
#[derive(Clone, Debug, PartialEq)]
pub struct Lesson {
    /// The sheet's photo.
    pub origin: Origin,
    /// The light: one that is known, or the photo's own.
    pub light: String,
    /// The colours, by name.
    pub colours: Vec<Learned>,
    /// Pieces that a person spoke of and that teach nothing, by number.
    pub left_out: Vec<LeftOut>,
}

/// A colour that a sheet teaches.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Learned {
    /// Its name.
    pub name: String,
    /// The pieces that show it.
    pub pieces: Vec<u32>,
    /// Their colours, CIELAB D65.
    pub samples: Vec<[f64; 3]>,
    /// Whether nothing was taught by that name before.
    pub new: bool,
    /// Another colour so near to a new one that it may be the same under two names.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub near: Option<Near>,
}

/// A colour nearby.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Near {
    /// Its name.
    pub name: String,
    /// How near.
    pub de00: f64,
}

/// Why a sheet cannot be learned from at all.
#[derive(Debug, thiserror::Error)]
pub enum LessonError {
    /// A name or the photo's hash is none.
    #[error("the sheet of {file} cannot be learned from: {cause}")]
    Name {
        /// The photo.
        file: String,
        /// What is wrong.
        cause: KindError,
    },
}

impl Lesson {
    /// What a sheet's corrections teach beside what a book holds from elsewhere. `light` is what the
    /// user says was on; else it is what the sheet knows, or the photo's own.
    ///
    /// # Errors
    /// When the sheet's photo has no hash, or a colour or the light no usable name.
    pub fn of(sheet: &Sheet, book: &SwatchBook, light: Option<&str>) -> Result<Self, LessonError> {
        let fault = |cause| LessonError::Name {
            file: sheet.photos.first.file.clone(),
            cause,
        };
        let hash = PhotoHash::try_from(sheet.photos.first.hash.clone()).map_err(fault)?;
        let origin = Origin {
            photo: hash.as_str().to_owned(),
            file: sheet.photos.first.file.clone(),
        };
        let light = match light.or(sheet.light.as_deref()) {
            Some(light) => Name::new(light).map_err(fault)?.to_string(),
            None => origin.own_light(),
        };
        // What it taught before is replaced, so it is no witness.
        let mut others = book.clone();
        others.forget(&origin.photo);
        let mut by_name: BTreeMap<String, Vec<&Piece>> = BTreeMap::new();
        let mut left_out = Vec::new();
        for piece in spoken_of(sheet, &others) {
            let name = Name::new(&piece.colour).map_err(fault)?.to_string();
            match unfit(sheet, piece) {
                None => by_name.entry(name).or_default().push(piece),
                Some(why) => left_out.push(LeftOut::of(piece, why)),
            }
        }
        let mut colours = Vec::new();
        for (name, pieces) in by_name {
            let known = known(&others, &name);
            let (kept, other) = trusted(&pieces, &known);
            left_out.extend(other);
            if !kept.is_empty() {
                let new = !others.names().contains(&name.as_str());
                colours.push(Learned {
                    name,
                    pieces: kept.iter().map(|piece| piece.id).collect(),
                    samples: kept.iter().map(|piece| piece.lab).collect(),
                    new,
                    near: None,
                });
            }
        }
        left_out.sort_by_key(|left| left.piece);
        let mut lesson = Self {
            origin,
            light,
            colours,
            left_out,
        };
        lesson.look_around(&others);
        Ok(lesson)
    }

    /// Notes beside each new colour which other is near.
    fn look_around(&mut self, others: &SwatchBook) {
        let own = self.swatches();
        let all: Vec<&Swatch> = others.swatches().iter().chain(&own).collect();
        for (colour, swatch) in self.colours.iter_mut().zip(&own) {
            colour.near = (all.iter().filter(|_| colour.new))
                .filter(|other| other.name != colour.name)
                .map(|other| (de00(other.middle(), swatch.middle()), other))
                .filter(|(off, _)| *off < CLOSE_DE00)
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .map(|(off, other)| Near {
                    name: other.name.clone(),
                    de00: (off * 100.0).round() / 100.0,
                });
        }
    }

    /// Whether no person said anything of its colours.
    pub fn is_empty(&self) -> bool {
        self.colours.is_empty() && self.left_out.is_empty()
    }

    /// Whether a person should look at what came of it: something they said was not believed, a new
    /// colour may be an old one, or nothing was left.
    pub fn needs_a_look(&self) -> bool {
        self.colours.is_empty()
            || self.colours.iter().any(|colour| colour.near.is_some())
            || self.left_out.iter().any(|left| left.why.is_doubtful())
    }

    /// Its colours in half a sentence.
    pub fn in_words(&self) -> String {
        let pieces: usize = self.colours.iter().map(|colour| colour.pieces.len()).sum();
        let names = self.colours.iter().map(|colour| match colour.new {
            true => format!("{} (new)", colour.name),
            false => colour.name.clone(),
        });
        format!(
            "{} from {pieces} {}",
            names.collect::<Vec<_>>().join(", "),
            if pieces == 1 { "piece" } else { "pieces" }
        )
    }

    /// As a book holds it.
    pub fn swatches(&self) -> Vec<Swatch> {
        (self.colours.iter())
            .map(|colour| Swatch {
                name: colour.name.clone(),
                samples: colour.samples.clone(),
                light: self.light.clone(),
                flaw: None,
                from: Some(self.origin.clone()),
            })
            .collect()
    }

    /// Puts it into a book, in place of what the photo taught before.
    ///
    /// # Errors
    /// When the book takes no such swatch; the book is then half changed.
    pub fn put_into(&self, book: &mut SwatchBook) -> Result<(), SwatchError> {
        book.forget(&self.origin.photo);
        self.swatches()
            .into_iter()
            .try_for_each(|swatch| book.teach(swatch))
    }
}

#[cfg(test)]
#[path = "learn_tests.rs"]
mod tests;
