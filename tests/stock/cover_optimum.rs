//! The best cover is as good as another solver says, on 200 random plans.
//!
//! `tests/data/cover/random.jsonl` was made by `tests/reference/cover.py` with
//! scipy.optimize.milp (HiGHS), which gathers nothing and takes every variable for a
//! whole one.

use cuptally::cover::offers;
use cuptally::cover::plan::json;
use cuptally::cover::solve::{Detail, cover, price};
use cuptally::cover::supply::Supply;
use cuptally::pieces::Shapes;
use cuptally::stock::{Kind, Name, Size};
use serde_json::Value;
use std::collections::BTreeMap;

/// Prices have two decimals and the reference rounds to four.
const CENT: f64 = 0.005;

fn supply(case: &Value) -> Supply {
    let rows = case["stock"].as_array().unwrap().iter();
    rows.map(|row| {
        let text = |at: usize| row[at].as_str().unwrap();
        let kind = Kind {
            form: Name::new(text(0)).unwrap(),
            size: Size::new(text(1)).unwrap(),
            colour: Name::new(text(2)).unwrap(),
        };
        (kind, row[3].as_u64().unwrap())
    })
    .collect()
}

/// In how many cases the search stopped before the optimum was proven, on 25 November
/// 2026. To be lowered when the search gets better, never raised.
const RECORDED_UNPROVEN: u64 = 3;

/// As a file would hold it.
fn bytes(value: &Value) -> Vec<u8> {
    serde_json::to_vec(value).unwrap()
}

#[test]
fn two_hundred_random_plans_have_the_reference_optimum() {
    let text = include_str!("../data/cover/random.jsonl");
    let (mut seen, mut built, mut sold, mut unproven) = (0, 0, 0, 0);
    let mut faults = Vec::new();
    for line in text.lines() {
        let case: Value = serde_json::from_str(line).unwrap();
        let number = &case["case"];
        let plan = json::read(&bytes(&case["plan"])).unwrap();
        let offers = case
            .get("offers")
            .map(|o| offers::read(&bytes(o), Shapes::shipped()).unwrap());
        let found = cover(
            &plan,
            &supply(&case),
            &[],
            offers.as_ref(),
            Detail::Allotment,
        )
        .unwrap_or_else(|error| panic!("case {number}: {error}"));
        let mut finished: BTreeMap<u64, u64> = BTreeMap::new();
        let modules = &found.allotment.modules;
        for (variant, count) in found.network.variants.iter().zip(modules) {
            *finished.entry(variant.priority).or_insert(0) += count;
        }
        let best = &case["best"];
        let wanted: Vec<u64> = best["modules"]
            .as_array()
            .unwrap()
            .iter()
            .map(|count| count.as_u64().unwrap())
            .collect();
        let finished: Vec<u64> = finished.into_values().collect();
        if finished != wanted {
            faults.push(format!(
                "case {number}: modules {finished:?}, best {wanted:?}"
            ));
        }
        let missing: u64 = found.allotment.missing.values().sum();
        if let Some(least) = best.get("missing").and_then(Value::as_u64) {
            if missing != least {
                faults.push(format!("case {number}: missing {missing}, least {least}"));
            }
        } else {
            let least = best["not_sold"].as_u64().unwrap();
            let not_sold = found.missing.found as u64;
            let cheapest = best["cost"].as_f64().unwrap();
            let cost = price(offers.as_ref().unwrap(), &found.allotment);
            if not_sold != least || (cost - cheapest).abs() > CENT {
                faults.push(format!(
                    "case {number}: not sold {not_sold}, least {least}; cost {cost}, least {cheapest}"
                ));
            }
            sold += u64::from(cheapest > 0.0);
        }
        let proven = found.modules.proven
            && found.missing.proven
            && found.cost.is_none_or(|cost| cost.proven);
        unproven += u64::from(!proven);
        // What is said to be out of reach is.
        let all: u64 = wanted.iter().sum();
        let least = best.get("missing").or(best.get("not_sold")).unwrap();
        let cheapest = best.get("cost").and_then(Value::as_f64);
        if found.modules.bound < all as f64
            || found.missing.bound > least.as_f64().unwrap()
            || found
                .cost
                .is_some_and(|cost| cost.bound > cheapest.unwrap() + CENT)
        {
            faults.push(format!("case {number}: a bound is wrong"));
        }
        built += u64::from(wanted.iter().sum::<u64>() > 0);
        seen += 1;
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    // The cases themselves: enough of them, and most with something to decide.
    assert_eq!(seen, 200);
    assert!(built > 150 && sold > 50, "{built} {sold}");
    assert!(unproven <= RECORDED_UNPROVEN, "{unproven} are not proven");
}
