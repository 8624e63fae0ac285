//! What a piece can be called: one list, taken from where shapes are defined.

use serde::Serialize;

use crate::count::reason::NEW_COLOUR;
pub use crate::pieces::ANY;
use crate::pieces::Face;
use crate::pieces::{Form, Shape, Shapes};
use crate::sheet::SURE;

/// Everything the page offers to choose from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Vocabulary {
    /// Every form.
    pub forms: Vec<FormWord>,
    /// Every way to lie.
    pub faces: Vec<&'static str>,
    /// The doubt of a piece whose colour is none of those taught.
    pub new_colour: &'static str,
    /// From this probability on nobody needs to look.
    pub sure: f64,
}

/// A form, with what a drawing of it needs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FormWord {
    /// As in sheets.
    pub name: &'static str,
    /// Height of its body without studs, mm.
    pub height_mm: f64,
    /// Whether studs stand on it.
    pub studs: bool,
    /// Its sizes, in the order of the list.
    pub sizes: Vec<String>,
    /// How those are drawn that are no full rectangles.
    pub drawn: Vec<Drawn>,
}

/// What a drawing of one shape needs, mm from the middle of its box.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Drawn {
    /// Which.
    pub size: String,
    /// Corners of the footprint.
    pub outline: &'static [(f64, f64)],
    /// Middles of the studs.
    pub studs: &'static [(f64, f64)],
}

/// The whole list.
pub fn vocabulary(list: Shapes) -> Vocabulary {
    let word = |form: Form| {
        let shapes = list.of_form(form);
        let odd = shapes.iter().filter(|shape| !shape.is_block());
        let drawn = odd.map(|shape| Drawn {
            size: shape.size(),
            outline: shape.outline(),
            studs: shape.studs(),
        });
        FormWord {
            name: form.name(),
            height_mm: shapes.first().map_or(0.0, |shape| shape.height_mm()),
            studs: shapes.iter().any(|shape| shape.has_studs()),
            drawn: drawn.collect(),
            sizes: shapes.into_iter().map(Shape::size).collect(),
        }
    };
    Vocabulary {
        forms: list.forms().into_iter().map(word).collect(),
        faces: Face::ALL.map(Face::name).to_vec(),
        new_colour: NEW_COLOUR,
        sure: SURE,
    }
}

/// Every listed shape that may be meant by a form's name: those of the form, or of
/// every form where the name is none of the list's.
pub fn shapes_called(form: &str, list: Shapes) -> Vec<Shape> {
    if let Some(form) = list.form(form) {
        return list.of_form(form);
    }
    // The lowest first: what cannot be told is drawn flat.
    let mut all: Vec<Shape> = list.all().collect();
    all.sort_by(|a, b| a.height_mm().total_cmp(&b.height_mm()));
    all
}

/// The listed shape of that form and size, if there is one.
pub fn shape_called(form: &str, size: &str, list: Shapes) -> Option<Shape> {
    shapes_called(form, list)
        .into_iter()
        .find(|shape| shape.size() == size)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn the_list_is_that_of_the_shapes() {
        let list = Shapes::shipped();
        let vocabulary = vocabulary(list);
        assert_eq!(vocabulary.forms.len(), list.forms().len());
        for word in &vocabulary.forms {
            assert!(!word.sizes.is_empty());
            for size in &word.sizes {
                let shape = shape_called(word.name, size, list).unwrap();
                assert_eq!((shape.form().name(), &shape.size()), (word.name, size));
            }
        }
        assert_eq!(shape_called("brick", "2x9", list), None);
        // Rectangles are drawn by their size alone.
        let drawn = vocabulary.forms.iter().map(|word| word.drawn.len());
        assert_eq!(drawn.collect::<Vec<_>>(), [0, 0, 0, 1, 2]);
    }

    #[test]
    fn a_form_that_cannot_be_told_has_every_size() {
        let list = Shapes::shipped();
        for shape in list.all() {
            let drawn = shape_called(ANY, &shape.size(), list).unwrap();
            assert_eq!(drawn.size(), shape.size());
            assert!(drawn.is_block() && drawn.height_mm() <= shape.height_mm());
        }
    }
}
