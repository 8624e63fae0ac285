//! Shapes that the net was not taught: what users add to the list.
//!
//! The net takes them for rectangles that it knows, for two of them, or for strangers. Edges are
//! asked, wherever it sees a piece, whether they rather show one of these in the same box or around it.

use rayon::prelude::*;

use super::face::Face;
use super::find::turned;
use super::found::{FoundPiece, Witness};
use super::instance::Instance;
use super::learned::is_taught;
use super::refine::{Bench, Score};
use super::search::Search;
use super::shade::Shade;
use super::shape::{PITCH_MM, Shape};
use super::stance::Stance;
use crate::tray::LabView;
use crate::units::Mm;

/// Share of a piece that another one cannot lie over if both are seen whole: half a stud of a 1x2. Two
/// arms of a corner share a whole one.
const IMPOSSIBLE: f64 = 0.25;
/// Less of a piece than this is hidden where it is said to be seen whole: set by hand, well above the
/// net's own error.
const SEEN_WHOLE: f64 = 0.15;
/// Evidence of studs from which a shape that the net was not taught is that: more rims are there than
/// are not. A coin has none.
const ODD_STUDS: f64 = 0.0;
/// Share of an instance in a silhouette from which it is part of that: more of it lies within than without.
const WITHIN: f64 = 0.5;
/// Evidence of the whole outline and of its weakest side from which a larger shape explains what the net took
/// for a part of it. Set by hand on `sample-photos/tune/own-touching-slip-36`, clumps of one colour whose sides hardly
/// show: of seven ramps looked at there six have 0.48 and 0.0 or more; the nearest wrong reading has 0.54 and -0.14.
const LEAST_OUTLINE: (f64, f64) = (0.45, -0.1);
/// The same for one in the box that the net sees: half of the outline at a clear edge gives 0.
const LEAST_IN_BOX: f64 = 0.0;
/// Instances whose mean L* are further apart than this are of two colours, and so are those whose a* and b* are this much
/// further apart than their L*: shade takes of both. Of 20 such groups in the two photos of such shapes to tune on, all
/// within one piece, none is beyond 14.5 of the one and 5.4 of the other.
const OTHER_LIGHT: f32 = 25.0;
const OTHER_HUE: f32 = 10.0;
/// How much of a piece about its middle its colour is read from.
const MIDDLE: f64 = 0.6;
/// Share of plain tray in its silhouette from which a shape that the net was not taught is none.
/// Set by hand, on corners and discs when the net did not know them: on the sorted tray to tune on right ones show up to 0.02, on a poured one a wrong one 0.12.
const ODD_GROUND: f64 = 0.1;

/// Whether a piece of such a shape is one for its edges alone. What is round needs its studs as well: a
/// coin has none.
pub(super) fn stands_by_itself(piece: &FoundPiece) -> bool {
    let studded = !piece.stance.studs_up() || piece.studs > ODD_STUDS;
    let told = studded || !piece.stance.shape.is_round();
    piece.is_whole() && told && piece.ground_share < ODD_GROUND
}

/// A shape that looks nearly the same on its side as what lies there: of a disc or a corner no more is seen
/// then than of a square.
pub(super) fn twin_on_side(stance: &Stance, search: &Search) -> Option<Shape> {
    let mut shapes = search.shapes().iter().copied();
    shapes.find(|shape| {
        !stance.face.is_flat()
            && shape.is_block() != stance.shape.is_block()
            && stance.face.body(*shape) == stance.body()
            && shape.studs_box() == stance.shape.studs_box()
    })
}

/// Marks the pieces that may be of such a shape unseen, where one was found.
pub(super) fn mark_among_odd(pieces: &mut [FoundPiece]) {
    if !pieces
        .iter()
        .any(|piece| piece.witness == Witness::Untaught)
    {
        return;
    }
    for piece in pieces {
        piece.among_odd |= piece.touched || matches!(piece.witness, Witness::Net(_));
    }
}

/// The one that edges like best where a flat piece lies.
pub(super) fn odd_reading(
    stance: &Stance,
    bench: &Bench<'_>,
    search: &Search,
) -> Option<(Stance, Score)> {
    odd_readings(stance, bench, search).into_iter().next()
}

/// Those that may lie where a flat piece does, best first, one of each shape: in the same box, or in a
/// larger one that is outlined, so that what lies beside the piece is not taken for part of it.
fn odd_readings(stance: &Stance, bench: &Bench<'_>, search: &Search) -> Vec<(Stance, Score)> {
    if !stance.face.is_flat() {
        return Vec::new();
    }
    let untaught = || search.shapes().iter().filter(|shape| !is_taught(**shape));
    let best_of = |starts: &mut dyn Iterator<Item = Stance>| {
        let scored = starts.map(|start| (start, bench.score(&start)));
        let best = scored.max_by(|a, b| a.1.total.total_cmp(&b.1.total));
        best.map(|(start, _)| bench.refine(start))
    };
    let (own_short, own_long) = stance.shape.studs_box();
    let same = untaught().filter(|shape| shape.studs_box() == (own_short, own_long));
    let same = same.filter_map(|shape| {
        let turned = turned(Stance {
            shape: *shape,
            ..*stance
        });
        best_of(&mut turned.into_iter())
    });
    let larger = untaught().filter(|shape| {
        let (short, long) = shape.studs_box();
        (short, long) != (own_short, own_long) && short >= own_short && long >= own_long
    });
    let larger = larger.filter_map(|shape| best_of(&mut places_over(stance, *shape).into_iter()));
    let larger = larger.filter(|(_, score)| is_outlined(score));
    let mut all: Vec<(Stance, Score)> = same.chain(larger).collect();
    all.sort_by(|a, b| b.1.total.total_cmp(&a.1.total));
    all
}

/// Whether edges show an outline on the whole, and hardly any tray within.
fn is_outlined(score: &Score) -> bool {
    score.outline > LEAST_OUTLINE.0
        && score.weakest_side > LEAST_OUTLINE.1
        && score.ground_share < ODD_GROUND
}

/// Pieces of such shapes right where the net sees something, whatever it takes that for: each explains
/// more there than that, if that is looked for at all, and is outlined. What it explains is `used`.
pub(super) fn outlined(
    seen: &mut [Instance<'_>],
    bench: &Bench<'_>,
    search: &Search,
) -> Vec<FoundPiece> {
    let mut readings: Vec<(usize, FoundPiece, f64)> = (seen.par_iter().enumerate())
        .filter(|(_, one)| one.stance.face.is_flat())
        .filter_map(|(index, one)| {
            let (own, score) = bench.refine(Stance {
                face: Face::Up,
                ..one.stance
            });
            let mut odd = odd_readings(&own, bench, search).into_iter();
            let (stance, best) = odd.next()?;
            let second = odd.next().map(|(other, its)| (other.shape, its.total));
            let taught = search.alike(own.shape).find(|shape| is_taught(*shape));
            let block = taught.map(|shape| (shape, score.total));
            let others = second.into_iter().chain(block);
            let other = others.max_by(|a, b| a.1.total_cmp(&b.1));
            let beaten = block.is_none_or(|(_, total)| best.total > total);
            // In the same box the net's word stands for the sides that edges do not show.
            let coin = stance.shape.is_round() && stance.studs_up() && best.studs <= ODD_STUDS;
            let there = best.outline > LEAST_IN_BOX && best.ground_share < ODD_GROUND && !coin;
            (beaten && there).then(|| {
                let outline = stance.silhouette(bench.camera);
                let piece = FoundPiece {
                    runner_up: other,
                    rival: other.map(|(shape, total)| (shape, best.total - total)),
                    at_frame: outline.iter().any(|p| bench.view.sample(*p).is_none()),
                    ..FoundPiece::of(stance, &best, Witness::Untaught)
                };
                (index, piece, best.total)
            })
        })
        .collect();
    readings.sort_by(|a, b| b.2.total_cmp(&a.2));
    let mut found: Vec<FoundPiece> = Vec::new();
    let mut taken: Vec<Shade> = Vec::new();
    for (index, mut piece, _) in readings {
        if seen[index].used {
            continue;
        }
        let shade = Shade::of(&piece.stance.silhouette(bench.camera));
        let overlap = |other: &Shade| shade.share_of(other).max(other.share_of(&shade));
        if taken.iter().any(|other| overlap(other) > IMPOSSIBLE) {
            continue;
        }
        let within: Vec<usize> = (0..seen.len())
            .filter(|k| !seen[*k].used && shade.share_of(&seen[*k].shade) > WITHIN)
            .collect();
        if !of_one_colour(within.iter().map(|k| &seen[*k]), bench.view) {
            continue;
        }
        // The net saw several pieces in it, and edges cannot tell a seam from a fold; or its studs hardly show.
        let shy = piece.stance.studs_up() && piece.studs <= ODD_STUDS;
        piece.among_odd = within.len() > 1 || shy;
        for k in within {
            seen[k].used = true;
        }
        taken.push(shade);
        found.push(piece);
    }
    found
}

/// Whether instances may be of one colour.
fn of_one_colour<'a>(parts: impl Iterator<Item = &'a Instance<'a>>, view: &LabView) -> bool {
    let labs: Vec<[f32; 3]> = parts
        .filter_map(|part| middle_lab(&part.stance, view))
        .collect();
    labs.iter().all(|a| labs.iter().all(|b| may_be_one(a, b)))
}

/// Whether two CIELAB colours may be of one body: its parts differ in how much light they get, and hardly in hue.
fn may_be_one(a: &[f32; 3], b: &[f32; 3]) -> bool {
    let light = (a[0] - b[0]).abs();
    light < OTHER_LIGHT && (a[1] - b[1]).hypot(a[2] - b[2]) < light + OTHER_HUE
}

/// Mean CIELAB of the middle of a piece.
fn middle_lab(stance: &Stance, view: &LabView) -> Option<[f32; 3]> {
    let body = stance.body();
    let steps = || (-2..=2i32).map(|k| f64::from(k) / 2.0 * MIDDLE);
    let places = steps().flat_map(|u| steps().map(move |v| (u, v)));
    let labs: Vec<[f32; 3]> = places
        .filter_map(|(u, v)| view.sample(stance.local(u * body.along / 2.0, v * body.across / 2.0)))
        .collect();
    let mean = |k: usize| labs.iter().map(|lab| lab[k]).sum::<f32>() / labs.len() as f32;
    (!labs.is_empty()).then(|| [0, 1, 2].map(mean))
}

/// A shape in all turns, wherever the box of a rectangle lies stud over stud within its own.
fn places_over(block: &Stance, shape: Shape) -> Vec<Stance> {
    let mut places = Vec::new();
    for quarters in 0..4u8 {
        let upright = quarters % 2 == 0;
        let (along, across) = if upright {
            (shape.long_mm(), shape.short_mm())
        } else {
            (shape.short_mm(), shape.long_mm())
        };
        let room = |its: f64, own: f64| ((its - own) / PITCH_MM).round();
        let (more, deeper) = (
            room(along, block.shape.long_mm()),
            room(across, block.shape.short_mm()),
        );
        if more < 0.0 || deeper < 0.0 {
            continue;
        }
        for i in 0..=more as i32 {
            for j in 0..=deeper as i32 {
                let by = |k: i32, room: f64| (f64::from(k) - room / 2.0) * PITCH_MM;
                places.push(Stance {
                    shape,
                    face: Face::Up,
                    at: block.local(by(i, more), by(j, deeper)),
                    turn: block.turn + f64::from(quarters) * std::f64::consts::FRAC_PI_2,
                });
            }
        }
    }
    places
}

/// The piece that such a reading makes of a rectangle, which it beat by `margin`.
pub(super) fn instead_of(
    block: FoundPiece,
    (stance, score): (Stance, Score),
    margin: f64,
) -> FoundPiece {
    FoundPiece {
        runner_up: Some((block.stance.shape, block.score)),
        rival: Some((block.stance.shape, margin)),
        twin_on_side: block.twin_on_side,
        among_odd: block.among_odd,
        at_frame: block.at_frame,
        like_tray: block.like_tray,
        touched: block.touched,
        heaped: block.heaped,
        ..FoundPiece::of(stance, &score, Witness::Untaught)
    }
}

/// Where two flat pieces of the net overlap and both are said to be seen whole, the net may have
/// explained one piece by two: such pairs become one where edges rather show a single shape in the
/// box around both. Other such pairs cannot both be right, and are doubted.
pub(super) fn made_one(
    mut pieces: Vec<FoundPiece>,
    bench: &Bench<'_>,
    search: &Search,
) -> Vec<FoundPiece> {
    let shades: Vec<Shade> = (pieces.iter())
        .map(|piece| Shade::of(&piece.stance.silhouette(bench.camera)))
        .collect();
    let whole = |k: usize| pieces[k].stance.face.is_flat() && pieces[k].covered() < SEEN_WHOLE;
    let mut gone = vec![false; pieces.len()];
    let (mut made, mut disagreed) = (Vec::new(), Vec::new());
    for i in 0..pieces.len() {
        for k in i + 1..pieces.len() {
            let overlap = shades[i]
                .share_of(&shades[k])
                .max(shades[k].share_of(&shades[i]));
            if gone[i] || gone[k] || !whole(i) || !whole(k) || overlap < IMPOSSIBLE {
                continue;
            }
            match odd_instead(&pieces[i], &pieces[k], bench, search) {
                Some(one) => {
                    (gone[i], gone[k]) = (true, true);
                    made.push(one);
                }
                None => disagreed.extend([i, k]),
            }
        }
    }
    for k in disagreed {
        pieces[k].disputed = true;
    }
    let kept = pieces.into_iter().zip(gone).filter(|(_, gone)| !gone);
    kept.map(|(piece, _)| piece).chain(made).collect()
}

/// A single shape in the box around two pieces, where edges show that better than either.
fn odd_instead(
    one: &FoundPiece,
    other: &FoundPiece,
    bench: &Bench<'_>,
    search: &Search,
) -> Option<FoundPiece> {
    let own = |at: Mm| {
        let (sin, cos) = one.stance.turn.sin_cos();
        let (x, y) = (at.x - one.stance.at.x, at.y - one.stance.at.y);
        (x * cos + y * sin, y * cos - x * sin)
    };
    let corners = one
        .stance
        .footprint()
        .into_iter()
        .chain(other.stance.footprint());
    let (mut low, mut high) = ((f64::MAX, f64::MAX), (f64::MIN, f64::MIN));
    for (along, across) in corners.map(own) {
        low = (low.0.min(along), low.1.min(across));
        high = (high.0.max(along), high.1.max(across));
    }
    let (along, across) = (high.0 - low.0, high.1 - low.1);
    let at = one
        .stance
        .local((low.0 + high.0) / 2.0, (low.1 + high.1) / 2.0);
    let quarter = if along >= across {
        0.0
    } else {
        std::f64::consts::FRAC_PI_2
    };
    let fits = |shape: &&Shape| {
        let off = (shape.long_mm() - along.max(across)).abs();
        !is_taught(**shape)
            && off.max((shape.short_mm() - along.min(across)).abs()) < PITCH_MM / 2.0
    };
    let starts = search.shapes().iter().filter(fits).flat_map(|shape| {
        turned(Stance {
            shape: *shape,
            face: Face::Up,
            at,
            turn: one.stance.turn + quarter,
        })
    });
    let refined = starts.map(|start| bench.refine(start));
    let (stance, score) = refined.max_by(|a, b| a.1.total.total_cmp(&b.1.total))?;
    let better = score.total - one.score.max(other.score);
    let studded = !stance.studs_up() || score.studs > ODD_STUDS;
    (better > 0.0 && studded).then(|| instead_of(one.clone(), (stance, score), better))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::list::Shapes;
    use super::super::list::tests::shape;
    use super::*;

    fn stance(form: &str, size: &str, face: Face) -> Stance {
        Stance {
            shape: shape(form, size),
            face,
            at: Mm::new(0.0, 0.0),
            turn: 0.1,
        }
    }

    #[test]
    fn a_disc_on_its_rim_is_a_twin_of_a_square_on_its_side() {
        let all = Search::of_all(Shapes::shipped());
        let plates = Search::called(Shapes::shipped(), "plate").unwrap();
        let twin = |form, size, face, search: &Search| {
            twin_on_side(&stance(form, size, face), search).map(|shape| shape.to_string())
        };
        assert_eq!(
            twin("plate", "1x1", Face::Side, &all).as_deref(),
            Some("round 1x1")
        );
        // And the other way round.
        assert_eq!(
            twin("round", "1x1", Face::Side, &all).as_deref(),
            Some("plate 1x1")
        );
        // A corner on its side is as long as a 2x2, too.
        assert!(twin("plate", "2x2", Face::Side, &all).is_some());
        for (form, size, face, search) in [
            ("plate", "1x1", Face::Side, &plates),
            ("plate", "1x1", Face::Up, &all),
            ("plate", "1x2", Face::Side, &all),
            ("brick", "1x1", Face::Side, &all),
            ("tile", "1x1", Face::Side, &all),
        ] {
            assert_eq!(twin(form, size, face, search), None, "{form} {size}");
        }
    }

    /// Each place holds the whole of the smaller box, and all of them are other places.
    #[test]
    fn a_larger_shape_is_tried_wherever_the_smaller_lies_within() {
        let block = stance("tile", "2x2", Face::Up);
        let places = places_over(&block, shape("brick", "2x3"));
        // By hand: one stud more along one of the sides, at either end, in four turns.
        assert_eq!(places.len(), 8);
        for place in &places {
            let off = place.at.distance(block.at);
            assert!((off - PITCH_MM / 2.0).abs() < 1e-9, "{off}");
            let footprint: Vec<(f64, f64)> = place.footprint().iter().map(|p| (p.x, p.y)).collect();
            let corner = |(u, v): (f64, f64)| block.local(7.7 * u, 7.7 * v);
            for at in [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)].map(corner) {
                assert!(super::super::polygon::inside(&footprint, (at.x, at.y)));
            }
        }
        assert!(places_over(&stance("plate", "1x4", Face::Up), shape("brick", "2x3")).is_empty());
    }

    #[test]
    fn shade_leaves_a_colour_what_it_is_and_black_is_not_white() {
        // As far apart as slope and ridge of one ramp in a lamp's light: 14.5 and 17.8.
        assert!(may_be_one(&[52.0, 40.0, 45.0], &[37.5, 29.0, 31.0]));
        assert!(!may_be_one(&[94.0, 0.0, 2.0], &[20.0, 0.0, 0.0]));
        assert!(!may_be_one(&[41.0, 56.0, 36.0], &[40.0, -33.0, 21.0]));
    }

    /// What was doubted for the several pieces that the net saw in it stays so, whatever lies beside it.
    #[test]
    fn a_doubt_of_its_own_stays() {
        let score = Score::default();
        let found = |own: bool| FoundPiece {
            among_odd: own,
            ..FoundPiece::of(stance("plate", "2x2", Face::Up), &score, Witness::Untaught)
        };
        let mut pieces = [found(true), found(false)];
        mark_among_odd(&mut pieces);
        assert_eq!(pieces.map(|piece| piece.among_odd), [true, false]);
    }

    #[test]
    fn a_shape_is_tried_in_every_turn_that_shows() {
        let turns = |form, size| -> Vec<f64> {
            let turned = turned(stance(form, size, Face::Up));
            turned
                .iter()
                .map(|one| ((one.turn - 0.1).to_degrees() * 100.0).round() / 100.0)
                .collect()
        };
        assert_eq!(turns("corner", "2x2"), [0.0, 90.0, 180.0, 270.0]);
        assert_eq!(turns("round", "1x1"), [0.0]);
        assert_eq!(turns("round", "2x2"), [0.0, 15.0, 30.0, 45.0, 60.0, 75.0]);
    }
}
