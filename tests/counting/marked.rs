//! The marked-up picture: what it changes in the photo, and that no sheet breaks it.

use cuptally::photo::LinearPicture;
use cuptally::sheet::file::{Group, Sheet};
use cuptally::sheet::marked::{MarkedError, marked, to_jpeg};
use image::RgbImage;
use serde_json::{Value, json};

/// The panel's margin is 9 mm at 8 px a mm.
const MARGIN_PX: u32 = 72;

fn grey(width: usize, height: usize, light: f32) -> LinearPicture {
    LinearPicture::from_fn(width, height, |_, _| [light; 3])
}

fn sheet(width: u32, height: u32, pieces: &[Value]) -> Sheet {
    serde_json::from_value(json!({
        "sheet": "v1",
        "photo": {"file": "cup-3.jpg", "width_px": width, "height_px": height, "hash": "0".repeat(64)},
        // Far outside, so that the card leaves no line in the photo.
        "card": {"version": "v1", "tags": [], "patches": 24, "reprojection_px": 0.2,
            "corners_px": [[-9e3, -9e3], [-8e3, -9e3], [-8e3, -8e3], [-9e3, -8e3]],
            "mm_per_px": 0.25, "tilt_deg": 3.0, "camera_height_mm": 500.0},
        "colour": {"mean_de00": 1.1, "p95_de00": 2.0, "max_de00": 2.5, "print_profile": false,
            "method": "root-polynomial"},
        "pieces": pieces, "groups": [], "warnings": []
    }))
    .unwrap()
}

/// An upright piece; `sure` decides whether it is doubtful.
fn piece(id: u32, [left, top, right, bottom]: [f64; 4], sure: f64) -> Value {
    json!({
        "id": id, "form": "plate", "size": "2x4", "colour": "kelp",
        "x_px": (left + right) / 2.0, "y_px": (top + bottom) / 2.0,
        "x_mm": 0.0, "y_mm": 0.0, "turn_deg": 0.0, "face": "up", "sure": sure,
        "lab": [45.0, -20.0, 15.0],
        "outline_px": [[left, top], [right, top], [right, bottom], [left, bottom]]
    })
}

fn group(colour: &str, size: &str, count: u32) -> Group {
    Group {
        form: "plate".into(),
        size: size.into(),
        colour: colour.into(),
        count,
        low: count,
        high: count + 1,
        sure: 0.8,
    }
}

fn luma(picture: &RgbImage, x: u32, y: u32) -> i32 {
    let [red, green, blue] = picture.get_pixel(x, y).0.map(i32::from);
    (2 * red + 5 * green + blue) / 8
}

/// How far a place is from the rectangle's edge.
fn from_edge([left, top, right, bottom]: [f64; 4], x: f64, y: f64) -> f64 {
    let outside = (left - x).max(x - right).max(top - y).max(y - bottom);
    if outside <= 0.0 {
        return -outside;
    }
    let (dx, dy) = (
        (left - x).max(x - right).max(0.0),
        (top - y).max(y - bottom).max(0.0),
    );
    dx.hypot(dy)
}

const WHERE: [f64; 4] = [200.0, 250.0, 400.0, 350.0];

#[test]
fn a_sure_piece_changes_the_photo_on_its_outline_and_its_label_alone() {
    let picture = grey(800, 600, 0.2);
    let bare = marked(&picture, &sheet(800, 600, &[])).unwrap();
    let with = marked(&picture, &sheet(800, 600, &[piece(1, WHERE, 0.99)])).unwrap();
    // sRGB of 0.2 is 124.
    assert_eq!(bare.get_pixel(3, 3).0, [124; 3]);
    let mut on_label = 0;
    for (x, y) in (0..800).flat_map(|x| (0..600).map(move |y| (x, y))) {
        let changed = bare.get_pixel(x, y) != with.get_pixel(x, y);
        let (px, py) = (f64::from(x) + 0.5, f64::from(y) + 0.5);
        let edge = from_edge(WHERE, px, py);
        let label = (px - 300.0).abs() < 32.0 && (py - 300.0).abs() < 16.0;
        if label {
            on_label += u32::from(changed);
        } else if edge < 0.6 {
            assert!(changed, "the outline is missing at {x}, {y}");
        } else if edge > 3.0 {
            assert!(!changed, "{x}, {y} is {edge} px off the outline");
        }
    }
    assert!((100..1500).contains(&on_label), "{on_label}");
}

#[test]
fn a_line_is_seen_on_black_on_white_and_between() {
    for light in [0.0, 0.05, 0.2, 0.5, 1.0] {
        for sure in [0.99, 0.5] {
            let sheet = sheet(800, 600, &[piece(1, WHERE, sure)]);
            let picture = marked(&grey(800, 600, light), &sheet).unwrap();
            // Across the left edge, away from corners, label and badge.
            let seen = |y: &u32| {
                let across = (185..216).map(|x| luma(&picture, x, *y));
                let (low, high) = across.fold((255, 0), |(low, high), l| (l.min(low), l.max(high)));
                high - low > 60
            };
            let rows = (315..345).filter(seen).count();
            // On black the gaps between dashes are not seen, and need not be.
            let least = if sure < 0.9 { 15 } else { 30 };
            assert!(rows >= least, "light {light}, sure {sure}: {rows} of 30");
        }
    }
}

/// Light and dark take turns along a doubtful piece's line, whatever the hue; along
/// a sure piece's line nothing changes.
#[test]
fn doubtful_pieces_differ_by_dashes_and_width_and_not_by_hue_alone() {
    let turns_and_width = |sure: f64| {
        let mut sheet = sheet(800, 600, &[piece(1, WHERE, 1.0)]);
        sheet.pieces[0].sure = sure;
        let picture = marked(&grey(800, 600, 0.2), &sheet).unwrap();
        let along: Vec<bool> = (205..395).map(|x| luma(&picture, x, 250) > 110).collect();
        let turns = along.windows(2).filter(|pair| pair[0] != pair[1]).count();
        let changed = |y: &u32| luma(&picture, 230, *y) != 124;
        (turns, (230..270).filter(changed).count())
    };
    let (turns, sure_width) = turns_and_width(0.9);
    assert_eq!(turns, 0);
    for sure in [0.899, 0.5, 0.0, f64::NAN] {
        let (turns, width) = turns_and_width(sure);
        assert!(turns >= 8, "{turns}");
        assert!(width >= sure_width + 2, "{width}, sure {sure_width}");
    }
}

#[test]
fn a_badge_leaves_the_neighbours_free() {
    // Doubtful in the middle, neighbours on three sides; room only below.
    let neighbours = [
        [200.0, 150.0, 400.0, 246.0],
        [90.0, 250.0, 196.0, 350.0],
        [404.0, 250.0, 520.0, 350.0],
    ];
    let mut pieces: Vec<Value> = (2..)
        .zip(neighbours)
        .map(|(i, at)| piece(i, at, 1.0))
        .collect();
    let picture = grey(800, 600, 0.2);
    let without = marked(&picture, &sheet(800, 600, &pieces)).unwrap();
    pieces.push(piece(1, WHERE, 0.5));
    let with = marked(&picture, &sheet(800, 600, &pieces)).unwrap();
    for [left, top, right, bottom] in neighbours.map(|at| at.map(|v| v as u32)) {
        for (x, y) in (left + 8..right - 8).flat_map(|x| (top + 8..bottom - 8).map(move |y| (x, y)))
        {
            assert_eq!(with.get_pixel(x, y), without.get_pixel(x, y), "{x}, {y}");
        }
    }
    let amber = with
        .enumerate_pixels()
        .filter(|(x, y, pixel)| *x < 800 && (360..420).contains(y) && pixel.0 == [255, 182, 30]);
    assert!(amber.count() > 200, "no badge below");
}

#[test]
fn a_place_that_no_piece_explains_has_a_ring() {
    let picture = grey(800, 600, 0.2);
    let bare = sheet(800, 600, &[]);
    let mut with = bare.clone();
    // A disc of 20 mm radius at 0.25 mm a pixel is 80 px; its ring 1.4 times that.
    with.unexplained = serde_json::from_value(json!([{"x_px": 400.0, "y_px": 300.0,
        "x_mm": 1.0, "y_mm": 2.0, "area_mm2": 20.0 * 20.0 * std::f64::consts::PI}]))
    .unwrap();
    let (bare, with) = (
        marked(&picture, &bare).unwrap(),
        marked(&picture, &with).unwrap(),
    );
    let mut free = 0;
    for degrees in 0..360 {
        let (sin, cos) = f64::from(degrees).to_radians().sin_cos();
        let at = |radius: f64| ((400.0 + radius * cos) as u32, (300.0 + radius * sin) as u32);
        let changed = |(x, y)| bare.get_pixel(x, y) != with.get_pixel(x, y);
        assert!(changed(at(112.0)), "no ring at {degrees} degrees");
        assert!(
            !changed(at(80.0)),
            "the thing is hidden at {degrees} degrees"
        );
        free += usize::from(!changed(at(122.0)));
    }
    assert!(free > 300, "{free}");
}

#[test]
fn a_large_photo_is_reduced_with_everything_on_it() {
    let at = WHERE.map(|v| v * 1.5);
    let sheet = sheet(3600, 2700, &[piece(1, at, 0.99)]);
    let picture = marked(&grey(3600, 2700, 0.2), &sheet).unwrap();
    assert!(picture.width() > 2400 && picture.height() == 1800);
    // The outline lies at two thirds of its place in the photo, and the photo goes
    // on to the last pixel.
    assert!(luma(&picture, 300, 250) > 240 && luma(&picture, 400, 300) > 240);
    assert_eq!(picture.get_pixel(2399, 1799).0, [124; 3]);
    assert_eq!(picture.get_pixel(2401, 1799).0, [255; 3]);
}

#[test]
fn the_card_is_drawn_from_corner_to_corner() {
    let mut with = sheet(800, 600, &[]);
    let bare = marked(&grey(800, 600, 0.2), &with).unwrap();
    with.card.corners_px = [
        [100.0, 100.0],
        [500.0, 120.0],
        [495.0, 270.0],
        [95.0, 250.0],
    ];
    let picture = marked(&grey(800, 600, 0.2), &with).unwrap();
    for (x, y) in [(100, 100), (300, 110), (500, 120), (295, 260), (97, 175)] {
        assert_ne!(picture.get_pixel(x, y), bare.get_pixel(x, y), "{x}, {y}");
    }
    assert_eq!(picture.get_pixel(300, 190), bare.get_pixel(300, 190));
    // The corner from which the tray is measured is the only light one.
    assert!(luma(&picture, 100, 100) > 200 && luma(&picture, 499, 120) < 60);
}

/// Nothing is cut: right of and below the panel its margin is bare.
fn assert_margins_are_bare(picture: &RgbImage, photo: (u32, u32)) {
    let (width, height) = picture.dimensions();
    for (x, y, pixel) in picture.enumerate_pixels() {
        if x < photo.0 && y < photo.1 {
            continue;
        }
        if x >= width - MARGIN_PX + 8 || y >= height - MARGIN_PX + 8 {
            assert_eq!(pixel.0, [255; 3], "{x}, {y} of {width} x {height}");
        }
    }
}

fn full(width: u32, height: u32, groups: usize, doubts: usize, warnings: usize) -> Sheet {
    let pieces: Vec<Value> = (0..doubts)
        .map(|i| {
            let (x, y) = (20.0 + 60.0 * (i % 12) as f64, 20.0 + 50.0 * (i / 12) as f64);
            let mut piece = piece(i as u32 + 1, [x, y, x + 40.0, y + 30.0], 0.6);
            piece["doubts"] = json!([
                "could as well be a plate 2x3 in another shade of eelgrass",
                "its outline is not clear all around"
            ]);
            piece
        })
        .collect();
    let mut sheet = sheet(width, height, &pieces);
    sheet.groups = (0..groups)
        .map(|i| group(&format!("moderate yellowish green {}", i / 3), "2x4", 7))
        .collect();
    sheet.warnings = (0..warnings)
        .map(|i| {
            serde_json::from_value(json!({"code": format!("light-uneven-{i}"),
            "text": "the light falls off by half over the tray; ".repeat(6)}))
            .unwrap()
        })
        .collect();
    sheet
}

#[test]
fn forty_groups_and_a_dozen_doubts_fit_beside_a_photo() {
    let mut sheet = full(2400, 1800, 40, 12, 1);
    for (i, group) in sheet.groups.iter_mut().enumerate() {
        group.colour = format!("yellowish green {i}");
    }
    for piece in &mut sheet.pieces {
        piece.doubts = vec!["could as well be a tile".into()];
    }
    let picture = marked(&grey(2400, 1800, 0.2), &sheet).unwrap();
    assert_eq!(picture.height(), 1800);
    assert_margins_are_bare(&picture, (2400, 1800));
}

#[test]
fn the_panel_grows_with_its_lists_for_every_shape_of_photo() {
    for (width, height) in [(800, 600), (600, 800), (2400, 1350), (1536, 2048), (64, 64)] {
        for (groups, doubts, warnings) in [(0, 0, 0), (1, 1, 1), (60, 20, 5), (400, 300, 60)] {
            let sheet = full(width, height, groups, doubts, warnings);
            let picture = grey(width as usize, height as usize, 0.2);
            let picture = marked(&picture, &sheet).unwrap();
            assert_margins_are_bare(&picture, (width, height));
            // Room in every JPEG reader.
            assert!(picture.width() < 16_384 && picture.height() < 32_768);
        }
    }
}

#[test]
fn the_same_sheet_gives_the_same_bytes() {
    let sheet = full(800, 600, 30, 40, 2);
    let picture = grey(800, 600, 0.3);
    let (one, other) = (
        marked(&picture, &sheet).unwrap(),
        marked(&picture, &sheet).unwrap(),
    );
    assert!(one == other);
    assert!(to_jpeg(&one, "cup-3.jpg").unwrap() == to_jpeg(&other, "cup-3.jpg").unwrap());
}

#[test]
fn the_jpeg_shows_the_picture() {
    let picture = marked(&grey(800, 600, 0.3), &full(800, 600, 30, 40, 2)).unwrap();
    let bytes = to_jpeg(&picture, "cup-3.jpg").unwrap();
    let read = image::load_from_memory(&bytes).unwrap().into_rgb8();
    assert_eq!(read.dimensions(), picture.dimensions());
    let pairs = read.as_raw().iter().zip(picture.as_raw());
    let off: u64 = pairs.map(|(a, b)| u64::from(a.abs_diff(*b))).sum();
    let mean = off as f64 / picture.as_raw().len() as f64;
    assert!(mean < 2.0, "{mean}");
}

#[test]
fn a_sheet_of_another_photo_is_refused_in_one_sentence() {
    let error = marked(&grey(800, 600, 0.2), &sheet(600, 800, &[])).unwrap_err();
    assert!(matches!(error, MarkedError::OtherPhoto { .. }));
    assert_eq!(
        error.to_string(),
        "the sheet of cup-3.jpg was counted from a photo of 600 x 800 pixels, but the photo to \
         mark has 800 x 600; mark the photo that the sheet was counted from, or count this one"
    );
}

#[test]
fn absurd_numbers_are_drawn_or_left_out_but_never_break() {
    let absurd = [
        f64::NAN,
        f64::INFINITY,
        -f64::INFINITY,
        1e300,
        -1e300,
        -1.0,
        1e9,
        0.0,
        400.0,
    ];
    let picture = grey(800, 600, 0.2);
    let mut all = full(800, 600, 3, 1, 1);
    let template = all.pieces[0].clone();
    all.unexplained = serde_json::from_value(
        json!([{"x_px": 1.0, "y_px": 2.0, "x_mm": 0.0, "y_mm": 0.0, "area_mm2": 9.0}]),
    )
    .unwrap();
    let place = all.unexplained[0].clone();
    for a in absurd {
        for b in absurd {
            let mut piece = template.clone();
            (piece.x_px, piece.y_px, piece.sure) = (a, b, a);
            piece.lab = [a, b, a];
            piece.id = u32::MAX;
            piece.outline_px = vec![[a, b], [b, a], [a, a], [3.0, b], [b, b]];
            all.pieces.push(piece.clone());
            piece.outline_px = vec![[a, b]; 3000];
            all.pieces.push(piece.clone());
            piece.outline_px.clear();
            all.pieces.push(piece);
            let mut place = place.clone();
            (place.x_px, place.y_px, place.x_mm) = (a, b, b);
            (place.y_mm, place.area_mm2) = (a, b);
            all.unexplained.push(place);
        }
        all.card.corners_px = [[a, 1.0], [1.0, a], [a, a], [2.0, 2.0]];
        all.card.mm_per_px = a;
        for group in &mut all.groups {
            (group.sure, group.low, group.high, group.count) = (a, u32::MAX, 0, u32::MAX);
        }
        let picture = marked(&picture, &all).unwrap();
        assert_margins_are_bare(&picture, (800, 600));
        all.pieces.truncate(1);
        all.unexplained.truncate(1);
    }
}

#[test]
fn names_may_be_any_text() {
    let long = "w".repeat(10_000);
    let names = [
        "",
        " ",
        "Grün-Weiß, señal №5",
        "červená / łosoś",
        "潮の青",
        "שחור",
        "🦀🦀🦀",
        "two\nlines\tand a tab",
        "\u{0}\u{7f}\u{202e}\u{feff}e\u{301}",
        long.as_str(),
    ];
    let mut sheet = full(800, 600, names.len(), names.len(), names.len());
    for (i, name) in names.into_iter().enumerate() {
        let name = name.to_owned();
        let (piece, group) = (&mut sheet.pieces[i], &mut sheet.groups[i]);
        (group.colour, group.form, group.size) = (name.clone(), name.clone(), name.clone());
        (piece.colour, piece.form, piece.size) = (name.clone(), name.clone(), name.clone());
        piece.doubts = vec![name.clone(); 30];
        (sheet.warnings[i].code, sheet.warnings[i].text) = (name.clone(), name.clone());
        (sheet.photos.first.file, sheet.place) = (name.clone(), Some(name));
        let picture = marked(&grey(800, 600, 0.2), &sheet).unwrap();
        assert_margins_are_bare(&picture, (800, 600));
    }
}
