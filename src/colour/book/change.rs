//! Taught colours renamed, made one, forgotten.

use super::{Seen, SwatchBook};
use crate::colour::swatch::Swatch;

impl SwatchBook {
    /// Gives a colour another name; where there is one of that name, the two are one from then on: what was taught of both
    /// in one light stands together. Gives how many swatches changed.
    pub fn rename(&mut self, from: &str, to: &str) -> usize {
        let is_old = |swatch: &mut Swatch| swatch.name == from;
        let renamed: Vec<Swatch> = self.colours.extract_if(.., is_old).collect();
        let count = renamed.len();
        for swatch in renamed {
            let swatch = Swatch {
                name: to.to_owned(),
                ..swatch
            };
            let place = (self.colours).binary_search_by(|there| there.compare(&swatch));
            match place {
                Ok(there) => self.colours[there] = together(&self.colours[there], &swatch),
                Err(place) => self.colours.insert(place, swatch),
            }
        }
        self.rename_seen(from, to);
        count
    }

    fn rename_seen(&mut self, from: &str, to: &str) {
        let mut lights: Vec<String> = Vec::new();
        for seen in &mut self.seen {
            let had = [from, to].map(|name| seen.colours.remove(name));
            // Beside one colour in one light one card is kept.
            if had.contains(&true) && !lights.contains(&seen.light) {
                seen.colours.insert(to.to_owned());
                lights.push(seen.light.clone());
            }
        }
        self.tidy();
    }

    /// Takes away what was taught of a colour, in one light or in all, counted photos with it; gives it.
    pub fn forget_colour(&mut self, name: &str, light: Option<&str>) -> Vec<Swatch> {
        let is_it = |of: &str| light.is_none_or(|light| light == of);
        for seen in self.seen.iter_mut().filter(|seen| is_it(&seen.light)) {
            seen.colours.remove(name);
        }
        self.tidy();
        let gone = |swatch: &mut Swatch| swatch.name == name && is_it(&swatch.light);
        self.colours.extract_if(.., gone).collect()
    }

    fn tidy(&mut self) {
        self.seen.retain(|seen| !seen.colours.is_empty());
        let key = |seen: &Seen| (seen.light.clone(), seen.colours.clone());
        self.seen.sort_by_key(key);
    }
}

/// Two swatches made one. One that does not show its own colour adds nothing to one that does.
fn together(one: &Swatch, other: &Swatch) -> Swatch {
    match (one.flaw, other.flaw) {
        (Some(_), None) => other.clone(),
        (None, Some(_)) => one.clone(),
        _ => Swatch {
            samples: one.samples.iter().chain(&other.samples).copied().collect(),
            ..one.clone()
        },
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::colour::Lesson;
    use crate::colour::look::tests::look;
    use crate::colour::swatch::Flaw;

    fn swatch(name: &str, light: &str, lightness: f64) -> Swatch {
        Swatch {
            name: name.into(),
            samples: vec![[lightness, 0.0, 0.0]],
            light: light.into(),
            flaw: None,
            from: None,
        }
    }

    fn book() -> SwatchBook {
        let mut book = SwatchBook::default();
        for (light, names) in [("pier", &["kelp", "moss"][..]), ("hut", &["kelp"])] {
            let swatches = (names.iter().zip([40.0, 50.0]))
                .map(|(name, lightness)| swatch(name, light, lightness));
            let lesson = Lesson {
                light: light.into(),
                swatches: swatches.collect(),
                card: look(0.0),
                from: None,
                time: None,
            };
            book.learn(&lesson).unwrap();
        }
        book
    }

    #[test]
    fn a_renamed_colour_keeps_its_card_and_goes_back() {
        let before = book();
        let mut book = before.clone();
        assert_eq!(book.rename("kelp", "wrack"), 2);
        assert_eq!(book.names(), ["moss", "wrack"]);
        assert!(book.card_beside("wrack", "hut").is_some());
        assert!(book.card_beside("kelp", "pier").is_none());
        let text = book.to_json().unwrap();
        assert_eq!(SwatchBook::from_json(&text).unwrap(), book);
        book.rename("wrack", "kelp");
        assert_eq!(book, before);
    }

    #[test]
    fn two_colours_made_one_stand_together_in_a_light() {
        let mut merged = book();
        merged.rename("kelp", "moss");
        assert_eq!(merged.names(), ["moss"]);
        let lightness: Vec<f64> = (merged.swatches().iter()).map(|s| s.middle()[0]).collect();
        // In the hut kelp alone, on the pier both.
        assert_eq!(lightness, [40.0, 45.0]);
        let text = merged.to_json().unwrap();
        assert_eq!(SwatchBook::from_json(&text).unwrap(), merged);
        let mut flawed = book();
        flawed.colours[1].flaw = Some(Flaw::Lamp);
        flawed.rename("kelp", "moss");
        let pier = flawed.swatches().iter().find(|s| s.light == "pier");
        assert_eq!(pier.map(|s| (s.middle()[0], s.flaw)), Some((50.0, None)));
    }

    #[test]
    fn a_colour_is_forgotten_in_one_light_or_in_all() {
        let mut book = book();
        assert_eq!(book.forget_colour("kelp", Some("hut")).len(), 1);
        assert_eq!((book.lights(), book.names().len()), (vec!["pier"], 2));
        assert_eq!(book.forget_colour("kelp", None).len(), 1);
        assert!(book.card_beside("kelp", "pier").is_none());
        assert!(book.card_beside("moss", "pier").is_some());
        assert!(book.forget_colour("kelp", None).is_empty());
    }
}
