//! How well a correction does: leave-one-out over the patches.

use serde::{Deserialize, Serialize};

/// Why a patch had no say in the correction.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Exclusion {
    /// A channel is at the end of its range: the photo is too bright or too dark there.
    Clipped,
    /// The patch is not of one colour: a shadow's edge, gloss or dirt lies on it.
    Uneven,
    /// It disagrees with all others: something covers it, or the print is damaged.
    Outlier,
}

impl Exclusion {
    /// Whether it keeps the photo from showing how the light falls on the patch.
    pub fn hides_light(self) -> bool {
        matches!(self, Self::Clipped | Self::Uneven)
    }
}

/// One patch's part in the report.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PatchResidual {
    /// The patch's name.
    pub name: String,
    /// What the correction makes of the patch, CIELAB D65.
    pub lab: [f64; 3],
    /// dE00 to its target when predicted by a correction fitted without it.
    pub de00: f64,
    /// Why it was left out of the correction, if it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub excluded: Option<Exclusion>,
}

/// Leave-one-out errors, dE00. The summary is over the patches that were used.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Residuals {
    /// Every patch that was given, in the given order.
    pub patches: Vec<PatchResidual>,
    /// Mean over the used patches.
    pub mean: f64,
    /// 95th percentile over the used patches (linear between ranks).
    pub p95: f64,
    /// Worst of the used patches.
    pub max: f64,
}

impl Residuals {
    /// Summarises the used patches; all zero when none was used.
    pub fn new(patches: Vec<PatchResidual>) -> Self {
        let mut used: Vec<f64> = patches
            .iter()
            .filter(|patch| patch.excluded.is_none())
            .map(|patch| patch.de00)
            .collect();
        used.sort_by(f64::total_cmp);
        let count = used.len().max(1);
        Self {
            mean: used.iter().sum::<f64>() / count as f64,
            p95: percentile(&used, 0.95),
            max: used.last().copied().unwrap_or(0.0),
            patches,
        }
    }

    /// How many patches were used.
    pub fn used(&self) -> usize {
        self.patches
            .iter()
            .filter(|patch| patch.excluded.is_none())
            .count()
    }
}

/// The value at `share` of the sorted numbers, linear between neighbours; 0 of nothing.
fn percentile(sorted: &[f64], share: f64) -> f64 {
    let place = share * sorted.len().saturating_sub(1) as f64;
    let low = sorted.get(place.floor() as usize).copied().unwrap_or(0.0);
    let high = sorted.get(place.ceil() as usize).copied().unwrap_or(low);
    low + (high - low) * place.fract()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn patch(de00: f64, excluded: Option<Exclusion>) -> PatchResidual {
        PatchResidual {
            name: String::new(),
            lab: [0.0; 3],
            de00,
            excluded,
        }
    }

    /// 1..=5: numpy.percentile([1, 2, 3, 4, 5], 95) = 4.8.
    #[test]
    fn summary_is_over_the_used_patches() {
        let mut patches: Vec<_> = [5.0, 2.0, 4.0, 1.0, 3.0].map(|v| patch(v, None)).into();
        patches.push(patch(70.0, Some(Exclusion::Outlier)));
        let residuals = Residuals::new(patches);
        assert_eq!((residuals.mean, residuals.max), (3.0, 5.0));
        assert!((residuals.p95 - 4.8).abs() < 1e-12);
        assert_eq!(residuals.used(), 5);
        assert_eq!(residuals.patches.len(), 6);
    }

    #[test]
    fn nothing_used_is_zero() {
        let residuals = Residuals::new(vec![]);
        assert_eq!(
            (residuals.mean, residuals.p95, residuals.max),
            (0.0, 0.0, 0.0)
        );
    }
}
