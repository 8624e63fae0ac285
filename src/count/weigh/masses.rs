//! What a piece of each kind weighs, and how well that is known.
//!
//! An error is of a kind alone, or shared by all kinds that were estimated: walls that are thicker
//! than we take them are so everywhere. The shared part does not average out over a cup.

use std::collections::BTreeMap;

use super::book::WeightBook;
use super::volume::estimate_g;
use crate::pieces::{Search, Shape};

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
        let list = search.list();
        if let Some(shape) = list.named(form, size) {
            return Some(self.of(shape));
        }
        if list.form(form).is_some() {
            return None;
        }
        let of_size = |shape: &Shape| shape.size() == size;
        let looked_for = search.shapes().iter().copied().filter(of_size);
        let mut open: Vec<Shape> = looked_for.collect();
        if open.is_empty() {
            open = list.all().filter(of_size).collect();
        }
        // Forms that cannot be told apart have one footprint, most often a full one.
        let meant = (open.iter()).find(|s| s.is_block()).or(open.first())?;
        let alike = open.iter().filter(|shape| shape.has_footprint_of(*meant));
        let each: Vec<Mass> = alike.map(|shape| self.of(*shape)).collect();
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
    use crate::count::weigh::Reading;
    use crate::pieces::list::tests::shape;
    use crate::pieces::{Expected, Shapes};

    #[test]
    fn what_was_weighed_scales_the_rest() {
        let (a, b, c) = (
            shape("plate", "2x4"),
            shape("plate", "2x2"),
            shape("brick", "2x4"),
        );
        let mut book = WeightBook::default();
        let none = Masses::of_book(&book);
        assert_eq!((none.common(), none.of(c).grams), (0.08, estimate_g(c)));
        // A hundred at a time and to the milligram: the ratios are 0.8 and 1.0.
        for (shape, ratio) in [(a, 0.8), (b, 1.0)] {
            let grams = 100.0 * ratio * estimate_g(shape);
            book.keep(
                shape,
                100,
                Reading {
                    grams,
                    step_g: 0.001,
                },
            )
            .unwrap();
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
        let plate = shape("plate", "2x4");
        book.keep(
            plate,
            1,
            Reading {
                grams: 1.0,
                step_g: 1.0,
            },
        )
        .unwrap();
        let masses = Masses::of_book(&book);
        assert_eq!(masses.common(), 0.08);
        assert_eq!(masses.of(plate).grams, 1.0);
        assert!((masses.of(plate).own_sd_g - 0.5001).abs() < 1e-4);
    }

    /// By hand: with forms of 1 g and 3 g that are known exactly the mean is 2 g and the
    /// deviation 1 g.
    #[test]
    fn an_open_form_is_the_mean_of_those_it_may_be() {
        let (plate, tile) = (shape("plate", "1x2"), shape("tile", "1x2"));
        let list = Shapes::shipped();
        let forms = ["plate", "tile"].map(|form| Expected::parse(form, list).unwrap());
        let search = Search::of_all(list).expecting(&forms).unwrap();
        let mut book = WeightBook::default();
        book.keep(
            plate,
            1,
            Reading {
                grams: 3.0,
                step_g: 1e-6,
            },
        )
        .unwrap();
        book.keep(
            tile,
            1,
            Reading {
                grams: 1.0,
                step_g: 1e-6,
            },
        )
        .unwrap();
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
