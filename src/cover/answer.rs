//! What an allotment says line by line: which pieces go where, which are missing.

use super::network::{LineRef, Network, Role};
use super::solve::Cover;
use crate::stock::kind::{Kind, Size};
use std::collections::BTreeMap;

/// What pieces are taken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Purpose {
    /// For a line, in modules that can be finished now; with the size that is joined
    /// from them if they are parts.
    Now(LineRef, Option<Size>),
    /// For lines in modules that cannot be finished yet; the taker.
    Later(usize),
    /// For a plan that is kept in mind, by index.
    Kept(usize),
}

/// Pieces of one kind for one purpose.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Use {
    /// Which.
    pub kind: Kind,
    /// How many.
    pub pieces: u64,
    /// What for.
    pub purpose: Purpose,
}

/// Joins that are made for one line now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Join {
    /// Index of the way.
    pub way: usize,
    /// For which line.
    pub line: LineRef,
    /// How many pieces are made so.
    pub pieces: u64,
}

/// An allotment, piece by piece.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Uses {
    /// All uses of stock.
    pub list: Vec<Use>,
    /// All joins for modules that can be finished now.
    pub joins: Vec<Join>,
}

/// A number of pieces that comes from one source, still to be handed out.
type Heap = Vec<(usize, u64)>;

/// Takes up to `wanted` off a heap, source by source.
fn take(heap: &mut Heap, mut wanted: u64) -> Heap {
    let mut taken = Vec::new();
    for (source, there) in heap.iter_mut() {
        let pieces = wanted.min(*there);
        if pieces > 0 {
            taken.push((*source, pieces));
            *there -= pieces;
            wanted -= pieces;
        }
    }
    taken
}

/// Hands the pieces of an allotment to lines: whole pieces before joins, finished
/// modules before later ones, plentiful kinds before scarce ones.
pub fn uses(cover: &Cover) -> Uses {
    let network = &cover.network;
    let allotment = &cover.allotment;
    let mut heaps: Vec<Heap> = vec![Vec::new(); network.takers.len()];
    for (index, (source, taken)) in network.sources.iter().zip(&allotment.taken).enumerate() {
        for (&taker, &pieces) in source.takers.iter().zip(taken) {
            if let Some(heap) = heaps.get_mut(taker) {
                heap.push((index, pieces));
            }
        }
    }
    let mut joins_left = allotment.joins.clone();
    // For each source: so many pieces, for that purpose.
    let mut drawn: Vec<(usize, u64, Purpose)> = Vec::new();
    let mut joins = Vec::new();
    for (index, taker) in network.takers.iter().enumerate() {
        let Role::Whole(lines) = &taker.role else {
            continue;
        };
        for &line in lines {
            let built = allotment.modules.get(line.variant).copied().unwrap_or(0);
            let wanted = built.saturating_mul(line.count);
            let direct = heaps
                .get_mut(index)
                .map(|heap| take(heap, wanted))
                .unwrap_or_default();
            let mut open = wanted - direct.iter().map(|&(_, pieces)| pieces).sum::<u64>();
            let now = |(source, pieces)| (source, pieces, Purpose::Now(line, None));
            drawn.extend(direct.into_iter().map(now));
            for (number, way) in network.ways.iter().enumerate() {
                let left = joins_left
                    .get_mut(number)
                    .filter(|_| way.whole == index && !way.later && open > 0);
                let Some(left) = left.filter(|left| **left > 0) else {
                    continue;
                };
                let made = open.min(*left);
                *left -= made;
                open -= made;
                joins.push(Join {
                    way: number,
                    line,
                    pieces: made,
                });
                for &(part, count) in &way.parts {
                    let parts = heaps
                        .get_mut(part)
                        .map(|heap| take(heap, made.saturating_mul(count)))
                        .unwrap_or_default();
                    let purpose = Purpose::Now(line, Some(taker.size));
                    drawn.extend(parts.into_iter().map(|(s, n)| (s, n, purpose)));
                }
            }
        }
    }
    for (index, (taker, heap)) in network.takers.iter().zip(&heaps).enumerate() {
        let purpose = match taker.role {
            Role::Kept { plan, .. } => Purpose::Kept(plan),
            _ => Purpose::Later(index),
        };
        drawn.extend(
            heap.iter()
                .map(|&(source, pieces)| (source, pieces, purpose)),
        );
    }
    // Finished modules choose first.
    let rank = |purpose: &Purpose| match purpose {
        Purpose::Now(..) => 0,
        Purpose::Later(_) => 1,
        Purpose::Kept(_) => 2,
    };
    drawn.sort_by_key(|(_, _, purpose)| rank(purpose));
    Uses {
        list: by_kind(network, drawn),
        joins,
    }
}

fn by_kind(network: &Network, drawn: Vec<(usize, u64, Purpose)>) -> Vec<Use> {
    let mut left: Vec<Vec<(Kind, u64)>> = network
        .sources
        .iter()
        .map(|source| source.kinds.clone())
        .collect();
    let mut list = Vec::new();
    for (source, mut pieces, purpose) in drawn {
        for (kind, there) in left.get_mut(source).into_iter().flatten() {
            let some = pieces.min(*there);
            if some > 0 {
                *there -= some;
                pieces -= some;
                list.push(Use {
                    kind: kind.clone(),
                    pieces: some,
                    purpose,
                });
            }
        }
    }
    list
}

/// Missing pieces by line, from missing pieces by taker. `most` says how many modules
/// of a variant may lack them.
pub fn missing_by_line(
    network: &Network,
    missing: &BTreeMap<usize, u64>,
    most: impl Fn(usize) -> u64,
) -> Vec<(LineRef, u64)> {
    let mut list = Vec::new();
    for (&taker, &pieces) in missing {
        let Some(Role::Whole(lines)) = network.takers.get(taker).map(|taker| &taker.role) else {
            continue;
        };
        let mut open = pieces;
        for &line in lines {
            let some = open.min(most(line.variant).saturating_mul(line.count));
            if some > 0 {
                list.push((line, some));
                open -= some;
            }
        }
    }
    list
}
