//! Who may take what: demand and supply as a network.
//!
//! What cannot be told apart is gathered, so that a plan of hundreds of lines
//! against thousands of kinds in stock stays small: lines that want the same piece
//! in the same colours are one taker; kinds in stock that the same takers may use
//! are one source.

use super::join::JoinRules;
use super::offers::{Offer, Offers};
use super::plan::{Module, Plan};
use super::program::Groups;
use super::supply::Supply;
use crate::stock::kind::{Kind, Name, Size};
use std::collections::{BTreeMap, BTreeSet};

/// Modules of one kind that are all seen, or all hidden.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Variant {
    /// Index of the plan's module.
    pub module: usize,
    /// Whether they stand where nobody sees them.
    pub hidden: bool,
    /// How many are wanted.
    pub wanted: u64,
    /// As the module's.
    pub priority: u64,
}

/// A line of the plan in one variant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct LineRef {
    /// Index of the variant.
    pub variant: usize,
    /// Index of the line in its module.
    pub line: usize,
    /// Pieces a module.
    pub count: u64,
}

/// What a taker is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Role {
    /// Lines of the plan.
    Whole(Vec<LineRef>),
    /// Parts of joins, from stock only.
    Part,
    /// Parts of joins that are made later, from stock or bought.
    LaterPart,
    /// What a plan that is kept in mind needs: so many pieces, of that plan.
    Kept {
        /// Index of the plan.
        plan: usize,
        /// Pieces.
        wanted: u64,
    },
}

/// Somebody who may take pieces of one form and size, in some colours.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Taker {
    /// Form.
    pub form: Name,
    /// Size.
    pub size: Size,
    /// The colours that will do, of all that are in stock or on offer.
    pub colours: BTreeSet<Name>,
    /// What it is.
    pub role: Role,
}

/// Kinds in stock that the same takers may use.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// The kinds with their numbers, most plentiful first.
    pub kinds: Vec<(Kind, u64)>,
    /// Pieces of all of them.
    pub amount: u64,
    /// Indices of the takers, ascending.
    pub takers: Vec<usize>,
}

/// One way to make a whole piece from parts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Way {
    /// Index of the taker that gets it.
    pub whole: usize,
    /// Indices of the takers of its parts, with how many parts.
    pub parts: Vec<(usize, u64)>,
    /// Whether its parts may be bought, so that it can only be made later.
    pub later: bool,
}

/// Who may take what.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Network {
    /// Modules by kind, seen and hidden apart; none without any wanted.
    pub variants: Vec<Variant>,
    /// Takers.
    pub takers: Vec<Taker>,
    /// Sources.
    pub sources: Vec<Source>,
    /// Ways to join.
    pub ways: Vec<Way>,
}

/// Groups of takers and variants that have nothing to do with other groups.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Apart {
    /// Group of each taker.
    pub takers: Vec<usize>,
    /// Group of each variant.
    pub variants: Vec<usize>,
}

impl Network {
    /// Builds it. `kept` are plans to be kept in mind.
    pub fn new(plan: &Plan, supply: &Supply, kept: &[&Plan], offers: Option<&Offers>) -> Self {
        let mut network = Self {
            variants: variants(plan),
            ..Self::default()
        };
        let stock = Shelf::of(supply.keys());
        let market = offers.map(|offers| Shelf::of(offers.list.iter().map(|offer| &offer.kind)));
        network.add_lines(plan, &stock, market.as_ref());
        network.add_kept(kept, &stock);
        network.add_sources(supply);
        network
    }

    /// How many pieces one module of a variant needs from a taker.
    pub fn needs(&self, taker: usize) -> BTreeMap<usize, u64> {
        let mut needs = BTreeMap::new();
        if let Some(Role::Whole(lines)) = self.takers.get(taker).map(|taker| &taker.role) {
            for line in lines {
                *needs.entry(line.variant).or_insert(0) += line.count;
            }
        }
        needs
    }

    /// How many pieces all wanted modules need from a taker.
    pub fn demand(&self, taker: usize) -> u64 {
        let needs = self.needs(taker);
        needs
            .iter()
            .filter_map(|(&variant, &count)| Some(self.variants.get(variant)?.wanted * count))
            .sum()
    }

    /// Which takers, and which variants, have nothing to do with each other. Lines of
    /// one module hang together unless it is settled how many are finished.
    pub fn apart(&self, offers: Option<&Offers>, settled: bool) -> Apart {
        let takers = self.takers.len();
        let mut groups = Groups::new(takers + self.variants.len());
        for source in &self.sources {
            for pair in source.takers.windows(2) {
                if let [a, b] = pair {
                    groups.join(*a, *b);
                }
            }
        }
        for way in &self.ways {
            for &(part, _) in &way.parts {
                groups.join(way.whole, part);
            }
        }
        for offer in offers.into_iter().flat_map(|offers| &offers.list) {
            let mut first = None;
            for taker in (0..takers).filter(|&taker| self.can_buy(taker, offer)) {
                groups.join(*first.get_or_insert(taker), taker);
            }
        }
        if !settled {
            for taker in 0..takers {
                for variant in self.needs(taker).into_keys() {
                    groups.join(taker, takers + variant);
                }
            }
        }
        Apart {
            takers: (0..takers).map(|taker| groups.of(taker)).collect(),
            variants: (0..self.variants.len())
                .map(|variant| groups.of(takers + variant))
                .collect(),
        }
    }

    /// Whether an offer will do for a taker.
    pub fn can_buy(&self, taker: usize, offer: &Offer) -> bool {
        self.takers.get(taker).is_some_and(|taker| {
            matches!(taker.role, Role::Whole(_) | Role::LaterPart)
                && taker.form == offer.kind.form
                && taker.size == offer.kind.size
                && taker.colours.contains(&offer.kind.colour)
        })
    }

    fn add_lines(&mut self, plan: &Plan, stock: &Shelf, market: Option<&Shelf>) {
        let mut wholes: BTreeMap<(Name, Size, BTreeSet<Name>, bool), usize> = BTreeMap::new();
        for (index, variant) in self.variants.iter().enumerate() {
            let lines = plan.modules.get(variant.module).map(|module| &module.lines);
            for (number, line) in lines.into_iter().flatten().enumerate() {
                let mut colours = stock.colours(&line.form, line.size, |colour| {
                    line.takes(colour, variant.hidden)
                });
                if let Some(market) = market {
                    colours.extend(market.colours(&line.form, line.size, |colour| {
                        line.takes(colour, variant.hidden)
                    }));
                }
                let joins = line.may_join(variant.hidden);
                // What a join's parts may be coloured depends on the line, not on
                // which colours its own size happens to be there in.
                let key_colours = if joins {
                    let all = stock
                        .all_colours()
                        .chain(market.iter().flat_map(|m| m.all_colours()));
                    all.filter(|colour| line.takes(colour, variant.hidden))
                        .cloned()
                        .collect()
                } else {
                    colours.clone()
                };
                let key = (line.form.clone(), line.size, key_colours, joins);
                let reference = LineRef {
                    variant: index,
                    line: number,
                    count: line.count,
                };
                match wholes.get(&key) {
                    Some(&taker) => {
                        if let Some(Role::Whole(lines)) =
                            self.takers.get_mut(taker).map(|taker| &mut taker.role)
                        {
                            lines.push(reference);
                        }
                    }
                    None => {
                        wholes.insert(key, self.takers.len());
                        self.takers.push(Taker {
                            form: line.form.clone(),
                            size: line.size,
                            colours,
                            role: Role::Whole(vec![reference]),
                        });
                    }
                }
            }
        }
        let mut parts = BTreeMap::new();
        for ((form, size, colours, joins), whole) in wholes {
            if !joins {
                continue;
            }
            let joined = Joined {
                whole,
                form,
                size,
                colours,
            };
            self.add_ways(&plan.joins, &joined, stock, None, &mut parts);
            if market.is_some() {
                self.add_ways(&plan.joins, &joined, stock, market, &mut parts);
            }
        }
    }

    /// Ways to make one whole; those with something bought when there is a market.
    fn add_ways(
        &mut self,
        rules: &JoinRules,
        joined: &Joined,
        stock: &Shelf,
        market: Option<&Shelf>,
        known: &mut BTreeMap<(bool, Name, Size, BTreeSet<Name>), usize>,
    ) {
        let Joined {
            whole,
            form,
            size,
            colours,
        } = joined;
        if rules.never.contains(form) {
            return;
        }
        let later = market.is_some();
        let mut sizes = stock.sizes(form, colours);
        if let Some(market) = market {
            sizes.extend(market.sizes(form, colours));
        }
        for parts in rules.ways(*size, &sizes) {
            let mut takers = Vec::new();
            for (part, count) in parts {
                let mut will_do = stock.colours(form, part, |colour| colours.contains(colour));
                if let Some(market) = market {
                    will_do.extend(market.colours(form, part, |c| colours.contains(c)));
                }
                let key = (later, form.clone(), part, will_do.clone());
                let index = *known.entry(key).or_insert_with(|| {
                    self.takers.push(Taker {
                        form: form.clone(),
                        size: part,
                        colours: will_do,
                        role: if later { Role::LaterPart } else { Role::Part },
                    });
                    self.takers.len() - 1
                });
                takers.push((index, count));
            }
            self.ways.push(Way {
                whole: *whole,
                parts: takers,
                later,
            });
        }
    }

    fn add_kept(&mut self, kept: &[&Plan], stock: &Shelf) {
        for (index, plan) in kept.iter().enumerate() {
            let mut needs: BTreeMap<(Name, Size, BTreeSet<Name>), u64> = BTreeMap::new();
            for variant in variants(plan) {
                let lines = plan.modules.get(variant.module).map(|module| &module.lines);
                for line in lines.into_iter().flatten() {
                    let colours = stock.colours(&line.form, line.size, |colour| {
                        line.takes(colour, variant.hidden)
                    });
                    let need = needs
                        .entry((line.form.clone(), line.size, colours))
                        .or_insert(0);
                    *need += variant.wanted * line.count;
                }
            }
            for ((form, size, colours), wanted) in needs {
                self.takers.push(Taker {
                    form,
                    size,
                    colours,
                    role: Role::Kept {
                        plan: index,
                        wanted,
                    },
                });
            }
        }
    }

    fn add_sources(&mut self, supply: &Supply) {
        let mut by_piece: BTreeMap<(&Name, Size), Vec<usize>> = BTreeMap::new();
        for (index, taker) in self.takers.iter().enumerate() {
            by_piece
                .entry((&taker.form, taker.size))
                .or_default()
                .push(index);
        }
        let mut sources: BTreeMap<Vec<usize>, Source> = BTreeMap::new();
        for (kind, &number) in supply {
            let near = by_piece.get(&(&kind.form, kind.size));
            let takers: Vec<usize> = near
                .into_iter()
                .flatten()
                .copied()
                .filter(|&taker| {
                    let taker = self.takers.get(taker);
                    taker.is_some_and(|taker| taker.colours.contains(&kind.colour))
                })
                .collect();
            if takers.is_empty() {
                continue;
            }
            let source = sources.entry(takers.clone()).or_insert_with(|| Source {
                kinds: Vec::new(),
                amount: 0,
                takers,
            });
            source.kinds.push((kind.clone(), number));
            source.amount = source.amount.saturating_add(number);
        }
        self.sources = sources.into_values().collect();
        for source in &mut self.sources {
            source
                .kinds
                .sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(&b.0)));
        }
    }
}

fn variants(plan: &Plan) -> Vec<Variant> {
    let modules = plan.modules.iter().enumerate();
    let both = modules.flat_map(|(index, module): (usize, &Module)| {
        let variant = |hidden: bool, wanted: u64| Variant {
            module: index,
            hidden,
            wanted,
            priority: module.priority,
        };
        [
            variant(false, module.wanted.saturating_sub(module.hidden)),
            variant(true, module.hidden),
        ]
    });
    both.filter(|variant| variant.wanted > 0).collect()
}

/// A taker that may be served by joins.
struct Joined {
    whole: usize,
    form: Name,
    size: Size,
    /// What its parts may be coloured.
    colours: BTreeSet<Name>,
}

/// Which kinds there are, for looking up.
struct Shelf {
    by_piece: BTreeMap<(Name, Size), BTreeSet<Name>>,
    colours: BTreeSet<Name>,
}

impl Shelf {
    fn of<'a>(kinds: impl Iterator<Item = &'a Kind>) -> Self {
        let mut shelf = Self {
            by_piece: BTreeMap::new(),
            colours: BTreeSet::new(),
        };
        for kind in kinds {
            let colours = shelf.by_piece.entry((kind.form.clone(), kind.size));
            colours.or_default().insert(kind.colour.clone());
            shelf.colours.insert(kind.colour.clone());
        }
        shelf
    }

    fn all_colours(&self) -> impl Iterator<Item = &Name> {
        self.colours.iter()
    }

    fn colours(&self, form: &Name, size: Size, will_do: impl Fn(&Name) -> bool) -> BTreeSet<Name> {
        let there = self.by_piece.get(&(form.clone(), size));
        let there = there.into_iter().flatten();
        there.filter(|colour| will_do(colour)).cloned().collect()
    }

    /// Sizes of a form that are there in any of the colours.
    fn sizes(&self, form: &Name, colours: &BTreeSet<Name>) -> BTreeSet<Size> {
        self.by_piece
            .iter()
            .filter(|((other, _), there)| other == form && !there.is_disjoint(colours))
            .map(|((_, size), _)| *size)
            .collect()
    }
}
