//! Why a piece is doubtful, in words.

use crate::pieces::{Form, Shape};

/// Why a piece needs a look.
#[derive(Clone, Debug, PartialEq)]
pub enum Doubt {
    /// Another shape explains the place nearly as well.
    Shape(Shape),
    /// Its form cannot be told from another of the same size.
    Form(Form),
    /// Its outline is not clear all around.
    Outline,
    /// Parts of it look like the tray.
    LikeTray,
    /// It is cut by the photo's edge.
    Cut,
    /// Something lies right beside it.
    Touched,
    /// It looks like another form or size than was looked for.
    NotLookedFor,
    /// Only the net sees it so, or only the search does.
    OneWitness,
    /// Others lie on it.
    Covered,
    /// Others lie on those around it.
    Heaped,
    /// Two colours are possible.
    Colour(String),
    /// It may have a colour that nobody taught.
    Untaught,
    /// A colour that nobody taught.
    NewColour,
    /// Its colour could not be read well.
    Glare,
    /// Another photo of the same tray should show it and does not.
    OnePhoto,
    /// Another photo of the same tray shows one like it elsewhere.
    Moved,
    /// Nothing in particular speaks against its colour, but it is not told surely enough.
    ColourALittle,
    /// Nothing in particular speaks against its form and size, but they are not told surely enough.
    ShapeALittle,
    /// Pieces of which as much was stated were wrong too often where they were looked at.
    Record,
}

impl Doubt {
    /// In words.
    pub fn text(&self) -> String {
        match self {
            Doubt::Shape(other) => format!("could be a {other}"),
            Doubt::Form(other) => format!("{AS_WELL}{}", other.name()),
            Doubt::Outline => "outline not clear all around".to_owned(),
            Doubt::LikeTray => "hard to tell from the tray or a shadow".to_owned(),
            Doubt::Cut => "cut by the edge of the photo".to_owned(),
            Doubt::Touched => {
                "touches something: may be more than one piece, or another".to_owned()
            }
            Doubt::NotLookedFor => NOT_LOOKED_FOR.to_owned(),
            Doubt::OneWitness => "two ways of looking at it do not agree".to_owned(),
            Doubt::Covered => "partly covered by others".to_owned(),
            Doubt::Heaped => "in a heap: pieces around it are partly covered".to_owned(),
            Doubt::Colour(other) => format!("colour could be {other}"),
            Doubt::Untaught => "colour could be one that was not taught".to_owned(),
            Doubt::NewColour => NEW_COLOUR.to_owned(),
            Doubt::Glare => "colour uncertain: glare or shade on it".to_owned(),
            Doubt::OnePhoto => "another photo should show it and does not".to_owned(),
            Doubt::Moved => "lies elsewhere in another photo".to_owned(),
            Doubt::ColourALittle => "colour not quite certain".to_owned(),
            Doubt::ShapeALittle => "form and size not quite certain".to_owned(),
            Doubt::Record => {
                "pieces as sure as this were wrong too often in your photos".to_owned()
            }
        }
    }
}

/// How surely a part of a piece is told: its form and size, or its colour.
#[derive(Clone, Copy, Debug)]
pub struct PartTold {
    /// Probability that it is right.
    pub right: f64,
    /// Whether the piece would be sure by it, were all else certain.
    pub suffices: bool,
}

/// What to doubt of a piece that nothing in particular speaks against: each part that is not enough by itself, or the weaker
/// where each would be.
pub fn doubts_a_little(shape: PartTold, colour: PartTold) -> Vec<Doubt> {
    let both_suffice = shape.suffices && colour.suffices;
    let of_colour = !colour.suffices || both_suffice && colour.right < shape.right;
    let of_shape = !shape.suffices || both_suffice && colour.right >= shape.right;
    [
        (Doubt::ShapeALittle, of_shape),
        (Doubt::ColourALittle, of_colour),
    ]
    .into_iter()
    .filter_map(|(doubt, is)| is.then_some(doubt))
    .collect()
}

/// Of a piece whose colour is none of those taught, as [`Doubt::text`] gives it.
pub const NEW_COLOUR: &str = "colour not taught";

/// A doubt in words, as [`Doubt::text`] gives it, without what is particular to one piece, so that like ones can be
/// counted together.
pub fn in_short(doubt: &str) -> &str {
    if is_about_the_form(doubt) {
        "form unclear"
    } else if doubt.starts_with("could be a ") {
        "size or form unclear"
    } else if doubt == Doubt::Untaught.text() {
        "maybe a colour not taught"
    } else if doubt == Doubt::Glare.text() {
        "glare or shade"
    } else if doubt.starts_with("colour could be ") {
        "colour close to another"
    } else if doubt == Doubt::Heaped.text() {
        "in a heap"
    } else if doubt == Doubt::Touched.text() {
        "touching another"
    } else {
        doubt
    }
}

const AS_WELL: &str = "could as well be a ";

/// Whether a doubt in words, as [`Doubt::text`] gives it, is about two forms that look alike.
pub fn is_about_the_form(doubt: &str) -> bool {
    doubt.starts_with(AS_WELL)
}

const NOT_LOOKED_FOR: &str = "looks like another form or size than was looked for";

/// Whether a doubt in words, as [`Doubt::text`] gives it, is about a form or size that `--form` or `--expect` leaves
/// out.
pub fn is_about_the_list(doubt: &str) -> bool {
    doubt == NOT_LOOKED_FOR
}

/// Whether a doubt in words, as [`Doubt::text`] gives it, is about nothing but colour:
/// it goes when a person says which colour a piece is.
pub fn is_about_colour(doubt: &str) -> bool {
    doubt.starts_with("colour ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn doubts_about_colour_are_told_from_those_about_shape() {
        let colour = [
            Doubt::Colour("kelp".to_owned()),
            Doubt::Untaught,
            Doubt::NewColour,
            Doubt::Glare,
            Doubt::ColourALittle,
        ];
        assert!(colour.iter().all(|doubt| is_about_colour(&doubt.text())));
        let shape = crate::pieces::list::tests::shape("plate", "1x1");
        let others = [
            Doubt::Shape(shape),
            Doubt::Form(Form::TILE),
            Doubt::Outline,
            Doubt::LikeTray,
            Doubt::Touched,
            Doubt::NotLookedFor,
            Doubt::OneWitness,
            Doubt::Covered,
            Doubt::Heaped,
            Doubt::Cut,
            Doubt::ShapeALittle,
        ];
        assert!(others.iter().all(|doubt| !is_about_colour(&doubt.text())));
    }

    /// By hand, all there is to ask: who says which colour it is must leave a form in doubt that is not told surely enough.
    #[test]
    fn what_is_not_enough_by_itself_is_doubted() {
        let doubts = |shape: (f64, bool), colour: (f64, bool)| {
            let [shape, colour] =
                [shape, colour].map(|(right, suffices)| PartTold { right, suffices });
            let found = doubts_a_little(shape, colour);
            [Doubt::ShapeALittle, Doubt::ColourALittle].map(|doubt| found.contains(&doubt))
        };
        assert_eq!(doubts((0.99, true), (0.94, false)), [false, true]);
        assert_eq!(doubts((0.94, false), (0.99, true)), [true, false]);
        assert_eq!(doubts((0.95, false), (0.94, false)), [true, true]);
        assert_eq!(doubts((0.99, true), (0.98, true)), [false, true]);
        assert_eq!(doubts((0.98, true), (0.99, true)), [true, false]);
    }

    #[test]
    fn like_doubts_are_counted_together() {
        let colour = |name: &str| Doubt::Colour(name.to_owned()).text();
        for (doubt, short) in [
            (colour("kelp"), "colour close to another"),
            (colour("one"), "colour close to another"),
            (Doubt::Untaught.text(), "maybe a colour not taught"),
            (Doubt::Form(Form::TILE).text(), "form unclear"),
            (Doubt::Cut.text(), "cut by the edge of the photo"),
        ] {
            assert_eq!(in_short(&doubt), short);
        }
    }

    #[test]
    fn only_one_doubt_is_about_the_list() {
        assert!(is_about_the_list(&Doubt::NotLookedFor.text()));
        assert!(!is_about_the_list(&Doubt::OneWitness.text()));
    }
}
