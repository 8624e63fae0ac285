//! Whether a lamp or the card has changed since it was measured.
//!
//! Today's photo has its own exposure, white balance and tone curve; the greys take those
//! out. What the greys leave on the coloured patches is the lamp's spectrum: another lamp shifts
//! many of them. A patch that alone moved from where the correction puts it has faded or is dirty.

use super::lab::de00;

/// Mean change of the coloured patches from which the lamp counts as another, dE00. The same lamp before the
/// same camera stays below; daylight and a warm lamp differ by several.
pub const OTHER_LIGHT: f64 = 2.5;
/// A patch whose error grew by this much (dE00) has changed.
pub const OTHER_PATCH: f64 = 4.0;
/// Fewer patches in common tell nothing.
const FEWEST: usize = 6;

/// A patch at one time.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown<'a> {
    /// The patch's name.
    pub name: &'a str,
    /// By the greys alone, CIELAB ([`super::Correction::balanced_lab`]).
    pub balanced: [f64; 3],
    /// Error when predicted without it, dE00.
    pub de00: f64,
}

/// What has changed.
#[derive(Clone, Debug, PartialEq)]
pub struct Drift {
    /// Mean change of the patches by the greys alone, dE00.
    pub light: f64,
    /// Patches that alone got worse, and by how much, dE00; the worst first.
    pub patches: Vec<(String, f64)>,
}

impl Drift {
    /// Whether the lamp counts as another.
    pub fn other_light(&self) -> bool {
        self.light > OTHER_LIGHT
    }
}

/// Mean change of patches by the greys alone, dE00; `None` where they are too few.
pub fn change(pairs: &[([f64; 3], [f64; 3])]) -> Option<f64> {
    let sum: f64 = pairs.iter().map(|(a, b)| de00(*a, *b)).sum();
    (pairs.len() >= FEWEST).then(|| sum / pairs.len() as f64)
}

/// Compares a photo with what was kept; `None` where they have too few patches in common.
pub fn drift(kept: &[Shown<'_>], today: &[Shown<'_>]) -> Option<Drift> {
    let pairs: Vec<(&Shown<'_>, &Shown<'_>)> = today
        .iter()
        .filter_map(|now| {
            let before = kept.iter().find(|k| k.name == now.name)?;
            Some((before, now))
        })
        .collect();
    let labs: Vec<_> = (pairs.iter())
        .map(|(a, b)| (a.balanced, b.balanced))
        .collect();
    let light = change(&labs)?;
    let mut patches: Vec<(String, f64)> = pairs
        .iter()
        .map(|(before, now)| (now.name.to_owned(), now.de00 - before.de00))
        .filter(|(_, worse)| *worse > OTHER_PATCH)
        .collect();
    patches.sort_by(|a, b| b.1.total_cmp(&a.1));
    Some(Drift { light, patches })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const NAMES: [&str; 7] = ["a", "b", "c", "d", "e", "f", "g"];

    fn shown(shift: f64) -> Vec<Shown<'static>> {
        (NAMES.iter().zip(0u8..))
            .map(|(name, k)| Shown {
                name,
                balanced: [50.0 + shift, 5.0 * f64::from(k), 0.0],
                de00: 1.0,
            })
            .collect()
    }

    #[test]
    fn the_same_lamp_has_not_changed() {
        let found = drift(&shown(0.0), &shown(0.0)).unwrap();
        assert!(
            !found.other_light() && found.patches.is_empty(),
            "{found:?}"
        );
    }

    #[test]
    fn another_lamp_shifts_all_patches_and_a_stain_one() {
        assert!(drift(&shown(0.0), &shown(4.0)).unwrap().other_light());
        let mut stained = shown(0.0);
        stained[3].de00 = 9.0;
        let found = drift(&shown(0.0), &stained).unwrap();
        assert_eq!(found.patches, [("d".to_owned(), 8.0)]);
        assert!(!found.other_light());
    }

    #[test]
    fn half_a_card_tells_nothing() {
        assert_eq!(drift(&shown(0.0), &shown(0.0)[..5]), None);
    }
}
