//! Seams: a thin dark line right across a flat top, where two pieces lie flush.
//!
//! Edges along the outline, and the net, may take a row of pieces of one colour for one longer piece.
//! The gap between them is a tenth of a millimetre, yet dark all along; on one piece nothing is: the
//! shadow of a stud darkens a part of the way between two studs, and more on one side.

use super::found::{FREE, FoundPiece, Witness};
use super::refine::Bench;
use super::search::Search;
use super::shade::Shade;
use super::shape::{PITCH_MM, Shape};
use super::stance::Stance;

/// How far to both sides of a seam is looked for what is lighter, mm.
const BESIDE_MM: f64 = 0.6;
/// How far from where studs would have it a seam is looked for, mm, and in which steps.
const OFF_MM: f64 = 0.6;
const OFF_STEP_MM: f64 = 0.15;
/// Between places along a seam, mm, and how much of its ends is left out.
const ALONG_STEP_MM: f64 = 0.4;
const ENDS_MM: f64 = 0.8;
/// A seam may be this share of its length lighter than asked: a glint, a hair.
const LIGHTER: f64 = 0.25;
/// Lightness by which the rest of a seam is darker than both sides of it. Over `sample-photos/tune`, heaps left
/// out, at the true places of the pieces: of 3,100 lines between studs within one piece none is darker by
/// more than 0.25; of 175 stretches between two of one form and colour two thirds are by more than 0.55.
const DARKER: f64 = 0.6;

/// How far from a seam what lies beside it is read, mm, and how far in a* and b* together that may be from the two
/// parts' colours and what they mix to: what lies across a covered piece has another one.
const END_MM: f64 = 1.1;
const ALIKE: f64 = 6.0;
/// Between places all over a part at which its colour is read, mm.
const COLOUR_STEP_MM: f64 = 1.0;

/// Share of a part from which on it is a part of a piece that is there already.
const TAKEN: f64 = 0.5;

/// A line across a flat piece, in its own axes.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Line {
    /// Whether it runs across the long side.
    across: bool,
    /// Where, mm from the middle.
    at: f64,
}

/// Pieces that have a seam made the several that they are, where their shapes are looked for.
pub(super) fn parted(
    pieces: Vec<FoundPiece>,
    bench: &Bench<'_>,
    search: &Search,
) -> Vec<FoundPiece> {
    let mut left = pieces;
    left.reverse();
    let mut done = Vec::with_capacity(left.len());
    while let Some(piece) = left.pop() {
        let Some(parts) = parts(&piece, bench, search) else {
            done.push(piece);
            continue;
        };
        let shade = |piece: &FoundPiece| Shade::of(&piece.stance.silhouette(bench.camera));
        let others: Vec<Shade> = done.iter().chain(&left).map(shade).collect();
        let is_free = |part: &FoundPiece| {
            let own = shade(part);
            others.iter().all(|other| other.share_of(&own) < TAKEN)
        };
        left.extend(parts.into_iter().rev().filter(is_free));
    }
    done
}

/// The two parts that a piece's clearest seam makes of it.
fn parts(piece: &FoundPiece, bench: &Bench<'_>, search: &Search) -> Option<[FoundPiece; 2]> {
    let stance = &piece.stance;
    if !stance.shape.is_block() || !stance.face.is_flat() || piece.covered() > FREE {
        return None;
    }
    let seams = lines(stance.shape).into_iter().filter_map(|line| {
        let darker = darker(stance, line, bench).filter(|darker| *darker > DARKER)?;
        Some((darker, both_sides(stance, line, search)?))
    });
    let (_, sides) = seams.max_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(sides.map(|side| part(piece, side, bench)))
}

/// The lines between a shape's rows of studs, as many as could be seams.
fn lines(shape: Shape) -> Vec<Line> {
    let (short, long) = shape.studs_box();
    let between = |across, studs: u8| {
        (1..studs).map(move |k| Line {
            across,
            at: PITCH_MM * (f64::from(k) - f64::from(studs) / 2.0),
        })
    };
    between(true, long).chain(between(false, short)).collect()
}

/// By how much lightness the line that is nearest a seam is darker than both sides of it, nearly all along;
/// `None` where something else begins there.
fn darker(stance: &Stance, line: Line, bench: &Bench<'_>) -> Option<f64> {
    let body = stance.body();
    let (length, width) = if line.across {
        (body.across, body.along)
    } else {
        (body.along, body.across)
    };
    let length = length - 2.0 * ENDS_MM;
    let lab = |off: f64, along: f64| {
        let (a, b) = if line.across {
            (line.at + off, along)
        } else {
            (along, line.at + off)
        };
        let place = bench
            .camera
            .shadow_on_plane(stance.local(a, b), body.height);
        bench.view.sample(place)
    };
    let places = |step: f64| {
        let count = (length / step).ceil().max(4.0);
        (0..count as usize).map(move |k| length * ((k as f64 + 0.5) / count - 0.5))
    };
    let read = |way: f64| {
        let reach = width / 2.0 - way * line.at - ENDS_MM;
        let at = |off: f64| places(COLOUR_STEP_MM).filter_map(move |along| lab(way * off, along));
        let steps = ((reach - END_MM) / COLOUR_STEP_MM) as usize;
        let all = (1..=steps).flat_map(|k| at(END_MM + k as f64 * COLOUR_STEP_MM));
        Some((middling(at(END_MM))?, middling(all)?))
    };
    let ((one_end, one), (other_end, other)) = (read(-1.0)?, read(1.0)?);
    // Where two colours meet, each bleeds into the other.
    let strange = |end| off_between(end, one, other) > ALIKE;
    if strange(one_end) || strange(other_end) {
        return None;
    }
    let lightness = |off: f64, along: f64| lab(off, along).map(|lab| f64::from(lab[0]));
    let steps = (OFF_MM / OFF_STEP_MM).round() as i32;
    (-steps..=steps)
        .filter_map(|step| {
            let off = f64::from(step) * OFF_STEP_MM;
            let depth = |along: f64| {
                let sides = [off - BESIDE_MM, off + BESIDE_MM].map(|off| lightness(off, along));
                Some(sides[0]?.min(sides[1]?) - lightness(off, along)?)
            };
            let mut depths: Vec<f64> = places(ALONG_STEP_MM).map(depth).collect::<Option<_>>()?;
            depths.sort_by(f64::total_cmp);
            depths
                .get((LIGHTER * depths.len() as f64) as usize)
                .copied()
        })
        .max_by(f64::total_cmp)
}

/// How far a colour is from all that two colours mix to.
fn off_between(colour: [f64; 2], one: [f64; 2], other: [f64; 2]) -> f64 {
    let way = [other[0] - one[0], other[1] - one[1]];
    let off = [colour[0] - one[0], colour[1] - one[1]];
    let square = way[0] * way[0] + way[1] * way[1];
    let share = ((way[0] * off[0] + way[1] * off[1]) / square.max(1e-9)).clamp(0.0, 1.0);
    (off[0] - share * way[0]).hypot(off[1] - share * way[1])
}

/// Medians of a* and of b*.
fn middling(labs: impl Iterator<Item = [f32; 3]>) -> Option<[f64; 2]> {
    let labs: Vec<[f32; 3]> = labs.collect();
    let median = |c: usize| {
        let mut all: Vec<f32> = labs.iter().map(|lab| lab[c]).collect();
        all.sort_by(f32::total_cmp);
        all.get(all.len() / 2).copied().map(f64::from)
    };
    Some([median(1)?, median(2)?])
}

/// What lies on both sides of a line, if there are such shapes.
fn both_sides(stance: &Stance, line: Line, search: &Search) -> Option<[Stance; 2]> {
    let body = stance.body();
    let half = if line.across { body.along } else { body.across } / 2.0;
    let side = |from: f64, to: f64| {
        let middle = (from + to) / 2.0;
        let (along, across, at) = if line.across {
            (to - from, body.across, stance.local(middle, 0.0))
        } else {
            (body.along, to - from, stance.local(0.0, middle))
        };
        let studs = |mm: f64| (mm / PITCH_MM).round() as u8;
        let (short, long) = (studs(along.min(across)), studs(along.max(across)));
        let own = stance.shape;
        let shape = (search.shapes().iter()).find(|shape| {
            shape.is_block() && shape.form() == own.form() && shape.studs_box() == (short, long)
        })?;
        let quarter = if along < across {
            std::f64::consts::FRAC_PI_2
        } else {
            0.0
        };
        Some(Stance {
            shape: *shape,
            face: stance.face,
            at,
            turn: stance.turn + quarter,
        })
    };
    Some([side(-half, line.at)?, side(line.at, half)?])
}

/// One part of a piece.
fn part(whole: &FoundPiece, stance: Stance, bench: &Bench<'_>) -> FoundPiece {
    let score = bench.score(&stance);
    FoundPiece {
        stance,
        outline: score.outline,
        weakest_side: score.weakest_side,
        studs: score.studs,
        piece_share: score.piece_share,
        ground_share: score.ground_share,
        score: score.total,
        runner_up: Some((whole.stance.shape, score.total)),
        rival: None,
        twin_on_side: None,
        witness: Witness::Seam,
        ..whole.clone()
    }
}
