//! Buying advice: what to buy of which offer, and what will be left over.

use super::network::Role;
use super::offers::{Offers, Sold};
use super::packing::Holds;
use super::solve::Cover;
use crate::stock::kind::{Name, Size};
use serde::Serialize;

/// What to buy of one offer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Buy {
    /// As in a stock's [`Kind`](crate::stock::Kind).
    pub form: Name,
    /// Studs.
    pub size: Size,
    /// Colour.
    pub colour: Name,
    /// Pieces, or cups.
    pub units: u64,
    /// How many pieces a cup holds; none when sold by piece.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cup: Option<Holds>,
    /// For one piece or cup.
    pub price: f64,
    /// For all of them.
    pub cost: f64,
    /// Pieces that the plan needs of them.
    pub needed: u64,
    /// Pieces left over, no fewer.
    pub left_low: u64,
    /// Pieces left over, no more.
    pub left_high: u64,
}

/// Everything to buy, offers in the file's order.
pub fn buys(cover: &Cover, offers: &Offers) -> Vec<Buy> {
    let bought = offers.list.iter().zip(&cover.allotment.purchases);
    bought
        .filter(|(_, purchase)| purchase.units > 0)
        .map(|(offer, purchase)| {
            let needed = purchase.used.values().sum::<u64>();
            let (cup, low, high) = match offer.sold {
                Sold::Pieces { .. } => (None, purchase.units, purchase.units),
                Sold::Cups { holds, .. } => (
                    Some(holds),
                    purchase.units.saturating_mul(holds.low),
                    purchase.units.saturating_mul(holds.high),
                ),
            };
            Buy {
                form: offer.kind.form.clone(),
                size: offer.kind.size,
                colour: offer.kind.colour.clone(),
                units: purchase.units,
                cup,
                price: offer.price,
                cost: offer.price * purchase.units as f64,
                needed,
                left_low: low.saturating_sub(needed),
                left_high: high.saturating_sub(needed),
            }
        })
        .collect()
}

/// Pieces by taker that are missing and that nobody sells.
pub fn unsold(cover: &Cover) -> std::collections::BTreeMap<usize, u64> {
    let bought = |taker: usize| {
        let purchases = cover.allotment.purchases.iter();
        purchases
            .filter_map(|purchase| purchase.used.get(&taker))
            .sum::<u64>()
    };
    cover
        .allotment
        .missing
        .iter()
        .filter(|(taker, _)| {
            let taker = cover.network.takers.get(**taker);
            taker.is_some_and(|taker| matches!(taker.role, Role::Whole(_)))
        })
        .map(|(&taker, &missing)| (taker, missing.saturating_sub(bought(taker))))
        .filter(|&(_, open)| open > 0)
        .collect()
}
