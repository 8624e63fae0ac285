//! Reads the spectral test data.
#![allow(dead_code)]

use std::collections::HashMap;

use cuptally::colour::lab::{de00, decode};
use cuptally::colour::{Correction, Patch};
use cuptally::units::Mm;

/// One row: kind, name, truth (CIELAB D65), 8-bit pixel of every scene.
struct Row {
    kind: String,
    name: String,
    lab: [f64; 3],
    pixels: HashMap<String, [u8; 3]>,
}

/// The whole of `spectral_pixels.csv`.
pub struct Spectral {
    /// Scene names, `light/camera/curve/white balance`.
    pub scenes: Vec<String>,
    rows: Vec<Row>,
    places: HashMap<String, Mm>,
}

impl Spectral {
    /// Loads data and the card's layout.
    pub fn load() -> Self {
        let mut table = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_path("tests/data/colour/spectral_pixels.csv")
            .unwrap();
        let scenes: Vec<String> = table
            .headers()
            .unwrap()
            .iter()
            .skip(5)
            .map(String::from)
            .collect();
        let rows = table
            .records()
            .map(|record| {
                let record = record.unwrap();
                let pixel = |hex: &str| {
                    let [_, r, g, b] = u32::from_str_radix(hex, 16).unwrap().to_be_bytes();
                    [r, g, b]
                };
                Row {
                    kind: record[0].into(),
                    name: record[1].into(),
                    lab: [2, 3, 4].map(|i| record[i].parse().unwrap()),
                    pixels: scenes
                        .iter()
                        .cloned()
                        .zip(record.iter().skip(5).map(pixel))
                        .collect(),
                }
            })
            .collect();
        let card: serde_json::Value =
            serde_json::from_str(&std::fs::read_to_string("calibration/card-v1.json").unwrap())
                .unwrap();
        let places = card["patches"].as_array().unwrap().iter().map(|patch| {
            let middle =
                |start, size| patch[start].as_f64().unwrap() + 0.5 * patch[size].as_f64().unwrap();
            let place = Mm::new(middle("x_mm", "width_mm"), middle("y_mm", "height_mm"));
            (patch["name"].as_str().unwrap().to_owned(), place)
        });
        Self {
            scenes,
            rows,
            places: places.collect(),
        }
    }

    /// Name, photo value (linear) and truth of every row of a kind.
    pub fn pixels(&self, scene: &str, kind: &str) -> Vec<(&str, [f32; 3], [f64; 3])> {
        let rows = self.rows.iter().filter(|row| row.kind == kind);
        rows.map(|row| {
            let rgb = row.pixels[scene].map(|v| decode(f64::from(v) / 255.0) as f32);
            (row.name.as_str(), rgb, row.lab)
        })
        .collect()
    }

    /// The card's patches by one of the two models of its print.
    pub fn card(&self, scene: &str, kind: &str) -> Vec<Patch> {
        let patch = |(name, rgb, target): (&str, [f32; 3], _)| Patch {
            name: name.into(),
            rgb,
            spread: [0.0; 3],
            clipped: rgb.iter().any(|v| *v >= 1.0),
            place: self.places[name],
            illumination: 1.0,
            target,
        };
        self.pixels(scene, kind).into_iter().map(patch).collect()
    }

    /// dE00 of every row of a kind.
    pub fn errors(&self, scene: &str, kind: &str, correction: &Correction) -> Vec<f64> {
        let rows = self.pixels(scene, kind).into_iter();
        rows.map(|(_, rgb, lab)| de00(correction.apply(rgb), lab))
            .collect()
    }
}
