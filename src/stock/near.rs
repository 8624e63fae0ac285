//! Names that were probably meant: a slip of the finger, or only the beginning of a place.

use super::kind::{Kind, Name};
use super::model::Contents;
use std::collections::BTreeSet;

/// How unlike two names may be for one to be the other mistyped, as the number of
/// letters changed, missing, added or swapped. Three in a long name is still a slip;
/// more is another word.
const SLIPS: usize = 3;

/// The known name that is most like this one, if any is like enough to have been meant.
pub fn nearest<'a>(name: &Name, known: impl IntoIterator<Item = &'a Name>) -> Option<&'a Name> {
    let lower = name.as_str().to_lowercase();
    let distance =
        |other: &Name| strsim::damerau_levenshtein(&lower, &other.as_str().to_lowercase());
    let near = known
        .into_iter()
        .map(|other| (distance(other), other))
        .filter(|&(distance, other)| {
            distance <= SLIPS && distance * 3 <= other.as_str().chars().count().max(3)
        });
    near.min().map(|(_, other)| other)
}

/// A place that holds something, by its name or a beginning of it that no other has: `cup 3` is
/// `cup 3, sea wall`, but not `cup 30`.
///
/// # Errors
/// When no place is called so and one may have been meant, or several.
pub fn place(contents: &Contents, said: &Name) -> Result<Name, PlaceError> {
    let names = contents.place_names();
    if names.contains(said) {
        return Ok(said.clone());
    }
    let lower = said.as_str().to_lowercase();
    let begins = |name: &&&Name| {
        let name = name.as_str().to_lowercase();
        let rest = name.strip_prefix(&lower);
        rest.is_some_and(|rest| !rest.starts_with(char::is_alphanumeric))
    };
    let found: Vec<&Name> = names.iter().filter(begins).copied().collect();
    match found.as_slice() {
        [one] => Ok((*one).clone()),
        [] => match nearest(
            said,
            names.into_iter().filter(|name| !only_numbered(said, name)),
        ) {
            Some(near) => Err(PlaceError::Near {
                said: said.clone(),
                near: near.clone(),
            }),
            // Nothing is like it: what is asked of it is told of a place that holds nothing.
            None => Ok(said.clone()),
        },
        several => Err(PlaceError::Several {
            said: said.clone(),
            places: several.iter().map(|&name| name.clone()).collect(),
        }),
    }
}

/// `cup 9` is no slip for `cup 3`: whoever numbers places means the number.
fn only_numbered(one: &Name, other: &Name) -> bool {
    let letters = |name: &Name| {
        let lower = name.as_str().to_lowercase();
        lower.replace(|c: char| c.is_numeric(), "")
    };
    letters(one) == letters(other)
}

/// What may have been meant by a kind of which the stock has no form or no colour.
pub fn meant(contents: &Contents, kind: &Kind) -> Option<Name> {
    let pending = contents.pending.iter().map(|sheet| &sheet.lots);
    let all = contents.places.values().chain(pending);
    let (mut forms, mut colours) = (BTreeSet::new(), BTreeSet::new());
    for (kind, _) in all.flat_map(|lots| lots.iter()) {
        forms.insert(&kind.form);
        colours.insert(&kind.colour);
    }
    if !colours.contains(&kind.colour) {
        return nearest(&kind.colour, colours).cloned();
    }
    if !forms.contains(&kind.form) {
        return nearest(&kind.form, forms).cloned();
    }
    None
}

/// Why it is not known which place is meant.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PlaceError {
    /// Another name is like it.
    #[error("nothing was changed: no place is called '{said}'; did you mean '{near}'?")]
    Near {
        /// What was said.
        said: Name,
        /// What may have been meant.
        near: Name,
    },
    /// Several begin so.
    #[error("nothing was changed: '{said}' may be {}; say the whole name", listed(.places))]
    Several {
        /// What was said.
        said: Name,
        /// The places.
        places: BTreeSet<Name>,
    },
}

fn listed(places: &BTreeSet<Name>) -> String {
    let names: Vec<String> = places.iter().map(|name| format!("'{name}'")).collect();
    names.join(" or ")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::stock::kind::Size;
    use crate::stock::tally::Tally;

    fn name(text: &str) -> Name {
        Name::new(text).unwrap()
    }

    fn kind(form: &str, colour: &str) -> Kind {
        Kind {
            form: name(form),
            size: Size::new("2x4").unwrap(),
            colour: name(colour),
        }
    }

    fn contents() -> Contents {
        let mut contents = Contents::default();
        for place in [
            "cup 3, sea wall",
            "cup 30",
            "drawer a",
            "drawer a, left",
            "tin: 1",
            "tin: 2",
        ] {
            contents.set(&name(place), kind("plate", "tar"), Tally::exact(1).unwrap());
        }
        contents
    }

    #[test]
    fn a_beginning_that_no_other_place_has_will_do() {
        let place = |said| place(&contents(), &name(said)).map(|name| name.to_string());
        assert_eq!(place("Cup 3").unwrap(), "cup 3, sea wall");
        assert_eq!(place("cup 30").unwrap(), "cup 30");
        // Its own name goes before a longer one.
        assert_eq!(place("drawer a").unwrap(), "drawer a");
        let several = place("tin").unwrap_err().to_string();
        assert!(
            several.contains("'tin' may be 'tin: 1' or 'tin: 2'"),
            "{several}"
        );
        let near = place("drawr a").unwrap_err().to_string();
        assert!(near.contains("did you mean 'drawer a'?"), "{near}");
        assert_eq!(place("shelf").unwrap(), "shelf");
        assert_eq!(place("tin: 9").unwrap(), "tin: 9");
    }

    #[test]
    fn a_mistyped_colour_or_form_is_known_again() {
        let meant =
            |form, colour| meant(&contents(), &kind(form, colour)).map(|name| name.to_string());
        assert_eq!(meant("plate", "tarr").as_deref(), Some("tar"));
        assert_eq!(meant("plat", "tar").as_deref(), Some("plate"));
        assert_eq!(meant("plate", "mint"), None);
        assert_eq!(meant("plate", "tar"), None);
    }
}
