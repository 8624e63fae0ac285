//! What may lie on the tray, as the user says it.

use std::str::FromStr;

use thiserror::Error;

use super::shape::{Form, Shape, shapes_of};

/// What to look for: each shape once, in order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Search {
    shapes: Vec<Shape>,
}

impl Search {
    /// Every size of these forms.
    pub fn of_forms(forms: &[Form]) -> Self {
        Self::sorted(forms.iter().flat_map(|form| shapes_of(*form)).collect())
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
        Ok(Self::sorted(shapes))
    }

    fn sorted(mut shapes: Vec<Shape>) -> Self {
        shapes.sort_unstable();
        shapes.dedup();
        Self { shapes }
    }

    /// The shapes.
    pub fn shapes(&self) -> &[Shape] {
        &self.shapes
    }

    /// Whether a shape may lie there.
    pub fn allows(&self, shape: Shape) -> bool {
        self.shapes.binary_search(&shape).is_ok()
    }

    /// Forms that the same size may come in.
    pub fn forms_of(&self, shape: Shape) -> impl Iterator<Item = Form> + '_ {
        Form::ALL.into_iter().filter(move |form| {
            self.allows(Shape {
                form: *form,
                ..shape
            })
        })
    }
}

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
        "'{text}' is no piece; say form and size, or one of them, such as 'plate 2x4', '2x4' or 'plate'"
    )]
    NoPiece {
        /// As given.
        text: String,
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
    fn means(self, shape: Shape) -> bool {
        self.form.is_none_or(|form| form == shape.form)
            && self
                .size
                .is_none_or(|size| size == (shape.short, shape.long))
    }

    /// The shape, where both form and size were said.
    pub fn shape(self) -> Option<Shape> {
        let ((short, long), form) = (self.size?, self.form?);
        Some(Shape { form, short, long })
    }

    fn text(self) -> String {
        let size = self.size.map(|(short, long)| format!("{short}x{long}"));
        let words = [self.form.map(|form| form.name().to_owned()), size];
        words.into_iter().flatten().collect::<Vec<_>>().join(" ")
    }
}

impl FromStr for Expected {
    type Err = ExpectError;

    fn from_str(text: &str) -> Result<Self, ExpectError> {
        let no_piece = || ExpectError::NoPiece {
            text: text.trim().to_owned(),
        };
        let (mut form, mut size) = (None, None);
        for word in text.split_whitespace() {
            if let Some(known) = Form::ALL.into_iter().find(|form| form.name() == word) {
                if form.replace(known).is_some() {
                    return Err(no_piece());
                }
            } else if size.replace(sides(word).ok_or_else(no_piece)?).is_some() {
                return Err(no_piece());
            }
        }
        let expected = Self { form, size };
        if expected
            == (Self {
                form: None,
                size: None,
            })
        {
            return Err(no_piece());
        }
        let mut listed = Form::ALL.into_iter().flat_map(shapes_of);
        if !listed.any(|shape| expected.means(shape)) {
            let sizes = shapes_of(form.unwrap_or(Form::Plate));
            let sizes: Vec<String> = sizes.into_iter().map(Shape::size).collect();
            return Err(ExpectError::NoSize {
                text: expected.text(),
                sizes: sizes.join(", "),
            });
        }
        Ok(expected)
    }
}

/// `2x4` or `4x2` as (short, long).
fn sides(word: &str) -> Option<(u8, u8)> {
    let (a, b) = word.split_once('x')?;
    let (a, b): (u8, u8) = (a.parse().ok()?, b.parse().ok()?);
    Some((a.min(b), a.max(b)))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn expected(list: &str) -> Vec<Expected> {
        list.split(',').map(|one| one.parse().unwrap()).collect()
    }

    #[test]
    fn expectations_narrow_the_search() {
        let plates = Search::of_forms(&[Form::Plate]);
        let some = plates.expecting(&expected("2x4, plate 1x2,4x2")).unwrap();
        let named: Vec<String> = some.shapes().iter().map(ToString::to_string).collect();
        assert_eq!(named, ["plate 1x2", "plate 2x4"]);
        let any = Search::of_forms(&Form::ALL);
        let mixed = any.expecting(&expected("tile,2x2")).unwrap();
        assert_eq!(mixed.shapes().len(), shapes_of(Form::Tile).len() + 2);
        assert_eq!(any.expecting(&[]).unwrap(), any);
        let two = mixed.forms_of(shapes_of(Form::Tile)[0]).count();
        assert_eq!(two, 1);
    }

    #[test]
    fn what_is_no_piece_is_refused() {
        let error = |text: &str| text.parse::<Expected>().unwrap_err();
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
        let bricks = Search::of_forms(&[Form::Brick]);
        assert!(bricks.expecting(&expected("tile 1x2")).is_err());
    }
}
