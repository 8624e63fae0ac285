//! What lies on the tray and is no listed piece, through the real program.

use std::path::Path;
use std::process::Command;

use serde_json::Value;

/// Round things among the bricks of a sample photo: middle (mm, from the photo's truth) and diameter (mm, from
/// `sample-photos/studio/oddments.py`).
const ROUND: [([f64; 2], f64); 3] = [
    ([-71.4, 101.5], 19.0),
    ([-125.5, 513.9], 23.2),
    ([101.7, 272.6], 17.6),
];
/// Their middles and bodies' colours (CIELAB D65), from the same places: a tyre and a curved wall. The discs are of bare
/// metal and show the room.
const COLOURED: [([f64; 2], [f64; 3]); 2] = [
    ([101.7, 272.6], [24.0, 0.2, 0.4]),
    ([-13.8, 223.5], [58.0, -33.0, -13.0]),
];
/// The net sees such things in cells of 2 mm.
const CELL_MM: f64 = 2.0;
/// What a colour of a thing without a form may be off, CIELAB: the photo's own card is read to 1 or 2, and a thing's flanks
/// and gloss are in it.
const COLOUR: f64 = 6.0;

#[test]
fn a_thing_that_is_no_piece_has_its_size_and_colour() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let photo = root.join("sample-photos/tune/bricks-and-strays-d65-30.jpg");
    let out = tempfile::tempdir().unwrap();
    let done = Command::new(env!("CARGO_BIN_EXE_cuptally"))
        .arg("--home")
        .arg(out.path())
        .arg("count")
        .arg(photo)
        .args(["--form", "brick", "--out"])
        .arg(out.path())
        .output()
        .unwrap();
    // Counted, with something to look at.
    assert_eq!(done.status.code(), Some(3), "{done:?}");
    let sheet = out.path().join("bricks-and-strays-d65-30.sheet.json");
    let sheet: Value = serde_json::from_slice(&std::fs::read(sheet).unwrap()).unwrap();
    let number = |value: &Value| value.as_f64().unwrap();
    let near = |[x, y]: [f64; 2]| {
        let places = sheet["unexplained"].as_array().unwrap().iter();
        let off = |place: &&Value| (number(&place["x_mm"]) - x).hypot(number(&place["y_mm"]) - y);
        let nearest = places.min_by(|a, b| off(a).total_cmp(&off(b))).unwrap();
        assert!(off(&nearest) < 2.0 * CELL_MM, "{nearest} for {x}, {y}");
        nearest
    };
    for (at, diameter) in ROUND {
        let place = near(at);
        for side in place["sides_mm"].as_array().unwrap() {
            assert!(
                (number(side) - diameter).abs() < CELL_MM,
                "{place}, {diameter} mm"
            );
        }
    }
    for (at, [l, a, b]) in COLOURED {
        let place = near(at);
        let lab: Vec<f64> = place["lab"]
            .as_array()
            .unwrap()
            .iter()
            .map(number)
            .collect();
        let off = (lab[0] - l).hypot(lab[1] - a).hypot(lab[2] - b);
        assert!(off < COLOUR, "{place}: {off}");
    }
}
