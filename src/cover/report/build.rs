//! From covers to a report.

use super::{
    Advice, ColourRow, FetchPurpose, FetchRow, JoinRow, KeptRow, KindReach, LineName, MissingRow,
    NextKind, NextModule, Reach, Report, SparedRow, VERSION,
};
use crate::cover::advice;
use crate::cover::answer::{self, Purpose, Uses, missing_by_line};
use crate::cover::fetch::{Fetch, fetch_list};
use crate::cover::network::{LineRef, Network, Role};
use crate::cover::offers::Offers;
use crate::cover::plan::{Colours, Line, Plan};
use crate::cover::remarks::Remark;
use crate::cover::solve::{self, Cover, CoverError, Detail};
use crate::cover::supply::{self, Reading, Supply, undecided};
use crate::stock::Contents;
use crate::stock::kind::{Kind, Label, Name, Size};
use crate::stock::tally::{Tally, TallyError};
use std::collections::{BTreeMap, BTreeSet};

/// A plan that is kept in mind.
pub struct Keep {
    /// What to call it.
    pub name: Label,
    /// What it needs.
    pub plan: Plan,
}

/// All that a cover is made of.
pub struct Input<'a> {
    /// What is to be built.
    pub plan: &'a Plan,
    /// What there is.
    pub contents: &'a Contents,
    /// Plans to be kept in mind.
    pub kept: &'a [Keep],
    /// What can be bought.
    pub offers: Option<&'a Offers>,
    /// Which answer the lists follow.
    pub lists: Reading,
    /// What looks like a mistake.
    pub remarks: Vec<Remark>,
}

/// Why there is no report.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReportError {
    /// No cover.
    #[error(transparent)]
    Cover(#[from] CoverError),
    /// The stock's numbers cannot be added up.
    #[error("the stock cannot be added up: {0}; put the largest numbers right first")]
    Tally(#[from] TallyError),
}

/// Answers for certain and likely, and makes the lists. The second value is what the
/// fetch list takes, place by place.
///
/// # Errors
/// When the solver does not come through, or there are too many pieces to add up.
pub fn build(input: &Input) -> Result<(Report, Vec<Fetch>), ReportError> {
    let kept: Vec<&Plan> = input.kept.iter().map(|keep| &keep.plan).collect();
    let run = |reading: Reading| -> Result<(Cover, Supply), ReportError> {
        let supply = supply::supply(input.contents, reading)?;
        let (detail, kept) = if reading == input.lists {
            (Detail::Allotment, kept.as_slice())
        } else {
            (Detail::Numbers, &[][..])
        };
        let cover = solve::cover(input.plan, &supply, kept, input.offers, detail)?;
        Ok((cover, supply))
    };
    // Neither needs the other.
    let (certain, likely) = rayon::join(|| run(Reading::Certain), || run(Reading::Likely));
    let ((certain, certain_supply), (likely, likely_supply)) = (certain?, likely?);
    let (main, main_supply) = match input.lists {
        Reading::Certain => (&certain, &certain_supply),
        Reading::Likely => (&likely, &likely_supply),
    };
    let uses = answer::uses(main);
    let fetch = fetch_list(input.contents, &uses.list, input.lists)?;
    let teller = Teller {
        plan: input.plan,
        network: &main.network,
        undecided: undecided(input.contents)?,
    };
    let built = |variant: usize| main.allotment.modules.get(variant).copied().unwrap_or(0);
    let wanted = |variant: usize| main.network.variants.get(variant).map_or(0, |v| v.wanted);
    let not_sold = input.offers.map(|_| advice::unsold(main));
    let lacking = |missing: &BTreeMap<usize, u64>| {
        missing_by_line(&main.network, missing, |variant| {
            wanted(variant).saturating_sub(built(variant))
        })
    };
    let missing = teller.missing(
        &lacking(&main.allotment.missing),
        not_sold.as_ref().map(lacking),
    );
    let report = Report {
        cover: VERSION,
        plan: input.plan.name.clone(),
        wanted: input.plan.modules.iter().map(|module| module.wanted).sum(),
        certain: reach(&certain),
        likely: reach(&likely),
        lists: input.lists,
        kinds: kinds(input.plan, &certain, &likely),
        fetch: fetch.iter().filter_map(|row| teller.fetch(row)).collect(),
        joins: teller.joins(&uses),
        colours: teller.colours(&uses),
        spared: teller.spared(&uses, input.kept),
        missing,
        next: next(main, &teller)?,
        advice: input.offers.map(|offers| Advice {
            currency: offers.currency.clone(),
            buy: advice::buys(main, offers),
            cost: solve::price(offers, &main.allotment),
            not_sold: not_sold.iter().flat_map(BTreeMap::values).sum(),
        }),
        kept: kept_rows(input.kept, main_supply, &uses)?,
        remarks: input.remarks.clone(),
    };
    Ok((report, fetch))
}

fn reach(cover: &Cover) -> Reach {
    let missing: u64 = cover.allotment.missing.values().sum();
    let (missing_at_least, cost_proven) = match cover.cost {
        None => (cover.missing.bound.min(missing as f64) as u64, true),
        Some(cost) => (missing, cost.proven),
    };
    Reach {
        modules: cover.modules.found as u64,
        modules_at_most: cover.modules.bound.max(cover.modules.found) as u64,
        missing,
        missing_at_least,
        cost: cover.cost.map(|cost| cost.found),
        cost_at_least: cover.cost.map(|cost| cost.bound.min(cost.found)),
        proven: cover.modules.proven && cover.missing.proven && cost_proven,
    }
}

fn kinds(plan: &Plan, certain: &Cover, likely: &Cover) -> Vec<KindReach> {
    let number = |cover: &Cover, at: usize| cover.allotment.modules.get(at).copied().unwrap_or(0);
    let variants = likely.network.variants.iter().enumerate();
    variants
        .filter_map(|(at, variant)| {
            Some(KindReach {
                module: plan.modules.get(variant.module)?.name.clone(),
                hidden: variant.hidden,
                wanted: variant.wanted,
                certain: number(certain, at),
                likely: number(likely, at),
            })
        })
        .collect()
}

fn next(cover: &Cover, teller: &Teller) -> Result<Option<NextModule>, CoverError> {
    let Some(next) = solve::next(cover)? else {
        return Ok(None);
    };
    let before = &cover.allotment.modules;
    let variants = cover.network.variants.iter().enumerate();
    let modules = variants.filter_map(|(at, variant)| {
        let number = |list: &[u64]| list.get(at).copied().unwrap_or(0) as i64;
        let more = number(&next.modules) - number(before);
        let module = teller.plan.modules.get(variant.module)?;
        (more != 0).then(|| NextKind {
            module: module.name.clone(),
            hidden: variant.hidden,
            more,
        })
    });
    let modules = modules.collect();
    let lines = missing_by_line(&cover.network, &next.missing, |variant| {
        next.modules.get(variant).copied().unwrap_or(0)
    });
    Ok(Some(NextModule {
        modules,
        pieces: next.missing.values().sum(),
        proven: next.pieces.proven,
        missing: teller.missing(&lines, None),
    }))
}

fn kept_rows(kept: &[Keep], supply: &Supply, uses: &Uses) -> Result<Vec<KeptRow>, CoverError> {
    let mut taken = Supply::new();
    for used in &uses.list {
        if matches!(used.purpose, Purpose::Now(..)) {
            *taken.entry(used.kind.clone()).or_insert(0) += used.pieces;
        }
    }
    let left = supply::less(supply, &taken);
    let modules = |keep: &Keep, supply: &Supply| -> Result<u64, CoverError> {
        let cover = solve::cover(&keep.plan, supply, &[], None, Detail::Numbers)?;
        Ok(cover.modules.found as u64)
    };
    kept.iter()
        .map(|keep| {
            Ok(KeptRow {
                plan: keep.name.clone(),
                wanted: keep.plan.modules.iter().map(|module| module.wanted).sum(),
                before: modules(keep, supply)?,
                after: modules(keep, &left)?,
            })
        })
        .collect()
}

/// Turns references into words.
struct Teller<'a> {
    plan: &'a Plan,
    network: &'a Network,
    undecided: BTreeMap<(Size, Name), Tally>,
}

impl Teller<'_> {
    fn line(&self, line: LineRef) -> Option<(LineName, &Line)> {
        let variant = self.network.variants.get(line.variant)?;
        let module = self.plan.modules.get(variant.module)?;
        let found = module.lines.get(line.line)?;
        let name = LineName {
            module: module.name.clone(),
            hidden: variant.hidden,
            line: found.at,
        };
        Some((name, found))
    }

    fn fetch(&self, fetch: &Fetch) -> Option<FetchRow> {
        let purposes = fetch.purposes.iter().map(|&(line, joined_to, pieces)| {
            Some(FetchPurpose {
                line: self.line(line)?.0,
                pieces,
                joined_to,
            })
        });
        Some(FetchRow {
            place: fetch.place.clone(),
            form: fetch.kind.form.clone(),
            size: fetch.kind.size,
            colour: fetch.kind.colour.clone(),
            take: fetch.take,
            certain: fetch.certain,
            pending: fetch.pending,
            purposes: purposes.collect::<Option<_>>()?,
        })
    }

    fn joins(&self, uses: &Uses) -> Vec<JoinRow> {
        let row = |join: &answer::Join| {
            let (name, line) = self.line(join.line)?;
            let way = self.network.ways.get(join.way)?;
            let parts = way
                .parts
                .iter()
                .filter_map(|&(part, count)| Some((self.network.takers.get(part)?.size, count)));
            Some(JoinRow {
                line: name,
                form: line.form.clone(),
                size: line.size,
                pieces: join.pieces,
                parts: parts.collect(),
            })
        };
        uses.joins.iter().filter_map(row).collect()
    }

    fn colours(&self, uses: &Uses) -> Vec<ColourRow> {
        let mut gets: BTreeMap<LineRef, BTreeMap<Name, u64>> = BTreeMap::new();
        for used in &uses.list {
            if let Purpose::Now(line, _) = used.purpose {
                let colours = gets.entry(line).or_default();
                *colours.entry(used.kind.colour.clone()).or_insert(0) += used.pieces;
            }
        }
        gets.into_iter()
            .filter_map(|(reference, gets)| {
                let (name, line) = self.line(reference)?;
                let one = matches!(&line.colours, Colours::Of(names) if names.len() == 1);
                if one && (line.hidden_colours.is_none() || !name.hidden) {
                    return None;
                }
                Some(ColourRow {
                    form: line.form.clone(),
                    size: line.size,
                    will_do: line.colours_in_words(name.hidden),
                    line: name,
                    gets,
                })
            })
            .collect()
    }

    /// Kinds that a line with a choice of colours could have used, and that were left
    /// to lines without a choice, or to plans that are kept in mind.
    fn spared(&self, uses: &Uses, kept: &[Keep]) -> Vec<SparedRow> {
        let mut wished: BTreeSet<&Kind> = BTreeSet::new();
        for source in &self.network.sources {
            let choosy = source.takers.iter().any(|&taker| {
                let taker = self.network.takers.get(taker);
                taker.is_some_and(|taker| {
                    matches!(taker.role, Role::Whole(_)) && taker.colours.len() > 1
                })
            });
            if choosy {
                wished.extend(source.kinds.iter().map(|(kind, _)| kind));
            }
        }
        let mut rows: BTreeMap<(&Kind, String), u64> = BTreeMap::new();
        for used in &uses.list {
            let purpose = match used.purpose {
                Purpose::Kept(plan) => kept.get(plan).map(|keep| keep.name.to_string()),
                Purpose::Now(line, None) => self.only_colour(line),
                Purpose::Later(taker) => match self.network.takers.get(taker).map(|t| &t.role) {
                    Some(Role::Whole(lines)) => {
                        let first = lines.first().copied();
                        first.and_then(|line| self.only_colour(line))
                    }
                    _ => None,
                },
                Purpose::Now(..) => None,
            };
            if let Some(purpose) = purpose
                && wished.contains(&used.kind)
            {
                *rows.entry((&used.kind, purpose)).or_insert(0) += used.pieces;
            }
        }
        rows.into_iter()
            .map(|((kind, purpose), pieces)| SparedRow {
                form: kind.form.clone(),
                size: kind.size,
                colour: kind.colour.clone(),
                pieces,
                purpose,
            })
            .collect()
    }

    /// The module of a line that only one colour will do for.
    fn only_colour(&self, line: LineRef) -> Option<String> {
        let (name, line) = self.line(line)?;
        let one = matches!(&line.colours, Colours::Of(names) if names.len() == 1);
        (one && (line.hidden_colours.is_none() || !name.hidden)).then(|| name.module.to_string())
    }

    fn missing(
        &self,
        lines: &[(LineRef, u64)],
        not_sold: Option<Vec<(LineRef, u64)>>,
    ) -> Vec<MissingRow> {
        let mut rows: BTreeMap<(&Name, Size, String), MissingRow> = BTreeMap::new();
        let mut looked: BTreeSet<(&Name, Size, String)> = BTreeSet::new();
        for &(reference, pieces) in lines {
            let Some((name, line)) = self.line(reference) else {
                continue;
            };
            let colours = line.colours_in_words(name.hidden);
            let key = (&line.form, line.size, colours.clone());
            let row = rows.entry(key.clone()).or_insert_with(|| MissingRow {
                form: line.form.clone(),
                size: line.size,
                colours,
                pieces: 0,
                not_sold: not_sold.as_ref().map(|_| 0),
                form_not_known: 0,
                modules: Vec::new(),
            });
            row.pieces += pieces;
            if !row.modules.contains(&name.module) {
                row.modules.push(name.module.clone());
            }
            if looked.insert(key) {
                let unknown = self.undecided.iter().filter(|((size, colour), _)| {
                    *size == line.size && line.takes(colour, name.hidden)
                });
                row.form_not_known = unknown.map(|(_, tally)| tally.count()).sum();
            }
        }
        for (reference, pieces) in not_sold.into_iter().flatten() {
            if let Some((name, line)) = self.line(reference)
                && let Some(row) =
                    rows.get_mut(&(&line.form, line.size, line.colours_in_words(name.hidden)))
                && let Some(open) = &mut row.not_sold
            {
                *open += pieces;
            }
        }
        rows.into_values().collect()
    }
}
