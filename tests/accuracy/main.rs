//! The judge itself: what `benches/accuracy` makes of sheets whose faults are known.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, dead_code)]

#[path = "../../benches/accuracy/best.rs"]
mod best;
#[path = "../../benches/accuracy/check.rs"]
mod check;
#[path = "../../benches/accuracy/decode.rs"]
mod decode;
#[path = "../../benches/accuracy/doubts.rs"]
mod doubts;
#[path = "../../benches/accuracy/foreign.rs"]
mod foreign;
#[path = "../../benches/accuracy/held.rs"]
mod held;
#[path = "../../benches/accuracy/lessons.rs"]
mod lessons;
#[path = "../../benches/accuracy/matching.rs"]
mod matching;
#[path = "../../benches/accuracy/program.rs"]
mod program;
#[path = "../../benches/accuracy/record.rs"]
mod record;
#[path = "../../benches/accuracy/reliability.rs"]
mod reliability;
#[path = "../../benches/accuracy/score.rs"]
mod score;
#[path = "../../benches/accuracy/set.rs"]
mod set;
#[path = "../../benches/accuracy/summary.rs"]
mod summary;
#[path = "../../benches/accuracy/truth.rs"]
mod truth;

mod bars;
mod layout;

use program::Said;
use reliability::bins;
use score::score;
use serde_json::{Value, json};
use truth::Truth;

/// A camera 500 mm above the card's corner that looks straight down, 2 px a mm.
fn truth(pieces: Value) -> Truth {
    let camera = json!({
        "f_px": 1000.0, "cx": 1000.0, "cy": 750.0, "k1": 0.0, "width_px": 2000, "height_px": 1500,
        "position_mm": [0.0, 0.0, -500.0],
        "rotation": [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
    });
    let truth = json!({
        "kind": "sorted", "light": "D65", "form": "plate", "camera": camera, "pieces": pieces,
    });
    serde_json::from_value(truth).unwrap()
}

/// A true piece at a place in mm; the camera shows it at 2 px a mm from the middle.
fn is(size: &str, colour: &str, x: f64, y: f64) -> Value {
    json!({
        "form": "plate", "size": size, "colour": colour, "face": "up", "x_mm": x, "y_mm": y,
        "x_px": 1000.0 + 2.0 * x, "y_px": 750.0 + 2.0 * y, "visible_px": 90, "whole_px": 100,
    })
}

fn hidden(mut piece: Value) -> Value {
    piece["x_px"] = Value::Null;
    piece["y_px"] = Value::Null;
    piece
}

fn says(size: &str, colour: &str, x: f64, y: f64, sure: f64) -> Value {
    let mut piece = is(size, colour, x, y);
    piece["id"] = json!(1);
    piece["sure"] = json!(sure);
    piece
}

fn group(size: &str, colour: &str, [count, low, high]: [u32; 3], sure: f64) -> Value {
    json!({
        "form": "plate", "size": size, "colour": colour,
        "count": count, "low": low, "high": high, "sure": sure,
    })
}

fn said(pieces: Value, groups: Value) -> Said {
    let sheet = json!({ "pieces": pieces, "groups": groups, "warnings": [] });
    serde_json::from_value(sheet).unwrap()
}

#[test]
fn every_fault_is_counted_once() {
    let truth = truth(json!([
        is("2x4", "rose", 0.0, 0.0),
        is("2x4", "rose", 40.0, 0.0),
        is("1x2", "kelp", 0.0, 40.0),
        is("1x1", "kelp", 40.0, 40.0),
        hidden(is("1x1", "kelp", 80.0, 40.0)),
        // Beyond the picture's border: no part of it.
        hidden(is("1x1", "kelp", 900.0, 40.0)),
    ]));
    let said = said(
        json!([
            says("2x4", "rose", 0.5, 0.0, 0.99),
            says("2x3", "rose", 44.0, 0.0, 0.95),
            says("1x2", "tar", 0.0, 40.0, 0.5),
            says("1x1", "tar", 200.0, 200.0, 0.9),
        ]),
        json!([
            group("2x4", "rose", [1, 1, 2], 0.95),
            group("2x3", "rose", [1, 0, 1], 0.5),
            group("1x2", "tar", [1, 1, 1], 0.5),
            group("1x1", "tar", [1, 1, 1], 0.9),
        ]),
    );
    let score = score(&truth, Some(&said));
    let f = score.figures;
    assert_eq!((f.pieces, f.hidden, f.counted, f.total_error), (5, 1, 4, 1));
    assert_eq!((f.found, f.missed, f.invented), (3, 1, 1));
    assert_eq!((f.size_right, f.colour_right, f.all_right), (2, 2, 1));
    // The 2x3 and the invented one.
    assert_eq!((f.sure, f.sure_wrong), (3, 2));
    assert_eq!((f.groups, f.groups_exact), (3, 0));
    // Off by: 2x4 rose 1, 2x3 rose 1, 1x2 tar 1, 1x1 tar 1, 1x2 kelp 1, 1x1 kelp 2.
    assert_eq!(f.group_error, 7);
    // Held: 2x4 rose within 1 to 2, 2x3 rose from 0.
    assert_eq!((f.ranges, f.ranges_hold), (6, 2));
    assert_eq!((f.groups_sure, f.groups_sure_wrong), (2, 2));
}

/// The nearest pair first would leave the other piece without a partner.
#[test]
fn pieces_are_matched_all_together() {
    let truth = truth(json!([
        is("1x1", "rose", 0.0, 0.0),
        is("1x1", "rose", 3.0, 0.0),
    ]));
    let said = said(
        json!([
            says("1x1", "rose", 2.0, 0.0, 0.5),
            says("1x1", "rose", 5.5, 0.0, 0.5),
        ]),
        json!([]),
    );
    assert_eq!(score(&truth, Some(&said)).matches, [Some(0), Some(1)]);
    let far = self::said(json!([says("1x1", "rose", 4.1, 4.1, 0.5)]), json!([]));
    assert_eq!(score(&truth, Some(&far)).figures.found, 0);
}

#[test]
fn a_refused_photo_misses_every_piece() {
    let f = score(&truth(json!([is("1x1", "rose", 0.0, 0.0)])), None).figures;
    assert_eq!(
        (f.refused_photos, f.missed, f.group_error, f.total_error),
        (1, 1, 1, 1)
    );
}

/// A piece of which less than half shows may be missed; an underside's form may be taken for the other's.
#[test]
fn what_can_be_seen_is_asked_apart() {
    let with = |mut piece: Value, key: &str, value: Value| {
        piece[key] = value;
        piece
    };
    let truth = truth(json!([
        is("2x4", "rose", 0.0, 0.0),
        with(is("2x4", "rose", 40.0, 0.0), "visible_px", json!(50)),
        with(is("2x4", "rose", 80.0, 0.0), "visible_px", json!(49)),
        with(is("2x4", "rose", 120.0, 0.0), "face", json!("down")),
        hidden(is("2x4", "rose", 160.0, 0.0)),
    ]));
    let tile = |x| with(says("2x4", "rose", x, 0.0, 0.5), "form", json!("tile"));
    let said = said(json!([tile(0.0), tile(120.0)]), json!([]));
    let f = score(&truth, Some(&said)).figures;
    assert_eq!((f.half_visible, f.half_found), (3, 2));
    assert_eq!((f.found, f.form_right), (2, 0));
    assert_eq!((f.form_shown, f.form_shown_right), (1, 0));
}

#[test]
fn doubts_are_sorted_by_their_first_reason() {
    let truth = truth(json!([
        is("1x1", "rose", 0.0, 0.0),
        is("1x1", "rose", 40.0, 0.0),
        is("1x1", "rose", 80.0, 0.0),
    ]));
    let doubts = |mut piece: Value, doubts: &[&str]| {
        piece["doubts"] = json!(doubts);
        piece
    };
    let said = said(
        json!([
            says("1x1", "rose", 0.0, 0.0, 0.95),
            doubts(
                says("1x2", "rose", 40.0, 0.0, 0.4),
                &["could be a 1x1 plate", "cut"]
            ),
            doubts(
                says("1x1", "kelp", 80.0, 0.0, 0.6),
                &["colour could be rose"]
            ),
            doubts(
                says("1x1", "kelp", 200.0, 0.0, 0.2),
                &["colour could be one that was not taught"]
            ),
        ]),
        json!([]),
    );
    let reasons = score(&truth, Some(&said)).reasons;
    let told: Vec<_> = (reasons.iter())
        .map(|(name, r)| {
            (
                name.as_str(),
                r.number,
                r.wrong,
                r.invented,
                r.size,
                r.colour,
            )
        })
        .collect();
    assert_eq!(
        told,
        [
            ("colour could be another taught one", 1, 1, 0, 0, 1),
            ("colour could be one that was not taught", 1, 1, 1, 0, 0),
            ("could be another size or shape", 1, 1, 0, 1, 0),
            ("none: sure", 1, 0, 0, 0, 0),
        ]
    );
}

#[test]
fn stated_probabilities_fall_into_ten_bins() {
    let stated: Vec<(f64, bool)> = (0..=100).map(|k| (f64::from(k) / 100.0, k >= 50)).collect();
    let all = bins(&stated);
    let numbers: Vec<u32> = all.iter().map(|bin| bin.number).collect();
    // A probability of 1 belongs to the last.
    assert_eq!(numbers, [10, 10, 10, 10, 10, 10, 10, 10, 10, 11]);
    assert_eq!(all.iter().map(|bin| bin.right).sum::<u32>(), 51);
    assert_eq!((all[4].right, all[5].right), (0, 10));
    assert_eq!(bins(&stated[95..]).len(), 1);
    // Wilson's interval of 0 of 30 reaches up to 11.4 %: z^2 / (n + z^2), with z = 1.959964 and z^2 = 3.841459.
    let none = reliability::Bin {
        number: 30,
        right: 0,
        from: 0.0,
        to: 0.1,
        stated: 0.05,
    };
    assert!((none.share().2 - 3.841459 / 33.841459).abs() < 1e-7);
}
