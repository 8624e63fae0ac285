//! How much was taught of what can be.

use anyhow::{Result, anyhow};
use cuptally::colour::SwatchBook;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// How much of what can be taught was taught: the shipped maps are for homes that know little as for those that know
/// all their colours in several lights.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Teaching {
    /// All colours, in all the lights of the desk.
    Whole,
    /// All but one colour in [`LEFT_OUT`]: other ones for each photo.
    SomeLeftOut,
    /// All colours, in the first light alone.
    OneLight,
}

/// One colour in so many is left out.
const LEFT_OUT: usize = 8;

impl Teaching {
    /// Those that are tried.
    pub const ALL: [Self; 3] = [Self::Whole, Self::SomeLeftOut, Self::OneLight];

    /// How many cases of its kind one piece stands for. Nobody has counted how often a sheet holds a colour that its home
    /// was not taught; one in ten is supposed.
    pub fn weight(self) -> f64 {
        match self {
            Self::Whole | Self::OneLight => 1.0,
            Self::SomeLeftOut => 0.1,
        }
    }

    /// The book as it would be; none where it would be the whole one.
    ///
    /// # Errors
    /// When the text is no book of colours.
    pub fn of(self, text: &str, photo: &str) -> Result<Option<SwatchBook>> {
        let mut book: Value = serde_json::from_str(text)?;
        let whole = SwatchBook::from_json(text).map_err(|e| anyhow!("{e}"))?;
        let names = whole.names();
        let first = whole.lights().first().map(|light| (*light).to_owned());
        let turn = photo.bytes().map(usize::from).sum::<usize>() % LEFT_OUT;
        let stays = |name: &str, light: &str| match self {
            Self::Whole => true,
            Self::SomeLeftOut => {
                let place = names.iter().position(|known| *known == name);
                place.is_none_or(|place| place % LEFT_OUT != turn)
            }
            Self::OneLight => first.as_deref() == Some(light),
        };
        let text_of = |of: &Value, key: &str| of[key].as_str().unwrap_or_default().to_owned();
        if let Some(colours) = book["colours"].as_array_mut() {
            colours.retain(|one| stays(&text_of(one, "name"), &text_of(one, "light")));
        }
        if let Some(seen) = book["seen"].as_array_mut() {
            for lesson in seen.iter_mut() {
                let light = text_of(lesson, "light");
                if let Some(colours) = lesson["colours"].as_array_mut() {
                    colours.retain(|name| stays(name.as_str().unwrap_or_default(), &light));
                }
            }
            seen.retain(|lesson| lesson["colours"].as_array().is_some_and(|c| !c.is_empty()));
        }
        let book = SwatchBook::from_json(&book.to_string()).map_err(|e| anyhow!("{e}"))?;
        let is_less = self == Self::Whole || book.swatches().len() < whole.swatches().len();
        Ok(is_less.then_some(book))
    }
}
