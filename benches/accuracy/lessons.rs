//! What a user would have taught before a photo is counted.

use crate::set::{Folder, Kind, Photo};

/// Lights under which every user of the first world is taken to have taught: daylight and a warm lamp, as
/// the demo does.
const USUAL_LIGHTS: [&str; 2] = ["D65", "LED-B1"];

/// The teach photos that a user of this photo's pieces would have taken: those of its world, of each palette
/// that its colours are from. A palette is a set of names that a teach photo has. The first world has
/// teach photos under many lights; there, a user has taught under the usual lights and under the photo's own, or
/// under all where there is none such.
pub fn lessons<'a>(photo: &Photo, all: &'a [Photo]) -> Vec<&'a Photo> {
    let world = &photo.truth.world;
    let teach = || {
        all.iter()
            .filter(|p| p.kind == Kind::Teach && p.truth.world == *world)
            .filter(|p| p.truth.view.as_ref().is_none_or(|v| v.is_first()))
    };
    let used = |lesson: &&Photo| {
        let names = &lesson.truth.names;
        photo.truth.pieces.is_empty()
            || photo.truth.pieces.iter().any(|p| names.contains(&p.colour))
    };
    if world.is_some() {
        let mut lessons: Vec<&Photo> = teach().filter(used).collect();
        lessons.sort_by(|a, b| a.name.cmp(&b.name));
        return lessons;
    }
    let mut palettes: Vec<&[String]> = Vec::new();
    for lesson in teach().filter(used) {
        let names = lesson.truth.names.as_slice();
        if !palettes.contains(&names) {
            palettes.push(names);
        }
    }
    let mut chosen = Vec::new();
    for palette in palettes {
        let of_palette = || teach().filter(move |p| p.truth.names == palette);
        let usual: Vec<&Photo> = of_palette()
            .filter(|p| USUAL_LIGHTS.contains(&p.truth.light.as_str()))
            .collect();
        if usual.is_empty() {
            chosen.extend(of_palette());
            continue;
        }
        chosen.extend(usual);
        let own = |p: &&Photo| {
            p.truth.light == photo.truth.light && !USUAL_LIGHTS.contains(&p.truth.light.as_str())
        };
        chosen.extend(of_palette().filter(own));
    }
    chosen
}

/// Whether this lesson, the first of a user's, also measures the printed copy of the card. In the first world
/// nobody does: its print is near to what was sent to the printer, and that is what the program does
/// without.
pub fn measures_the_print(lessons: &[&Photo]) -> bool {
    matches!(lessons, [only] if only.truth.world.is_some())
}

/// The `--light` of a lesson: `teach-warm-led-24` is of the light `warm-led`; foreign photos have it in their truth.
pub fn light(lesson: &Photo) -> String {
    if lesson.folder == Folder::Foreign {
        let word = |c: char| if c.is_alphanumeric() { c } else { '-' };
        let name: String = lesson.truth.light.chars().map(word).collect();
        return name.to_lowercase().trim_matches('-').to_owned();
    }
    let name = lesson.name.as_str();
    let name = name.strip_prefix("teach-").unwrap_or(name);
    name.rsplit_once('-')
        .map_or(name, |(light, _)| light)
        .to_owned()
}
