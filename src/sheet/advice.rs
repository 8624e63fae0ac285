//! What a person should know about a photo before trusting its sheet, and what to do.

use super::faults::Fault;
use super::file::{Piece, Unexplained, Warning};
use crate::card::FoundCard;
use crate::card::design::CardDesign;
use crate::colour::{Exclusion, Residuals};
use crate::photo::Note;
use crate::view::Pose;

/// What the advice is drawn from.
pub struct Advice<'a> {
    /// What the photo stage could not honour.
    pub notes: &'a [Note],
    /// The tags that were read.
    pub card: &'a FoundCard,
    /// The camera.
    pub pose: &'a Pose,
    /// How many patches are in view.
    pub patches: usize,
    /// How well the patches are explained.
    pub residuals: &'a Residuals,
    /// Whether no colour was taught.
    pub untaught: bool,
    /// Whether the colours are unlike the taught ones, so that none is sure.
    pub unlike: bool,
    /// The pieces.
    pub pieces: &'a [Piece],
    /// Foreground that no piece explains.
    pub unexplained: &'a [Unexplained],
    /// What is wrong with the photo as a whole.
    pub faults: &'a [Fault],
    /// How many of the unexplained places reach the photo's edge.
    pub at_edge: usize,
    /// How many of the pieces are cut by the photo's edge.
    pub cut: usize,
    /// How many pieces are to be expected under others, unseen.
    pub hidden: f64,
    /// How many of the pieces look like another form or size than was looked for.
    pub unlisted: usize,
}

/// Beyond this tilt the far side of the tray is much smaller than the near one.
const TILTED_DEG: f64 = 25.0;
/// Mean leave-one-out error from which colours are not to be trusted: above it
/// even good neighbours are confused. ASTM D2244 treats 5 as the end of small differences.
pub const POOR_COLOUR_DE00: f64 = 4.0;
/// Unexplained foreground beyond this many mm² is more than dust: two 1x1.
const PILE_MM2: f64 = 120.0;

/// Share of the pieces that may look like another form or size than was looked for before the list itself is
/// in doubt.
const UNLISTED_SHARE: f64 = 0.1;

/// The warnings, most general first.
pub fn warnings(advice: &Advice<'_>) -> Vec<Warning> {
    let mut out = Vec::new();
    let mut warn = |code: &str, text: String| {
        out.push(Warning {
            code: code.to_owned(),
            text,
        });
    };
    for note in advice.notes {
        warn(note.code(), note.to_string());
    }
    let tags = advice.card.tags.len();
    let all = CardDesign::v1().patches.len();
    if tags < 4 || advice.patches < all {
        warn(
            "card-partial",
            format!(
                "only {tags} of the card's 4 tags and {} of its {all} patches can be read; sizes and colours are less certain, so show the whole card",
                advice.patches
            ),
        );
    }
    for fault in advice.faults {
        warn(fault.code(), fault.text());
    }
    let tilt = advice.pose.camera.tilt_deg();
    if tilt > TILTED_DEG {
        warn(
            "tilted",
            format!(
                "the camera is tilted by {tilt:.0} degrees; hold it level above the middle of the tray"
            ),
        );
    }
    let clipped = advice
        .residuals
        .patches
        .iter()
        .filter(|p| p.excluded == Some(Exclusion::Clipped))
        .count();
    let exposure_named =
        (advice.faults.iter()).any(|f| matches!(f, Fault::TooDark(_) | Fault::TooBright(_)));
    if clipped > all / 4 && !exposure_named {
        warn(
            "exposure",
            format!(
                "{clipped} of the card's patches are over- or underexposed; use softer light and tap on the card to set the exposure"
            ),
        );
    }
    let glare = (advice.faults.iter()).any(|f| matches!(f, Fault::CardGlare(_)));
    if !glare && advice.residuals.mean > POOR_COLOUR_DE00 {
        warn(
            "colour-poor",
            format!(
                "colours are off by {:.1} dE00 on average after correction; use one kind of light, and no coloured shade",
                advice.residuals.mean
            ),
        );
    }
    if advice.untaught && !advice.pieces.is_empty() {
        warn(
            "untaught",
            "no colours were taught, so they carry general names; `cuptally teach` gives them yours"
                .to_owned(),
        );
    }
    // Who taught by a photo whose own colours are spoilt would teach wrong ones.
    let spoilt = (advice.faults.iter()).any(|f| Fault::spoils_colours(f.code()));
    if advice.unlike && !spoilt {
        warn(
            "colours-unlike",
            "colours in this photo lie further from the taught ones than they should, so no colour is sure; teach all colours that lie here under this light, or check the lamp and the card"
                .to_owned(),
        );
    }
    if advice.unlisted as f64 > UNLISTED_SHARE * advice.pieces.len() as f64 {
        warn(
            "list-unlike",
            format!(
                "{} of {} pieces look like another form or size than --form or --expect allows; count again without it, or name all that lies there",
                advice.unlisted,
                advice.pieces.len()
            ),
        );
    }
    if advice.cut > 0 {
        let pieces = if advice.cut == 1 {
            "1 piece is"
        } else {
            &format!("{} pieces are", advice.cut)
        };
        warn(
            "cut-by-edge",
            format!(
                "{pieces} cut by the edge of the photo; move them inwards or take the photo from further away"
            ),
        );
    }
    if advice.at_edge > 0 {
        let things = if advice.at_edge == 1 {
            "1 thing"
        } else {
            &format!("{} things", advice.at_edge)
        };
        warn(
            "at-edge",
            format!(
                "in no count: {things} at the edge of the photo; where that is a piece and not the tray's rim, take the photo from further away"
            ),
        );
    }
    let spots = advice.unexplained.len().saturating_sub(advice.at_edge);
    if spots > 0 {
        let pile = advice.unexplained.iter().any(|s| s.area_mm2 > PILE_MM2);
        let remedy = if pile {
            "spread the pieces so that none touch, take other things off the tray, and photograph again"
        } else {
            "look at the places ringed in the picture"
        };
        let places = if spots == 1 {
            "1 place shows"
        } else {
            &format!("{spots} places show")
        };
        warn(
            "unexplained",
            format!("{places} something that is no listed piece; {remedy}"),
        );
    }
    let hidden = advice.hidden.round();
    if hidden >= 1.0 {
        warn(
            "heap",
            format!(
                "pieces lie on each other, and about {hidden:.0} may be hidden: the ranges allow for them, but not for kinds of which nothing is seen; spread the pieces in one layer and photograph again"
            ),
        );
    }
    if advice.pieces.is_empty() {
        warn("no-pieces", "no piece was found beside the card".to_owned());
    }
    out
}
