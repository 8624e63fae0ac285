//! The best allotment, one wish after the other: most modules finish, then least is
//! bought (or least paid), then other plans are spared, then few joins are made and
//! plentiful pieces go first.

mod sound;

use super::model::{Allotment, Demand, Model, Pins, Weights};
use super::network::{Network, Role};
use super::offers::Offers;
use super::plan::Plan;
use super::program::{ProgramError, Solved};
use super::supply::Supply;
use std::collections::{BTreeMap, BTreeSet};

/// A number, and what it could be at best if that is not proven to be it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Best {
    /// What was found.
    pub found: f64,
    /// What no answer can beat.
    pub bound: f64,
    /// Whether it is proven that nothing is better.
    pub proven: bool,
}

/// An allotment and how good it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Cover {
    /// Who may take what.
    pub network: Network,
    /// Who takes what.
    pub allotment: Allotment,
    /// Modules finished, of all priorities.
    pub modules: Best,
    /// Pieces missing, without offers; pieces that nobody sells, with them.
    pub missing: Best,
    /// What the purchases cost, with offers.
    pub cost: Option<Best>,
}

/// The next module: the fewest pieces that would finish one more.
#[derive(Clone, Debug, PartialEq)]
pub struct Next {
    /// Modules finished then, by variant.
    pub modules: Vec<u64>,
    /// Missing pieces by taker.
    pub missing: BTreeMap<usize, u64>,
    /// How few.
    pub pieces: Best,
}

/// How much is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Detail {
    /// The numbers of modules and of missing pieces, and the price.
    Numbers,
    /// An allotment that spares what is scarce or kept for other plans, too.
    Allotment,
}

/// Why there is no cover.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CoverError {
    /// The solver did not come through.
    #[error("{0}")]
    Program(#[from] ProgramError),
    /// What came out is not an allotment in whole numbers.
    #[error("the solver's answer does not add up ({0}); please report the plan and the stock")]
    Unsound(String),
}

/// Finds the best allotment.
///
/// # Errors
/// When the solver does not come through, or what it says does not add up.
pub fn cover(
    plan: &Plan,
    supply: &Supply,
    kept: &[&Plan],
    offers: Option<&Offers>,
    detail: Detail,
) -> Result<Cover, CoverError> {
    let network = Network::new(plan, supply, kept, offers);
    let run = Run {
        network: &network,
        offers,
    };
    let (mut pins, modules, now) = run.most_modules()?;
    if network.ways.is_empty() && offers.is_none() {
        // Then any mix of modules leaves as little missing as any other: what the
        // finished ones use can always be kept while the rest is served as well as can be.
        pins.modules = Some(now.modules);
    }
    let (mut allotment, missing) = run.least_missing(&mut pins)?;
    let mut cost = None;
    if let Some(offers) = offers {
        let (cheapest, best) = run.cheapest(&pins, offers)?;
        allotment = cheapest;
        cost = Some(best);
        pins.purchases = Some(allotment.purchases.clone());
    }
    if detail == Detail::Allotment {
        pins.modules = Some(allotment.modules.clone());
        pins.floors = BTreeMap::new();
        allotment = run.spare(&mut pins)?;
    }
    sound::check(&network, offers, &allotment).map_err(CoverError::Unsound)?;
    Ok(Cover {
        network,
        allotment,
        modules,
        missing,
        cost,
    })
}

struct Run<'a> {
    network: &'a Network,
    offers: Option<&'a Offers>,
}

impl Run<'_> {
    /// Most modules, those of the first priority first.
    fn most_modules(&self) -> Result<(Pins, Best, Allotment), CoverError> {
        let variants = &self.network.variants;
        let levels: BTreeSet<u64> = variants.iter().map(|variant| variant.priority).collect();
        let mut pins = Pins::default();
        let mut best = Best {
            found: 0.0,
            bound: 0.0,
            proven: true,
        };
        let mut last = Allotment::default();
        for level in levels {
            let counts = |priority| if priority == level { -1.0 } else { 0.0 };
            let weights = Weights {
                modules: variants.iter().map(|v| counts(v.priority)).collect(),
                ..Weights::default()
            };
            let model = Model::new(self.network, None, Demand::Now, &weights, &pins);
            let (allotment, solved) = model.solve()?;
            let finished = variants.iter().zip(&allotment.modules);
            let finished: u64 = finished
                .filter(|(variant, _)| variant.priority == level)
                .map(|(_, &number)| number)
                .sum();
            pins.floors.insert(level, finished);
            best.found += finished as f64;
            // A part of a module is none.
            best.bound += (-solved.bound + 1e-6).floor();
            best.proven &= solved.proven;
            last = allotment;
        }
        if best.found >= best.bound {
            best.proven = true;
        }
        Ok((pins, best, last))
    }

    /// Fewest missing pieces; with offers, fewest that nobody sells.
    fn least_missing(&self, pins: &mut Pins) -> Result<(Allotment, Best), CoverError> {
        let weights = match self.offers {
            None => Weights {
                missing: 1.0,
                ..Weights::default()
            },
            Some(_) => Weights {
                unsold: 1.0,
                ..Weights::default()
            },
        };
        let model = Model::new(self.network, self.offers, Demand::All, &weights, pins);
        let (allotment, solved) = model.solve()?;
        let best = whole(&solved);
        match self.offers {
            None => pins.missing = Some(best.found as u64),
            Some(_) => pins.unsold = Some(best.found as u64),
        }
        Ok((allotment, best))
    }

    fn cheapest(&self, pins: &Pins, offers: &Offers) -> Result<(Allotment, Best), CoverError> {
        let weights = Weights {
            prices: true,
            ..Weights::default()
        };
        let model = Model::new(self.network, self.offers, Demand::All, &weights, pins);
        let (allotment, solved) = model.solve()?;
        let best = Best {
            found: price(offers, &allotment),
            bound: solved.bound,
            proven: solved.proven,
        };
        Ok((allotment, best))
    }

    /// Keeps most for other plans, then makes fewest joins and takes from plenty.
    fn spare(&self, pins: &mut Pins) -> Result<Allotment, CoverError> {
        let takers = &self.network.takers;
        if takers.iter().any(|t| matches!(t.role, Role::Kept { .. })) {
            let weights = Weights {
                kept: -1.0,
                ..Weights::default()
            };
            pins.kept = Some(0);
            let model = Model::new(self.network, self.offers, Demand::All, &weights, pins);
            let (_, solved) = model.solve()?;
            pins.kept = Some((-solved.objective).round().max(0.0) as u64);
        }
        let weights = Weights {
            sources: self.network.sources.iter().map(|s| scarcity(s.amount)).collect(),
            join: JOIN,
            ..Weights::default()
        };
        let model = Model::new(self.network, self.offers, Demand::All, &weights, pins);
        Ok(model.solve()?.0)
    }
}

/// What a join weighs against scarcity: more than the scarcest parts together, so
/// that none is made where a whole piece would do.
const JOIN: f64 = 1000.0;

/// What a piece from a source of so many weighs: one step for each time the source is
/// halved, from 1 (plenty) to 40 (the last).
fn scarcity(amount: u64) -> f64 {
    let doublings = u64::BITS - amount.max(1).leading_zeros();
    (41.0 - f64::from(doublings.min(40))).max(1.0)
}

fn whole(solved: &Solved) -> Best {
    let found = solved.objective.round().max(0.0);
    let bound = (solved.bound - 1e-6).ceil().max(0.0);
    Best {
        found,
        bound,
        proven: solved.proven || bound >= found,
    }
}

/// What an allotment's purchases cost.
pub fn price(offers: &Offers, allotment: &Allotment) -> f64 {
    let bought = offers.list.iter().zip(&allotment.purchases);
    bought.map(|(offer, bought)| offer.price * bought.units as f64).sum()
}

/// The fewest pieces that would finish one more module, without giving up any of a
/// priority; none when all are finished.
///
/// # Errors
/// When the solver does not come through.
pub fn next(cover: &Cover) -> Result<Option<Next>, CoverError> {
    let network = &cover.network;
    let wanted: u64 = network.variants.iter().map(|variant| variant.wanted).sum();
    let finished: u64 = cover.allotment.modules.iter().sum();
    if finished >= wanted {
        return Ok(None);
    }
    let mut pins = Pins {
        at_least: finished + 1,
        ..Pins::default()
    };
    for (variant, &number) in network.variants.iter().zip(&cover.allotment.modules) {
        *pins.floors.entry(variant.priority).or_insert(0) += number;
    }
    let weights = Weights {
        missing: 1.0,
        ..Weights::default()
    };
    let (allotment, solved) = Model::new(network, None, Demand::Next, &weights, &pins).solve()?;
    Ok(Some(Next {
        modules: allotment.modules,
        missing: allotment.missing,
        pieces: whole(&solved),
    }))
}
