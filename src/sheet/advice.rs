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
    /// How many of the pieces show an underside that may be of another form.
    pub undersides: Undersides,
}

/// Doubtful pieces that lie upside down and may be of another form.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Undersides {
    /// All of them.
    pub all: usize,
    /// Those that nothing else is against.
    pub alone: usize,
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
    let notes = advice
        .notes
        .iter()
        .map(|n| warning(n.code(), n.to_string()));
    let faults = advice.faults.iter().map(|f| warning(f.code(), f.text()));
    let rest: [fn(&Advice<'_>) -> Option<Warning>; 12] = [
        tilted,
        exposure,
        poor_colour,
        untaught,
        unlike,
        unlisted,
        cut_by_edge,
        at_edge,
        unexplained,
        heap,
        undersides,
        no_pieces,
    ];
    notes
        .chain(partial_card(advice))
        .chain(faults)
        .chain(rest.into_iter().filter_map(|of| of(advice)))
        .collect()
}

/// The code of the warning that colours are unlike the taught ones.
pub const UNLIKE: &str = "colours-unlike";
/// The code of the warning that nobody taught any colour yet.
pub const UNTAUGHT: &str = "untaught";

fn warning(code: &str, text: String) -> Warning {
    Warning {
        code: code.to_owned(),
        text,
    }
}

/// Whether the photo has such a fault: what that brings about needs no warning of its own.
fn has_fault(advice: &Advice<'_>, such: fn(&Fault) -> bool) -> bool {
    advice.faults.iter().any(such)
}

fn partial_card(advice: &Advice<'_>) -> Option<Warning> {
    let tags = advice.card.tags.len();
    let (seen, all) = (advice.patches, CardDesign::v1().patches.len());
    (tags < 4 || seen < all).then(|| {
        warning(
            "card-partial",
            format!(
                "only {tags} of the card's 4 tags and {seen} of its {all} patches can be read; sizes and colours are less certain, so show the whole card"
            ),
        )
    })
}

fn tilted(advice: &Advice<'_>) -> Option<Warning> {
    let tilt = advice.pose.camera.tilt_deg();
    (tilt > TILTED_DEG).then(|| {
        warning(
            "tilted",
            format!(
                "the camera is tilted by {tilt:.0} degrees; hold it level above the middle of the tray"
            ),
        )
    })
}

fn exposure(advice: &Advice<'_>) -> Option<Warning> {
    let patches = advice.residuals.patches.iter();
    let clipped = patches.filter(|p| p.excluded == Some(Exclusion::Clipped));
    let clipped = clipped.count();
    let named = has_fault(advice, |f| {
        matches!(f, Fault::TooDark(_) | Fault::TooBright(_))
    });
    (clipped > CardDesign::v1().patches.len() / 4 && !named).then(|| {
        warning(
            "exposure",
            format!(
                "{clipped} of the card's patches are over- or underexposed; use softer light and tap on the card to set the exposure"
            ),
        )
    })
}

fn poor_colour(advice: &Advice<'_>) -> Option<Warning> {
    let glare = has_fault(advice, |f| matches!(f, Fault::CardGlare(_)));
    let mean = advice.residuals.mean;
    (!glare && mean > POOR_COLOUR_DE00).then(|| {
        warning(
            "colour-poor",
            format!(
                "colours are off by {mean:.1} dE00 on average after correction; use one kind of light, and no coloured shade"
            ),
        )
    })
}

fn untaught(advice: &Advice<'_>) -> Option<Warning> {
    (advice.untaught && !advice.pieces.is_empty()).then(|| {
        warning(
            UNTAUGHT,
            "no colours were taught, so they carry general names; `cuptally teach` gives them yours"
                .to_owned(),
        )
    })
}

fn unlike(advice: &Advice<'_>) -> Option<Warning> {
    // Who taught by a photo whose own colours are spoilt would teach wrong ones.
    let spoilt = has_fault(advice, |f| Fault::spoils_colours(f.code()));
    (advice.unlike && !spoilt).then(|| {
        warning(
            UNLIKE,
            "colours in this photo lie further from the taught ones than they should, so no colour is sure; teach all colours that lie here under this light, or check the lamp and the card"
                .to_owned(),
        )
    })
}

fn unlisted(advice: &Advice<'_>) -> Option<Warning> {
    let (unlisted, all) = (advice.unlisted, advice.pieces.len());
    (unlisted as f64 > UNLISTED_SHARE * all as f64).then(|| {
        warning(
            "list-unlike",
            format!(
                "{unlisted} of {all} pieces look like another form or size than --form or --expect allows; count again without it, or name all that lies there"
            ),
        )
    })
}

fn cut_by_edge(advice: &Advice<'_>) -> Option<Warning> {
    let pieces = match advice.cut {
        0 => return None,
        1 => "1 piece is".to_owned(),
        cut => format!("{cut} pieces are"),
    };
    Some(warning(
        "cut-by-edge",
        format!(
            "{pieces} cut by the edge of the photo; move them inwards or take the photo from further away"
        ),
    ))
}

fn at_edge(advice: &Advice<'_>) -> Option<Warning> {
    let things = match advice.at_edge {
        0 => return None,
        1 => "1 thing".to_owned(),
        things => format!("{things} things"),
    };
    Some(warning(
        "at-edge",
        format!(
            "in no count: {things} at the edge of the photo; where that is a piece and not the tray's rim, take the photo from further away"
        ),
    ))
}

fn unexplained(advice: &Advice<'_>) -> Option<Warning> {
    let places = match advice.unexplained.len().saturating_sub(advice.at_edge) {
        0 => return None,
        1 => "1 place shows".to_owned(),
        spots => format!("{spots} places show"),
    };
    let pile = advice.unexplained.iter().any(|s| s.area_mm2 > PILE_MM2);
    let remedy = if pile {
        "spread the pieces so that none touch, take other things off the tray, and photograph again"
    } else {
        "look at the places ringed in the picture"
    };
    Some(warning(
        "unexplained",
        format!("{places} something that is no listed piece; {remedy}"),
    ))
}

fn heap(advice: &Advice<'_>) -> Option<Warning> {
    let hidden = advice.hidden.round();
    (hidden >= 1.0).then(|| {
        warning(
            "heap",
            format!(
                "pieces lie on each other, and about {hidden:.0} may be hidden: the ranges allow for them, but not for kinds of which nothing is seen; spread the pieces in one layer and photograph again"
            ),
        )
    })
}

/// The code of the advice to turn pieces over.
pub const UNDERSIDES: &str = "undersides";

/// Undersides of plates and tiles look alike: another photo of them is all that helps.
fn undersides(advice: &Advice<'_>) -> Option<Warning> {
    let (down, settled) = match (advice.undersides.all, advice.undersides.alone) {
        (0, _) => return None,
        (1, settled) => ("1 piece lies upside down".to_owned(), settled),
        (all, settled) => (format!("{all} pieces lie upside down"), settled),
    };
    let settles = match settled {
        0 => "takes one doubt from each".to_owned(),
        1 => "settles 1 doubtful piece".to_owned(),
        settled => format!("settles {settled} doubtful pieces"),
    };
    Some(warning(
        UNDERSIDES,
        format!(
            "{down}, where plate and tile look the same; turning them over for one more photo {settles}"
        ),
    ))
}

fn no_pieces(advice: &Advice<'_>) -> Option<Warning> {
    let text = || "no piece was found beside the card".to_owned();
    (advice.pieces.is_empty()).then(|| warning("no-pieces", text()))
}
