//! A good start for plans that are too large to be searched through: modules are
//! settled one kind after the other, each time by what a program without whole
//! numbers makes of the rest.

use crate::cover::model::{Allotment, Demand, Model, Pins, Weights};
use crate::cover::network::Network;
use crate::cover::program::ProgramError;

/// What is this near a whole number is one.
const WHOLE: f64 = 1e-6;

/// Many modules, in whole numbers; none when nothing good is found. With joins if that
/// comes out whole, else without any.
pub fn start(network: &Network, weights: &Weights, pins: &Pins) -> Option<Allotment> {
    settled(network, weights, pins).or_else(|| {
        let mut bare = network.clone();
        bare.ways.clear();
        let mut allotment = settled(&bare, weights, pins)?;
        allotment.joins = vec![0; network.ways.len()];
        Some(allotment)
    })
}

fn settled(network: &Network, weights: &Weights, pins: &Pins) -> Option<Allotment> {
    let exact = Pins {
        modules: Some(modules(network, weights, pins)?),
        ..Pins::default()
    };
    let model = Model::new(network, None, Demand::Now, weights, &exact);
    Some(model.solve(None).ok()?.0)
}

fn modules(network: &Network, weights: &Weights, pins: &Pins) -> Option<Vec<u64>> {
    let mut pins = pins.clone();
    pins.loose_joins = true;
    let mut range: Vec<(u64, u64)> = network.variants.iter().map(|v| (0, v.wanted)).collect();
    let solve = |pins: &mut Pins, range: &[(u64, u64)]| -> Result<Vec<f64>, ProgramError> {
        pins.range = Some(range.to_vec());
        Model::new(network, None, Demand::Now, weights, pins).modules()
    };
    let mut values = solve(&mut pins, &range).ok()?;
    // Each turn settles one at least.
    for _ in 0..=range.len() {
        let mut nearest: Option<(f64, usize)> = None;
        for (at, (range, &value)) in range.iter_mut().zip(&values).enumerate() {
            let whole = (value + WHOLE).floor().max(0.0);
            if range.0 == range.1 {
                continue;
            }
            if value - whole < WHOLE {
                *range = (whole as u64, whole as u64);
            } else {
                let lacks = whole + 1.0 - value;
                if nearest.is_none_or(|(other, _)| lacks < other) {
                    nearest = Some((lacks, at));
                }
            }
        }
        let Some((_, at)) = nearest else {
            return Some(range.iter().map(|&(least, _)| least).collect());
        };
        let whole = values.get(at).map_or(0, |value| value.max(0.0) as u64);
        let mut up = range.clone();
        if let (Some(up), Some(down)) = (up.get_mut(at), range.get_mut(at)) {
            *up = (whole + 1, whole + 1);
            *down = (whole, whole);
        }
        values = match solve(&mut pins, &up) {
            Ok(values) => {
                range = up;
                values
            }
            Err(_) => solve(&mut pins, &range).ok()?,
        };
    }
    None
}
