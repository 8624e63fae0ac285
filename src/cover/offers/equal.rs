//! Offers that are equal in all but how much there is become one: a list that was pasted a
//! hundred times asks the solver no more than the list itself.

use super::{Offer, Sold};
use crate::cover::packing::Holds;
use crate::cover::plan::MOST_PIECES;
use crate::stock::kind::Kind;
use std::collections::BTreeMap;

/// Kind, price, and how it is sold. Prices are finite and not below 0, where bits are in order.
type Key = (Kind, u64, Result<u64, (u64, u64, bool)>);

fn key(offer: &Offer) -> Key {
    let sold = match offer.sold {
        Sold::Pieces { minimum, .. } => Ok(minimum),
        Sold::Cups { holds, .. } => {
            let Holds {
                low,
                high,
                measured,
            } = holds;
            Err((low, high, measured))
        }
    };
    (offer.kind.clone(), offer.price.to_bits(), sold)
}

/// Makes equal offers one, which has as much as all of them and stands where the first stood.
pub fn merged(list: Vec<Offer>) -> Vec<Offer> {
    let mut kept: Vec<Offer> = Vec::new();
    let mut seen: BTreeMap<Key, usize> = BTreeMap::new();
    for offer in list {
        let key = key(&offer);
        let first = seen.get(&key).and_then(|&at| kept.get_mut(at));
        match first.and_then(|first| Some((together(first.sold, offer.sold)?, first))) {
            Some((sold, first)) => first.sold = sold,
            None => {
                seen.insert(key, kept.len());
                kept.push(offer);
            }
        }
    }
    kept
}

/// Two that are sold alike, as one; none where one would sell numbers that the two do not.
fn together(one: Sold, other: Sold) -> Option<Sold> {
    let sum = |one: u64, other: u64| one.saturating_add(other).min(MOST_PIECES);
    match (one, other) {
        (Sold::Cups { holds, most }, Sold::Cups { most: more, .. }) => Some(Sold::Cups {
            holds,
            most: sum(most, more),
        }),
        // Of two with 5 to 6 pieces each nobody gets 8.
        (Sold::Pieces { minimum, most }, Sold::Pieces { most: more, .. })
            if most.max(more).saturating_add(1) >= minimum.saturating_mul(2) =>
        {
            Some(Sold::Pieces {
                minimum,
                most: sum(most, more),
            })
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::stock::kind::{Name, Size};

    fn pieces(price: f64, minimum: u64, most: u64) -> Offer {
        Offer {
            kind: Kind {
                form: Name::new("plate").unwrap(),
                size: Size::new("2x4").unwrap(),
                colour: Name::new("tar").unwrap(),
            },
            price,
            sold: Sold::Pieces { minimum, most },
            at: 1,
        }
    }

    /// Which numbers of pieces can be bought of these offers together.
    fn numbers(offers: &[Offer]) -> Vec<u64> {
        let mut sums = vec![0];
        for offer in offers {
            let Sold::Pieces { minimum, most } = offer.sold else {
                continue;
            };
            let more = sums.iter();
            let more: Vec<u64> = more
                .flat_map(|&sum| (minimum..=most).map(move |n| sum + n))
                .collect();
            sums.extend(more);
        }
        sums.sort_unstable();
        sums.dedup();
        sums
    }

    #[test]
    fn what_can_be_bought_stays_the_same() {
        for minimum in 1..6 {
            for (a, b, c) in [(6, 6, 6), (5, 9, 7), (12, 6, 5), (9, 9, 30)] {
                let list = [a, b, c].map(|most| pieces(0.5, minimum, most.max(minimum)));
                let one = merged(list.to_vec());
                assert_eq!(numbers(&list), numbers(&one), "{minimum} {a} {b} {c}");
            }
        }
        assert_eq!(merged(vec![pieces(0.5, 1, 4); 9]).len(), 1);
        assert_eq!(merged(vec![pieces(0.5, 5, 6); 2]).len(), 2);
        assert_eq!(merged(vec![pieces(0.5, 1, 4), pieces(0.6, 1, 4)]).len(), 2);
    }
}
