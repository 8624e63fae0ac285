//! What a photo of one piece of each colour teaches, and what that takes the place of.

use std::collections::BTreeSet;

use jiff::Timestamp;

use super::{Seen, SwatchBook, SwatchError};
use crate::colour::look::CardLook;
use crate::colour::swatch::{Origin, Swatch};

/// What one photo for that taught: a piece of each colour beside the card.
#[derive(Clone, Debug, PartialEq)]
pub struct Lesson {
    /// The light's name.
    pub light: String,
    /// The colours, in reading order.
    pub swatches: Vec<Swatch>,
    /// How the card looked.
    pub card: CardLook,
    /// The photo.
    pub from: Option<Origin>,
    /// When it was taught, UTC.
    pub time: Option<Timestamp>,
}

/// What a lesson took the place of.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Replaced {
    /// Other lights that the same photo stood for until now.
    pub lights: BTreeSet<String>,
    /// Colours that the same photo taught by names that nobody taught otherwise.
    pub gone: BTreeSet<String>,
    /// Colours that had been taught in this light, and when, where that was kept.
    pub colours: Vec<(String, Option<Timestamp>)>,
}

impl SwatchBook {
    /// Adds what a photo taught: its swatches, and how the card looked beside them. What the same photo taught before,
    /// by other names or for another light, is taken away: it was shown once.
    ///
    /// # Errors
    ///
    /// As for [`Self::teach`]; the book may then lack what the photo taught before.
    pub fn learn(&mut self, lesson: &Lesson) -> Result<Replaced, SwatchError> {
        let mut replaced = Replaced::default();
        let before = match &lesson.from {
            Some(photo) => self.unlearn(photo),
            None => Vec::new(),
        };
        for swatch in &lesson.swatches {
            let same = |there: &&Swatch| there.compare(swatch).is_eq();
            if self.colours.iter().any(|there| same(&there)) {
                let time = self.seen_beside(&swatch.name, &lesson.light);
                let time = time.and_then(|seen| seen.time);
                replaced.colours.push((swatch.name.clone(), time));
            }
            self.teach(swatch.clone())?;
        }
        self.keep(Seen {
            light: lesson.light.clone(),
            colours: lesson.swatches.iter().map(|s| s.name.clone()).collect(),
            card: lesson.card.clone(),
            from: lesson.from.clone(),
            time: lesson.time,
        });
        for (swatch, time) in before {
            let again = (lesson.swatches.iter()).any(|s| s.compare(&swatch).is_eq());
            if again {
                replaced.colours.push((swatch.name.clone(), time));
            }
            if self.colours.iter().all(|there| there.name != swatch.name) {
                replaced.gone.insert(swatch.name);
            }
            if swatch.light != lesson.light {
                replaced.lights.insert(swatch.light);
            }
        }
        replaced.colours.sort();
        Ok(replaced)
    }

    /// Takes away what a photo of one piece of each colour taught; gives it.
    fn unlearn(&mut self, photo: &Origin) -> Vec<(Swatch, Option<Timestamp>)> {
        let mut gone = Vec::new();
        for seen in self.seen.extract_if(.., |seen| seen.is_from(photo)) {
            let is_of = |swatch: &mut Swatch| {
                let taught = swatch.from.is_none() && swatch.light == seen.light;
                taught && seen.colours.contains(&swatch.name)
            };
            let taken = self.colours.extract_if(.., is_of);
            gone.extend(taken.map(|swatch| (swatch, seen.time)));
        }
        gone
    }

    /// Another light by name that is this lesson's by the card.
    pub fn light_alike(&self, lesson: &Lesson) -> Option<&str> {
        let alike =
            |seen: &&Seen| seen.light != lesson.light && seen.card.is_of_same_light(&lesson.card);
        self.seen.iter().find(alike).map(|seen| seen.light.as_str())
    }

    /// Whether a colour was taught in more than one of these lights. Two in which the card beside it looked as in one
    /// light are one, by whatever names.
    pub fn is_in_several(&self, name: &str, lights: &[&str]) -> bool {
        let cards: Vec<_> = (lights.iter())
            .map(|light| self.card_beside(name, light))
            .collect();
        let alike = |a: usize, b: usize| match (cards[a], cards[b]) {
            (Some(a), Some(b)) => a.is_of_same_light(b),
            // Nobody knows.
            _ => false,
        };
        (0..cards.len()).any(|b| (0..b).any(|a| !alike(a, b)))
    }

    /// Whether a colour at all was taught in more than one light, by photos for that.
    pub fn has_several_lights(&self) -> bool {
        self.names().into_iter().any(|name| {
            let own = |s: &&Swatch| s.from.is_none() && s.name == name;
            let lights: Vec<&str> = (self.colours.iter().filter(own))
                .map(|s| s.light.as_str())
                .collect();
            self.is_in_several(name, &lights)
        })
    }
}
