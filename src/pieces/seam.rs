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
use crate::numbers::median;

/// How far to both sides of a seam is looked for what is lighter, mm.
const BESIDE_MM: f64 = 0.45;
/// How far from where studs would have it a seam is looked for, mm, and in which steps: a piece made of two is
/// placed between them, and gaps add up.
const OFF_MM: f64 = 0.6;
const OFF_STEP_MM: f64 = 0.15;
/// Between places along a seam, mm, and how much of its ends is left out.
const ALONG_STEP_MM: f64 = 0.4;
const ENDS_MM: f64 = 0.8;
/// A seam may be this share of its length lighter than asked: a glint, a hair, the edges of studs' shadows.
const LIGHTER: f64 = 0.4;
/// Lightness by which the rest of a seam is darker than both sides of it. Over `sample-photos/tune`, heaps, failing
/// photos and the far one left out, at the true places of the pieces: of 2,959 lines between studs within one piece
/// none is darker by more than 0.35; of 52 stretches between two of one form and colour 44 are by more than 0.6.
const DARKER: f64 = 0.6;

/// How far from a seam what lies beside it is read, mm, and how far in a* and b* together that may be from the two
/// parts' colours and what they mix to: what lies across a covered piece has another one. Set by hand: before a
/// stud begins, and well above what bleeding and noise leave.
const END_MM: f64 = 1.1;
const ALIKE: f64 = 6.0;
/// Between places all over a part at which its colour is read, mm.
const COLOUR_STEP_MM: f64 = 1.0;

/// Share of a part from which on it is a part of a piece that is there already: most of it.
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
    Some(sides.map(|side| part(piece, side, bench, search)))
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
    let middle = |c: usize| median(labs.iter().map(|lab| f64::from(lab[c])));
    Some([middle(1)?, middle(2)?])
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
fn part(whole: &FoundPiece, stance: Stance, bench: &Bench<'_>, search: &Search) -> FoundPiece {
    let score = bench.score(&stance);
    // The other form that the whole may have, in the part's size.
    let other_form = whole.other_form.and_then(|(other, _)| {
        let mut same = search
            .shapes()
            .iter()
            .filter(|shape| shape.form() == other.form());
        let shape = *same.find(|shape| shape.has_footprint_of(stance.shape))?;
        Some((shape, bench.score(&Stance { shape, ..stance }).total))
    });
    FoundPiece {
        runner_up: Some((whole.stance.shape, score.total)),
        among_odd: whole.among_odd,
        other_form,
        form_p: whole.form_p,
        at_frame: whole.at_frame,
        like_tray: whole.like_tray,
        ..FoundPiece::of(stance, &score, Witness::Seam)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use nalgebra::{Rotation3, Vector3};
    use ndarray::{Array2, Array3};

    use super::super::evidence::EdgeScale;
    use super::super::face::Face;
    use super::super::list::Shapes;
    use super::super::list::tests::shape;
    use super::super::search::Expected;
    use super::*;
    use crate::tray::{Ground, Kind, LabView};
    use crate::units::{Mm, Px};
    use crate::view::Camera;

    /// 400 mm above (0, 0).
    fn camera() -> Camera {
        Camera {
            focal_px: 1500.0,
            centre: Px::new(1000.0, 750.0),
            k1: 0.0,
            rotation: Rotation3::identity(),
            translation: Vector3::new(0.0, 0.0, 400.0),
        }
    }

    /// Two 2x2 tiles end to end, as if they were one 2x4.
    fn whole() -> Stance {
        Stance {
            shape: shape("tile", "2x4"),
            face: Face::Up,
            at: Mm::new(30.0, 20.0),
            turn: 0.3,
        }
    }

    /// What pieces that [`whole`]'s parts can be are called, for `--expect`.
    const PARTS: &str = "tile 2x2, tile 2x4";

    /// A light tray with that on it; `dark` tells how much darker its top is at a place, mm along and across it.
    fn counted(dark: impl Fn(f64, f64) -> f32, expect: &str) -> Vec<(String, Mm)> {
        painted(
            |along, across| [45.0 - dark(along, across), 20.0, 30.0],
            expect,
        )
    }

    /// The same with the CIELAB colour of its top.
    fn painted(colour: impl Fn(f64, f64) -> [f32; 3], expect: &str) -> Vec<(String, Mm)> {
        let (stance, camera) = (whole(), camera());
        let (sin, cos) = stance.turn.sin_cos();
        let (rows, columns) = (400, 500);
        let origin = Mm::new(-20.0, -20.0);
        let top = stance.top_face(&camera);
        let scale = 400.0 / (400.0 - stance.body().height);
        let lab = Array3::from_shape_fn((rows, columns, 3), |(r, c, k)| {
            let at = Mm::new(
                origin.x + (c as f64 + 0.5) * 0.2,
                origin.y + (r as f64 + 0.5) * 0.2,
            );
            if !super::super::polygon::inside(&top, at) {
                return [85.0, 0.0, 0.0][k];
            }
            let (x, y) = (at.x / scale - stance.at.x, at.y / scale - stance.at.y);
            colour(x * cos + y * sin, y * cos - x * sin)[k]
        });
        let view = LabView {
            mm_per_px: 0.2,
            origin,
            lab,
            inside: Array2::from_elem((rows, columns), true),
        };
        let card = |at: Mm, margin: f64| at.x.abs() < 8.0 + margin && at.y.abs() < 8.0 + margin;
        let ground = Ground::fit(&view, &card).unwrap();
        let bench = Bench {
            view: &view,
            camera: &camera,
            scale: EdgeScale::for_noise(&ground),
            kind_at: &|_, _| Kind::Piece,
        };
        let list = Shapes::shipped();
        let expected: Vec<Expected> = (expect.split(", "))
            .map(|one| Expected::parse(one, list).unwrap())
            .collect();
        let search = Search::of_all(list).expecting(&expected).unwrap();
        let score = bench.score(&stance);
        let piece = FoundPiece::of(stance, &score, Witness::Search);
        let parts = parted(vec![piece], &bench, &search).into_iter();
        parts
            .map(|piece| (piece.stance.shape.size(), piece.stance.at))
            .collect()
    }

    #[test]
    fn a_dark_line_right_across_makes_two_of_one() {
        let seam = |along: f64, _: f64| {
            if (along - 0.2).abs() < 0.15 {
                12.0
            } else {
                0.0
            }
        };
        let found = counted(seam, PARTS);
        let stance = whole();
        assert_eq!(found.len(), 2);
        for ((size, at), off) in found.iter().zip([-8.0, 8.0]) {
            assert_eq!(size, "2x2");
            // A piece is two tenths shorter than its studs' pitches, so that it fits beside others.
            assert!(at.distance(stance.local(off, 0.0)) < 0.1, "{at:?}");
        }
        // What is not looked for cannot be there.
        assert_eq!(counted(seam, "tile 2x4").len(), 1);
    }

    #[test]
    fn a_shadow_a_scratch_and_an_edge_are_no_seams() {
        type Dark = fn(f64, f64) -> f32;
        let alone: [(&str, Dark); 4] = [
            ("plain", |_, _| 0.0),
            (
                "darker on one side",
                |along, _| if along > 0.0 { 12.0 } else { 0.0 },
            ),
            ("half across", |along, across| {
                if along.abs() < 0.15 && across > 0.0 {
                    12.0
                } else {
                    0.0
                }
            }),
            (
                "a wide shadow",
                |along, _| if along.abs() < 2.5 { 12.0 } else { 0.0 },
            ),
        ];
        for (what, dark) in alone {
            assert_eq!(counted(dark, PARTS).len(), 1, "{what}");
        }
    }

    /// A bar lies across the middle, and its edge is dark.
    #[test]
    fn what_lies_across_a_piece_begins_at_no_seam() {
        let top = |along: f64, _: f64| match along {
            _ if along.abs() < 0.15 => [33.0, 20.0, 30.0],
            _ if (0.0..6.0).contains(&along) => [90.0, 0.0, 0.0],
            _ => [45.0, 20.0, 30.0],
        };
        assert_eq!(painted(top, PARTS).len(), 1);
        // Two pieces of different colours do meet at one.
        let two = |along: f64, _: f64| match along {
            _ if along.abs() < 0.15 => [33.0, 20.0, 30.0],
            _ if along > 0.0 => [50.0, -10.0, -20.0],
            _ => [45.0, 20.0, 30.0],
        };
        assert_eq!(painted(two, PARTS).len(), 2);
    }

    #[test]
    fn where_two_colours_meet_a_mix_is_no_third() {
        let (red, blue) = ([60.0, 30.0], [10.0, -40.0]);
        assert!(off_between([35.0, -5.0], red, blue) < 1e-9);
        assert!(off_between([0.0, 0.0], red, blue) > 20.0);
        assert!((off_between([60.0, 35.0], red, red) - 5.0).abs() < 1e-9);
    }
}
