//! How sure a piece is, and in which words to doubt it.

use super::colours::Named;
use crate::pieces::{Form, FoundPiece, Shape, Witness};
use crate::sheet::SURE;

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
    /// Only the net sees it so, or only the search does.
    OneWitness,
    /// Two colours are possible.
    Colour(String),
    /// A colour that nobody taught.
    NewColour,
    /// Its colour could not be read well.
    Glare,
}

impl Doubt {
    /// In words.
    pub fn text(&self) -> String {
        match self {
            Doubt::Shape(other) => format!("could be a {other}"),
            Doubt::Form(other) => format!("could as well be a {}", other.name()),
            Doubt::Outline => "outline not clear all around".to_owned(),
            Doubt::LikeTray => "hard to tell from the tray or a shadow".to_owned(),
            Doubt::Cut => "cut by the edge of the photo".to_owned(),
            Doubt::Touched => {
                "touches something: may be more than one piece, or another".to_owned()
            }
            Doubt::OneWitness => "two ways of looking at it do not agree".to_owned(),
            Doubt::Colour(other) => format!("colour could be {other}"),
            Doubt::NewColour => "colour not taught".to_owned(),
            Doubt::Glare => "colour uncertain: glare or shade on it".to_owned(),
        }
    }
}

/// Whether a doubt in words, as [`Doubt::text`] gives it, is about nothing but colour:
/// it goes when a person says which colour a piece is.
pub fn is_about_colour(doubt: &str) -> bool {
    doubt.starts_with("colour ")
}

/// The least score by which a shape must beat another, as a share of what one
/// clearly missed short side costs (2 from clear to none, 2 a mm).
const SIDE_COST_PER_MM: f64 = 4.0;
/// Share of that cost at which right and wrong are even, and how fast doubt goes.
/// Set on rendered trays where no shape was wrong: deliberately cautious.
const EVEN: f64 = 0.1;
const STEEPNESS: f64 = 30.0;

/// The most that is left to a piece whose form is open, or only the net's to tell.
const FORM_OPEN: f64 = 0.88;

/// Probability that is left to a piece of a clump: which of several outlines that explain a clump is
/// the true one is not weighed up, and in `sample-photos/tune` about half of such pieces have the
/// right shape.
const IN_A_CLUMP: f64 = 0.5;

/// Probability that is left to a piece that the search and the net do not see alike.
const ONE_WITNESS: f64 = 0.8;

// What touches is never sure, nor what only one sees.
const _: () = assert!(ONE_WITNESS < SURE);
const _: () = assert!(IN_A_CLUMP < SURE);
const _: () = assert!(FORM_OPEN < SURE);

/// Probability that form and size are right, with the doubts that lower it.
pub fn shape_probability(piece: &FoundPiece) -> (f64, Vec<Doubt>) {
    let mut doubts = Vec::new();
    let mut probability = 0.998;
    if let Witness::Net(p) = piece.witness {
        probability *= p;
        if let Some((other, _)) = piece.runner_up.filter(|_| p < 0.95) {
            doubts.push(Doubt::Shape(other));
        }
    } else if let Some((other, score)) = piece.runner_up {
        let cost = SIDE_COST_PER_MM * piece.stance.shape.short_mm();
        let share = (piece.score - score) / cost;
        let beats = 1.0 / (1.0 + (-STEEPNESS * (share - EVEN)).exp());
        probability *= beats;
        if beats < 0.95 {
            doubts.push(Doubt::Shape(other));
        }
    }
    let open = piece.form_p < 1.0 || !piece.form_is_told();
    if let Some((other, _)) = piece.other_form.filter(|_| open) {
        doubts.push(Doubt::Form(other));
        probability *= piece.form_p.min(FORM_OPEN);
    }
    if piece.outline < 0.8 || piece.weakest_side < 0.0 {
        probability *= (0.5 + 0.5 * piece.outline).clamp(0.2, 0.88);
        doubts.push(Doubt::Outline);
    }
    if piece.ground_share > 0.1 || piece.like_tray {
        probability *= 0.7;
        doubts.push(Doubt::LikeTray);
    }
    if piece.witness != Witness::Both {
        probability *= ONE_WITNESS;
        doubts.push(Doubt::OneWitness);
    }
    if piece.touched {
        probability *= IN_A_CLUMP;
        doubts.push(Doubt::Touched);
    }
    if piece.at_frame {
        probability *= 0.5;
        doubts.push(Doubt::Cut);
    }
    (probability, doubts)
}

/// Doubts about a colour.
pub fn colour_doubts(named: &Named, glare: bool) -> Vec<Doubt> {
    let mut doubts = Vec::new();
    if named.new {
        doubts.push(Doubt::NewColour);
    }
    if let Some(other) = &named.runner_up {
        doubts.push(Doubt::Colour(other.clone()));
    }
    if glare && doubts.is_empty() && named.probability < SURE {
        doubts.push(Doubt::Glare);
    }
    doubts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn doubts_about_colour_are_told_from_those_about_shape() {
        let colour = [
            Doubt::Colour("kelp".to_owned()),
            Doubt::NewColour,
            Doubt::Glare,
        ];
        assert!(colour.iter().all(|doubt| is_about_colour(&doubt.text())));
        let shape = crate::pieces::shape::shapes_of(Form::Plate)[0];
        let others = [
            Doubt::Shape(shape),
            Doubt::Form(Form::Tile),
            Doubt::Outline,
            Doubt::LikeTray,
            Doubt::Touched,
            Doubt::OneWitness,
            Doubt::Cut,
        ];
        assert!(others.iter().all(|doubt| !is_about_colour(&doubt.text())));
    }
}
