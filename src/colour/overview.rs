//! All taught colours at a glance: in which lights, and which look alike.

use serde::Serialize;

use super::book::SwatchBook;
use super::lab::de00;
use super::names::name_of;
use super::swatch::{CLOSE_DE00, Flaw};

/// A taught colour.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Known {
    /// The user's name.
    pub name: String,
    /// The general name nearest to it (ISCC-NBS).
    pub general: String,
    /// Mean over all that was taught of it, CIELAB D65.
    pub lab: [f64; 3],
    /// By photos of one piece of each colour, or by counted ones whose light has a name.
    pub lights: Vec<InLight>,
    /// How many counted photos it was learned from in lights without a name.
    pub photos: usize,
    /// Others that look alike, nearest first.
    pub alike: Vec<Alike>,
}

/// A taught colour in one light.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct InLight {
    /// The light.
    pub light: String,
    /// How it looked, CIELAB D65.
    pub lab: [f64; 3],
    /// What keeps that from being the colour itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub flaw: Option<Flaw>,
}

/// Another colour that looks alike.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Alike {
    /// Its name.
    pub name: String,
    /// How near it is where it is nearest, dE00.
    pub de00: f64,
}

/// The taught colours, by name.
pub fn overview(book: &SwatchBook) -> Vec<Known> {
    let names = book.names();
    (names.iter())
        .map(|name| known(book, name, &names))
        .collect()
}

fn known(book: &SwatchBook, name: &str, names: &[&str]) -> Known {
    let own = || book.swatches().iter().filter(|s| s.name == name);
    let labs: Vec<[f64; 3]> = own().map(|s| s.middle()).collect();
    let lab: [f64; 3] = std::array::from_fn(|c| {
        labs.iter().map(|lab| lab[c]).sum::<f64>() / labs.len().max(1) as f64
    });
    let lights = own().filter(|s| s.light_is_named()).map(|s| InLight {
        light: s.light.clone(),
        lab: s.middle().map(hundredth),
        flaw: s.flaw,
    });
    let others = names.iter().filter(|other| **other != name);
    let mut alike: Vec<Alike> = others
        .filter_map(|other| {
            let de00 = nearest(book, name, other)?;
            let name = (*other).to_owned();
            (de00 < CLOSE_DE00).then(|| Alike {
                name,
                de00: hundredth(de00),
            })
        })
        .collect();
    alike.sort_by(|a, b| a.de00.total_cmp(&b.de00));
    Known {
        name: name.to_owned(),
        general: name_of(lab).to_owned(),
        lab: lab.map(hundredth),
        lights: lights.collect(),
        photos: own().filter(|s| !s.light_is_named()).count(),
        alike,
    }
}

/// How near two colours come in a light in which both were taught; `None` where there is none.
fn nearest(book: &SwatchBook, one: &str, other: &str) -> Option<f64> {
    let of = |name: &str| {
        let name = name.to_owned();
        book.swatches().iter().filter(move |s| s.name == name)
    };
    let pairs = of(one).flat_map(|a| of(other).map(move |b| (a, b)));
    (pairs.filter(|(a, b)| a.light == b.light))
        .map(|(a, b)| de00(a.middle(), b.middle()))
        .min_by(f64::total_cmp)
}

fn hundredth(value: f64) -> f64 {
    crate::numbers::round2(value)
}
