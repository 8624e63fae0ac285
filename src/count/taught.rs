//! What each taught colour's body may look like: by light, and all lights together.

use std::collections::{BTreeMap, BTreeSet};

use super::even::{Even, distance, even};
use super::joint::Body;
use crate::colour::lab::{lab_from_linear, linear_from_lab};
use crate::colour::{CardLook, Flaw, Swatch, SwatchBook};
use crate::pieces::paint::luminance;

/// Steps in which gloss is sought.
const STEPS: usize = 60;
/// Standard deviation of a colour's shift between two lights, even units.
const BETWEEN_LIGHTS: f64 = 1.5;
/// Standard deviation of the log of two photos' light.
const LIGHT: f64 = 0.06;
/// Mean gloss of a taught piece's top, share of a white's light.
const GLOSS: f64 = 0.05;

/// Mean gloss that may still be in what was taught once: 0.01 in the two sample photos.
const GLOSS_ONCE: f64 = 0.015;
/// And in what was taught in two lights that agree: there it is 0.001.
const GLOSS_LEFT: f64 = 0.003;

/// The taught colours.
pub struct Taught {
    /// Their names, in order.
    pub names: Vec<String>,
    /// Ways to see their bodies: one for each light that has a name, and the mean of all lights.
    pub bodies: Vec<Vec<Body>>,
    /// Whether each was taught in several lights by photos for that: two lights in which the card looks alike are one,
    /// as of a photo that was taught by two names. What was learned from counted photos is not
    /// among them: whether their light was another is only guessed, and nobody laid the pieces out. A piece that
    /// the camera cut off was at least so bright: beside one that it did not, that tells of another light, but by
    /// itself of none.
    in_several: Vec<bool>,
    /// Which colours were taught in the photo's own light, by the way of seeing them that is that light.
    here: Vec<Vec<bool>>,
    /// Colours that were taught under a lamp's image only, and what showed, linear.
    hidden: Vec<(String, [f64; 3])>,
}

impl Taught {
    /// Reads a book for a photo that shows the card so. A colour that a light lacks is as the others show it.
    pub fn of(book: &SwatchBook, card: &CardLook) -> Self {
        let names: Vec<String> = (book.names().into_iter())
            .filter(|name| !usable(book, name).is_empty())
            .map(str::to_owned)
            .collect();
        let hidden = (book.swatches().iter())
            .filter(|swatch| usable(book, &swatch.name).is_empty())
            .map(|swatch| (swatch.name.clone(), shown(swatch)))
            .collect();
        let lights = book.lights();
        // Counted photos in unnamed lights are taken together as one more light, so that, however
        // many there are, they weigh no more than one; and as they are of many lamps, no photo is
        // looked at by it alone.
        let unnamed = book.swatches().iter().any(|s| !s.light_is_named());
        let mut by_light: Vec<Vec<Body>> = vec![Vec::new(); lights.len()];
        let mut together = Vec::new();
        let mut in_several = Vec::new();
        for name in &names {
            let mut seen: Vec<(usize, [f64; 3])> = Vec::new();
            let (mut taught, mut cut_off) = (BTreeSet::new(), BTreeSet::new());
            for swatch in usable(book, name) {
                let light = lights.iter().position(|l| *l == swatch.light);
                let light = light
                    .filter(|_| swatch.light_is_named())
                    .unwrap_or(lights.len());
                seen.push((light, shown(swatch)));
                if swatch.from.is_none() {
                    let lights = if swatch.flaw.is_none() {
                        &mut taught
                    } else {
                        &mut cut_off
                    };
                    lights.insert(light);
                }
            }
            if !taught.is_empty() {
                taught.extend(cut_off);
            }
            let in_lights: Vec<&str> = (taught.iter())
                .filter_map(|light| lights.get(*light).copied())
                .collect();
            in_several.push(book.is_in_several(name, &in_lights));
            let bodies = by_mean(&without_gloss(&seen));
            let mut mean = [0.0; 3];
            for body in bodies.values() {
                for c in 0..3 {
                    mean[c] += body[c] / bodies.len() as f64;
                }
            }
            // What a photo shows is no second look at it.
            let again = seen
                .iter()
                .any(|(_, shown)| Some(*shown) != seen.first().map(|s| s.1));
            let gloss = if again { GLOSS_LEFT } else { GLOSS_ONCE };
            let as_body = |linear| Body {
                even: even(lab_from_linear(linear)),
                gloss,
            };
            let all = as_body(mean);
            together.push(all);
            for (light, bodies_in) in by_light.iter_mut().enumerate() {
                bodies_in.push(bodies.get(&light).map_or(all, |body| as_body(*body)));
            }
        }
        let is_here = |name: &String, light: &&str| {
            let mut taught = usable(book, name).into_iter();
            taught.any(|s| s.light == **light && s.from.is_none() && s.flaw.is_none())
                && (book.card_beside(name, light)).is_some_and(|seen| seen.is_of_same_light(card))
        };
        let here = (lights.iter())
            .map(|light| names.iter().map(|name| is_here(name, light)).collect())
            .collect();
        let mut bodies = by_light;
        if bodies.len() > 1 || unnamed {
            bodies.push(together);
        }
        Self {
            names,
            bodies,
            in_several,
            here,
            hidden,
        }
    }

    /// The colour under a lamp's image that may be as near as this to one, even units.
    pub fn hidden_near(&self, even_of_one: Even, near: f64) -> Option<&str> {
        (self.hidden.iter())
            .find(|(_, shown)| {
                (0..STEPS).any(|step| {
                    let gloss = luminance(*shown) * step as f64 / STEPS as f64;
                    let body = shown.map(|v| v - gloss);
                    distance(even(lab_from_linear(body)), even_of_one) < near
                })
            })
            .map(|(name, _)| name.as_str())
    }

    /// Whether a colour was taught in the photo's own light, where colours are seen in this way.
    pub fn here(&self, way: usize, colour: usize) -> bool {
        (self.here.get(way)).is_some_and(|colours| colours.get(colour) == Some(&true))
    }

    /// Whether a colour was taught in one light only, so that nothing is known of how other lights
    /// shift it.
    pub fn once(&self, colour: usize) -> bool {
        self.in_several.get(colour) != Some(&true)
    }
}

/// The mean in each light: one swatch as a rule, more where counted photos were learned from. Photos count
/// alike, however many pieces each had, as the pieces of a photo share its correction's error.
fn by_mean(seen: &[(usize, [f64; 3])]) -> BTreeMap<usize, [f64; 3]> {
    let mut sums: BTreeMap<usize, ([f64; 3], f64)> = BTreeMap::new();
    for (light, linear) in seen {
        let (sum, n) = sums.entry(*light).or_default();
        for c in 0..3 {
            sum[c] += linear[c];
        }
        *n += 1.0;
    }
    (sums.into_iter())
        .map(|(light, (sum, n))| (light, sum.map(|v| v / n)))
        .collect()
}

/// Mean of a swatch's samples, linear.
fn shown(swatch: &Swatch) -> [f64; 3] {
    let n = swatch.samples.len().max(1) as f64;
    let mut mean = [0.0; 3];
    for sample in &swatch.samples {
        let linear = linear_from_lab(*sample);
        for c in 0..3 {
            mean[c] += linear[c] / n;
        }
    }
    mean
}

/// The swatches that tell of a colour. One with a lamp's image on it does not, for that may hide any body: a colour
/// that was taught so only has none. Nor does one that the camera cut off and that is brighter than white, as no
/// body is, where there is another.
fn usable<'a>(book: &'a SwatchBook, name: &str) -> Vec<&'a Swatch> {
    let under_lamp = |s: &&Swatch| s.flaw == Some(Flaw::Lamp);
    let too_bright = |s: &&Swatch| s.flaw == Some(Flaw::CutOff) && luminance(shown(s)) > 1.0;
    let all = || (book.swatches().iter()).filter(|s| s.name == name && !under_lamp(s));
    let within: Vec<&Swatch> = all().filter(|s| !too_bright(s)).collect();
    if within.is_empty() {
        all().collect()
    } else {
        within
    }
}

/// Gloss only adds light. Where a colour looks lighter in one light than in another, part of the
/// difference may be gloss: as much as brings the two nearest together.
fn without_gloss(seen: &[(usize, [f64; 3])]) -> Vec<(usize, [f64; 3])> {
    let darkest = seen
        .iter()
        .min_by(|a, b| luminance(a.1).total_cmp(&luminance(b.1)));
    let Some((_, darkest)) = darkest.copied() else {
        return Vec::new();
    };
    let target = even(lab_from_linear(darkest));
    seen.iter()
        .map(|(light, shown)| {
            let most = 0.95 * luminance(*shown).max(0.0);
            let mut best = (f64::INFINITY, 0.0);
            for step in 0..STEPS {
                let gloss = most * step as f64 / STEPS as f64;
                for m in [-0.12f64, -0.09, -0.06, -0.03, 0.0, 0.03, 0.06, 0.09, 0.12] {
                    let body = shown.map(|v| (v - gloss) / m.exp());
                    let off = distance(even(lab_from_linear(body)), target) / BETWEEN_LIGHTS;
                    let cost = 0.5 * off * off + 0.5 * (m / LIGHT).powi(2) + gloss / GLOSS;
                    if cost < best.0 {
                        best = (cost, gloss);
                    }
                }
            }
            (*light, shown.map(|v| v - best.1))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::colour::look::tests::look;
    use crate::colour::{Lesson, Origin};

    fn swatch(light: &str, lab: [f64; 3], photo: Option<&str>) -> Swatch {
        Swatch {
            name: "kelp".into(),
            samples: vec![lab],
            light: light.into(),
            flaw: None,
            from: photo.map(|digit| Origin {
                photo: digit.repeat(64),
                file: "cup.jpg".into(),
            }),
        }
    }

    fn of(swatches: &[Swatch]) -> Taught {
        let mut book = SwatchBook::default();
        for swatch in swatches {
            book.teach(swatch.clone()).unwrap();
        }
        Taught::of(&book, &CardLook::default())
    }

    #[test]
    fn a_colour_is_taught_here_where_the_card_looked_as_it_does_now() {
        let lesson = |light: &str, name: &str, lighter: f64, flaw: Option<Flaw>| Lesson {
            light: light.into(),
            swatches: vec![Swatch {
                name: name.into(),
                flaw,
                ..swatch(light, KELP, None)
            }],
            card: look(lighter),
            from: None,
            time: None,
        };
        let mut book = SwatchBook::default();
        for lesson in [
            lesson("hut", "kelp", 0.0, None),
            lesson("hut", "moss", 8.0, None),
            lesson("hut", "rust", 0.0, Some(Flaw::CutOff)),
            lesson("pier", "kelp", 8.0, None),
        ] {
            book.learn(&lesson).unwrap();
        }
        let taught = Taught::of(&book, &look(0.5));
        // Ways: the hut, the pier, both together. Colours: kelp, moss, rust.
        let here = |way| [0, 1, 2].map(|colour| taught.here(way, colour));
        assert_eq!(here(0), [true, false, false]);
        assert_eq!((here(1), here(2)), ([false; 3], [false; 3]));
        let elsewhere = Taught::of(&book, &look(8.0));
        assert!(elsewhere.here(1, 0) && elsewhere.here(0, 1) && !elsewhere.here(0, 0));
    }

    #[test]
    fn a_photo_that_was_taught_by_two_names_is_one_light() {
        let lesson = |light: &str, lighter: f64| Lesson {
            light: light.into(),
            swatches: vec![swatch(light, KELP, None)],
            card: look(lighter),
            from: None,
            time: None,
        };
        let taught = |second: f64| {
            let mut book = SwatchBook::default();
            for lesson in [lesson("usual", 0.0), lesson("lamp", second)] {
                book.learn(&lesson).unwrap();
            }
            Taught::of(&book, &look(0.0))
        };
        // Neither of the guard's two signs: a second light, and a second look at the gloss.
        assert!(taught(0.0).once(0) && taught(0.9).once(0) && !taught(8.0).once(0));
        assert_eq!(taught(0.0).bodies[0][0].gloss, GLOSS_ONCE);
    }

    const KELP: [f64; 3] = [40.0, -30.0, 25.0];
    const OTHER: [f64; 3] = [40.0, -24.0, 25.0];
    /// Even units within which two bodies are one: a tenth of the two colours' distance. Between the two a
    /// little gloss may be found, and linear light and back is off by less.
    const SAME: f64 = 0.3;

    #[test]
    fn counted_photos_in_unnamed_lights_weigh_as_one_light() {
        let own = |digit: &str| format!("photo-{}", digit.repeat(12));
        let one = of(&[
            swatch("pier", KELP, None),
            swatch(&own("a"), OTHER, Some("a")),
        ]);
        let many = of(&[
            swatch("pier", KELP, None),
            swatch(&own("a"), OTHER, Some("a")),
            swatch(&own("b"), OTHER, Some("b")),
            swatch(&own("c"), OTHER, Some("c")),
        ]);
        // By the pier's light alone, and by all of them.
        assert_eq!((one.bodies.len(), many.bodies.len()), (2, 2));
        let pier = even(KELP);
        let apart = |taught: &Taught, k: usize| distance(taught.bodies[k][0].even, pier);
        assert!(apart(&one, 0) < SAME && apart(&many, 0) < SAME);
        let half = distance(pier, even(OTHER)) / 2.0;
        assert!(
            (apart(&one, 1) - half).abs() < 0.3 * half,
            "{}",
            apart(&one, 1)
        );
        assert!((apart(&one, 1) - apart(&many, 1)).abs() < 1e-6);
        // No light was taught but the pier's.
        assert!(one.once(0) && many.once(0));
    }

    #[test]
    fn a_counted_photo_in_a_named_light_weighs_as_much_as_the_photo_that_taught_it() {
        let both = of(&[swatch("pier", KELP, None), swatch("pier", OTHER, Some("a"))]);
        assert_eq!(both.bodies.len(), 1);
        let off = distance(both.bodies[0][0].even, even(KELP));
        let half = distance(even(KELP), even(OTHER)) / 2.0;
        assert!((off - half).abs() < 0.3 * half, "{off} {half}");
        assert!(both.once(0));
    }

    fn flawed(light: &str, lab: [f64; 3], flaw: Flaw) -> Swatch {
        Swatch {
            flaw: Some(flaw),
            ..swatch(light, lab, None)
        }
    }

    #[test]
    fn a_swatch_under_a_lamp_tells_nothing_of_the_body() {
        let pier = swatch("pier", KELP, None);
        // The body, and much white on it.
        let gloss = lab_from_linear(linear_from_lab(KELP).map(|v| v + 0.4));
        let lamp = flawed("hut", gloss, Flaw::Lamp);
        let both = of(&[pier.clone(), lamp.clone()]);
        // By the pier, by the hut, where it is as the others show it, and by all.
        assert_eq!(both.bodies.len(), 3);
        for bodies in &both.bodies {
            assert!(distance(bodies[0].even, even(KELP)) < SAME);
        }
        assert!(both.once(0));
        let alone = of(&[lamp]);
        assert!(alone.names.is_empty() && alone.hidden_near(even(KELP), 1.0).is_some());
    }

    #[test]
    fn a_swatch_that_was_cut_off_tells_of_a_light_only_beside_one_that_was_not() {
        let pier = || swatch("pier", KELP, None);
        let cut = |light, lab| flawed(light, lab, Flaw::CutOff);
        assert!(!of(&[pier(), cut("hut", OTHER)]).once(0));
        assert!(of(&[cut("pier", KELP), cut("hut", OTHER)]).once(0));
        // Brighter than white: no body is.
        let white = of(&[pier(), cut("hut", [103.0, 0.0, 0.0])]);
        assert!(white.once(0) && distance(white.bodies[1][0].even, even(KELP)) < SAME);
        assert_eq!(of(&[cut("hut", [103.0, 0.0, 0.0])]).names, ["kelp"]);
    }

    #[test]
    fn a_colour_may_be_known_by_a_counted_photo_alone() {
        let alone = of(&[swatch(
            &format!("photo-{}", "a".repeat(12)),
            KELP,
            Some("a"),
        )]);
        assert_eq!((alone.names.len(), alone.bodies.len()), (1, 1));
        assert!(distance(alone.bodies[0][0].even, even(KELP)) < SAME);
    }
}
