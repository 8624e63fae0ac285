//! Logistic regression, with worlds left out in turn to see what it is worth.

use std::collections::{BTreeMap, BTreeSet};

use cuptally::count::fitted::Map;
use nalgebra::{DMatrix, DVector};
use serde::Serialize;

/// One case: the features, whether what was said is right, and the world that it is from.
#[derive(Clone, Debug)]
pub struct Case {
    /// Named values.
    pub features: Vec<(&'static str, f64)>,
    /// Whether it is right.
    pub right: bool,
    /// Desk, camera and print that it was seen with.
    pub world: String,
    /// How many such cases it stands for.
    pub weight: f64,
}

/// Pull towards 0 on each weight but the base: features that few cases have stay near it.
const RIDGE: f64 = 1.0;
/// Newton's steps; it has settled after eight.
const STEPS: usize = 30;
/// The surest share of the cases tells how sure anything may be.
const TOP: f64 = 0.1;

/// A fitted map and how it did on worlds that were left out.
#[derive(Clone, Debug)]
pub struct Fit {
    /// Fitted on all cases.
    pub map: Map,
    /// What a map fitted without the case's world says of each case.
    pub held_out: Vec<f64>,
}

/// Fits a map, and one without each world. `known` are the cases as maps see them that know all worlds, where these differ
/// from those that are fitted on: they tell how sure anything may be.
pub fn fit(cases: &[Case], known: &[Case]) -> Fit {
    let worlds: BTreeSet<&str> = cases.iter().map(|case| case.world.as_str()).collect();
    let mut held_out = vec![0.0; cases.len()];
    for world in worlds {
        let others: Vec<&Case> = cases.iter().filter(|case| case.world != world).collect();
        let map = regression(&others);
        for (case, said) in cases.iter().zip(&mut held_out) {
            if case.world == world {
                *said = map.of(&case.features);
            }
        }
    }
    let mut map = regression(&cases.iter().collect::<Vec<_>>());
    map.most = most(known, &map);
    for said in &mut held_out {
        *said = said.min(map.most);
    }
    Fit { map, held_out }
}

/// The most that the evidence allows: the share right of the tenth that the map is surest of, as Laplace's rule of
/// succession estimates it. Maps that did not know a world rank its pieces by a scale of their own, so that they
/// cannot say which of all are surest.
fn most(cases: &[Case], map: &Map) -> f64 {
    let mut top: Vec<(f64, &Case)> = (cases.iter())
        .map(|case| (map.of(&case.features), case))
        .collect();
    top.sort_by(|a, b| b.0.total_cmp(&a.0));
    top.truncate((TOP * cases.len() as f64) as usize);
    let sum = |wanted: &dyn Fn(&Case) -> bool| -> f64 {
        let cases = top.iter().map(|(_, case)| *case);
        let wanted = cases.filter(|case| wanted(case));
        wanted.map(|case| case.weight).sum()
    };
    (sum(&|case| case.right) + 1.0) / (sum(&|_| true) + 2.0)
}

fn regression(cases: &[&Case]) -> Map {
    let names: Vec<&'static str> = (cases.first())
        .map(|case| case.features.iter().map(|(name, _)| *name).collect())
        .unwrap_or_default();
    let size = names.len();
    let rows: Vec<DVector<f64>> = (cases.iter())
        .map(|case| {
            let own: Vec<&str> = case.features.iter().map(|(name, _)| *name).collect();
            assert_eq!(own, names, "cases of one map have the same features");
            DVector::from_iterator(size, case.features.iter().map(|(_, v)| *v))
        })
        .collect();
    let mut weights = DVector::<f64>::zeros(size);
    for _ in 0..STEPS {
        let mut hessian = DMatrix::<f64>::identity(size, size) * RIDGE;
        hessian[(0, 0)] = 1e-6;
        let mut gradient = -(&hessian * &weights);
        for (row, case) in rows.iter().zip(cases) {
            let p = 1.0 / (1.0 + (-row.dot(&weights)).exp());
            gradient += row * (case.weight * (f64::from(u8::from(case.right)) - p));
            hessian.ger(case.weight * p * (1.0 - p), row, row, 1.0);
        }
        let Some(step) = hessian.cholesky().map(|c| c.solve(&gradient)) else {
            break;
        };
        weights += step;
    }
    let rounded = |w: f64| (w * 1e4).round() / 1e4;
    Map {
        weights: (names.iter().zip(weights.iter()))
            .map(|(name, w)| ((*name).to_owned(), rounded(*w)))
            .collect(),
        most: 1.0 - 1e-9,
    }
}

/// What was stated and what came true of it, of cases stated alike.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Bin {
    /// How many cases.
    pub cases: usize,
    /// Mean of what was stated.
    pub stated: f64,
    /// Share right.
    pub right: f64,
}

/// Bounds of the bins.
const BOUNDS: [f64; 9] = [0.2, 0.4, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99];

/// What a map said of worlds that it was not fitted on against what came true.
pub fn bins(cases: &[Case], said: &[f64]) -> Vec<Bin> {
    let mut sums: BTreeMap<usize, (usize, f64, f64, f64)> = BTreeMap::new();
    for (case, said) in cases.iter().zip(said) {
        let bin = BOUNDS.iter().filter(|bound| *said >= **bound).count();
        let sum = sums.entry(bin).or_default();
        *sum = (
            sum.0 + 1,
            sum.1 + case.weight,
            sum.2 + case.weight * said,
            sum.3 + case.weight * f64::from(u8::from(case.right)),
        );
    }
    let rounded = |v: f64| (v * 1e4).round() / 1e4;
    (sums.into_values())
        .map(|(cases, weight, stated, right)| Bin {
            cases,
            stated: rounded(stated / weight),
            right: rounded(right / weight),
        })
        .collect()
}
