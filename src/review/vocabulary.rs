//! What a piece can be called: one list, taken from where shapes are defined.

use serde::Serialize;

use crate::pieces::Face;
use crate::pieces::shape::{Form, Shape, shapes_of};

/// The form of a piece whose form cannot be told.
pub const ANY: &str = "any";

/// Everything the page offers to choose from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Vocabulary {
    /// Every form.
    pub forms: Vec<FormWord>,
    /// Every way to lie.
    pub faces: Vec<&'static str>,
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
}

/// The whole list.
pub fn vocabulary() -> Vocabulary {
    let word = |form: &Form| FormWord {
        name: form.name(),
        height_mm: form.height_mm(),
        studs: form.has_studs(),
        sizes: shapes_of(*form).into_iter().map(Shape::size).collect(),
    };
    Vocabulary {
        forms: Form::ALL.iter().map(word).collect(),
        faces: Face::ALL.map(Face::name).to_vec(),
    }
}

/// Every listed shape that may be meant by a form's name: those of the form, or of
/// every form where the name is none of the list's.
pub fn shapes_called(form: &str) -> Vec<Shape> {
    let named: Vec<Shape> = Form::ALL
        .iter()
        .filter(|known| known.name() == form)
        .flat_map(|known| shapes_of(*known))
        .collect();
    if named.is_empty() {
        // The lowest form first: what cannot be told is drawn flat.
        let mut forms = Form::ALL.to_vec();
        forms.sort_by(|a, b| a.height_mm().total_cmp(&b.height_mm()));
        return forms.into_iter().flat_map(shapes_of).collect();
    }
    named
}

/// The listed shape of that form and size, if there is one.
pub fn shape_called(form: &str, size: &str) -> Option<Shape> {
    shapes_called(form)
        .into_iter()
        .find(|shape| shape.size() == size)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn the_list_is_that_of_the_shapes() {
        let vocabulary = vocabulary();
        assert_eq!(vocabulary.forms.len(), Form::ALL.len());
        for word in &vocabulary.forms {
            assert!(!word.sizes.is_empty());
            for size in &word.sizes {
                let shape = shape_called(word.name, size).unwrap();
                assert_eq!((shape.form.name(), &shape.size()), (word.name, size));
            }
        }
        assert_eq!(shape_called("brick", "2x9"), None);
    }

    #[test]
    fn a_form_that_cannot_be_told_has_every_size() {
        let lowest = Form::ALL.iter().map(|form| form.height_mm());
        let lowest = lowest.fold(f64::INFINITY, f64::min);
        for form in Form::ALL {
            for shape in shapes_of(form) {
                let drawn = shape_called(ANY, &shape.size()).unwrap();
                assert_eq!(drawn.size(), shape.size());
                assert!(
                    drawn.form.height_mm() <= form.height_mm() && drawn.form.height_mm() >= lowest
                );
            }
        }
    }
}
