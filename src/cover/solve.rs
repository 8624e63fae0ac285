//! The best allotment, one wish after the other: most modules finish, then least is
//! bought (or least paid), then other plans are spared, then few joins are made and
//! plentiful pieces go first.

mod dive;
mod sound;

use super::model::{Allotment, Demand, Model, Pins, Weights};
use super::network::{Apart, Network, Role};
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
        linked: network.apart(offers, false),
        settled: network.apart(offers, true),
    };
    let (pins, modules, now) = run.most_modules()?;
    let (mut allotment, missing) = if network.ways.is_empty() && offers.is_none() {
        // Then any mix of modules leaves as little missing as any other: what the
        // finished ones use can always be kept while the rest is served as well as can be.
        let (allotment, solved) = run.settle(&now.modules, Wish::Missing, Some(&now))?;
        (allotment, whole(&solved))
    } else {
        let (allotment, solved) = run.least(&pins, Wish::Missing, &now)?;
        (allotment, whole(&solved))
    };
    let mut cost = None;
    if let Some(offers) = offers {
        let mut pins = pins;
        pins.unsold = Some(run.unsold(&allotment, &run.linked));
        pins.modules = None;
        let (cheapest, solved) = run.least(&pins, Wish::Price(&allotment), &allotment)?;
        cost = Some(Best {
            found: price(offers, &cheapest),
            bound: solved.bound,
            proven: solved.proven,
        });
        allotment = run.fewest(&cheapest)?;
    }
    if detail == Detail::Allotment {
        allotment = run.spare(&allotment)?;
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
    /// Groups while it is open how many modules are finished.
    linked: Apart,
    /// Groups once that is settled.
    settled: Apart,
}

/// What is to be little.
#[derive(Clone, Copy)]
enum Wish<'a> {
    /// Missing pieces; with offers, those that nobody sells.
    Missing,
    /// The price, nothing more being left unsold than in this allotment.
    Price(&'a Allotment),
}

/// Money that is too little to tell apart: a thousandth of a hundredth.
const SPECK: f64 = 1e-5;

impl Run<'_> {
    /// Most modules, those of the first priority first.
    fn most_modules(&self) -> Result<(Pins, Best, Allotment), CoverError> {
        let variants = &self.network.variants;
        let levels: BTreeSet<u64> = variants.iter().map(|variant| variant.priority).collect();
        let mut pins = Pins {
            apart: self.linked.clone(),
            ..Pins::default()
        };
        let mut best = Best {
            found: 0.0,
            bound: 0.0,
            proven: true,
        };
        // To build nothing is always possible, and what an earlier priority found still is.
        let mut last = nothing(self.network);
        for level in levels {
            let counts = |priority| if priority == level { -1.0 } else { 0.0 };
            let weights = Weights {
                modules: variants.iter().map(|v| counts(v.priority)).collect(),
                ..Weights::default()
            };
            let model = Model::new(self.network, None, Demand::Now, &weights, &pins);
            let (allotment, solved) = match model.solve(None) {
                // Without joins the search finds good answers by itself, proven or not.
                Ok(answer) if answer.1.proven || self.network.ways.is_empty() => answer,
                Err(error) if !matches!(error, ProgramError::Unfinished(_)) => {
                    return Err(error.into());
                }
                poor => {
                    let start = dive::start(self.network, &weights, &pins).unwrap_or(last);
                    better(poor, model.solve(Some(&start)))?
                }
            };
            let finished = variants.iter().zip(&self.linked.variants);
            for ((variant, &group), &number) in finished.zip(&allotment.modules) {
                if variant.priority == level {
                    *pins.floors.entry((group, level)).or_insert(0) += number;
                    best.found += number as f64;
                }
            }
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

    fn weights(&self, wish: Wish) -> Weights {
        match (wish, self.offers) {
            (Wish::Missing, None) => Weights {
                missing: 1.0,
                ..Weights::default()
            },
            (Wish::Missing, Some(_)) => Weights {
                unsold: 1.0,
                ..Weights::default()
            },
            (Wish::Price(_), _) => Weights {
                prices: true,
                ..Weights::default()
            },
        }
    }

    fn model(&self, weights: &Weights, pins: &Pins) -> Model<'_> {
        Model::new(self.network, self.offers, Demand::All, weights, pins)
    }

    /// The best for exactly these modules; groups are then small.
    /// `start` is an answer with these modules.
    fn settle(
        &self,
        modules: &[u64],
        wish: Wish,
        start: Option<&Allotment>,
    ) -> Result<(Allotment, Solved), CoverError> {
        let mut pins = Pins {
            apart: self.settled.clone(),
            modules: Some(modules.to_vec()),
            ..Pins::default()
        };
        let first = self
            .model(&self.weights(Wish::Missing), &pins)
            .solve(start)?;
        if let Wish::Missing = wish {
            return Ok(first);
        }
        pins.unsold = Some(self.unsold(&first.0, &self.settled));
        Ok(self
            .model(&self.weights(wish), &pins)
            .solve(Some(&first.0))?)
    }

    /// The best of all mixes of modules that the floors allow. Three tries, each for
    /// what the last left open: a bound with joins that need not be whole; the best
    /// for the modules that come out of that; the whole program, starting from there.
    fn least(
        &self,
        pins: &Pins,
        wish: Wish,
        known: &Allotment,
    ) -> Result<(Allotment, Solved), CoverError> {
        let weights = self.weights(wish);
        let mut loose = pins.clone();
        loose.loose_joins = true;
        let (guess, bound) = self.model(&weights, &loose).solve(Some(known))?;
        let will_do = |allotment: &Allotment| match wish {
            Wish::Missing => true,
            Wish::Price(before) => {
                let open = |one| self.unsold(one, &self.linked).values().sum::<u64>();
                open(allotment) <= open(before)
            }
        };
        // Modules that need half a join cannot be finished.
        let mut good = match self.settle(&guess.modules, wish, None) {
            Ok(good) if will_do(&good.0) => good,
            _ => self.settle(&known.modules, wish, Some(known))?,
        };
        let reached = |found: f64, bound: f64| match wish {
            Wish::Missing => found <= (bound - 1e-6).ceil(),
            Wish::Price(_) => found <= bound + SPECK,
        };
        // What was proven there holds for those modules only.
        let (mut best, mut proven) = (bound.bound, false);
        if !reached(good.1.objective, best) {
            let start = Some(&good.0);
            if let Ok(better) = self.model(&weights, pins).solve(start) {
                best = best.max(better.1.bound);
                proven = better.1.proven;
                if better.1.objective < good.1.objective - SPECK {
                    good = better;
                }
            }
        }
        good.1.proven = proven || reached(good.1.objective, best);
        good.1.bound = best.min(good.1.objective);
        Ok(good)
    }

    /// Missing pieces that nobody sells, or all missing ones without offers, by group.
    fn unsold(&self, allotment: &Allotment, apart: &Apart) -> BTreeMap<usize, u64> {
        let mut sums = BTreeMap::new();
        for (&taker, &missing) in &allotment.missing {
            let bought = allotment.purchases.iter();
            let bought = bought.filter_map(|purchase| purchase.used.get(&taker));
            let open = missing.saturating_sub(bought.sum());
            if let Some(&group) = apart.takers.get(taker) {
                *sums.entry(group).or_insert(0) += open;
            }
        }
        sums
    }

    /// What an allotment settled, for exactly its modules and purchases.
    fn settled_by(&self, allotment: &Allotment) -> Pins {
        let offers = self.offers.map(|_| allotment.purchases.clone());
        let open = Some(self.unsold(allotment, &self.settled));
        let (missing, unsold) = if offers.is_some() {
            (None, open)
        } else {
            (open, None)
        };
        Pins {
            apart: self.settled.clone(),
            modules: Some(allotment.modules.clone()),
            purchases: offers,
            missing,
            unsold,
            ..Pins::default()
        }
    }

    /// The fewest missing pieces with the same purchases: a cup may hold more than is
    /// needed, and what it holds too much is no reason to leave the stock alone.
    fn fewest(&self, allotment: &Allotment) -> Result<Allotment, CoverError> {
        let weights = Weights {
            missing: 1.0,
            ..Weights::default()
        };
        let pins = self.settled_by(allotment);
        Ok(self.model(&weights, &pins).solve(Some(allotment))?.0)
    }

    /// Missing pieces, bought or not, by group.
    fn missing(&self, allotment: &Allotment) -> BTreeMap<usize, u64> {
        let mut sums = BTreeMap::new();
        for (&taker, &missing) in &allotment.missing {
            if let Some(&group) = self.settled.takers.get(taker) {
                *sums.entry(group).or_insert(0) += missing;
            }
        }
        sums
    }

    /// Keeps most for other plans, then makes fewest joins and takes from plenty; with
    /// the modules and purchases of an allotment.
    fn spare(&self, allotment: &Allotment) -> Result<Allotment, CoverError> {
        let mut pins = self.settled_by(allotment);
        pins.missing = Some(self.missing(allotment));
        let takers = &self.network.takers;
        if takers.iter().any(|t| matches!(t.role, Role::Kept { .. })) {
            let weights = Weights {
                kept: -1.0,
                ..Weights::default()
            };
            pins.kept = Some(BTreeMap::new());
            let (kept, _) = self.model(&weights, &pins).solve(Some(allotment))?;
            pins.kept = Some(self.kept(&kept));
        }
        let sources = self.network.sources.iter();
        let weights = Weights {
            sources: sources.map(|source| scarcity(source.amount)).collect(),
            join: JOIN,
            ..Weights::default()
        };
        Ok(self.model(&weights, &pins).solve(Some(allotment))?.0)
    }

    /// Pieces for plans that are kept in mind, by group.
    fn kept(&self, allotment: &Allotment) -> BTreeMap<usize, u64> {
        let mut sums = BTreeMap::new();
        for (source, taken) in self.network.sources.iter().zip(&allotment.taken) {
            for (&taker, &pieces) in source.takers.iter().zip(taken) {
                let role = self.network.takers.get(taker).map(|taker| &taker.role);
                if let (Some(Role::Kept { .. }), Some(&group)) =
                    (role, self.settled.takers.get(taker))
                {
                    *sums.entry(group).or_insert(0) += pieces;
                }
            }
        }
        sums
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
    bought
        .map(|(offer, bought)| offer.price * bought.units as f64)
        .sum()
}

fn nothing(network: &Network) -> Allotment {
    Allotment {
        modules: vec![0; network.variants.len()],
        joins: vec![0; network.ways.len()],
        ..Allotment::default()
    }
}

/// The better of two answers, with the better bound.
fn better<E>(
    one: Result<(Allotment, Solved), E>,
    two: Result<(Allotment, Solved), E>,
) -> Result<(Allotment, Solved), E> {
    match (one, two) {
        (Ok(one), Ok(two)) => {
            let bound = one.1.bound.max(two.1.bound);
            let proven = one.1.proven || two.1.proven;
            let mut best = if two.1.objective < one.1.objective {
                two
            } else {
                one
            };
            best.1.bound = bound;
            best.1.proven = proven;
            Ok(best)
        }
        (Ok(only), Err(_)) | (Err(_), Ok(only)) => Ok(only),
        (Err(error), Err(_)) => Err(error),
    }
}

/// Solves a model, and when the search finds nothing in time, again from a start. Not
/// at once from there: the library simplifies less when it must keep a start possible.
fn try_hard(model: &Model, start: &Allotment) -> Result<(Allotment, Solved), ProgramError> {
    match model.solve(None) {
        Err(ProgramError::Unfinished(_)) => model.solve(Some(start)),
        other => other,
    }
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
    let apart = network.apart(None, false);
    for (at, variant) in network.variants.iter().enumerate() {
        let number = cover.allotment.modules.get(at).copied().unwrap_or(0);
        let group = apart.variants.get(at).copied().unwrap_or(0);
        *pins.floors.entry((group, variant.priority)).or_insert(0) += number;
    }
    pins.apart = apart;
    let weights = Weights {
        missing: 1.0,
        ..Weights::default()
    };
    // One more of any kind is possible, if all its pieces are bought.
    let mut start = nothing(network);
    start.modules.clone_from(&cover.allotment.modules);
    let open = network.variants.iter().zip(&mut start.modules);
    let mut open = open.filter(|(variant, number)| **number < variant.wanted);
    if let Some((_, number)) = open.next() {
        *number += 1;
    }
    let model = Model::new(network, None, Demand::Next, &weights, &pins);
    let (allotment, solved) = try_hard(&model, &start)?;
    Ok(Some(Next {
        modules: allotment.modules,
        missing: allotment.missing,
        pieces: whole(&solved),
    }))
}
