//! How sure a piece is.

use super::colours::Named;
use super::features::{
    ColourTogether, PhotoQuality, ShapeTogether, colour_features, colour_together_features,
    form_features, second_photo_features, shape_together_features, size_features, whole_features,
};
use super::fitted::fitted;
use super::level::level;
use super::reason::Doubt;
use crate::pieces::paint::Paint;
use crate::pieces::{FoundPiece, Said, Shape, Witness};
use crate::sheet::SURE;

/// The least score by which a shape must beat another, as a share of what one
/// clearly missed short side costs (2 from clear to none, 2 a mm).
const SIDE_COST_PER_MM: f64 = 4.0;
/// Share of that cost at which right and wrong are even, and how fast doubt goes.
/// Set on rendered trays where no shape was wrong: deliberately cautious.
const EVEN: f64 = 0.1;
const STEEPNESS: f64 = 30.0;

/// What is left to a piece whose form nobody tells: `any` is not the answer yet.
const FORM_OPEN: f64 = 0.5;
/// Below this the other form is worth saying.
const FORM_CLEAR: f64 = 0.95;

/// Probability, as the net gives it, of all forms and sizes that were looked for, below which a piece rather is of
/// another; and the most that is then left to it: an even guess between the net and who told what lies there.
const NOT_LISTED: f64 = 0.1;
const NOT_LISTED_MOST: f64 = 0.5;
/// The same below which the net takes it for another more likely than not.
const RATHER_ANOTHER: f64 = 0.5;
const _: () = assert!(NOT_LISTED_MOST < SURE);
/// Hidden share of the pieces around one from which on a doubtful one is said to lie in a heap.
pub const HEAPED: f64 = 0.04;
/// Share that can be seen from which on nothing worth telling covers a piece.
const MOSTLY_SEEN: f64 = 0.85;

/// Probability that is left to a piece of a clump that the net does not see.
const IN_A_CLUMP: f64 = 0.5;
/// The most where the net sees something else, or nothing.
const CONTESTED: f64 = 0.8;
const SEARCH_ALONE: f64 = 0.4;
/// The most for a part of what was seen as one piece that a seam runs across: in `sample-photos/tune` all 4 such
/// were right, too few for more.
const PARTED: f64 = 0.85;
/// The most for a shape that the net was not taught, found by its edges.
const UNTAUGHT: f64 = 0.98;
/// What is left of that in a clump. Set, as the next ones, on corners and discs when the net did not know
/// them: 10 of 11 were right in the first tray of clumps to tune on; the second
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
const _: () = assert!(CONTESTED < SURE && SEARCH_ALONE < SURE && PARTED < SURE);
const _: () = assert!(FORM_OPEN < SURE);
const _: () = assert!(UNTAUGHT * ODD_IN_A_CLUMP < SURE);

/// What is known of a piece's form and size.
#[derive(Clone, Debug, PartialEq)]
pub struct ShapeOdds {
    /// Probability that both are right.
    pub right: f64,
    /// What else it may be, and how probably; the rest of what is left is nothing in particular.
    pub others: Vec<(Shape, f64)>,
    /// What speaks against it.
    pub doubts: Vec<Doubt>,
}

impl ShapeOdds {
    fn certain() -> Self {
        Self {
            right: 1.0,
            others: Vec::new(),
            doubts: Vec::new(),
        }
    }

    /// The same shape, right with another probability: what else it may be shares the rest as before.
    pub fn with(mut self, right: f64) -> Self {
        let rest = |right: f64| (1.0 - right).max(1e-9);
        let factor = rest(right) / rest(self.right);
        for (_, p) in &mut self.others {
            *p *= factor;
        }
        self.right = right;
        self.level()
    }

    /// Leaves this share of the probability; what goes is shared by these shapes, if any.
    fn leave(
        &mut self,
        share: f64,
        to: impl IntoIterator<Item = Shape, IntoIter: ExactSizeIterator>,
    ) {
        let to = to.into_iter();
        let each = self.right * (1.0 - share) / to.len().max(1) as f64;
        for other in to {
            self.give(other, each);
        }
        self.right *= share;
    }

    fn give(&mut self, other: Shape, probability: f64) {
        match self.others.iter_mut().find(|(shape, _)| *shape == other) {
            Some((_, p)) => *p += probability,
            None => self.others.push((other, probability)),
        }
    }

    /// Makes nothing else likelier than what was chosen.
    fn level(mut self) -> Self {
        level(&mut self.right, &mut self.others);
        self
    }

    fn doubt(&mut self, doubt: Doubt) {
        if !self.doubts.contains(&doubt) {
            self.doubts.push(doubt);
        }
    }
}

/// Probability that form and size are right, what else they may be, and the doubts. Nothing else is likelier than what
/// was found.
pub fn shape_odds(piece: &FoundPiece, paint: &Paint, photo: &PhotoQuality) -> ShapeOdds {
    let mut odds = ShapeOdds::certain();
    match piece.witness {
        Witness::Both(said) => by_net(&said, true, piece, (paint, photo), &mut odds),
        Witness::Net(said) => by_net(&said, false, piece, (paint, photo), &mut odds),
        Witness::Contested => by_edges(piece, CONTESTED, &mut odds),
        Witness::Search => by_edges(piece, SEARCH_ALONE, &mut odds),
        Witness::Seam => {
            odds.leave(PARTED, piece.runner_up.map(|(whole, _)| whole));
            odds.doubt(Doubt::Touched);
        }
        Witness::Untaught => {
            odds.leave(UNTAUGHT, None);
            unclear(piece, &mut odds);
        }
    }
    if piece.among_odd && odds.right > AMONG_ODD {
        odds.leave(AMONG_ODD / odds.right, None);
    }
    if piece.among_odd && odds.doubts.is_empty() {
        odds.doubt(if piece.touched {
            Doubt::Touched
        } else {
            Doubt::OneWitness
        });
    }
    if let Some(other) = piece.twin_on_side {
        odds.leave(ON_SIDE, Some(other));
        odds.doubt(Doubt::Shape(other));
    }
    if let Some((other, margin)) = piece.rival {
        let beats = 1.0 / (1.0 + (-margin / RIVAL_SCALE).exp());
        odds.leave(beats, Some(other));
        if beats < RIVAL_CLEAR {
            odds.doubt(Doubt::Shape(other));
        }
    }
    if let Some((other, _)) = piece.other_form {
        let form = form_probability(piece, paint, other, photo);
        if piece.form_is_told() {
            odds.leave(form, Some(other));
        } else {
            odds.leave(form, [piece.stance.shape, other]);
        }
        if form < FORM_CLEAR {
            odds.doubt(Doubt::Form(other.form()));
        }
    }
    let by_net = matches!(piece.witness, Witness::Both(_) | Witness::Net(_));
    if piece.like_tray {
        odds.leave(if by_net { 1.0 } else { 0.7 }, None);
        odds.doubt(Doubt::LikeTray);
    }
    if piece.at_frame {
        odds.leave(if by_net { 1.0 } else { 0.5 }, None);
        odds.doubt(Doubt::Cut);
    }
    odds.level()
}

/// Probability of the form, given the size and the next likeliest form.
fn form_probability(piece: &FoundPiece, paint: &Paint, other: Shape, photo: &PhotoQuality) -> f64 {
    if !piece.form_is_told() {
        FORM_OPEN
    } else {
        fitted().form.of(&form_features(piece, paint, other, photo))
    }
}

/// Probability of the size where the net sees the piece, confirmed by edges or not, by the fitted map.
fn by_net(
    said: &Said,
    both: bool,
    piece: &FoundPiece,
    (paint, photo): (&Paint, &PhotoQuality),
    odds: &mut ShapeOdds,
) {
    let features = size_features(piece, paint, said, both, photo);
    let mut probability = fitted().size.of(&features);
    if said.allowed_p < NOT_LISTED {
        probability = probability.min(NOT_LISTED_MOST);
        odds.doubt(Doubt::NotLookedFor);
    } else if said.allowed_p < RATHER_ANOTHER {
        probability = probability.min(CONTESTED);
    }
    let runner_up = piece.runner_up.map(|(other, _)| other);
    let before = odds.right;
    odds.leave(probability, None);
    if let Some(other) = runner_up {
        // No more than the net itself gives to other sizes: the rest is whether it is there at all.
        odds.give(other, before * (1.0 - probability).min(1.0 - said.size_p));
    }
    if probability < SURE {
        if let Some(other) = runner_up.filter(|_| said.size_p < 0.95) {
            odds.doubt(Doubt::Shape(other));
        }
        if said.visible < MOSTLY_SEEN {
            odds.doubt(Doubt::Covered);
        } else if piece.heaped > HEAPED {
            odds.doubt(Doubt::Heaped);
        }
        if piece.touched {
            odds.doubt(Doubt::Touched);
        }
        if odds.doubts.is_empty() || !both {
            odds.doubt(Doubt::OneWitness);
        }
    }
}

/// Probability of the size where only edges and areas speak for it.
fn by_edges(piece: &FoundPiece, most: f64, odds: &mut ShapeOdds) {
    odds.leave(most, None);
    odds.doubt(Doubt::OneWitness);
    if let Some((other, score)) = piece.runner_up {
        let cost = SIDE_COST_PER_MM * piece.stance.shape.short_mm();
        let share = (piece.score - score) / cost;
        let beats = 1.0 / (1.0 + (-STEEPNESS * (share - EVEN)).exp());
        odds.leave(beats, Some(other));
        if beats < 0.95 {
            odds.doubt(Doubt::Shape(other));
        }
    }
    unclear(piece, odds);
}

/// What an outline that is not clear all around leaves of a probability.
fn unclear(piece: &FoundPiece, odds: &mut ShapeOdds) {
    if piece.outline < 0.8 || piece.weakest_side < 0.0 {
        odds.leave((0.5 + 0.5 * piece.outline).clamp(0.2, 0.88), None);
        odds.doubt(Doubt::Outline);
    }
    if piece.ground_share > 0.1 && !piece.like_tray {
        odds.leave(0.7, None);
        odds.doubt(Doubt::LikeTray);
    }
    if piece.touched {
        let is_odd = piece.witness == Witness::Untaught;
        let left = if is_odd { ODD_IN_A_CLUMP } else { IN_A_CLUMP };
        odds.leave(left, None);
        odds.doubt(Doubt::Touched);
    }
}

/// Probability that a piece's taught colour is right.
pub fn colour_probability(
    named: &Named,
    paint: &Paint,
    lamp: bool,
    piece: &FoundPiece,
    photo: &PhotoQuality,
) -> f64 {
    if named.new {
        return named.probability;
    }
    let around = (piece.touched, piece.covered());
    let features = colour_features(named, paint, lamp, around, photo);
    fitted().colour.of(&features)
}

/// The most that is stated for a piece that is not sure.
const NOT_SURE: f64 = 0.899;
const _: () = assert!(NOT_SURE < SURE);

/// By how many photos a piece is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ToldBy {
    /// One.
    One,
    /// Several of one tray, together.
    Several,
}

/// Probability that form and size are right by several photos of a tray.
pub fn shape_together(told: &ShapeTogether) -> f64 {
    fitted().together.shape.of(&shape_together_features(told))
}

/// Probability that a taught colour is right by several photos of a tray.
pub fn colour_together(told: &ColourTogether) -> f64 {
    fitted().together.colour.of(&colour_together_features(told))
}

/// Probability that a second photo makes a piece sure that one leaves doubtful: of the probabilities of its shape and its
/// colour, and of whether that is named surely.
pub fn settled_by_second(shape: f64, colour: f64, surely: bool) -> f64 {
    let features = second_photo_features(shape, colour, surely);
    fitted().second_photo.of(&features)
}

/// The probability to state for a piece with a taught colour, of the product of its shape's and its colour's, and of
/// whether its colour is named surely. Of those stated with [`SURE`] and more hardly any may be wrong, so that what falls
/// short of that is held below.
pub fn stated(product: f64, surely: bool, by: ToldBy) -> f64 {
    let fitted = fitted();
    let (whole, sure_from) = match by {
        ToldBy::One => (&fitted.whole, fitted.sure_from),
        ToldBy::Several => (&fitted.together.whole, fitted.together.sure_from),
    };
    let stated = whole.of(&whole_features(product, surely));
    if stated < sure_from || !surely {
        stated.min(NOT_SURE)
    } else {
        stated
    }
}

/// From this probability on a colour that nobody taught is worth telling.
const COLOUR_OPEN: f64 = 0.02;

/// Doubts about a colour.
pub fn colour_doubts(named: &Named, glare: bool) -> Vec<Doubt> {
    let mut doubts = Vec::new();
    if named.new {
        doubts.push(Doubt::NewColour);
    }
    if let Some((other, probability)) = named.others.first()
        && !named.new
        && *probability >= named.untaught
    {
        doubts.push(Doubt::Colour(other.clone()));
    } else if named.untaught > COLOUR_OPEN {
        doubts.push(Doubt::Untaught);
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
    fn what_is_left_and_what_goes_are_all_there_is() {
        let shape = |form| crate::pieces::list::tests::shape(form, "1x1");
        let (plate, tile) = (shape("plate"), shape("tile"));
        let mut odds = ShapeOdds::certain();
        odds.leave(0.8, Some(plate));
        odds.leave(0.5, [plate, tile]);
        odds.leave(0.9, None);
        // By hand: a fifth goes to the plate, half of the rest to both alike, a tenth of what is left to none.
        let near = |a: f64, b: f64| (a - b).abs() < 1e-12;
        assert!(near(odds.right, 0.36), "{}", odds.right);
        assert!(odds.others.len() == 2 && odds.others[0].0 == plate);
        assert!(
            near(odds.others[0].1, 0.4) && near(odds.others[1].1, 0.2),
            "{:?}",
            odds.others
        );
    }
}
