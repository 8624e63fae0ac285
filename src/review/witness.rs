//! Which pieces may bear witness to a colour, and why others may not.

use std::collections::BTreeSet;
use std::fmt;

use serde::{Serialize, Serializer};

use crate::colour::lab::{de00, lab_from_linear, linear_from_lab};
use crate::colour::swatch::{BETWEEN_PHOTOS, LIMIT, is_colour};
use crate::colour::{Flaw, Swatch, SwatchBook};
use crate::sheet::faults::Fault;
use crate::sheet::review::{Step, What};
use crate::sheet::{Piece, Sheet, Spoilt};

use super::totals::is_open;

/// From this distance on a sample is of another colour than what was taught by that name, dE00. Of 266 pieces of six sample photos to tune on, taught by one
/// photo in daylight, 203 lie nearer to what was taught by their own name, 29 only without their
/// gloss, 34 not; by any of the 23 wrong names 14 of 6,118 would be taken.
pub const FAR_DE00: f64 = LIMIT * BETWEEN_PHOTOS;
/// Most light that a top mirrors where no lamp's image lies on it, share of a white's: twice the mean that
/// counting takes taught pieces to have had. It is sought in so many steps.
const MOST_GLOSS: f64 = 0.1;
const STEPS: u32 = 40;
/// From this hidden share on others lie on a piece; less is the outline's own error (`covered` of a
/// sheet is told from a twentieth on).
const COVERED: f64 = 0.05;

/// A piece that teaches nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOut {
    /// Its number.
    pub piece: u32,
    /// The colour that it was called.
    pub colour: String,
    /// Why.
    pub why: Why,
}

/// Why a piece teaches nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Why {
    /// A fault of the whole photo.
    Photo,
    /// An older program counted it.
    Untold,
    /// A person drew it.
    Drawn,
    /// It was read as another shape, so in part beside its top.
    Reshaped,
    /// Its shape is open.
    Open,
    /// Its top does not show.
    Face,
    /// Others lie on it.
    Covered,
    /// Its top does not show its own colour.
    Spoilt(Spoilt),
    /// It is as taught but for what it mirrors.
    Glossy,
    /// What the sheet says is no colour.
    NoColour,
    /// It lies so far (dE00) from all that was taught by its name.
    Far(f64),
    /// It does not look like the other pieces of its name.
    Apart,
}

impl Why {
    /// For programs.
    fn code(self) -> &'static str {
        match self {
            Self::Photo => "photo",
            Self::Untold => "untold",
            Self::Drawn => "drawn",
            Self::Reshaped => "reshaped",
            Self::Open => "open",
            Self::Face => "face",
            Self::Covered => "covered",
            Self::Spoilt(Spoilt::Lamp) => "lamp",
            Self::Spoilt(Spoilt::CutOff) => "cut-off",
            Self::Spoilt(Spoilt::Shaded) => "shaded",
            Self::Spoilt(Spoilt::Uneven) => "uneven",
            Self::Glossy => "glossy",
            Self::NoColour => "no-colour",
            Self::Far(_) => "far",
            Self::Apart => "apart",
        }
    }

    /// Whether the person may have been mistaken, rather than the piece badly seen.
    pub fn is_doubtful(self) -> bool {
        matches!(self, Self::Far(_) | Self::Apart)
    }
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Photo => "the photo does not show colours well",
            Self::Untold => "the sheet does not say what lies on its top; count the photo again",
            Self::Drawn => "drawn by hand, so never measured",
            Self::Reshaped => "measured as another shape",
            Self::Open => "its shape is still in doubt",
            Self::Face => "its top does not show",
            Self::Covered => "others lie on it",
            Self::Spoilt(Spoilt::Lamp) => "a lamp mirrors in it",
            Self::Spoilt(Spoilt::CutOff) => "too bright for the camera",
            Self::Spoilt(Spoilt::Shaded) => "others may stand in its light",
            Self::Spoilt(Spoilt::Uneven) => "gloss or shade on a part of it",
            Self::Glossy => "the room mirrors in it",
            Self::NoColour => "what was measured is no colour",
            Self::Far(off) => {
                return write!(
                    f,
                    "far ({off:.1} dE00) from all that was taught by that name"
                );
            }
            Self::Apart => "unlike the other pieces called that",
        })
    }
}

/// With the reason's code for programs, and in words.
impl Serialize for LeftOut {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        #[derive(Serialize)]
        struct Told<'a> {
            piece: u32,
            colour: &'a str,
            code: &'static str,
            text: String,
            doubtful: bool,
        }
        Told {
            piece: self.piece,
            colour: &self.colour,
            code: self.why.code(),
            text: self.why.to_string(),
            doubtful: self.why.is_doubtful(),
        }
        .serialize(serializer)
    }
}

impl LeftOut {
    /// Of a piece, for a reason.
    pub fn of(piece: &Piece, why: Why) -> Self {
        Self {
            piece: piece.id,
            colour: piece.colour.clone(),
            why,
        }
    }
}

/// Pieces whose colour a person set, or confirmed by looking at that piece alone; accepting all that
/// is left in one go looks at none. A general name that the program gave and the
/// person only let stand is not the name of a colour they own.
pub fn spoken_of<'a>(sheet: &'a Sheet, book: &SwatchBook) -> Vec<&'a Piece> {
    let steps = sheet
        .review
        .as_deref()
        .map_or(&[][..], |review| &review.steps);
    let mut pieces: BTreeSet<u32> = BTreeSet::new();
    let mut names: BTreeSet<&str> = book.names().into_iter().collect();
    for step in steps {
        let set = (step.to.iter()).filter(|piece| is_recoloured(step, piece));
        let set: Vec<&Piece> = set.collect();
        names.extend(set.iter().map(|piece| piece.colour.as_str()));
        match step.what {
            What::Recolour => pieces.extend(set.iter().map(|piece| piece.id)),
            // Of several at once only the colour that was said was meant.
            What::Change if step.to.len() > 1 => pieces.extend(set.iter().map(|piece| piece.id)),
            What::Accept if step.to.len() > 1 || !step.settled.is_empty() => {}
            // One of a kind side by side with others was not looked at alone either.
            What::Accept if step.to.iter().any(|piece| piece.together) => {}
            _ => pieces.extend(step.to.iter().map(|piece| piece.id)),
        }
    }
    (sheet.pieces.iter())
        .filter(|piece| pieces.contains(&piece.id) && names.contains(piece.colour.as_str()))
        .collect()
}

/// Whether a step gave a piece its colour: another than it had, or as a piece that was missed.
fn is_recoloured(step: &Step, piece: &Piece) -> bool {
    match step.from.iter().find(|from| from.id == piece.id) {
        Some(from) => from.colour != piece.colour,
        None => step.what == What::Add,
    }
}

/// Why a piece shows nobody its colour, whatever that is called.
pub fn unfit(sheet: &Sheet, piece: &Piece) -> Option<Why> {
    if sheet
        .warnings
        .iter()
        .any(|warning| Fault::spoils_colours(&warning.code))
    {
        return Some(Why::Photo);
    }
    let guess = sheet.review.as_deref().map(|review| &review.guess.pieces);
    let Some(counted) = guess.and_then(|all| all.iter().find(|p| p.id == piece.id)) else {
        return Some(Why::Drawn);
    };
    // A form that was open has been read as one of those that it could be.
    let told = counted.form == piece.form || counted.form == crate::pieces::ANY;
    if !told || (&counted.size, &counted.face) != (&piece.size, &piece.face) {
        return Some(Why::Reshaped);
    }
    if is_open(piece) {
        return Some(Why::Open);
    }
    if piece.face != "up" {
        return Some(Why::Face);
    }
    if counted.covered > COVERED {
        return Some(Why::Covered);
    }
    let Some(spoilt) = &counted.spoilt else {
        return Some(Why::Untold);
    };
    if let Some(first) = spoilt.first() {
        return Some(Why::Spoilt(*first));
    }
    // The guess is what was measured; a correction leaves it alone.
    (!is_colour(&counted.lab) || counted.lab != piece.lab).then_some(Why::NoColour)
}

/// What is known of a colour: by teaching photos, or where there are none by other sheets, so that one
/// slip does not lead to the next. What a lamp lay on shows the lamp.
pub fn known(book: &SwatchBook, name: &str) -> Vec<[f64; 3]> {
    let named =
        || (book.swatches().iter()).filter(|s| s.name == name && s.flaw != Some(Flaw::Lamp));
    let taught: Vec<[f64; 3]> = (named().filter(|s| s.from.is_none()))
        .map(Swatch::middle)
        .collect();
    if taught.is_empty() {
        named().map(Swatch::middle).collect()
    } else {
        taught
    }
}

/// Which pieces of a name are taken for it. One that lies far from everything known of that name is
/// left out rather than kept as the colour's look in one more light: naming a piece takes one
/// key, and a slip would draw every later count towards it, while a light so different is
/// better taught by a photo for that. Of a new name more than half must look alike.
pub fn trusted<'a>(pieces: &[&'a Piece], known: &[[f64; 3]]) -> (Vec<&'a Piece>, Vec<LeftOut>) {
    let is_new = known.is_empty();
    let bodies = if is_new {
        commonest(pieces)
    } else {
        known.to_vec()
    };
    let mut kept = Vec::new();
    let mut left = Vec::new();
    for piece in pieces {
        let off = bodies
            .iter()
            .map(|body| de00(*body, piece.lab))
            .fold(f64::INFINITY, f64::min);
        if off <= FAR_DE00 {
            kept.push(*piece);
        } else if bodies.iter().any(|body| mirrors_over(*body, piece.lab)) {
            left.push(LeftOut::of(piece, Why::Glossy));
        } else {
            left.push(LeftOut::of(
                piece,
                if is_new { Why::Apart } else { Why::Far(off) },
            ));
        }
    }
    let apart = left.iter().filter(|left| left.why == Why::Apart).count();
    if 2 * apart < pieces.len() {
        return (kept, left);
    }
    // Nobody can say which of them is meant.
    let all = pieces.iter().map(|piece| LeftOut::of(piece, Why::Apart));
    (Vec::new(), all.collect())
}

/// The colour to which most pieces lie near: the darkest of such, as gloss only adds light.
fn commonest(pieces: &[&Piece]) -> Vec<[f64; 3]> {
    let near = |one: &Piece| {
        (pieces.iter())
            .filter(|p| de00(p.lab, one.lab) <= FAR_DE00)
            .count()
    };
    let best = pieces.iter().max_by(|a, b| {
        let (near_a, near_b) = (near(a), near(b));
        near_a.cmp(&near_b).then(b.lab[0].total_cmp(&a.lab[0]))
    });
    best.map(|piece| piece.lab).into_iter().collect()
}

/// Whether a colour is a body with no more than usual gloss on it.
fn mirrors_over(body: [f64; 3], shown: [f64; 3]) -> bool {
    let linear = linear_from_lab(shown);
    (1..=STEPS).any(|step| {
        let gloss = MOST_GLOSS * f64::from(step) / f64::from(STEPS);
        de00(lab_from_linear(linear.map(|v| v - gloss)), body) <= FAR_DE00
    })
}
