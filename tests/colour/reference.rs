//! The colour correction against spectra, and against colour-science's root-polynomial correction.
//!
//! Ours sees 8-bit pixels behind an unknown tone curve. The reference (plain least squares,
//! `tests/reference/colour_reference.py`) sees the camera's linear light, unrounded: an easier job.
//! `cargo test --test colour reference -- --nocapture` prints the table.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use crate::spectral::Spectral;
use cuptally::colour::lab::{de00, lab_from_linear};
use cuptally::colour::{Correction, correct, swatch::BETWEEN_PHOTOS};

static DATA: LazyLock<Spectral> = LazyLock::new(Spectral::load);

const CARDS: [&str; 2] = ["sigmoid", "dye"];

/// Mean dE00 recorded for each light over two cameras, two tone curves and two prints of the
/// card. To be lowered when the correction gets better, never raised.
const RECORDED: [(&str, f64); 9] = [
    ("A", 3.61),
    ("D50", 2.16),
    ("D65", 2.13),
    ("LED-B1", 3.60),
    ("LED-B3", 2.31),
    ("LED-B5", 1.69),
    ("LED-RGB1", 3.27),
    ("FL2", 2.52),
    ("FL11", 2.50),
];
/// Mean ratio of our error to the reference's, recorded; the goal is 0.9. It flatters a little: the table
/// of what prints do (`calibration/prints.csv`) was made with the models of print that these cards have;
/// with one made of others it is 0.99. Fitted on the tested spectra themselves our model would give
/// 0.71; with lamp and sensor known and only the surfaces unknown, 0.81 to 0.95.
const RECORDED_RATIO: f64 = 0.976;
/// Room for another processor's rounding, dE00 and ratio alike.
const ROUNDING: f64 = 0.01;

/// The reference's mean dE00 by scene and card: on rendered linear light, on the raw signal.
fn references() -> BTreeMap<(String, String), [f64; 2]> {
    let mut table = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path("tests/data/colour/spectral_reference.csv")
        .unwrap();
    let row = |record: csv::StringRecord| {
        let number = |i: usize| record[i].parse().unwrap();
        (
            (record[0].to_owned(), record[1].to_owned()),
            [number(2), number(4)],
        )
    };
    table.records().map(|record| row(record.unwrap())).collect()
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

#[derive(Default)]
struct Line {
    ours: Vec<f64>,
    worst: Vec<f64>,
    told: Vec<f64>,
    uncorrected: Vec<f64>,
    rendered: Vec<f64>,
    raw: Vec<f64>,
}

#[test]
fn spectra_under_nine_lights() {
    let references = references();
    let mut lines: BTreeMap<&str, Line> = BTreeMap::new();
    let mut ratios = Vec::new();
    for scene in &DATA.scenes {
        for card in CARDS {
            let correction = correct(&DATA.card(scene, card)).unwrap();
            let mut errors = DATA.errors(scene, "test", &correction);
            errors.sort_by(f64::total_cmp);
            let uncorrected: Vec<f64> = DATA
                .pixels(scene, "test")
                .iter()
                .map(|(_, rgb, lab)| de00(lab_from_linear(rgb.map(f64::from)), *lab))
                .collect();
            let [rendered, raw] = references[&(scene.clone(), card.to_owned())];
            let line = lines.entry(scene.split('/').next().unwrap()).or_default();
            line.ours.push(mean(&errors));
            line.worst.push(errors[errors.len() * 95 / 100]);
            line.told.push(correction.residuals().mean);
            line.uncorrected.push(mean(&uncorrected));
            line.rendered.push(rendered);
            line.raw.push(raw);
            ratios.push(mean(&errors) / rendered);
        }
    }
    println!("mean dE00 over 113 spectra; p95; leave-one-out told; without correction;");
    println!("reference on linear rendered light, on linear raw light; ours / rendered");
    for (light, recorded) in RECORDED {
        let line = &lines[light];
        let ours = mean(&line.ours);
        println!(
            "{light:9} {ours:5.2} {:5.2} {:5.2} {:5.2}   {:5.2} {:5.2}   {:.3}",
            mean(&line.worst),
            mean(&line.told),
            mean(&line.uncorrected),
            mean(&line.rendered),
            mean(&line.raw),
            ours / mean(&line.rendered),
        );
        assert!(
            ours <= recorded + ROUNDING,
            "{light}: {ours}, recorded {recorded}"
        );
        assert!(ours < 0.5 * mean(&line.uncorrected), "{light}");
    }
    let ratio = mean(&ratios);
    println!("mean ratio {ratio:.3}");
    assert!(
        ratio <= RECORDED_RATIO + ROUNDING,
        "{ratio}, recorded {RECORDED_RATIO}"
    );
}

/// [`BETWEEN_PHOTOS`] is what one surface's colour varies between photos under common lights
/// by one camera. The three-line LED lamp is left out: nobody lights a table with it.
#[test]
fn one_surface_in_many_photos() {
    let corrections: Vec<(&String, Correction)> = DATA
        .scenes
        .iter()
        .filter(|scene| {
            let parts: Vec<&str> = scene.split('/').collect();
            parts[0] != "LED-RGB1" && parts[1] == "a"
        })
        .map(|scene| (scene, correct(&DATA.card(scene, "dye")).unwrap()))
        .collect();
    let seen: Vec<Vec<[f64; 3]>> = corrections
        .iter()
        .map(|(scene, correction)| {
            let pixels = DATA.pixels(scene, "test").into_iter();
            pixels.map(|(_, rgb, _)| correction.apply(rgb)).collect()
        })
        .collect();
    let mut squares = Vec::new();
    for (i, first) in seen.iter().enumerate() {
        for second in &seen[..i] {
            let pairs = first.iter().zip(second);
            squares.extend(pairs.map(|(a, b)| de00(*a, *b).powi(2)));
        }
    }
    // A distance is of three directions.
    let deviation = (mean(&squares) / 3.0).sqrt();
    println!("between photos: {deviation:.2} dE00 in one direction");
    assert!(
        (deviation / BETWEEN_PHOTOS - 1.0).abs() < 0.1,
        "{deviation}, the book says {BETWEEN_PHOTOS}"
    );
}
