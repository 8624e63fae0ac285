//! How sure a piece is, and in which words to doubt it.

use super::colours::Named;
use crate::pieces::{Face, Form, FoundPiece, Said, Shape, Witness};
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
    /// Others lie on it.
    Covered,
    /// Two colours are possible.
    Colour(String),
    /// A colour that nobody taught.
    NewColour,
    /// Its colour could not be read well.
    Glare,
    /// Nothing much, but several things a little.
    Together,
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
            Doubt::Covered => "partly covered by others".to_owned(),
            Doubt::Colour(other) => format!("colour could be {other}"),
            Doubt::NewColour => "colour not taught".to_owned(),
            Doubt::Glare => "colour uncertain: glare or shade on it".to_owned(),
            Doubt::Together => "several small doubts together".to_owned(),
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

/// What is left to a piece whose form nobody tells: `any` is not the answer yet.
const FORM_OPEN: f64 = 0.5;
/// Probability of a form that is the likelier of plate and tile by an underside, which looks the same
/// in both: of 42 such pieces of the sample photos to tune on, 25 were what the net said, whatever
/// probability it gave (60 %; 95 % interval after Wilson 44 to 73 %).
const UNDERSIDE: f64 = 0.57;
/// Below this the other form is worth saying.
const FORM_CLEAR: f64 = 0.95;

/// What tells how sure a size is that the net sees.
struct Fit {
    base: f64,
    /// Where the search found the same.
    both: f64,
    /// Where something lies right beside it.
    touched: f64,
    /// Of the logits of the net's probability of the size, and of its score.
    size: f64,
    score: f64,
    /// Of the share that can be seen.
    visible: f64,
    /// Of the edge evidence along the outline.
    outline: f64,
}

/// Logistic regression (ridge 0.3) over the 1,492 pieces that the net saw in `sample-photos/tune`, alone
/// or with the search, failing photos left out. 93 had another size; of 1,151 that it
/// gives 0.98 or more, one.
const FIT: Fit = Fit {
    base: -6.36,
    both: 2.16,
    touched: -0.62,
    size: 0.45,
    score: 0.63,
    visible: 3.98,
    outline: 2.92,
};
/// More than this nothing is.
const MOST: f64 = 0.998;
/// Share that can be seen from which on nothing worth telling covers a piece.
const MOSTLY_SEEN: f64 = 0.85;

/// Probability that is left to a piece of a clump that the net does not see.
const IN_A_CLUMP: f64 = 0.5;
/// The most where the net sees something else, or nothing.
const CONTESTED: f64 = 0.8;
const SEARCH_ALONE: f64 = 0.4;
/// The most for a shape that the net was not taught, found by its edges all round and its studs.
const UNTAUGHT: f64 = 0.98;
/// What is left of that in a clump: 10 of 11 were right in the first tray of clumps to tune on; the second
/// was worse, which [`AMONG_ODD`] stands for.
const ODD_IN_A_CLUMP: f64 = 0.9;
/// What is left where a piece on its side could be one of another footprint that is as long and as
/// thick: of a disc on its rim little more shows than of a square on its side.
const ON_SIDE: f64 = 0.85;
const _: () = assert!(ON_SIDE < SURE);
/// The most in a clump, or where only the net sees it, on a tray that holds shapes which the net was
/// not taught.
const AMONG_ODD: f64 = 0.85;
const _: () = assert!(AMONG_ODD < SURE);
/// How far scores are off, as the scale of a logistic curve: on the rendered trays to tune on the
/// right one of a disc and a square wins by 8 or more.
const RIVAL_SCALE: f64 = 2.5;
/// Surer than this a rival is not told of.
const RIVAL_CLEAR: f64 = 0.95;

// What only one sees is never sure, nor is a form that nobody tells.
const _: () = assert!(CONTESTED < SURE && SEARCH_ALONE < SURE);
const _: () = assert!(FORM_OPEN < SURE && UNDERSIDE < SURE);
const _: () = assert!(UNTAUGHT * ODD_IN_A_CLUMP < SURE);

/// Probability that form and size are right, with the doubts that lower it.
pub fn shape_probability(piece: &FoundPiece) -> (f64, Vec<Doubt>) {
    let mut doubts = Vec::new();
    let mut probability = match piece.witness {
        Witness::Both(said) => by_net(&said, true, piece, &mut doubts),
        Witness::Net(said) => by_net(&said, false, piece, &mut doubts),
        Witness::Contested => by_edges(piece, CONTESTED, &mut doubts),
        Witness::Search => by_edges(piece, SEARCH_ALONE, &mut doubts),
        Witness::Untaught => UNTAUGHT * unclear(piece, &mut doubts),
    };
    if piece.among_odd {
        probability = probability.min(AMONG_ODD);
        if doubts.is_empty() {
            doubts.push(if piece.touched {
                Doubt::Touched
            } else {
                Doubt::OneWitness
            });
        }
    }
    if let Some(other) = piece.twin_on_side {
        probability *= ON_SIDE;
        doubts.push(Doubt::Shape(other));
    }
    if let Some((other, margin)) = piece.rival {
        let beats = 1.0 / (1.0 + (-margin / RIVAL_SCALE).exp());
        probability *= beats;
        if beats < RIVAL_CLEAR && !doubts.contains(&Doubt::Shape(other)) {
            doubts.push(Doubt::Shape(other));
        }
    }
    if let Some((other, _)) = piece.other_form {
        let form = form_probability(piece, other);
        probability *= form;
        if form < FORM_CLEAR {
            doubts.push(Doubt::Form(other.form()));
        }
    }
    if piece.like_tray {
        probability *= 0.7;
        doubts.push(Doubt::LikeTray);
    }
    if piece.at_frame {
        probability *= 0.5;
        doubts.push(Doubt::Cut);
    }
    (probability, doubts)
}

/// Probability of the form, given the size and the next likeliest form.
fn form_probability(piece: &FoundPiece, other: Shape) -> f64 {
    let is_like = piece.stance.shape.height_mm() == other.height_mm();
    if !piece.form_is_told() {
        FORM_OPEN
    } else if piece.stance.face == Face::Down && is_like {
        piece.form_p.min(UNDERSIDE)
    } else {
        piece.form_p
    }
}

/// Probability of the size where the net sees the piece, alone or with the search, by the fit.
fn by_net(said: &Said, both: bool, piece: &FoundPiece, doubts: &mut Vec<Doubt>) -> f64 {
    let yes = |is: bool| f64::from(u8::from(is));
    let sum = FIT.base
        + FIT.both * yes(both)
        + FIT.touched * yes(piece.touched)
        + FIT.size * logit(said.size_p, 0.002)
        + FIT.score * logit(said.score, 0.02)
        + FIT.visible * said.visible
        + FIT.outline * piece.outline;
    let probability = (1.0 / (1.0 + (-sum).exp())).min(MOST);
    if probability < SURE {
        if let Some((other, _)) = piece.runner_up.filter(|_| said.size_p < 0.95) {
            doubts.push(Doubt::Shape(other));
        }
        if said.visible < MOSTLY_SEEN {
            doubts.push(Doubt::Covered);
        }
        if piece.touched {
            doubts.push(Doubt::Touched);
        }
        if doubts.is_empty() || !both {
            doubts.push(Doubt::OneWitness);
        }
    }
    probability
}

/// Probability of the size where only edges and areas speak for it.
fn by_edges(piece: &FoundPiece, most: f64, doubts: &mut Vec<Doubt>) -> f64 {
    let mut probability = most;
    doubts.push(Doubt::OneWitness);
    if let Some((other, score)) = piece.runner_up {
        let cost = SIDE_COST_PER_MM * piece.stance.shape.short_mm();
        let share = (piece.score - score) / cost;
        let beats = 1.0 / (1.0 + (-STEEPNESS * (share - EVEN)).exp());
        probability *= beats;
        if beats < 0.95 {
            doubts.push(Doubt::Shape(other));
        }
    }
    probability * unclear(piece, doubts)
}

/// What an outline that is not clear all around leaves of a probability.
fn unclear(piece: &FoundPiece, doubts: &mut Vec<Doubt>) -> f64 {
    let mut probability = 1.0;
    if piece.outline < 0.8 || piece.weakest_side < 0.0 {
        probability *= (0.5 + 0.5 * piece.outline).clamp(0.2, 0.88);
        doubts.push(Doubt::Outline);
    }
    if piece.ground_share > 0.1 {
        probability *= 0.7;
        doubts.push(Doubt::LikeTray);
    }
    if piece.touched {
        let is_odd = piece.witness == Witness::Untaught;
        probability *= if is_odd { ODD_IN_A_CLUMP } else { IN_A_CLUMP };
        doubts.push(Doubt::Touched);
    }
    probability
}

fn logit(p: f64, least: f64) -> f64 {
    let p = p.clamp(least, 1.0 - least);
    (p / (1.0 - p)).ln()
}

/// The most that is left to a colour with a lamp's image on it: how much of what is seen is
/// the body's own is a guess.
const GLARE_MOST: f64 = 0.85;
const _: () = assert!(GLARE_MOST < SURE);

/// Probability that a piece's colour is right.
pub fn colour_probability(named: &Named, mirrors_lamp: bool) -> f64 {
    let most = if mirrors_lamp { GLARE_MOST } else { 1.0 };
    named.probability.min(most)
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
    if glare && doubts.is_empty() {
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
        let shape = crate::pieces::list::tests::shape("plate", "1x1");
        let others = [
            Doubt::Shape(shape),
            Doubt::Form(Form::TILE),
            Doubt::Outline,
            Doubt::LikeTray,
            Doubt::Touched,
            Doubt::OneWitness,
            Doubt::Covered,
            Doubt::Cut,
        ];
        assert!(others.iter().all(|doubt| !is_about_colour(&doubt.text())));
    }
}
