#![allow(clippy::unwrap_used)]
use super::*;
use crate::pieces::list::tests::shape;
use crate::sheet::file::{CardReport, ColourReport, PhotoRef, Version};
use image::Rgb;
use std::sync::LazyLock;

/// A sheet of a card seen from 410 mm, 10 px a mm, a little off the middle.
pub fn sheet() -> Sheet {
    Sheet {
        sheet: Version::V1,
        photos: PhotoRef {
            file: "quay.jpg".to_owned(),
            width_px: 4000,
            height_px: 3000,
            hash: "0".repeat(64),
            counted_at_px: None,
            path: None,
            card: None,
        }
        .into(),
        place: None,
        light: None,
        checked: false,
        only_taught: false,
        set_right_by: None,
        stated_by: None,
        card: CardReport {
            version: "v1".to_owned(),
            tags: vec![0, 1, 2, 3],
            corners_px: [
                [410.0, 210.0],
                [2310.0, 210.0],
                [2310.0, 910.0],
                [410.0, 910.0],
            ],
            reprojection_px: 0.1,
            mm_per_px: 0.1,
            tilt_deg: 0.0,
            camera_height_mm: 410.0,
            lens_k1: 0.0,
            patches: 24,
        },
        colour: ColourReport {
            mean_de00: 1.0,
            p95_de00: 2.0,
            max_de00: 3.0,
            print_profile: false,
            method: "matrix".to_owned(),
        },
        pieces: Vec::new(),
        groups: Vec::new(),
        unexplained: Vec::new(),
        weighing: None,
        total: None,
        second_photo: None,
        warnings: Vec::new(),
        review: None,
    }
}

fn piece(shape: Shape, at: Mm, turn_deg: f64, colour: &str) -> Piece {
    Piece {
        id: 1,
        form: shape.form().name().to_owned(),
        size: shape.size(),
        colour: colour.to_owned(),
        face: "up".to_owned(),
        x_mm: at.x,
        y_mm: at.y,
        turn_deg: turn_of(shape, "up", turn_deg),
        ..Piece::default()
    }
}

/// A fixed grain of up to 5 levels over a colour.
fn grained(ink: [u8; 3], x: u32, y: u32) -> Rgb<u8> {
    let grain = ((x * 7 + y * 13 + x * y % 11) % 11) as u8;
    Rgb(ink.map(|level| level.saturating_add(grain).saturating_sub(5)))
}

static BARE: LazyLock<RgbImage> =
    LazyLock::new(|| RgbImage::from_fn(4000, 3000, |x, y| grained([190, 188, 180], x, y)));

/// A grey, grainy tray with pieces painted as their silhouettes.
fn photo(tray: &Tray, pieces: &[(&Piece, [u8; 3])]) -> RgbImage {
    let mut photo = BARE.clone();
    for (piece, ink) in pieces {
        let outline = tray.outline(&Stand::of(piece)).unwrap();
        let bound = |k: usize| {
            let values = outline.iter().map(|corner| corner[k]);
            let low = values.clone().fold(f64::INFINITY, f64::min);
            low as u32..values.fold(0.0, f64::max) as u32 + 1
        };
        let hull: Vec<Mm> = outline.iter().map(|&[x, y]| Mm::new(x, y)).collect();
        for y in bound(1) {
            for x in bound(0) {
                let here = Mm::new(f64::from(x) + 0.5, f64::from(y) + 0.5);
                if inside(&hull, here) {
                    photo.put_pixel(x, y, grained(*ink, x, y));
                }
            }
        }
    }
    photo
}

/// The photo rectangle around a piece, as a hand drags it: a little off all around.
fn drag_around(tray: &Tray, piece: &Piece) -> Drag {
    let outline = tray.outline(&Stand::of(piece)).unwrap();
    let [mut left, mut top] = [f64::INFINITY; 2];
    let [mut right, mut bottom] = [f64::NEG_INFINITY; 2];
    for [x, y] in outline {
        (left, right) = (left.min(x), right.max(x));
        (top, bottom) = (top.min(y), bottom.max(y));
    }
    [left - 18.0, top - 9.0, right + 12.0, bottom + 22.0]
}

/// Every listed shape at awkward turns: size exact, place within 1 mm (an eighth of a
/// stud), turn within 3 degrees (a 1x8's end then is off by half a stud at most).
#[test]
fn every_listed_shape_is_recognised_by_a_rough_drag() {
    let mut sheet = sheet();
    let tray = Tray::of(&sheet, Shapes::shipped()).unwrap();
    for form in tray.shapes().forms() {
        let shapes = tray.shapes().of_form(form);
        let known = piece(shapes[0], Mm::new(-20.0, 120.0), 0.0, "kelp");
        sheet.pieces = vec![known];
        for (k, shape) in shapes.into_iter().enumerate() {
            let turn = (17.0 * k as f64 + 8.0) % 180.0;
            let at = Mm::new(215.0 + (k % 3) as f64 * 20.0, 140.0 - (k % 4) as f64 * 9.0);
            let truth = piece(shape, at, turn, "rope");
            let photo = photo(&tray, &[(&truth, [40, 90, 160])]);
            let drag = drag_around(&tray, &truth);
            let draft = snap(&sheet, &tray, Some(&photo), drag).unwrap();
            assert_eq!(draft.size, truth.size, "{form:?} turned by {turn}");
            let off = Mm::new(draft.x_mm, draft.y_mm).distance(at);
            assert!(off < 1.0, "{} is off by {off} mm", truth.size);
            if !shape.is_block() {
                // How it is turned in its box is for a person to see.
                continue;
            }
            let whole = shape.same_after_deg();
            let turned = (draft.turn_deg - truth.turn_deg).rem_euclid(whole);
            assert!(turned.min(whole - turned) < 3.0, "{} {turned}", truth.size);
        }
    }
}

#[test]
fn the_colour_is_that_of_the_piece_that_looks_alike() {
    let mut sheet = sheet();
    let tray = Tray::of(&sheet, Shapes::shipped()).unwrap();
    let shape = shape("plate", "2x4");
    let mut kelp = piece(shape, Mm::new(-10.0, 110.0), 20.0, "kelp");
    let mut rope = piece(shape, Mm::new(60.0, 130.0), 0.0, "rope");
    (kelp.lab, rope.lab) = ([40.0, -30.0, 20.0], [70.0, 5.0, 30.0]);
    let missed = piece(shape, Mm::new(150.0, 150.0), 55.0, "");
    let (green, sand) = ([50, 110, 60], [200, 170, 110]);
    let photo = photo(
        &tray,
        &[(&kelp, green), (&rope, sand), (&missed, [54, 112, 58])],
    );
    sheet.pieces = vec![kelp, rope];
    let draft = snap(&sheet, &tray, Some(&photo), drag_around(&tray, &missed)).unwrap();
    assert_eq!(draft.colour, "kelp");
    // As much lighter and so on as it is in the photo.
    assert!(de00(draft.lab.unwrap(), [40.0, -30.0, 20.0]) < 3.0);
}

#[test]
fn where_the_pixels_say_nothing_the_rectangle_speaks() {
    let sheet = sheet();
    let tray = Tray::of(&sheet, Shapes::shipped()).unwrap();
    // 318 x 158 px are 31.8 x 15.8 mm: a 2x4 along the photo's rows.
    let drag = [1500.0, 1600.0, 1818.0, 1758.0];
    for pixels in [None, Some(photo(&tray, &[]))] {
        let draft = snap(&sheet, &tray, pixels.as_ref(), drag).unwrap();
        assert_eq!(draft.size, "2x4");
        assert!(draft.turn_deg.min(180.0 - draft.turn_deg) < 0.1);
    }
    // The other way round, and dragged from the lower right.
    let draft = snap(&sheet, &tray, None, [1658.0, 1918.0, 1500.0, 1600.0]).unwrap();
    assert_eq!((draft.size.as_str(), draft.turn_deg.round()), ("2x4", 90.0));
}

#[test]
fn a_click_finds_the_piece_under_it() {
    let sheet = sheet();
    let tray = Tray::of(&sheet, Shapes::shipped()).unwrap();
    let shape = shape("brick", "2x3");
    let truth = piece(shape, Mm::new(150.0, 150.0), 30.0, "");
    let photo = photo(&tray, &[(&truth, [150, 40, 40])]);
    let [x, y] = super::super::tray::middle(&tray.outline(&Stand::of(&truth)).unwrap());
    let draft = snap(&sheet, &tray, Some(&photo), [x, y, x + 1.0, y]).unwrap();
    assert_eq!(draft.size, truth.size);
    // Nowhere near a piece: something to move about and turn by hand.
    let draft = snap(&sheet, &tray, None, [x, y, x, y]).unwrap();
    assert_eq!(draft.size, "2x4");
}
