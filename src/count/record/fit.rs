//! Logistic calibration of stated probabilities, with the identity as prior.

/// Standard deviation of the prior of the shift, in logits: home and sample photos may well differ by as much as a
/// wrong share of 2 % is from one of 0.3 %, so that evidence soon goes before what is shipped.
const SHIFT_SD: f64 = 2.0;
/// Of the slope's distance from 1: hardly more than a quarter, as the order of what is stated holds everywhere that was
/// measured, while a slope from few pieces is mostly noise.
const SLOPE_SD: f64 = 0.25;
/// Steps of Newton's method; a concave sum in two unknowns is at its top in fewer than ten.
const STEPS: usize = 50;
/// A change of the parameters that no three decimals show.
const STILL: f64 = 1e-9;
/// Nothing is stated closer to 0 or 1 than this: a half of what a sheet's three decimals tell.
const LEAST: f64 = 0.0005;

/// Of stated probabilities: how many pieces were right of how many.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// What was stated.
    pub stated: f64,
    /// How many were right.
    pub right: f64,
    /// Of how many.
    pub of: f64,
}

/// logit(q) = logit(p) + shift + slope (logit(p) - middle).
#[derive(Clone, Copy, Debug)]
pub struct Logistic {
    shift: f64,
    slope: f64,
    middle: f64,
}

impl Logistic {
    /// What is shipped.
    pub const IDENTITY: Self = Self {
        shift: 0.0,
        slope: 0.0,
        middle: 0.0,
    };

    /// The most probable correction (maximum a posteriori) by what was seen, after Platt 1999 ("Probabilistic Outputs for
    /// Support Vector Machines"), in logits as in Guo et al. 2017, and with normal priors around no correction at all.
    pub fn fit(seen: &[Seen]) -> Self {
        let of: f64 = seen.iter().map(|s| s.of).sum();
        let middle = seen.iter().map(|s| s.of * logit(s.stated)).sum::<f64>() / of.max(1.0);
        let mut fit = Self {
            middle,
            ..Self::IDENTITY
        };
        let (shift_w, slope_w) = (SHIFT_SD.powi(-2), SLOPE_SD.powi(-2));
        for _ in 0..STEPS {
            let mut gradient = [-fit.shift * shift_w, -fit.slope * slope_w];
            let mut curve = [shift_w, 0.0, slope_w];
            for s in seen {
                let away = logit(s.stated) - middle;
                let q = fit.apply(s.stated);
                let (miss, weight) = (s.right - s.of * q, s.of * q * (1.0 - q));
                gradient[0] += miss;
                gradient[1] += miss * away;
                curve[0] += weight;
                curve[1] += weight * away;
                curve[2] += weight * away * away;
            }
            // The priors keep this above 0.
            let det = curve[0] * curve[2] - curve[1] * curve[1];
            let shift = (curve[2] * gradient[0] - curve[1] * gradient[1]) / det;
            let slope = (curve[0] * gradient[1] - curve[1] * gradient[0]) / det;
            fit.shift += shift;
            fit.slope += slope;
            if shift.abs() + slope.abs() < STILL {
                break;
            }
        }
        fit
    }

    /// The corrected probability.
    pub fn apply(&self, stated: f64) -> f64 {
        let z = logit(stated);
        1.0 / (1.0 + (-(z + self.shift + self.slope * (z - self.middle))).exp())
    }
}

fn logit(p: f64) -> f64 {
    let p = p.clamp(LEAST, 1.0 - LEAST);
    (p / (1.0 - p)).ln()
}

/// Makes values rise, with the least change in squares: pool adjacent violators (Ayer et al. 1955).
pub fn rising(values: &mut [f64], weights: &[f64]) {
    // Blocks: mean, weight, how many.
    let mut blocks: Vec<(f64, f64, usize)> = Vec::with_capacity(values.len());
    for (&value, &weight) in values.iter().zip(weights) {
        let mut block = (value, weight, 1);
        while let Some(&(mean, before, number)) = blocks.last()
            && mean > block.0
        {
            blocks.pop();
            let sum = before + block.1;
            block = (
                (mean * before + block.0 * block.1) / sum,
                sum,
                number + block.2,
            );
        }
        blocks.push(block);
    }
    let all = (blocks.into_iter()).flat_map(|(mean, _, number)| std::iter::repeat_n(mean, number));
    for (value, mean) in values.iter_mut().zip(all) {
        *value = mean;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_evidence_nothing_is_corrected_and_with_much_all_is() {
        let none = Logistic::fit(&[]);
        let much: Vec<Seen> = [0.2, 0.5, 0.7, 0.9]
            .map(|stated| Seen {
                stated,
                right: 1e6
                    * Logistic {
                        shift: -0.7,
                        slope: 0.0,
                        middle: 0.0,
                    }
                    .apply(stated),
                of: 1e6,
            })
            .to_vec();
        let all = Logistic::fit(&much);
        for stated in [0.2, 0.5, 0.9] {
            assert!((none.apply(stated) - stated).abs() < 1e-9);
            // By hand: a logit 0.7 lower.
            let odds = stated / (1.0 - stated) * (-0.7_f64).exp();
            assert!((all.apply(stated) - odds / (1.0 + odds)).abs() < 1e-4);
        }
    }

    #[test]
    fn violators_are_pooled() {
        // By hand: 3 (weight 1) and 1 (weight 3) are 1.5; 5 and 4 and 3 are 4.
        let mut values = [0.5, 3.0, 1.0, 5.0, 4.0, 3.0];
        rising(&mut values, &[1.0, 1.0, 3.0, 1.0, 1.0, 1.0]);
        assert_eq!(values, [0.5, 1.5, 1.5, 4.0, 4.0, 4.0]);
    }
}
