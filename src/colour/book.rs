//! All colours that the user taught us, and the card as it looked beside them.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::look::CardLook;
use super::swatch::{Origin, Swatch, is_colour};
use crate::legible::{is_invisible, shown};

/// The swatch file's format version.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Version {
    /// The first version.
    #[default]
    #[serde(rename = "v1")]
    V1,
}

/// What one photo for that taught: a piece of each colour beside the card.
#[derive(Clone, Debug, PartialEq)]
pub struct Lesson {
    /// The light's name.
    pub light: String,
    /// The colours, in reading order.
    pub swatches: Vec<Swatch>,
    /// How the card looked.
    pub card: CardLook,
}

/// How the card looked where colours were taught.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Seen {
    light: String,
    /// The colours, in order.
    colours: BTreeSet<String>,
    card: CardLook,
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

    /// Adds what a photo taught: its swatches, and how the card looked beside them.
    ///
    /// # Errors
    ///
    /// As for [`Self::teach`].
    pub fn learn(&mut self, lesson: &Lesson) -> Result<(), SwatchError> {
        for swatch in &lesson.swatches {
            self.teach(swatch.clone())?;
        }
        self.keep(Seen {
            light: lesson.light.clone(),
            colours: lesson.swatches.iter().map(|s| s.name.clone()).collect(),
            card: lesson.card.clone(),
        });
        Ok(())
    }

    /// How the card looked where a colour was taught in a light.
    pub fn card_beside(&self, name: &str, light: &str) -> Option<&CardLook> {
        let beside = |seen: &&Seen| seen.light == light && seen.colours.contains(name);
        self.seen.iter().find(beside).map(|seen| &seen.card)
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
    let hex = |b: u8| matches!(b, b'0'..=b'9' | b'a'..=b'f');
    let is_hash = |text: &str| text.len() == 64 && text.bytes().all(hex);
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
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
    use super::super::look::tests::look;
    use super::*;

    fn swatch(name: &str, light: &str, lab: [f64; 3]) -> Swatch {
        Swatch {
            name: name.into(),
            samples: vec![lab],
            light: light.into(),
            flaw: None,
            from: None,
        }
    }

    /// The same as read from a counted photo, whose hash is a digit again and again.
    fn learned(swatch: Swatch, digit: &str, named: bool) -> Swatch {
        let from = Origin {
            photo: digit.repeat(64),
            file: "cup.jpg".into(),
        };
        Swatch {
            light: if named {
                swatch.light
            } else {
                from.own_light()
            },
            from: Some(from),
            ..swatch
        }
    }

    fn book() -> SwatchBook {
        let mut book = SwatchBook::default();
        for (name, lab) in [
            ("lantern", [60.0, 50.0, 60.0]),
            ("kelp", [40.0, -30.0, 25.0]),
            ("moss", [44.0, -30.0, 29.0]),
        ] {
            book.teach(swatch(name, "boathouse", lab)).unwrap();
        }
        book
    }

    #[test]
    fn a_second_light_stands_beside_and_the_same_light_replaces() {
        let mut book = book();
        book.teach(swatch("kelp", "pier", [43.0, -36.0, 22.0]))
            .unwrap();
        assert_eq!(book.lights(), ["boathouse", "pier"]);
        assert_eq!(book.names(), ["kelp", "lantern", "moss"]);
        book.teach(swatch("kelp", "pier", [30.0, 0.0, 0.0]))
            .unwrap();
        assert_eq!(book.swatches().len(), 4);
    }

    #[test]
    fn what_photos_taught_stands_beside_and_is_forgotten_by_photo() {
        let mut book = book();
        let taught = book.clone();
        let kelp = || swatch("kelp", "boathouse", [41.0, -30.0, 25.0]);
        book.teach(learned(kelp(), "a", true)).unwrap();
        book.teach(learned(kelp(), "b", false)).unwrap();
        assert_eq!(book.swatches().len(), 5);
        // A photo in an unnamed light is no light of its own.
        assert_eq!(book.lights(), ["boathouse"]);
        // Again replaces, and does not touch what was taught.
        book.teach(learned(kelp(), "a", true)).unwrap();
        assert_eq!(book.swatches().len(), 5);
        let text = book.to_json().unwrap();
        assert_eq!(SwatchBook::from_json(&text).unwrap(), book);
        assert_eq!(book.origins().len(), 2);
        assert_eq!(book.forget(&"c".repeat(64)), []);
        assert_eq!(book.forget(&"a".repeat(64)).len(), 1);
        assert_eq!(book.forget(&"b".repeat(64)).len(), 1);
        assert_eq!(book, taught);
    }

    fn lesson(names: &[&str], lighter: f64) -> Lesson {
        Lesson {
            light: "pier".into(),
            swatches: (names.iter())
                .map(|name| swatch(name, "pier", [40.0, -30.0, 25.0]))
                .collect(),
            card: look(lighter),
        }
    }

    #[test]
    fn of_each_colour_the_card_is_kept_that_lay_beside_it_last() {
        let mut book = book();
        book.learn(&lesson(&["kelp", "moss"], 0.0)).unwrap();
        book.learn(&lesson(&["kelp"], 4.0)).unwrap();
        assert_eq!(book.card_beside("kelp", "pier"), Some(&look(4.0)));
        assert_eq!(book.card_beside("moss", "pier"), Some(&look(0.0)));
        // Taught without the card's look being kept.
        assert_eq!(book.card_beside("kelp", "boathouse"), None);
        let text = book.to_json().unwrap();
        assert_eq!(SwatchBook::from_json(&text).unwrap(), book);
        book.learn(&lesson(&["moss", "kelp"], 2.0)).unwrap();
        assert_eq!(book.seen.len(), 1);
    }

    #[test]
    fn a_book_survives_its_file() {
        let text = book().to_json().unwrap();
        assert!(text.contains("\"swatches\": \"v1\""), "{text}");
        assert_eq!(SwatchBook::from_json(&text).unwrap(), book());
    }

    #[test]
    fn broken_books_are_refused_with_a_sentence() {
        let with = |colours: &str| format!(r#"{{"swatches":"v1","colours":[{colours}]}}"#);
        let kelp = r#"{"name":"kelp","light":"pier","samples":[[40,-30,25]]}"#;
        for (text, part) in [
            (String::from("{"), "not a swatch book"),
            (
                r#"{"swatches":"v2","colours":[]}"#.into(),
                "not a swatch book",
            ),
            (with(&format!("{kelp},{kelp}")), "stands there twice"),
            (with(&kelp.replace("kelp", " ")), "no colour name"),
            (with(&kelp.replace("pier", "")), "no light name"),
            (
                with(&kelp.replace("kelp", "ke\u{200b}lp")),
                "colour name 'ke\u{fffd}lp'",
            ),
            (
                with(&kelp.replace("pier", "pi\\u001ber")),
                "light name 'pi\u{fffd}er'",
            ),
            (with(&kelp.replace("[40,-30,25]", "")), "no samples"),
            (with(&kelp.replace("40", "4000")), "no colour"),
            (
                format!(
                    r#"{},"seen":[{{"light":"pier","colours":["kelp"],"card":{{"red":[900,0,0]}}}}]}}"#,
                    with(kelp).trim_end_matches('}')
                ),
                "the card in light pier",
            ),
            (
                with(&kelp.replace('}', r#","from":{"photo":"12","file":"a.jpg"}}"#)),
                "without a hash",
            ),
        ] {
            let error = SwatchBook::from_json(&text).unwrap_err().to_string();
            assert!(error.contains(part), "{text}: {error}");
        }
        SwatchBook::from_json(&with(kelp)).unwrap();
    }
}
