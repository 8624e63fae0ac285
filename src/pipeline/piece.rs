//! A found piece as a sheet has it: where it lies, what it is, how sure that is, what else it could be.

use super::{Scene, Seen};
use crate::colour::Flaw;
use crate::count::doubt::{ToldBy, colour_doubts, colour_probability, stated};
use crate::count::features::PhotoQuality;
use crate::count::reason::{Doubt, PartTold, doubts_a_little};
use crate::count::record::HomeMap;
use crate::count::{Named, ShapeOdds, shape_odds, spoils};
use crate::numbers::{round2, round3};
use crate::pieces::FoundPiece;
use crate::pieces::polygon::area_and_middle;
use crate::sheet::faults::Fault;
use crate::sheet::file::Spoilt;
use crate::sheet::{Instead, Otherwise, Piece, SURE};

/// What bears on every piece of a photo.
#[derive(Clone, Copy)]
pub(super) struct Whole<'a> {
    /// What is wrong with it as a whole.
    pub faults: &'a [Fault],
    /// What it is like.
    pub quality: &'a PhotoQuality,
    /// What this home's reviews make of what is stated.
    pub home: Option<&'a HomeMap>,
}

/// A name for a piece's colour, and how sure that is.
#[derive(Clone, Copy)]
pub(super) struct Told<'a> {
    pub named: &'a Named,
    /// Probability that it is right; of a colour that nobody taught that it is none of those taught.
    pub right: f64,
    /// Whether it is named surely.
    pub surely: bool,
}

/// A piece as the sheet has it, but for its number; `None` where its silhouette leaves the lens' view.
pub(super) fn counted(
    scene: &Scene,
    seen: &Seen,
    (named, otherwise): (&Named, &Named),
    flaw: Option<Flaw>,
    whole: Whole<'_>,
) -> Option<Piece> {
    let shape = shape_odds(&seen.piece, &seen.paint, whole.quality);
    let told = |named| told_by_one(seen, named, flaw, whole.quality);
    let names = (told(named), told(otherwise));
    counted_as(scene, seen, &shape, names, (ToldBy::One, flaw), whole)
}

/// How sure a colour's name is by the one photo that it is read from.
pub(super) fn told_by_one<'a>(
    seen: &Seen,
    named: &'a Named,
    flaw: Option<Flaw>,
    quality: &PhotoQuality,
) -> Told<'a> {
    let lamp = spoils(&seen.paint, &seen.piece.stance, flaw).contains(&Spoilt::Lamp);
    Told {
        named,
        right: colour_probability(named, &seen.paint, lamp, &seen.piece, quality),
        surely: named.is_sure(quality.unlike),
    }
}

/// The same of a piece whose form, size and colour are told already, by one photo or several.
pub(super) fn counted_as(
    scene: &Scene,
    seen: &Seen,
    shape: &ShapeOdds,
    (told, otherwise): (Told<'_>, Told<'_>),
    (by, flaw): (ToldBy, Option<Flaw>),
    whole: Whole<'_>,
) -> Option<Piece> {
    let mut piece = placed(scene, seen)?;
    piece.spoilt = Some(spoils(&seen.paint, &seen.piece.stance, flaw));
    let said = stated_of(seen, told, shape, by, whole);
    let other = stated_of(seen, otherwise, shape, by, whole);
    piece.otherwise = (other != said).then(|| Box::new(other));
    (piece.colour, piece.sure, piece.stated) = (said.colour, said.sure, said.stated);
    (piece.instead, piece.doubts) = (said.instead, said.doubts);
    Some(piece)
}

/// What is said of a piece of which these are the odds.
fn stated_of(
    seen: &Seen,
    told: Told<'_>,
    shape: &ShapeOdds,
    by: ToldBy,
    whole: Whole<'_>,
) -> Otherwise {
    let Whole { faults, home, .. } = whole;
    let named = told.named;
    let mirrors = seen.paint.mirrors_lamp(&seen.piece.stance);
    let spoilt: Vec<_> = faults.iter().filter_map(Fault::trust).collect();
    let trust: f64 = spoilt.iter().map(|(factor, _)| factor).product();
    let product = shape.right * told.right;
    // A colour that nobody taught has no name to be right or wrong in.
    let right = if named.new {
        product
    } else {
        stated(product, told.surely, by)
    };
    let shipped = round3(right * trust);
    // Last of all, and nowhere else: what this home's reviews say of pieces of which so much was stated. A colour that
    // nobody taught states less than those reviews are of.
    let sure = match home.filter(|_| !named.new) {
        Some(home) => home.apply(shipped),
        None => shipped,
    };
    let mut left = if product < 1.0 {
        (1.0 - right) / (1.0 - product)
    } else {
        1.0
    };
    if shipped < 1.0 {
        left *= (1.0 - sure) / (1.0 - shipped);
    }
    let mut said = Otherwise {
        colour: named.name.clone(),
        sure,
        stated: (sure != shipped).then_some(shipped),
        instead: instead(seen, named, shape, left, sure),
        doubts: Vec::new(),
    };
    if sure < SURE {
        let uneven = mirrors || seen.paint.uneven();
        let colour = colour_doubts(named, uneven && told.right < SURE);
        let doubts = shape.doubts.iter().chain(&colour).map(Doubt::text);
        let reasons = spoilt.iter().map(|(_, reason)| (*reason).to_owned());
        said.doubts = doubts.chain(reasons).collect();
        if shipped >= SURE {
            said.doubts.push(Doubt::Record.text());
        } else if said.doubts.is_empty() {
            let part = |right: f64, surely: bool| PartTold {
                right,
                suffices: stated(right, surely, by) >= SURE,
            };
            let little = doubts_a_little(part(shape.right, true), part(told.right, told.surely));
            said.doubts = little.iter().map(Doubt::text).collect();
        }
    }
    said
}

/// Pieces in the order in which text is read, and numbered so.
pub(super) fn in_reading_order(mut pieces: Vec<Piece>, height_px: u32) -> Vec<Piece> {
    pieces.sort_by(|a, b| {
        // Bands of a fiftieth of the height read like lines of text.
        let band = |p: &Piece| (p.y_px / f64::from(height_px) * 50.0).floor();
        band(a).total_cmp(&band(b)).then(a.x_px.total_cmp(&b.x_px))
    });
    for (k, piece) in pieces.iter_mut().enumerate() {
        piece.id = k as u32 + 1;
    }
    pieces
}

/// A piece with its places filled in; `None` where its silhouette leaves the lens' view.
pub(super) fn placed(scene: &Scene, seen: &Seen) -> Option<Piece> {
    let stance = &seen.piece.stance;
    let outline = stance.silhouette_px(&scene.pose.camera);
    if outline.len() < 3 {
        return None;
    }
    let corners: Vec<(f64, f64)> = outline.iter().map(|p| (p.x, p.y)).collect();
    let (_, middle) = area_and_middle(&corners);
    let [x_px, y_px] = scene.full_px(middle.0, middle.1);
    Some(Piece {
        form: form_name(&seen.piece).to_owned(),
        size: stance.shape.size(),
        x_px,
        y_px,
        x_mm: round2(stance.at.x),
        y_mm: round2(stance.at.y),
        turn_deg: (stance.face).turn_within(stance.shape, stance.turn.to_degrees()),
        face: stance.face.name().to_owned(),
        lab: seen.paint.lab.map(round2),
        covered: round2(seen.piece.covered()),
        outline_px: corners.iter().map(|(x, y)| scene.full_px(*x, *y)).collect(),
        ..Piece::default()
    })
}

/// The form as a sheet says it: `any` where it cannot be told.
fn form_name(piece: &FoundPiece) -> &'static str {
    if piece.form_is_told() {
        piece.stance.shape.form().name()
    } else {
        "any"
    }
}

/// Less likely than this another reading is not worth telling: of one piece a range leaves out as much.
const WORTH_TELLING: f64 = 0.02;

/// The other readings of a piece that are worth telling, likeliest first: another colour, another shape. `left` is
/// how much of the probability that the parts leave to them the piece leaves. None is likelier than the guess, of which
/// form, size and colour are each the likeliest: what a fault of the photo takes from the guess it takes from them too.
fn instead(seen: &Seen, named: &Named, shape: &ShapeOdds, left: f64, most: f64) -> Vec<Instead> {
    let own = seen.piece.stance.shape;
    let colours = named.others.iter().map(|(colour, probability)| Instead {
        form: form_name(&seen.piece).to_owned(),
        size: own.size(),
        colour: colour.clone(),
        sure: round3(left * shape.right * probability).min(most),
    });
    let shapes = shape.others.iter().map(|(other, probability)| Instead {
        form: other.form().name().to_owned(),
        size: other.size(),
        colour: named.name.clone(),
        sure: round3(left * probability * named.probability).min(most),
    });
    let mut others: Vec<Instead> = colours.chain(shapes).collect();
    others.retain(|other| other.sure >= WORTH_TELLING);
    others.sort_by(|a, b| b.sure.total_cmp(&a.sure));
    others
}
