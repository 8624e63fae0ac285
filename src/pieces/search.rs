//! What may lie on the tray, as the user says it.

use thiserror::Error;

use super::list::{Shapes, sides};
use super::shape::{Form, Shape};

/// What to look for: each shape once, in order.
#[derive(Clone, Debug)]
pub struct Search {
    list: Shapes,
    shapes: Vec<Shape>,
}

impl Search {
    /// Every shape of the list.
    pub fn of_all(list: Shapes) -> Self {
        Self::sorted(list, list.all().collect())
    }

    /// Every size of a form.
    pub fn of_form(list: Shapes, form: Form) -> Self {
        Self::sorted(list, list.of_form(form))
    }

    /// Every size of the form of that name, or of all for `any`.
    ///
    /// # Errors
    /// When there is no such form.
    pub fn called(list: Shapes, name: &str) -> Result<Self, ExpectError> {
        if name == ANY {
            return Ok(Self::of_all(list));
        }
        match form_of(list, name) {
            Some(form) => Ok(Self::of_form(list, form)),
            None => Err(ExpectError::NoForm {
                text: name.chars().take(LONGEST).collect(),
                near: near(list, name).map_or_else(
                    || ".".to_owned(),
                    |near| format!("; did you mean '{near}'?"),
                ),
                forms: list
                    .forms()
                    .iter()
                    .map(|f| f.name())
                    .collect::<Vec<_>>()
                    .join(", "),
            }),
        }
    }

    /// Of that, only what is expected; all of it where nothing is.
    ///
    /// # Errors
    /// When an expectation means nothing of it.
    pub fn expecting(&self, expected: &[Expected]) -> Result<Self, ExpectError> {
        if expected.is_empty() {
            return Ok(self.clone());
        }
        let mut shapes = Vec::new();
        for one in expected {
            let meant: Vec<Shape> = (self.shapes.iter().copied())
                .filter(|shape| one.means(*shape))
                .collect();
            if meant.is_empty() {
                return Err(ExpectError::NotLookedFor { text: one.text() });
            }
            shapes.extend(meant);
        }
        Ok(Self::sorted(self.list, shapes))
    }

    fn sorted(list: Shapes, mut shapes: Vec<Shape>) -> Self {
        shapes.sort_unstable();
        shapes.dedup();
        Self { list, shapes }
    }

    /// The shapes.
    pub fn shapes(&self) -> &[Shape] {
        &self.shapes
    }

    /// Every shape that there is, looked for or not.
    pub fn list(&self) -> Shapes {
        self.list
    }

    /// Shapes looked for that have the footprint of another, that one among them.
    pub fn alike(&self, shape: Shape) -> impl Iterator<Item = Shape> + '_ {
        let shapes = self.shapes.iter().copied();
        shapes.filter(move |other| other.has_footprint_of(shape))
    }
}

/// The form of a name, in the singular or the plural.
fn form_of(list: Shapes, name: &str) -> Option<Form> {
    let one = || list.form(name.strip_suffix('s')?);
    list.form(name).or_else(one)
}

/// Letters that may be wrong, left out or too many in a form's name: with three `tile` would be near to `brick`.
const SLIPS: usize = 2;

/// The form whose name is nearest to what was typed, if it is near.
fn near(list: Shapes, typed: &str) -> Option<&'static str> {
    let typed: String = typed
        .chars()
        .take(LONGEST)
        .collect::<String>()
        .to_lowercase();
    let off = |form: &Form| strsim::damerau_levenshtein(&typed, form.name());
    let forms = list.forms().into_iter();
    let nearest = forms.min_by_key(off).filter(|form| off(form) <= SLIPS)?;
    Some(nearest.name())
}

/// The word for every form.
pub const ANY: &str = "any";
/// No more of what the user said than this is said again, in letters.
const LONGEST: usize = 40;

/// One piece that may be in the cup: `plate 2x4`, `2x4` (of every form), or `plate` (every size).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Expected {
    form: Option<Form>,
    size: Option<(u8, u8)>,
}

/// Why an expectation is none; each is a sentence.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum ExpectError {
    /// Neither form nor size.
    #[error(
        "'{text}' is no piece; {near}say form and size, or one of them, such as 'plate 2x4', '2x4' or 'plate'"
    )]
    NoPiece {
        /// As given.
        text: String,
        /// A question whether another was meant, or a full stop.
        near: String,
    },
    /// Not a listed form.
    #[error(
        "there is no form '{text}' in the list of pieces{near} Its forms are {forms}, or say 'any'"
    )]
    NoForm {
        /// As given.
        text: String,
        /// A question whether another was meant, or nothing.
        near: String,
        /// All that there are.
        forms: String,
    },
    /// Not a listed size.
    #[error("there is no {text} in the list of pieces; its sizes are {sizes}")]
    NoSize {
        /// As given.
        text: String,
        /// All that there are.
        sizes: String,
    },
    /// Another form was asked for.
    #[error(
        "'{text}' is expected, but --form asks for other forms; leave --form out or name the form that both mean"
    )]
    NotLookedFor {
        /// As given.
        text: String,
    },
}

impl Expected {
    /// Reads one piece, of those that the list knows.
    ///
    /// # Errors
    /// When it is no piece, or one that is not listed.
    pub fn parse(text: &str, list: Shapes) -> Result<Self, ExpectError> {
        let text = text.trim();
        // A form's name may be several words; the size is the last one, or the first.
        let words: Vec<&str> = text.split_whitespace().collect();
        let (size, rest) = match words.as_slice() {
            [rest @ .., last] if sides(last).is_some() => (sides(last), rest),
            [first, rest @ ..] if sides(first).is_some() => (sides(first), rest),
            rest => (None, rest),
        };
        let no_piece = || {
            let form = near(list, &rest.join(" "));
            let near = form.map_or_else(String::new, |form| match size {
                Some((short, long)) => format!("did you mean '{form} {short}x{long}'? Else "),
                None => format!("did you mean '{form}'? Else "),
            });
            let text = text.chars().take(LONGEST).collect();
            ExpectError::NoPiece { text, near }
        };
        let form = match rest {
            [] => None,
            words => Some(form_of(list, &words.join(" ")).ok_or_else(no_piece)?),
        };
        if size.is_none() && form.is_none() {
            return Err(no_piece());
        }
        let expected = Self { form, size };
        if !list.all().any(|shape| expected.means(shape)) {
            let mut shapes = list.of_form(form.unwrap_or(Form::PLATE));
            shapes.sort_unstable();
            let sizes: Vec<String> = shapes.into_iter().map(Shape::size).collect();
            return Err(ExpectError::NoSize {
                text: expected.text(),
                sizes: sizes.join(", "),
            });
        }
        Ok(expected)
    }

    fn means(self, shape: Shape) -> bool {
        self.form.is_none_or(|form| form == shape.form())
            && self.size.is_none_or(|size| size == shape.studs_box())
    }

    /// The shape, where both form and size were said.
    pub fn shape(self, list: Shapes) -> Option<Shape> {
        let ((short, long), form) = (self.size?, self.form?);
        list.named(form.name(), &format!("{short}x{long}"))
    }

    fn text(self) -> String {
        let size = self.size.map(|(short, long)| format!("{short}x{long}"));
        let words = [self.form.map(|form| form.name().to_owned()), size];
        words.into_iter().flatten().collect::<Vec<_>>().join(" ")
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn expected(list: &str) -> Vec<Expected> {
        let one = |one| Expected::parse(one, Shapes::shipped()).unwrap();
        list.split(',').map(one).collect()
    }

    fn called(name: &str) -> Search {
        Search::called(Shapes::shipped(), name).unwrap()
    }

    #[test]
    fn expectations_narrow_the_search() {
        let some = called("plate")
            .expecting(&expected("2x4, plate 1x2,4x2"))
            .unwrap();
        let named: Vec<String> = some.shapes().iter().map(ToString::to_string).collect();
        assert_eq!(named, ["plate 1x2", "plate 2x4"]);
        let any = called("any");
        let mixed = any.expecting(&expected("tile,2x2")).unwrap();
        // Brick, plate, corner and round 2x2 besides the tiles.
        assert_eq!(mixed.shapes().len(), called("tile").shapes().len() + 4);
        assert_eq!(any.expecting(&[]).unwrap().shapes(), any.shapes());
        let tile = mixed.list().named("tile", "1x1").unwrap();
        assert_eq!(mixed.alike(tile).count(), 1);
        let square = mixed.list().named("tile", "2x2").unwrap();
        assert_eq!(mixed.alike(square).count(), 3);
    }

    #[test]
    fn a_form_of_several_words_is_one() {
        let text = r#"{"shapes": "v1", "pieces": [{"form": "round tile", "sizes": ["1x1"],
            "height_mm": 3.2, "outline": "disc", "studs": "none"}]}"#;
        let list = Shapes::shipped().extended(text).unwrap();
        for words in ["round tile 1x1", "1x1 round tile", "round tile"] {
            let one = Expected::parse(words, list).unwrap();
            let meant = Search::of_all(list).expecting(&[one]).unwrap();
            assert_eq!(meant.shapes().len(), 1, "{words}");
        }
    }

    #[test]
    fn plurals_are_taken_and_slips_are_asked_about() {
        assert_eq!(expected("plates 2x4,bricks"), expected("plate 2x4,brick"));
        assert_eq!(called("tiles").shapes(), called("tile").shapes());
        let told = |text: &str| {
            let error = Expected::parse(text, Shapes::shipped()).unwrap_err();
            error.to_string()
        };
        assert!(told("plat 2x4").contains("did you mean 'plate 2x4'?"));
        assert!(told("Brcik").contains("did you mean 'brick'?"));
        assert!(!told("roof").contains("did you mean"));
        let error = Search::called(Shapes::shipped(), "plte").unwrap_err();
        assert!(
            error
                .to_string()
                .contains("did you mean 'plate'? Its forms are")
        );
    }

    #[test]
    fn what_is_no_piece_is_refused() {
        let error = |text: &str| Expected::parse(text, Shapes::shipped()).unwrap_err();
        for text in [
            "",
            "  ",
            "roof",
            "2x",
            "x4",
            "plate plate",
            "2x4 2x4",
            "2x-4",
            "999x1",
        ] {
            assert!(matches!(error(text), ExpectError::NoPiece { .. }), "{text}");
        }
        for text in ["2x9", "0x0", "plate 3x3"] {
            assert!(matches!(error(text), ExpectError::NoSize { .. }), "{text}");
        }
        assert!(called("brick").expecting(&expected("tile 1x2")).is_err());
        let error = Search::called(Shapes::shipped(), "roof").unwrap_err();
        assert!(
            error
                .to_string()
                .contains("brick, plate, tile, corner, round")
        );
    }
}
