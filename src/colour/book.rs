//! All colours that the user taught us, and the card as it looked beside them.

use std::collections::BTreeSet;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::look::CardLook;
use super::swatch::{Origin, Swatch, is_colour};
use crate::legible::{is_invisible, shown};

mod change;
mod lesson;

pub use lesson::{Lesson, Replaced};

/// The swatch file's format version.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Version {
    /// The first version.
    #[default]
    #[serde(rename = "v1")]
    V1,
}

/// How the card looked where colours were taught.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Seen {
    light: String,
    /// The colours, in order.
    colours: BTreeSet<String>,
    card: CardLook,
    /// The photo; of books from before that was kept, none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    from: Option<Origin>,
    /// When; of books from before that was kept, none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    time: Option<Timestamp>,
}

impl Seen {
    /// Whether it is of this very photo.
    fn is_from(&self, photo: &Origin) -> bool {
        (self.from.as_ref()).is_some_and(|from| from.photo == photo.photo)
    }
}

/// All taught colours.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SwatchBook {
    /// Format version, always `v1`.
    swatches: Version,
    /// One entry a colour, light and counted photo, sorted by name, then light, then photo.
    colours: Vec<Swatch>,
    /// The card beside them, an entry a photo; of books from before that was kept, none. A colour stands once a light.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    seen: Vec<Seen>,
}

/// Why swatches cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SwatchError {
    /// The text is no swatch book.
    #[error("this is not a swatch book of version v1 ({0}); teach the colours again")]
    Format(#[from] serde_json::Error),
    /// A colour or light without a name.
    #[error("a swatch has no {0} name; give every colour and every light one")]
    Nameless(&'static str),
    /// A colour or light whose name holds what cannot be seen.
    #[error("the {what} name '{shown}' holds a character that cannot be seen; write it without")]
    Invisible {
        /// What has the name.
        what: &'static str,
        /// The name, with a sign for each such character.
        shown: String,
    },
    /// No usable samples.
    #[error("the swatch {name} in light {light} has {what}; teach this colour again")]
    Samples {
        /// The colour.
        name: String,
        /// The light.
        light: String,
        /// What is wrong.
        what: &'static str,
    },
    /// A card that cannot have looked so.
    #[error(
        "the card in light {light} has a patch that is no colour; teach the colours of this light again"
    )]
    Card {
        /// The light.
        light: String,
    },
    /// From no photo that can be told from others.
    #[error(
        "the swatch {name} in light {light} is from a photo without a hash; take it away or teach this colour again"
    )]
    Origin {
        /// The colour.
        name: String,
        /// The light.
        light: String,
    },
    /// The same colour and light twice.
    #[error("the swatch {name} in light {light} stands there twice; remove one of them")]
    Twice {
        /// The colour.
        name: String,
        /// The light.
        light: String,
    },
}

impl SwatchBook {
    /// Reads a book and checks it.
    ///
    /// # Errors
    ///
    /// When the text is not a v1 book, a name is empty, a swatch has no or impossible samples,
    /// or the same colour and light stand twice from the same photo.
    pub fn from_json(text: &str) -> Result<Self, SwatchError> {
        let read: Self = serde_json::from_str(text)?;
        let mut book = Self::default();
        for swatch in read.colours {
            let before = book.colours.len();
            let (name, light) = (swatch.name.clone(), swatch.light.clone());
            book.teach(swatch)?;
            if book.colours.len() == before {
                return Err(SwatchError::Twice { name, light });
            }
        }
        for seen in read.seen {
            if !seen.card.labs().all(is_colour) {
                return Err(SwatchError::Card { light: seen.light });
            }
            if (seen.from.as_ref()).is_some_and(|from| !is_hash(&from.photo)) {
                let name = seen.colours.first().cloned().unwrap_or_default();
                let light = seen.light;
                return Err(SwatchError::Origin { name, light });
            }
            book.keep(seen);
        }
        Ok(book)
    }

    /// The book as indented JSON.
    ///
    /// # Errors
    ///
    /// When the JSON writer refuses, which plain numbers and text give no cause for.
    pub fn to_json(&self) -> Result<String, SwatchError> {
        Ok(serde_json::to_string_pretty(self)?)
    }

    /// Adds a swatch; the same colour in the same light, from the same counted photo or from none,
    /// is replaced.
    ///
    /// # Errors
    ///
    /// When a name is empty, or the samples are none or impossible.
    pub fn teach(&mut self, swatch: Swatch) -> Result<(), SwatchError> {
        check(&swatch)?;
        match self
            .colours
            .binary_search_by(|there| there.compare(&swatch))
        {
            Ok(there) => self.colours[there] = swatch,
            Err(place) => self.colours.insert(place, swatch),
        }
        Ok(())
    }

    /// How the card looked where a colour was taught in a light.
    pub fn card_beside(&self, name: &str, light: &str) -> Option<&CardLook> {
        self.seen_beside(name, light).map(|seen| &seen.card)
    }

    fn seen_beside(&self, name: &str, light: &str) -> Option<&Seen> {
        let beside = |seen: &&Seen| seen.light == light && seen.colours.contains(name);
        self.seen.iter().find(beside)
    }

    /// What is taught anew in a light is no longer as it was seen before.
    fn keep(&mut self, seen: Seen) {
        for before in self.seen.iter_mut().filter(|s| s.light == seen.light) {
            before.colours.retain(|name| !seen.colours.contains(name));
        }
        self.seen.push(seen);
        self.seen.retain(|seen| !seen.colours.is_empty());
        self.seen
            .sort_by(|a, b| (&a.light, &a.colours).cmp(&(&b.light, &b.colours)));
    }

    /// Takes away what was learned from a counted photo; gives it.
    pub fn forget(&mut self, photo: &str) -> Vec<Swatch> {
        let is_of = |s: &mut Swatch| s.from.as_ref().is_some_and(|from| from.photo == photo);
        self.colours.extract_if(.., is_of).collect()
    }

    /// The counted photos that something was learned from, each once.
    pub fn origins(&self) -> BTreeSet<&Origin> {
        self.colours
            .iter()
            .filter_map(|s| s.from.as_ref())
            .collect()
    }

    /// The file names of the photos that were taken to teach, as far as that was kept.
    pub fn teaching_photos(&self) -> BTreeSet<&str> {
        let from = self.seen.iter().filter_map(|seen| seen.from.as_ref());
        from.map(|photo| photo.file.as_str()).collect()
    }

    /// All swatches, by name, then light.
    pub fn swatches(&self) -> &[Swatch] {
        &self.colours
    }

    /// Taught names, each once, in order.
    pub fn names(&self) -> Vec<&str> {
        let names: BTreeSet<&str> = self.colours.iter().map(|s| s.name.as_str()).collect();
        names.into_iter().collect()
    }

    /// Names of the lights, each once, in order; without what photos in unnamed lights showed.
    pub fn lights(&self) -> Vec<&str> {
        let named = self.colours.iter().filter(|s| s.light_is_named());
        let lights: BTreeSet<&str> = named.map(|s| s.light.as_str()).collect();
        lights.into_iter().collect()
    }
}

fn is_hash(text: &str) -> bool {
    let hex = |b: u8| matches!(b, b'0'..=b'9' | b'a'..=b'f');
    text.len() == 64 && text.bytes().all(hex)
}

fn check(swatch: &Swatch) -> Result<(), SwatchError> {
    for (name, what) in [(&swatch.name, "colour"), (&swatch.light, "light")] {
        if name.trim().is_empty() {
            return Err(SwatchError::Nameless(what));
        }
        if name.chars().any(is_invisible) {
            let shown = shown(name);
            return Err(SwatchError::Invisible { what, shown });
        }
    }
    if swatch
        .from
        .as_ref()
        .is_some_and(|from| !is_hash(&from.photo))
    {
        return Err(SwatchError::Origin {
            name: swatch.name.clone(),
            light: swatch.light.clone(),
        });
    }
    let what = if swatch.samples.is_empty() {
        "no samples"
    } else if !swatch.samples.iter().all(is_colour) {
        "a sample that is no colour"
    } else {
        return Ok(());
    };
    Err(SwatchError::Samples {
        name: swatch.name.clone(),
        light: swatch.light.clone(),
        what,
    })
}

#[cfg(test)]
#[path = "book_tests.rs"]
mod tests;
