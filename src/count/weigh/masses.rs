//! What a piece of each kind weighs, and how well that is known.
//!
//! An error is of a kind alone, or shared by all kinds that were estimated: walls that are thicker
//! than we take them are so everywhere. The shared part does not average out over a cup.

use std::collections::BTreeMap;

use super::book::WeightBook;
use super::volume::estimate_g;
use crate::pieces::{Form, Search, Shape};

/// Standard deviation that all estimates share, as a share of the mass: walls, roofs, density.
/// Common practice, no source. Raising it lets more differences pass as agreement.
const COMMON: f64 = 0.08;
/// Standard deviation of each estimate by itself, as a share of the mass. Common practice, no source.
const OWN: f64 = 0.05;
/// What estimates still share once several kinds were weighed, as a share of the mass: those
/// weighed may be of one form, and the others not. Common practice, no source.
const COMMON_SCALED: f64 = 0.03;

/// What one piece weighs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mass {
    /// The best single number, g.
    pub grams: f64,
    /// Standard deviation of this kind alone, g.
    pub own_sd_g: f64,
    /// Grams of it that are estimated and so share the estimates' error.
    pub estimated_g: f64,
}

impl Mass {
    /// Whether all of it was weighed.
    pub fn is_measured(&self) -> bool {
        self.estimated_g == 0.0
    }
}

/// The mass of every kind.
#[derive(Clone, Debug, PartialEq)]
pub struct Masses {
    measured: BTreeMap<Shape, (f64, f64)>,
    /// By how much weighed pieces are heavier than estimated.
    ratio: f64,
    /// What all estimates share, as a share of the mass.
    common: f64,
}

impl Masses {
    /// Masses by what was weighed, and by estimate for all else. Where kinds were weighed well,
    /// the estimates are scaled by the mean of measured over estimated.
    pub fn of_book(book: &WeightBook) -> Self {
        let measured: BTreeMap<Shape, (f64, f64)> = book
            .shapes()
            .map(|(shape, weighed)| (shape, (weighed.each_g(), weighed.each_sd_g())))
            .collect();
        // One that is known no better than its estimate tells nothing of the others.
        let ratios: Vec<f64> = measured
            .iter()
            .filter(|(_, (grams, sd))| *sd < OWN * grams)
            .map(|(shape, (grams, _))| grams / estimate_g(*shape))
            .collect();
        let n = ratios.len() as f64;
        let (ratio, common) = if ratios.is_empty() {
            (1.0, COMMON)
        } else {
            // The mean of n ratios is itself off by what each estimate is by itself.
            (
                ratios.iter().sum::<f64>() / n,
                COMMON_SCALED.max(OWN / n.sqrt()),
            )
        };
        Self {
            measured,
            ratio,
            common,
        }
    }

    /// What all estimates share, as a share of the mass.
    pub fn common(&self) -> f64 {
        self.common
    }

    /// Of a shape.
    pub fn of(&self, shape: Shape) -> Mass {
        if let Some(&(grams, own_sd_g)) = self.measured.get(&shape) {
            return Mass {
                grams,
                own_sd_g,
                estimated_g: 0.0,
            };
        }
        let grams = self.ratio * estimate_g(shape);
        Mass {
            grams,
            own_sd_g: OWN * grams,
            estimated_g: grams,
        }
    }

    /// Of a form and size as a sheet says them. Where the form is `any`, the mean of the forms
    /// in which that size was looked for, and what lies between them is in the deviation: as
    /// good as certain to be of one form, pieces of a tray do not average it out.
    pub fn of_kind(&self, form: &str, size: &str, search: &Search) -> Option<Mass> {
        let (short, long) = size.split_once('x')?;
        let (short, long): (u8, u8) = (short.parse().ok()?, long.parse().ok()?);
        if short == 0 || long < short {
            return None;
        }
        let of = |form| self.of(Shape { form, short, long });
        if let Some(form) = Form::ALL.into_iter().find(|f| f.name() == form) {
            return Some(of(form));
        }
        let shape = Shape {
            form: Form::Plate,
            short,
            long,
        };
        let mut forms: Vec<Form> = search.forms_of(shape).collect();
        if forms.is_empty() {
            forms = Form::ALL.to_vec();
        }
        let each: Vec<Mass> = forms.into_iter().map(of).collect();
        let mean = |of: &dyn Fn(&Mass) -> f64| each.iter().map(of).sum::<f64>() / each.len() as f64;
        let grams = mean(&|mass| mass.grams);
        let variance = mean(&|mass| mass.own_sd_g.powi(2) + (mass.grams - grams).powi(2));
        Some(Mass {
            grams,
            own_sd_g: variance.sqrt(),
            estimated_g: mean(&|mass| mass.estimated_g),
        })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::count::weigh::{Reading, Weighed};

    fn shape(form: Form, short: u8, long: u8) -> Shape {
        Shape { form, short, long }
    }

    fn weighed(shape: Shape, number: u32, grams: f64, step_g: f64) -> Weighed {
        Weighed::new(shape, number, Reading { grams, step_g })
    }

    #[test]
    fn what_was_weighed_scales_the_rest() {
        let (a, b, c) = (
            shape(Form::Plate, 2, 4),
            shape(Form::Plate, 2, 2),
            shape(Form::Brick, 2, 4),
        );
        let mut book = WeightBook::default();
        let none = Masses::of_book(&book);
        assert_eq!((none.common(), none.of(c).grams), (0.08, estimate_g(c)));
        // A hundred at a time and to the milligram: the ratios are 0.8 and 1.0.
        for (shape, ratio) in [(a, 0.8), (b, 1.0)] {
            let grams = 100.0 * ratio * estimate_g(shape);
            book.keep(weighed(shape, 100, grams, 0.001)).unwrap();
        }
        let two = Masses::of_book(&book);
        assert!((two.of(a).grams - 0.8 * estimate_g(a)).abs() < 1e-9);
        assert!(two.of(a).is_measured() && !two.of(c).is_measured());
        assert!((two.of(c).grams - 0.9 * estimate_g(c)).abs() < 1e-9);
        assert!((two.of(c).own_sd_g - 0.05 * two.of(c).grams).abs() < 1e-12);
        // 5 % over the root of two.
        assert!((two.common() - 0.035_355).abs() < 1e-6);
    }

    #[test]
    fn a_coarse_weighing_scales_nothing() {
        let mut book = WeightBook::default();
        // One plate on a scale that shows whole grams: 1 g give or take a half.
        let plate = shape(Form::Plate, 2, 4);
        book.keep(weighed(plate, 1, 1.0, 1.0)).unwrap();
        let masses = Masses::of_book(&book);
        assert_eq!(masses.common(), 0.08);
        assert_eq!(masses.of(plate).grams, 1.0);
        assert!((masses.of(plate).own_sd_g - 0.5001).abs() < 1e-4);
    }

    /// By hand: with forms of 1 g and 3 g that are known exactly the mean is 2 g and the
    /// deviation 1 g.
    #[test]
    fn an_open_form_is_the_mean_of_those_it_may_be() {
        let (plate, tile) = (shape(Form::Plate, 1, 2), shape(Form::Tile, 1, 2));
        let search = Search::of_forms(&[Form::Plate, Form::Tile]);
        let mut book = WeightBook::default();
        book.keep(weighed(plate, 1, 3.0, 1e-6)).unwrap();
        book.keep(weighed(tile, 1, 1.0, 1e-6)).unwrap();
        let masses = Masses::of_book(&book);
        let any = masses.of_kind("any", "1x2", &search).unwrap();
        assert!((any.grams - 2.0).abs() < 1e-9);
        // 1 % of each mass adds (0.0009 + 0.0001) / 2 to the variance of 1.
        assert!((any.own_sd_g - 1.000_25).abs() < 1e-5, "{any:?}");
        assert!(any.is_measured());
        assert_eq!(
            masses.of_kind("plate", "1x2", &search),
            Some(masses.of(plate))
        );
        for size in ["", "2", "4x2", "0x3", "axb", "300x300"] {
            assert_eq!(masses.of_kind("any", size, &search), None, "{size}");
        }
    }
}
