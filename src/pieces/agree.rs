//! The search's pieces and the net's, made one list.
//!
//! The search by edges and areas is exact where a piece lies alone, studs up. Where pieces touch,
//! lie on a side or on each other it explains several by one; there the net's are taken, and
//! edges move them into place. Who saw a piece is kept: it is the best that doubt can go by.

use super::beside::is_touched;
use super::canvas::Canvas;
use super::evidence::EdgeScale;
use super::face::Face;
use super::find::{Sight, explain, take_out};
use super::found::{FREE, FoundPiece, Leftover, Witness};
use super::heap::mark_heaped;
use super::instance::{Instance, NET_KNOWS, NET_SEES, agreed};
use super::learned::{Input, Maps, Net, NetError, Proposal, is_taught, proposals, with_mirrored};
use super::list::Shapes;
use super::odd::{made_one, mark_among_odd, outlined, stands_by_itself};
use super::polygon::inside;
use super::refine::Bench;
use super::seam::parted;
use super::search::Search;
use super::shade::Shade;
use super::shape::Shape;
use super::stance::Stance;
use super::unknown::unknown;
use crate::units::Mm;
use rayon::prelude::*;

/// Weaker proposals are shreds of others.
const LEAST_SCORE: f64 = 0.3;
/// Share of one silhouette within another from which both are about the same thing.
const SAME_THING: f64 = 0.5;
/// Intersection over union from which two silhouettes are one.
const SAME_PLACE: f64 = 0.7;
/// Share of a piece by which proposals may overlap it and it still stands beside them.
const BESIDE: f64 = 0.25;
/// The least share of a piece that must certainly be no tray, and no other piece's, for the net's
/// word alone: with less it may have been led astray by blur, a shadow, the tray's own texture
/// or rim, or a wall of a piece that is there already.
const LEAST_UNEXPLAINED: f64 = 0.4;
/// What is as dark as a shadow needs more for it: so much of the piece, outline evidence less the
/// share of plain tray, and the net's score.
const MOSTLY: f64 = 0.8;
const LEAST_OUTLINE: f64 = 0.3;
/// Score from which the net is believed, with doubt, where neither edges nor areas show a piece and none
/// else lies: of 39 such proposals away from the photo's edge in `sample-photos/tune` (27 of them in photos
/// made to fail) 35 were pieces of that size and 4 lay on one of another; counted before the net knew corners.
const FAINT: f64 = 0.5;
/// Evidence of studs from which a piece that lies alone, outlined all round, is what the search
/// says, whatever the net sees in it.
const CLEAR_STUDS: f64 = 0.2;

/// Finds every piece, and what no piece explains. `card` tells whether a place lies on the card,
/// with a margin in mm.
pub fn find_pieces(
    sight: &Sight<'_>,
    search: &Search,
    card: &(dyn Fn(Mm, f64) -> bool + Sync),
) -> (Vec<FoundPiece>, Vec<Leftover>) {
    let bench = Bench {
        view: sight.view,
        camera: sight.camera,
        scale: EdgeScale::for_noise(sight.ground),
        kind_at: &|r, c| sight.foreground.kind[(r, c)],
    };
    // Without its net the program still has its edges and areas.
    let maps = by_net(sight, search, card).ok();
    let told = maps.as_ref().map(|maps| {
        let mut told = proposals(maps, sight.camera, search.shapes());
        told.retain(|one| one.score >= LEAST_SCORE);
        told
    });
    let mut seen: Vec<Instance<'_>> = (told.iter().flatten())
        .map(|one| Instance::of(one, sight))
        .collect();
    let all_taught = maps.is_some() && search.shapes().iter().all(|shape| is_taught(*shape));
    let mut canvas = Canvas::of(sight.view, sight.camera, sight.foreground);
    let mut confirmed = Vec::new();
    if let Some(maps) = maps.as_ref().filter(|_| !all_taught) {
        // A shape that the net was not taught it takes for one that it was, looked for or not.
        let taught: Vec<Shape> = Shapes::shipped().all().collect();
        let mut told = proposals(maps, sight.camera, &taught);
        told.retain(|one| one.score >= LEAST_SCORE);
        let mut anything: Vec<Instance<'_>> =
            told.iter().map(|one| Instance::of(one, sight)).collect();
        confirmed = outlined(&mut anything, &bench, search);
        let stances: Vec<Stance> = confirmed.iter().map(|piece| piece.stance).collect();
        take_out(&mut canvas, &stances, sight.ground);
        let used = |one: &Instance<'_>| {
            let same = |other: &Instance<'_>| other.used && other.is_about(one);
            anything.iter().any(same)
        };
        for one in &mut seen {
            one.used = used(one);
        }
    }
    confirmed.extend(self::confirmed(&mut seen, &canvas, &bench, search));
    let mut pieces = Vec::new();
    if !all_taught {
        for piece in &confirmed {
            canvas.explain(&piece.stance);
        }
        (pieces, canvas) = explain(sight, search, canvas);
    }
    if maps.is_some() {
        let outlines = outlines(&pieces, sight);
        mark_touched(&mut pieces, &outlines, &|at| canvas.is_unexplained(at));
        let searched = pieces.into_iter().zip(&outlines).collect();
        pieces = joined(
            searched,
            seen,
            confirmed,
            &bench,
            sight,
            search,
            &mut canvas,
        );
    }
    pieces = parted(pieces, &bench, search);
    let outlines = self::outlines(&pieces, sight);
    mark_touched(&mut pieces, &outlines, &|at| canvas.is_unexplained(at));
    mark_among_odd(&mut pieces);
    mark_heaped(&mut pieces);
    let odd = pieces
        .iter()
        .filter(|piece| piece.witness == Witness::Untaught);
    let odd: Vec<Vec<Mm>> = odd
        .map(|piece| piece.stance.silhouette(sight.camera))
        .collect();
    let mut unknown = unknown(canvas.rest(), maps.as_ref());
    unknown.retain(|one| !odd.iter().any(|outline| inside(outline, one.at)));
    (pieces, unknown)
}

/// The pieces that are confirmed, those of the search that stand, and the net's that neither has.
fn joined(
    searched: Vec<(FoundPiece, &Vec<Mm>)>,
    mut seen: Vec<Instance<'_>>,
    confirmed: Vec<FoundPiece>,
    bench: &Bench<'_>,
    sight: &Sight<'_>,
    search: &Search,
    canvas: &mut Canvas<'_>,
) -> Vec<FoundPiece> {
    let mut pieces = confirmed;
    for (piece, outline) in searched {
        match judged(piece, &Shade::of(outline), &mut seen, bench, search) {
            Ok(piece) => pieces.push(piece),
            Err(stance) => canvas.give_back(&stance, sight.foreground),
        }
    }
    let left = seen.par_iter().filter(|one| !one.used);
    let (mut new, mut faint): (Vec<_>, Vec<_>) = left
        .map(|one| (one.proposal.score, one.piece_or_odd(bench, search)))
        .partition(|(score, piece)| is_there(piece, *score, canvas));
    let shade = |piece: &FoundPiece| Shade::of(&piece.stance.silhouette(sight.camera));
    let there = pieces.iter().chain(new.iter().map(|(_, piece)| piece));
    let mut taken: Vec<Shade> = there.map(shade).collect();
    faint.sort_by(|a, b| b.0.total_cmp(&a.0));
    for (score, mut piece) in faint {
        let own = shade(&piece);
        if !piece.at_frame && score > FAINT && stands_free(&own, &taken) {
            piece.like_tray = true;
            taken.push(own);
            new.push((score, piece));
        }
    }
    let new = new.into_iter().map(|(_, piece)| piece).collect();
    pieces.extend(made_one(new, bench, search));
    for piece in &pieces {
        canvas.explain(&piece.stance);
    }
    pieces
}

/// The pieces that the net is certain of and that edges and areas confirm right where it sees them.
fn confirmed(
    seen: &mut [Instance<'_>],
    canvas: &Canvas<'_>,
    bench: &Bench<'_>,
    search: &Search,
) -> Vec<FoundPiece> {
    let fitted: Vec<Option<FoundPiece>> = (seen.par_iter())
        .map(|one| {
            if one.used {
                return None;
            }
            one.confirmed(bench, search)
                .filter(|piece| is_there(piece, one.proposal.score, canvas))
        })
        .collect();
    for (one, piece) in seen.iter_mut().zip(&fitted) {
        one.used |= piece.is_some();
    }
    made_one(fitted.into_iter().flatten().collect(), bench, search)
}

/// Whether no other piece lies where this one does.
fn stands_free(own: &Shade, others: &[Shade]) -> bool {
    let overlap = |other: &Shade| own.share_of(other).max(other.share_of(own));
    others.iter().all(|other| overlap(other) < BESIDE)
}

/// Whether what the net alone sees, with this score, lies where something unexplained is.
fn is_there(piece: &FoundPiece, score: f64, canvas: &Canvas<'_>) -> bool {
    let (certain, likely) = canvas.unexplained(&piece.stance);
    let cut_off = piece.at_frame && piece.outline < 0.0;
    let outlined = piece.outline - piece.ground_share > LEAST_OUTLINE;
    certain > LEAST_UNEXPLAINED && !cut_off || likely > MOSTLY && outlined && score > NET_SEES
}

fn outlines(pieces: &[FoundPiece], sight: &Sight<'_>) -> Vec<Vec<Mm>> {
    let silhouette = |piece: &FoundPiece| piece.stance.silhouette(sight.camera);
    pieces.iter().map(silhouette).collect()
}

/// Marks the pieces that have another one, or what no piece explains, right beside them.
fn mark_touched(pieces: &mut [FoundPiece], outlines: &[Vec<Mm>], unexplained: &dyn Fn(Mm) -> bool) {
    for (i, piece) in pieces.iter_mut().enumerate() {
        let others = || outlines.iter().enumerate().filter(|(k, _)| *k != i);
        let taken = |at: Mm| unexplained(at) || others().any(|(_, outline)| inside(outline, at));
        piece.touched = outlines.get(i).is_some_and(|o| is_touched(o, &taken));
    }
}

/// Mean share beyond [`FREE`] that is hidden of what the net sees, from which on it looks at the tray's mirror
/// images as well: where pieces lie on each other that finds and tells more of them (in the two heaps of
/// `sample-photos/tune`, the net alone, with its first weights, 276 of 407 in place of 260), elsewhere hardly any.
const HEAP: f64 = 0.01;

/// How far around a piece the net looks at what may tell of it: its shadow, its neighbours, the tray; some twice its
/// length.
const NET_REACH_MM: f64 = 40.0;

/// What the net sees, after a second and a third look where pieces lie on each other.
fn by_net(
    sight: &Sight<'_>,
    search: &Search,
    card: &(dyn Fn(Mm, f64) -> bool + Sync),
) -> Result<Maps, NetError> {
    let net = Net::shipped()?;
    let wanted = Canvas::of(sight.view, sight.camera, sight.foreground).bounds(NET_REACH_MM);
    let input = Input::of(sight.view, wanted, sight.ground, sight.camera, card);
    let maps = Maps::of(&net, &input)?;
    let seen = proposals(&maps, sight.camera, search.shapes());
    let seen: Vec<&Proposal> = (seen.iter())
        .filter(|one| one.score >= LEAST_SCORE)
        .collect();
    let hidden = |one: &&Proposal| (1.0 - one.visible - FREE).max(0.0);
    let buried = seen.iter().map(hidden).sum::<f64>() / seen.len().max(1) as f64;
    if buried > HEAP {
        with_mirrored(maps, &net, &input)
    } else {
        Ok(maps)
    }
}

/// A piece of the search as it stands beside what the net sees; its stance where it does not.
fn judged(
    mut piece: FoundPiece,
    shade: &Shade,
    seen: &mut [Instance<'_>],
    bench: &Bench<'_>,
    search: &Search,
) -> Result<FoundPiece, Stance> {
    let shape = piece.stance.shape;
    let is_known_block = shape.is_block() && is_taught(shape);
    if !is_known_block {
        let mut about: Vec<&mut Instance<'_>> = seen
            .iter_mut()
            .filter(|one| !one.used && shade.share_of(&one.shade) > SAME_THING)
            .collect();
        // Edges look for what lies flat; a small plate on its side is as wide as a disc.
        let on_side = |one: &&mut Instance<'_>| !one.stance.face.is_flat();
        if shape.is_round() && about.iter().any(on_side) {
            return Err(piece.stance);
        }
        if !is_taught(shape) && stands_by_itself(&piece) {
            // That the net takes it for rectangles, or for a stranger, is no news.
            for one in &mut about {
                one.used = true;
            }
            piece.witness = Witness::Untaught;
            return Ok(piece);
        }
    }
    let twin = seen
        .iter_mut()
        .filter(|one| !one.used && one.has_footprint_of(&piece.stance))
        .find(|one| shade.likeness(&one.shade) > SAME_PLACE);
    if let Some(one) = twin {
        one.used = true;
        return Ok(agreed(piece, one, bench, search));
    }
    let mut about: Vec<&mut Instance<'_>> = seen
        .iter_mut()
        .filter(|one| !one.used && shade.share_of(&one.shade) > SAME_THING)
        .collect();
    let known = about.iter().all(|one| one.proposal.p > NET_KNOWS);
    match about.as_slice() {
        // Edges that are clear all round know the size of one flat piece better.
        [one]
            if is_clear(&piece)
                && one.stance.face.is_flat()
                && one.shade.share_of(shade) > SAME_THING => {}
        _ if piece.touched => {
            drop(about);
            let overlapped: f64 = seen.iter().map(|one| one.shade.share_of(shade)).sum();
            return if overlapped > BESIDE || is_denied(&piece) {
                Err(piece.stance)
            } else {
                Ok(piece)
            };
        }
        // What is there at all the net sees, if only as a stranger.
        [] if !is_known_block || is_denied(&piece) => return Err(piece.stance),
        [] => return Ok(piece),
        [one] if known && one.stance.face != Face::Up && !is_clear(&piece) => {
            return Err(piece.stance);
        }
        [_, _, ..] if known && !piece.is_whole() => return Err(piece.stance),
        [_, _, ..] if about.iter().all(|one| one.is_beyond_doubt()) => return Err(piece.stance),
        _ => {}
    }
    for one in &mut about {
        one.used = true;
    }
    piece.witness = Witness::Contested;
    Ok(piece)
}

/// Whether a piece that the net does not see lacks a side, and its studs: it is hardly one.
fn is_denied(piece: &FoundPiece) -> bool {
    piece.weakest_side < 0.0 && piece.stance.studs_up() && piece.studs < 0.0
}

/// Whether edges confirm a piece all round, and its studs where it has any.
fn is_clear(piece: &FoundPiece) -> bool {
    piece.is_whole() && (!piece.stance.studs_up() || piece.studs > CLEAR_STUDS)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A rectangle of 16 mm by 32 mm, whose left side lies there.
    fn shade(left: f64) -> Shade {
        let corners = [
            (left, 0.2),
            (left + 16.0, 0.2),
            (left + 16.0, 32.2),
            (left, 32.2),
        ];
        Shade::of(&corners.map(|(x, y)| Mm::new(x, y)))
    }

    #[test]
    fn what_lies_over_more_than_a_quarter_of_a_piece_is_in_its_way() {
        let own = shade(0.2);
        let little = BESIDE * 16.0 - 1.0;
        let more = BESIDE * 16.0 + 1.0;
        let by = |overlaps: &[f64]| {
            let others: Vec<Shade> = (overlaps.iter()).map(|mm| shade(16.2 - mm)).collect();
            stands_free(&own, &others)
        };
        assert!(by(&[]) && by(&[0.0]) && by(&[little]));
        assert!(!by(&[more]) && !by(&[16.0]));
        // One of several is enough.
        assert!(by(&[0.0, little]) && !by(&[0.0, more]));
    }

    /// A share of the smaller of the two: a small piece on a large one hides little of it, but all of itself.
    #[test]
    fn a_small_piece_on_a_large_one_does_not_stand_free_nor_does_the_large_one() {
        let large = shade(0.2);
        let small = Shade::of(
            &[(4.2, 4.2), (10.2, 4.2), (10.2, 10.2), (4.2, 10.2)].map(|(x, y)| Mm::new(x, y)),
        );
        assert!(large.share_of(&small) > 0.99 && small.share_of(&large) < BESIDE);
        let (large, small) = ([large], [small]);
        assert!(!stands_free(&small[0], &large) && !stands_free(&large[0], &small));
    }
}
