//! The network as an integer program.
//!
//! Whole numbers are demanded of modules, joins, cups and minimum orders only. With
//! those fixed the rest is a flow from sources to takers, whose corners are whole by
//! themselves (Dantzig 1951 for the transportation problem; Hoffman and Kruskal 1956
//! for why; both named from memory), and the simplex method ends on a corner.

mod terms;

use super::network::{Network, Role};
use super::offers::{Offer, Offers, Sold};
use super::program::{Is, Program, ProgramError, Solved, Var};
use std::collections::BTreeMap;

pub use terms::{Allotment, Demand, Pins, Purchase, Weights};

/// The program with its variables.
pub struct Model<'a> {
    network: &'a Network,
    program: Program,
    modules: Vec<Var>,
    edges: Vec<Vec<Option<Var>>>,
    joins: Vec<Option<Var>>,
    missing: BTreeMap<usize, Var>,
    offers: Vec<Option<OfferVars>>,
    list: &'a [Offer],
}

struct OfferVars {
    used: BTreeMap<usize, Var>,
    /// Whether it is bought at all, and how many cups, where the program asks that.
    at_all: Option<Var>,
    cups: Option<Var>,
}

type Terms = Vec<(Var, f64)>;

impl<'a> Model<'a> {
    /// Writes the program down.
    pub fn new(
        network: &'a Network,
        offers: Option<&'a Offers>,
        demand: Demand,
        weights: &Weights,
        pins: &Pins,
    ) -> Self {
        let list = offers.map_or(&[][..], |offers| &offers.list);
        let mut model = Self {
            network,
            program: Program::default(),
            modules: Vec::new(),
            edges: Vec::new(),
            joins: Vec::new(),
            missing: BTreeMap::new(),
            offers: Vec::new(),
            list,
        };
        model.add_modules(demand, weights, pins);
        let mut inflow: Vec<Terms> = vec![Vec::new(); network.takers.len()];
        let kept = model.add_edges(weights, pins, &mut inflow);
        let mut bought: Vec<Terms> = vec![Vec::new(); network.takers.len()];
        if demand == Demand::All {
            model.add_offers(weights, pins, &mut bought);
        }
        let ways = model.add_joins(demand, weights, pins, &mut inflow);
        model.add_balances(demand, weights, pins, inflow, bought, ways);
        if let Some(least) = &pins.kept {
            model.add_limits(kept, least, Is::AtLeast);
        }
        model
    }

    fn add_modules(&mut self, demand: Demand, weights: &Weights, pins: &Pins) {
        let mut most: Vec<u64> = self.network.variants.iter().map(|v| v.wanted).collect();
        if demand != Demand::Next {
            most = self.reachable();
        }
        for (index, most) in most.into_iter().enumerate() {
            let weight = weights.modules.get(index).copied().unwrap_or(0.0);
            let exact = pins
                .modules
                .as_ref()
                .and_then(|all| all.get(index).copied());
            let range = pins.range.as_ref().and_then(|all| all.get(index).copied());
            let var = match (exact, range) {
                (Some(exact), _) => self.program.real(weight, exact, exact),
                (None, Some((least, end))) => self.program.real(weight, least, end.min(most)),
                (None, None) => self.program.whole(weight, 0, most),
            };
            self.modules.push(var);
        }
        if pins.modules.is_some() {
            return;
        }
        for (&(group, priority), &floor) in &pins.floors {
            let variants = self.network.variants.iter().zip(&pins.apart.variants);
            let terms: Terms = variants
                .zip(&self.modules)
                .filter(|((variant, own), _)| variant.priority == priority && **own == group)
                .map(|(_, &var)| (var, 1.0))
                .collect();
            self.program.row(terms, Is::AtLeast, floor as f64);
        }
        if pins.at_least > 0 {
            let all: Terms = self.modules.iter().map(|&var| (var, 1.0)).collect();
            self.program.row(all, Is::AtLeast, pins.at_least as f64);
        }
    }

    /// A row for each group.
    fn add_limits(&mut self, terms: BTreeMap<usize, Terms>, limits: &BTreeMap<usize, u64>, is: Is) {
        for (group, terms) in terms {
            let limit = limits.get(&group).copied().unwrap_or(0);
            self.program.row(terms, is, limit as f64);
        }
    }

    /// No more of each variant than its scarcest line allows, were it alone.
    fn reachable(&self) -> Vec<u64> {
        let network = self.network;
        let mut most: Vec<u64> = network.variants.iter().map(|v| v.wanted).collect();
        let mut stock = vec![0u64; network.takers.len()];
        for source in &network.sources {
            for &taker in &source.takers {
                if let Some(there) = stock.get_mut(taker) {
                    *there = there.saturating_add(source.amount);
                }
            }
        }
        for way in network.ways.iter().filter(|way| !way.later) {
            let joined = way
                .parts
                .iter()
                .map(|&(part, count)| stock.get(part).copied().unwrap_or(0) / count.max(1))
                .min();
            if let Some(there) = stock.get_mut(way.whole) {
                *there = there.saturating_add(joined.unwrap_or(0));
            }
        }
        for (taker, there) in stock.iter().enumerate() {
            for (variant, count) in network.needs(taker) {
                if let Some(most) = most.get_mut(variant) {
                    *most = (*most).min(there / count.max(1));
                }
            }
        }
        most
    }

    /// A variable for each source and taker; returns those of kept plans.
    fn add_edges(
        &mut self,
        weights: &Weights,
        pins: &Pins,
        inflow: &mut [Terms],
    ) -> BTreeMap<usize, Terms> {
        let with_kept = pins.kept.is_some();
        let mut kept: BTreeMap<usize, Terms> = BTreeMap::new();
        let later = !self.list.is_empty();
        for (index, source) in self.network.sources.iter().enumerate() {
            let cost = weights.sources.get(index).copied().unwrap_or(0.0);
            let mut vars = Vec::new();
            let mut out: Terms = Vec::new();
            for &taker in &source.takers {
                let role = self.network.takers.get(taker).map(|taker| &taker.role);
                let (weight, takes_part) = match role {
                    Some(Role::Kept { .. }) => (weights.kept, with_kept),
                    Some(Role::LaterPart) => (cost, later),
                    _ => (cost, true),
                };
                if !takes_part {
                    vars.push(None);
                    continue;
                }
                let var = self.program.real(weight, 0, source.amount);
                vars.push(Some(var));
                out.push((var, 1.0));
                if matches!(role, Some(Role::Kept { .. })) {
                    let group = pins.apart.takers.get(taker).copied().unwrap_or(0);
                    kept.entry(group).or_default().push((var, 1.0));
                }
                if let Some(terms) = inflow.get_mut(taker) {
                    terms.push((var, 1.0));
                }
            }
            if out.len() > 1 {
                self.program.row(out, Is::AtMost, source.amount as f64);
            }
            self.edges.push(vars);
        }
        kept
    }

    /// Joins take parts and give wholes; returns them by whole, those that can be made
    /// now and those that cannot.
    fn add_joins(
        &mut self,
        demand: Demand,
        weights: &Weights,
        pins: &Pins,
        inflow: &mut [Terms],
    ) -> BTreeMap<usize, (Terms, Terms)> {
        let mut ways: BTreeMap<usize, (Terms, Terms)> = BTreeMap::new();
        for way in &self.network.ways {
            if way.later && demand != Demand::All {
                self.joins.push(None);
                continue;
            }
            let most = self.network.demand(way.whole);
            let var = if pins.loose_joins {
                self.program.real(weights.join, 0, most)
            } else {
                self.program.whole(weights.join, 0, most)
            };
            self.joins.push(Some(var));
            if let Some(terms) = inflow.get_mut(way.whole) {
                terms.push((var, 1.0));
            }
            let (now, later) = ways.entry(way.whole).or_default();
            if way.later { later } else { now }.push((var, 1.0));
            for &(part, count) in &way.parts {
                if let Some(terms) = inflow.get_mut(part) {
                    terms.push((var, -(count as f64)));
                }
            }
        }
        ways
    }

    /// What can be bought flows to the takers that it will do for.
    fn add_offers(&mut self, weights: &Weights, pins: &Pins, bought: &mut [Terms]) {
        for (index, offer) in self.list.iter().enumerate() {
            let price = if weights.prices { offer.price } else { 0.0 };
            let exact = pins.purchases.as_ref().and_then(|all| all.get(index));
            let takers: Vec<usize> = (0..self.network.takers.len())
                .filter(|&taker| self.network.can_buy(taker, offer))
                .collect();
            let most: u64 = takers.iter().map(|&taker| self.most_bought(taker)).sum();
            if takers.is_empty() || most == 0 {
                self.offers.push(None);
                continue;
            }
            let mut used = BTreeMap::new();
            let mut out: Terms = Vec::new();
            let by_piece = matches!(offer.sold, Sold::Pieces { minimum: 1, .. });
            for taker in takers {
                let weight = if by_piece { price } else { 0.0 };
                let var = self.program.real(weight, 0, most);
                used.insert(taker, var);
                out.push((var, 1.0));
                if let Some(terms) = bought.get_mut(taker) {
                    terms.push((var, 1.0));
                }
            }
            let (mut at_all, mut cups) = (None, None);
            match (offer.sold, exact) {
                (Sold::Pieces { .. }, Some(exact)) => {
                    self.program.row(out, Is::AtMost, exact.units as f64);
                }
                (Sold::Cups { holds, .. }, Some(exact)) => {
                    let pieces = exact.units.saturating_mul(holds.low);
                    self.program.row(out, Is::AtMost, pieces as f64);
                }
                (Sold::Pieces { minimum: 1, most }, None) => {
                    self.program.row(out, Is::AtMost, most as f64);
                }
                (
                    Sold::Pieces {
                        minimum,
                        most: limit,
                    },
                    None,
                ) => {
                    let most = limit.min(most.max(minimum));
                    let paid = self.program.real(price, 0, most);
                    let any = self.program.whole(0.0, 0, 1);
                    at_all = Some(any);
                    out.push((paid, -1.0));
                    self.program.row(out, Is::AtMost, 0.0);
                    let least = (any, -(minimum as f64));
                    self.program.row([(paid, 1.0), least], Is::AtLeast, 0.0);
                    let largest = (any, -(most as f64));
                    self.program.row([(paid, 1.0), largest], Is::AtMost, 0.0);
                }
                (Sold::Cups { holds, most: limit }, None) => {
                    let most = limit.min(most.div_ceil(holds.low.max(1)));
                    let whole = self.program.whole(price, 0, most);
                    cups = Some(whole);
                    out.push((whole, -(holds.low as f64)));
                    self.program.row(out, Is::AtMost, 0.0);
                }
            }
            self.offers.push(Some(OfferVars { used, at_all, cups }));
        }
    }

    /// The most that can be bought for a taker without waste.
    fn most_bought(&self, taker: usize) -> u64 {
        let parts = self.network.ways.iter().filter(|way| way.later);
        let for_joins = parts.flat_map(|way| {
            let own = way.parts.iter().filter(|&&(part, _)| part == taker);
            own.map(|&(_, count)| self.network.demand(way.whole).saturating_mul(count))
        });
        self.network
            .demand(taker)
            .saturating_add(for_joins.fold(0, u64::saturating_add))
    }

    fn add_balances(
        &mut self,
        demand: Demand,
        weights: &Weights,
        pins: &Pins,
        inflow: Vec<Terms>,
        mut bought: Vec<Terms>,
        mut ways: BTreeMap<usize, (Terms, Terms)>,
    ) {
        let mut all_missing: BTreeMap<usize, Terms> = BTreeMap::new();
        let mut all_unsold: BTreeMap<usize, Terms> = BTreeMap::new();
        for (index, (taker, mut terms)) in self.network.takers.iter().zip(inflow).enumerate() {
            let group = pins.apart.takers.get(index).copied().unwrap_or(0);
            let mut bought = bought
                .get_mut(index)
                .map(std::mem::take)
                .unwrap_or_default();
            match &taker.role {
                Role::Kept { wanted, .. } => {
                    if !terms.is_empty() {
                        self.program.row(terms, Is::AtMost, *wanted as f64);
                    }
                }
                Role::Part | Role::LaterPart => {
                    terms.append(&mut bought);
                    if !terms.is_empty() {
                        self.program.row(terms, Is::Equal, 0.0);
                    }
                }
                Role::Whole(_) => {
                    let wanted = self.network.demand(index);
                    let needs = self.network.needs(index);
                    let needs: Terms = needs
                        .iter()
                        .filter_map(|(&variant, &count)| {
                            Some((*self.modules.get(variant)?, count as f64))
                        })
                        .collect();
                    if demand != Demand::Now {
                        let missing = self.program.real(weights.missing, 0, wanted);
                        self.missing.insert(index, missing);
                        all_missing.entry(group).or_default().push((missing, 1.0));
                        terms.push((missing, 1.0));
                        if !self.list.is_empty() && demand == Demand::All {
                            let unsold = self.program.real(weights.unsold, 0, wanted);
                            all_unsold.entry(group).or_default().push((unsold, 1.0));
                            bought.push((unsold, 1.0));
                            bought.push((missing, -1.0));
                            self.program.row(bought, Is::Equal, 0.0);
                        }
                        if demand == Demand::All {
                            let (mut now, mut cap) = ways.remove(&index).unwrap_or_default();
                            if !cap.is_empty() {
                                // What is joined from stock for later is among the
                                // joins for later already.
                                now.extend(needs.iter().map(|&(var, count)| (var, -count)));
                                self.program.row(now, Is::AtMost, 0.0);
                            }
                            cap.push((missing, 1.0));
                            cap.extend(&needs);
                            self.program.row(cap, Is::AtMost, wanted as f64);
                        }
                    }
                    if demand == Demand::All {
                        self.program.row(terms, Is::Equal, wanted as f64);
                    } else {
                        terms.extend(needs.into_iter().map(|(var, count)| (var, -count)));
                        self.program.row(terms, Is::Equal, 0.0);
                    }
                }
            }
        }
        if let Some(most) = &pins.missing {
            self.add_limits(all_missing, most, Is::AtMost);
        }
        if let Some(most) = &pins.unsold {
            self.add_limits(all_unsold, most, Is::AtMost);
        }
    }

    /// Solves it. `start` is an answer to begin with, if the search needs one.
    ///
    /// # Errors
    /// When there is no answer, or none was found.
    pub fn solve(&self, start: Option<&Allotment>) -> Result<(Allotment, Solved), ProgramError> {
        let hint = start.map(|start| self.hint(start));
        let solved = self.program.solve(hint.as_ref())?;
        let number = |var: &Option<Var>| var.map_or(0, |var| solved.number(var));
        let allotment = Allotment {
            modules: self.modules.iter().map(|&var| solved.number(var)).collect(),
            taken: self
                .edges
                .iter()
                .map(|vars| vars.iter().map(number).collect())
                .collect(),
            joins: self.joins.iter().map(number).collect(),
            missing: self
                .missing
                .iter()
                .map(|(&taker, &var)| (taker, solved.number(var)))
                .filter(|&(_, number)| number > 0)
                .collect(),
            purchases: self.purchases(&solved),
        };
        Ok((allotment, solved))
    }

    /// Modules as they come out, parts of modules among them.
    ///
    /// # Errors
    /// When there is no answer.
    pub fn modules(&self) -> Result<Vec<f64>, ProgramError> {
        let solved = self.program.solve(None)?;
        Ok(self.modules.iter().map(|&var| solved.value(var)).collect())
    }

    /// The whole variables as an answer has them; the rest follows from those.
    fn hint(&self, start: &Allotment) -> BTreeMap<Var, f64> {
        let modules = self.modules.iter().copied().zip(&start.modules);
        let joins = self.joins.iter().zip(&start.joins);
        let joins = joins.filter_map(|(var, number)| Some(((*var)?, number)));
        let bought = self.offers.iter().zip(&start.purchases);
        let bought = bought.filter_map(|(vars, purchase)| Some((vars.as_ref()?, purchase.units)));
        let bought = bought.flat_map(|(vars, units)| {
            let cups = vars.cups.map(|var| (var, units));
            let at_all = vars.at_all.map(|var| (var, units.min(1)));
            cups.into_iter().chain(at_all)
        });
        modules
            .chain(joins)
            .map(|(var, &number)| (var, number))
            .chain(bought)
            .map(|(var, number)| (var, number as f64))
            .collect()
    }

    fn purchases(&self, solved: &Solved) -> Vec<Purchase> {
        let offers = self.offers.iter().zip(self.list);
        let purchase = |(vars, offer): (&Option<OfferVars>, &Offer)| {
            let Some(vars) = vars else {
                return Purchase::default();
            };
            let used: BTreeMap<usize, u64> = vars
                .used
                .iter()
                .map(|(&taker, &var)| (taker, solved.number(var)))
                .filter(|&(_, number)| number > 0)
                .collect();
            let pieces: u64 = used.values().sum();
            let units = match offer.sold {
                _ if pieces == 0 => 0,
                Sold::Pieces { minimum, .. } => pieces.max(minimum),
                Sold::Cups { holds, .. } => pieces.div_ceil(holds.low.max(1)),
            };
            Purchase { units, used }
        };
        offers.map(purchase).collect()
    }
}
