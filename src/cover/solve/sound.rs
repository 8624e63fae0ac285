//! Whether an allotment adds up, in whole numbers: the solver's are not taken on trust.

use crate::cover::model::Allotment;
use crate::cover::network::{Network, Role};
use crate::cover::offers::{Offers, Sold};

/// Checks every balance.
///
/// # Errors
/// Says which does not hold.
pub fn check(
    network: &Network,
    offers: Option<&Offers>,
    allotment: &Allotment,
) -> Result<(), String> {
    let mut got = vec![0u64; network.takers.len()];
    for (index, (source, taken)) in network.sources.iter().zip(&allotment.taken).enumerate() {
        if taken.iter().sum::<u64>() > source.amount {
            return Err(format!("source {index} gives more than it has"));
        }
        for (&taker, &number) in source.takers.iter().zip(taken) {
            give(&mut got, taker, number);
        }
    }
    let mut bought = vec![0u64; network.takers.len()];
    let list = offers.map_or(&[][..], |offers| &offers.list);
    for (index, (offer, purchase)) in list.iter().zip(&allotment.purchases).enumerate() {
        let used: u64 = purchase.used.values().sum();
        let holds = match offer.sold {
            Sold::Pieces { most, .. } if purchase.units > most => 0,
            Sold::Pieces { .. } => purchase.units,
            Sold::Cups { most, .. } if purchase.units > most => 0,
            Sold::Cups { holds, .. } => purchase.units.saturating_mul(holds.low),
        };
        if used > holds {
            return Err(format!("offer {index} gives more than was bought"));
        }
        for (&taker, &number) in &purchase.used {
            give(&mut bought, taker, number);
        }
    }
    let mut later = vec![0u64; network.takers.len()];
    let mut used = vec![0u64; network.takers.len()];
    for (way, &number) in network.ways.iter().zip(&allotment.joins) {
        give(&mut got, way.whole, number);
        if way.later {
            give(&mut later, way.whole, number);
        }
        for &(part, count) in &way.parts {
            give(&mut used, part, number.saturating_mul(count));
        }
    }
    for (index, taker) in network.takers.iter().enumerate() {
        let at = |list: &[u64]| list.get(index).copied().unwrap_or(0);
        let missing = allotment.missing.get(&index).copied().unwrap_or(0);
        let holds = match &taker.role {
            Role::Kept { wanted, .. } => at(&got) <= *wanted,
            Role::Part => at(&got) == at(&used),
            Role::LaterPart => at(&got) + at(&bought) == at(&used),
            Role::Whole(_) => {
                let demand = network.demand(index);
                let now: u64 = network
                    .needs(index)
                    .iter()
                    .filter_map(|(&variant, &count)| Some(allotment.modules.get(variant)? * count))
                    .sum();
                at(&got) + missing == demand
                    && missing + at(&later) + now <= demand
                    && at(&bought) <= missing
            }
        };
        if !holds {
            return Err(format!(
                "taker {index}, {} {}, is out of balance",
                taker.form, taker.size
            ));
        }
    }
    Ok(())
}

fn give(list: &mut [u64], to: usize, number: u64) {
    if let Some(sum) = list.get_mut(to) {
        *sum = sum.saturating_add(number);
    }
}
