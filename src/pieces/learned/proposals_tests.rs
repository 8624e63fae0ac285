//! Pieces are drawn into maps as a perfect net would, and what is read from them is compared
//! with what was drawn.

#![allow(clippy::unwrap_used)]

use nalgebra::{Rotation3, Vector3};
use ndarray::Array3;

use super::super::super::list::Shapes;
use super::super::super::list::tests::shape;
use super::super::super::polygon::inside;
use super::super::super::shape::Form;
use super::super::maps::{FORMS, SIZES};
use super::super::net::OUTPUTS;
use super::super::strangers::strangers;
use super::*;
use crate::units::Px;

#[derive(Clone, Copy, Debug)]
struct Drawn {
    shape: Shape,
    face: Face,
    at: Mm,
    turn: f64,
}

impl Drawn {
    fn stance(&self) -> Stance {
        Stance {
            shape: self.shape,
            face: self.face,
            at: self.at,
            turn: self.turn,
        }
    }

    /// The way from a corner's middle to the cell that it lacks. On its side it lies along it.
    fn notch(&self) -> f64 {
        let quarter = std::f64::consts::FRAC_PI_4;
        match self.face {
            Face::Up => self.turn - quarter,
            Face::Down => self.turn + quarter,
            _ => self.turn,
        }
    }
}

fn drawn(form: &str, size: &str, face: Face, at: (f64, f64), turn: f64) -> Drawn {
    Drawn {
        shape: shape(form, size),
        face,
        at: Mm::new(at.0, at.1),
        turn: turn.to_radians(),
    }
}

/// 500 mm above (120, 90), looking straight down.
fn camera() -> Camera {
    Camera {
        focal_px: 1500.0,
        centre: Px::new(1000.0, 750.0),
        k1: 0.0,
        rotation: Rotation3::identity(),
        translation: Vector3::new(-120.0, -90.0, 500.0),
    }
}

const ROWS: usize = 100;
const COLUMNS: usize = 120;

fn empty() -> Array3<f32> {
    Array3::from_shape_fn(
        (ROWS, COLUMNS, OUTPUTS),
        |(_, _, k)| {
            if k == 0 { 5.0 } else { 0.0 }
        },
    )
}

/// A map cell's place by the contract: half an input cell right of every fourth one.
fn place(cell: usize) -> f64 {
    2.0 * cell as f64 + 0.25
}

/// Draws pieces, later ones over earlier ones. `votes` changes the vote of a piece's cell
/// (row, column).
fn draw(
    values: &mut Array3<f32>,
    pieces: &[Drawn],
    votes: &dyn Fn(&Drawn, usize, usize) -> (f64, f64),
) {
    let camera = camera();
    let outlines: Vec<Vec<Mm>> = pieces
        .iter()
        .map(|piece| {
            if piece.face.is_flat() && !piece.shape.is_block() {
                return piece.stance().silhouette(&camera);
            }
            let lies = Lies::of(piece.shape, piece.face).unwrap();
            lies.silhouette(piece.at, piece.turn, &camera)
        })
        .collect();
    let cells = || (0..ROWS).flat_map(|row| (0..COLUMNS).map(move |column| (row, column)));
    let at = |row: usize, column: usize| Mm::new(place(column), place(row));
    for (which, piece) in pieces.iter().enumerate() {
        let (_, over) = outlines.split_at(which + 1);
        let (mut whole, mut seen) = (0.0, Vec::new());
        for (row, column) in cells() {
            if inside(&outlines[which], at(row, column)) {
                whole += 1.0;
                if !over.iter().any(|o| inside(o, at(row, column))) {
                    seen.push((row, column));
                }
            }
        }
        let visible = (seen.len() as f32 / whole).clamp(0.02, 0.98);
        for &(row, column) in &seen {
            let off = votes(piece, row, column);
            let told = told(piece, at(row, column), off, visible, &camera);
            let told = ndarray::ArrayView1::from(&told);
            values.slice_mut(ndarray::s![row, column, ..]).assign(&told);
        }
    }
}

/// What a perfect net says of a piece at a place where it sees it, its vote `off` mm off.
fn told(piece: &Drawn, at: Mm, off: (f64, f64), visible: f32, camera: &Camera) -> [f32; OUTPUTS] {
    let lies = Lies::of(piece.shape, piece.face).unwrap();
    let seen = lies.seen(piece.at, camera);
    let size = piece.shape.studs_box();
    let face = Face::ALL.iter().position(|f| *f == piece.face);
    let form = FORMS.iter().position(|f| *f == piece.shape.form());
    let size = SIZES.iter().position(|s| *s == size);
    let mut cell = [0.0; OUTPUTS];
    cell[1] = 5.0;
    cell[3] = ((seen.x + off.0 - at.x) / 16.0) as f32;
    cell[4] = ((seen.y + off.1 - at.y) / 16.0) as f32;
    cell[5] = (2.0 * piece.turn).cos() as f32;
    cell[6] = (2.0 * piece.turn).sin() as f32;
    cell[7] = (4.0 * piece.turn).cos() as f32;
    cell[8] = (4.0 * piece.turn).sin() as f32;
    cell[9 + face.unwrap()] = 4.0;
    cell[13 + form.unwrap()] = 4.0;
    cell[18 + size.unwrap()] = 6.0;
    cell[36] = (visible / (1.0 - visible)).ln();
    cell[37] = (lies.long_mm / 16.0).ln() as f32;
    cell[38] = (lies.short_mm / 16.0).ln() as f32;
    cell[40] = piece.notch().cos() as f32;
    cell[41] = piece.notch().sin() as f32;
    cell
}

fn exact(_: &Drawn, _: usize, _: usize) -> (f64, f64) {
    (0.0, 0.0)
}

/// Off by up to 2 mm each way, differently for each cell.
fn shaky(row: usize, column: usize) -> (f64, f64) {
    let part = |k: usize| ((row * 7919 + column * 104_729 + k) % 97) as f64 / 24.0 - 2.0;
    (part(0), part(31))
}

fn read(values: Array3<f32>, allowed: &dyn Fn(Shape) -> bool) -> Vec<Proposal> {
    let maps = Maps::from_output(values, Mm::new(0.0, 0.0)).unwrap();
    let shapes: Vec<Shape> = Shapes::shipped().all().filter(|s| allowed(*s)).collect();
    proposals(&maps, &camera(), &shapes)
}

/// Every piece came out, once, as it was drawn, `off_mm` off at most.
#[track_caller]
fn assert_read(pieces: &[Drawn], found: &[Proposal], off_mm: f64) {
    assert_eq!(found.len(), pieces.len(), "{found:#?}");
    for piece in pieces {
        let near = found
            .iter()
            .min_by(|a, b| a.at.distance(piece.at).total_cmp(&b.at.distance(piece.at)))
            .unwrap();
        assert!(near.at.distance(piece.at) < off_mm, "{piece:?}: {near:?}");
        assert_eq!((near.shape, near.face), (piece.shape, piece.face));
        let lies = Lies::of(piece.shape, piece.face).unwrap();
        let whole = if piece.shape.has_notch() {
            360.0
        } else if lies.is_square() {
            90.0
        } else {
            180.0
        };
        let off = (near.turn - piece.turn).to_degrees().rem_euclid(whole);
        assert!(off.min(whole - off) < 0.1, "{piece:?}: {}", near.turn);
        assert!(near.p > 0.5 && near.score > 0.7, "{near:?}");
        assert!(near.runners_up.iter().all(|r| r.p < near.p));
    }
}

fn scene() -> Vec<Drawn> {
    use Face::{Down, End, Side, Up};
    vec![
        // Two tiles without a gap, of the same turn.
        drawn("tile", "1x2", Up, (40.0, 40.0), 0.0),
        drawn("tile", "1x2", Up, (40.0, 48.0), 0.0),
        drawn("plate", "1x8", Up, (150.0, 30.0), 20.0),
        drawn("plate", "2x2", Up, (100.0, 90.0), 30.0),
        drawn("brick", "2x4", Down, (60.0, 140.0), 100.0),
        drawn("plate", "1x3", Side, (180.0, 90.0), 75.0),
        // Two plates on their sides, side by side.
        drawn("plate", "2x4", Side, (150.0, 140.0), 0.0),
        drawn("plate", "2x4", Side, (150.0, 143.4), 0.0),
        drawn("brick", "1x3", End, (200.0, 160.0), 10.0),
        drawn("brick", "1x1", Side, (30.0, 90.0), 45.0),
        drawn("corner", "2x2", Up, (70.0, 60.0), 200.0),
        drawn("corner", "2x2", Down, (130.0, 65.0), 310.0),
        drawn("corner", "2x2", Side, (20.0, 120.0), 250.0),
        drawn("round", "2x2", Up, (75.0, 20.0), 10.0),
        // Whose neighbour fills the cell that a corner lacks.
        drawn("corner", "2x2", Up, (30.0, 165.0), 0.0),
        drawn("round", "1x1", Up, (34.0, 161.0), 0.0),
        drawn("round", "2x2", Side, (100.0, 170.0), 33.0),
    ]
}

#[test]
fn what_a_perfect_net_sees_comes_out() {
    let mut values = empty();
    draw(&mut values, &scene(), &exact);
    // Votes and places are exact up to single precision.
    assert_read(&scene(), &read(values, &|_| true), 0.01);
}

#[test]
fn votes_may_be_off_by_some_mm() {
    let mut values = empty();
    draw(&mut values, &scene(), &|piece, row, column| {
        let narrow = Lies::of(piece.shape, piece.face).unwrap().short_mm;
        // What is 3.2 mm thin cannot be told apart by votes off by more than half of that.
        let scale = (narrow / 7.8).min(1.0) * 0.7;
        let (x, y) = shaky(row, column);
        (scale * x, scale * y)
    });
    // The mean of a dozen votes, each off by up to 1.4 mm each way.
    assert_read(&scene(), &read(values, &|_| true), 1.0);
}

/// The two halves of a long piece each think that the middle lies nearer to them.
#[test]
fn a_long_piece_with_two_peaks_comes_out_once() {
    let piece = drawn("plate", "1x8", Face::Up, (120.0, 90.0), 0.0);
    let mut values = empty();
    draw(&mut values, &[piece], &|_, _, column| {
        let side = if place(column) < 120.0 { -7.0 } else { 7.0 };
        (side, 0.0)
    });
    let found = read(values, &|_| true);
    assert_read(&[piece], &found, 1.0);
}

/// What is not allowed is not said, and lengths decide between what is.
#[test]
fn only_allowed_shapes_are_read() {
    let piece = drawn("brick", "2x4", Face::Up, (120.0, 90.0), 0.0);
    let mut values = empty();
    draw(&mut values, &[piece], &exact);
    let plates = read(values.clone(), &|shape| shape.form() == Form::PLATE);
    assert_eq!(plates.len(), 1);
    assert_eq!(plates[0].shape.to_string(), "plate 2x4");
    // What it was allowed is not what the net thinks.
    assert!(plates[0].allowed_p < 0.1, "{plates:?}");
    let other = |shape: Shape| shape.form() == Form::BRICK && shape.studs_box() != (2, 4);
    let bricks = read(values.clone(), &other);
    let close = ["brick 2x3", "brick 2x5"];
    assert!(close.contains(&bricks[0].shape.to_string().as_str()));
    assert!(read(values, &|_| false).is_empty());
}

/// Corners and discs only in the sizes of the list that is shipped.
#[test]
fn what_the_net_was_taught() {
    let taught = |form: &str, size: &str| is_taught(shape(form, size));
    for (form, size) in [("brick", "4x6"), ("tile", "1x7"), ("corner", "2x2")] {
        assert!(taught(form, size), "{form} {size}");
    }
    assert!(taught("round", "1x1") && taught("round", "2x2"));
    let own = r#"{"shapes": "v1", "pieces": [
        {"form": "corner", "sizes": ["3x3"], "height_mm": 3.2,
         "outline": [[0, 0], [3, 0], [3, 1], [1, 1], [1, 3], [0, 3]], "studs": [[0.5, 0.5]]},
        {"form": "round", "sizes": ["4x4"], "height_mm": 3.2, "outline": "disc", "studs": "all"},
        {"form": "wing", "sizes": ["2x2"], "height_mm": 3.2,
         "outline": [[0, 0], [2, 0], [0, 2]], "studs": [[0.5, 0.5]]}]}"#;
    let shapes = Shapes::shipped().extended(own).unwrap();
    let own: Vec<Shape> = shapes.all().filter(|s| !is_taught(*s)).collect();
    let names: Vec<String> = own.iter().map(Shape::to_string).collect();
    assert_eq!(names, ["corner 3x3", "round 4x4", "wing 2x2"]);
}

/// Where a corner's outline ends sooner, its drawing has nothing.
#[test]
fn a_corner_lacks_what_its_notch_points_to() {
    for (face, turn) in [(Face::Up, 0.0), (Face::Up, 130.0), (Face::Down, 75.0)] {
        let piece = drawn("corner", "2x2", face, (120.0, 90.0), turn);
        let (sin, cos) = piece.notch().sin_cos();
        let outline = piece.stance().footprint();
        let at = |mm: f64| Mm::new(120.0 + mm * cos, 90.0 + mm * sin);
        assert!(inside(&outline, at(-5.0)), "{piece:?}");
        assert!(!inside(&outline, at(5.0)), "{piece:?}");
    }
}

/// A piece of which hardly anything is there has a low score; one cell is no piece.
#[test]
fn slivers_score_low() {
    let piece = drawn("plate", "2x4", Face::Up, (120.0, 90.0), 0.0);
    let mut whole = empty();
    draw(&mut whole, &[piece], &exact);
    let cut = |columns: usize| {
        let mut cut = empty();
        let kept = ndarray::s![.., ..105 / 2 + columns, ..];
        cut.slice_mut(kept).assign(&whole.slice(kept));
        cut
    };
    let found = read(cut(4), &|_| true);
    assert_eq!(found.len(), 1);
    assert!(found[0].score < 0.35, "{found:?}");
    let mut speck = empty();
    speck
        .slice_mut(ndarray::s![45, 60, ..])
        .assign(&whole.slice(ndarray::s![45, 60, ..]));
    assert!(read(speck, &|_| true).is_empty());
}

#[test]
fn strangers_are_told_apart_from_pieces() {
    let mut values = empty();
    let piece = drawn("plate", "2x4", Face::Up, (120.0, 90.0), 0.0);
    draw(&mut values, &[piece], &exact);
    for row in 10..15 {
        for column in 20..24 {
            values[(row, column, 0)] = 0.0;
            values[(row, column, 2)] = 4.0;
        }
    }
    assert_eq!(read(values.clone(), &|_| true).len(), 1);
    let maps = Maps::from_output(values, Mm::new(5.0, -3.0)).unwrap();
    let found = strangers(&maps);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].cells.len(), 20);
    // Columns 20 to 23 and rows 10 to 14, from the corner (5, -3).
    let middle = Mm::new(5.0 + 43.25, -3.0 + 24.25);
    assert!(found[0].at.distance(middle) < 1e-9, "{found:?}");
}

#[test]
fn a_net_gone_wrong_makes_no_panic() {
    for value in [f32::NAN, f32::INFINITY, -1e30, 0.0] {
        let values = Array3::from_elem((10, 10, OUTPUTS), value);
        let maps = Maps::from_output(values, Mm::new(0.0, 0.0)).unwrap();
        let _ = proposals(&maps, &camera(), &[shape("brick", "2x4")]);
        let _ = strangers(&maps);
    }
    assert!(Maps::from_output(Array3::zeros((4, 4, 5)), Mm::new(0.0, 0.0)).is_none());
}
