//! How sharp, how bright and how free of glare the photo shows the card: measured on its tags.
//!
//! A tag is printed black on white paper, so each of its sides is a step of known shape. How wide
//! the step is in the photo is the blur. A lamp that mirrors in the card adds light where its
//! image lies and little elsewhere, and black ink shows it best. How black that ink is, and how much
//! stray light the lens spreads over all of the picture, differs from print to print and phone to phone, so
//! the tags' black is compared with itself, place by place.

use super::FoundCard;
use super::design::{CardDesign, Tag};
use crate::photo::LinearPicture;
use crate::units::Px;

/// Profiles along each side of a tag.
const PROFILES: usize = 24;
/// Share of a side left out at each end, where the neighbouring side's blur reaches.
const END_MARGIN: f64 = 0.12;
/// Profiles reach this share of a cell to both sides: the black ring is one cell wide.
const REACH_OF_CELL: f64 = 0.9;
/// Least step of linear light between ink and paper that is measured on.
const LEAST_STEP: f64 = 0.01;
/// Distance in sigmas between 25 % and 75 % of a step that a Gaussian blurs.
const QUARTERS_SIGMA: f64 = 1.349;
/// Sampling along a profile, px: fine against the half pixel that a sharp edge spreads over.
const STEP_PX: f64 = 0.1;

/// What the tags tell of the photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CardQuality {
    /// Spread of the tags' edges as the sigma of a Gaussian, px: the median over the tags' sides,
    /// of the two directions the worse, since a moved camera blurs one direction only.
    pub blur_px: f64,
    /// The same on the tray, mm.
    pub blur_mm: f64,
    /// Median linear luminance of the paper beside the tags; 1 is the encoding's white.
    pub paper: f64,
    /// By how much the tags' black is lighter in one place of the card than in another: luminance as a
    /// share of the paper beside it, its 98th percentile less its 10th.
    pub glare: f64,
}

/// Measures the tags; `None` where no side shows a step.
pub fn card_quality(picture: &LinearPicture, card: &FoundCard) -> Option<CardQuality> {
    let mut spreads: [Vec<f64>; 2] = Default::default();
    let mut spreads_mm: [Vec<f64>; 2] = Default::default();
    let (mut paper, mut shares) = (Vec::new(), Vec::new());
    for tag in &card.tags {
        let tag_mm = CardDesign::v1().tag(tag.id).map_or(24.0, |t| t.size_mm);
        for side in 0..4 {
            let (from, to) = (tag.corners[side], tag.corners[(side + 1) % 4]);
            let mm_per_px = tag_mm / from.distance(to).max(1.0);
            for profile in profiles(picture, from, to) {
                spreads[side % 2].extend(profile.spread_px);
                spreads_mm[side % 2].extend(profile.spread_px.map(|s| s * mm_per_px));
                paper.push(profile.paper);
                shares.push(profile.black / profile.paper.max(1e-6));
            }
        }
    }
    let worse = |spreads: [Vec<f64>; 2]| {
        let medians = spreads.map(|s| quantile(s, 0.5));
        medians.into_iter().flatten().reduce(f64::max)
    };
    Some(CardQuality {
        blur_px: worse(spreads)?,
        blur_mm: worse(spreads_mm)?,
        paper: quantile(paper, 0.5)?,
        glare: quantile(shares.clone(), 0.98)? - quantile(shares, 0.1)?,
    })
}

/// One cut across a tag's side.
struct Profile {
    /// Sigma of the step; none where paper and ink hardly differ.
    spread_px: Option<f64>,
    /// Luminance in the middle of the black ring.
    black: f64,
    /// Luminance of the paper as far outside.
    paper: f64,
}

fn profiles(picture: &LinearPicture, from: Px, to: Px) -> Vec<Profile> {
    let length = from.distance(to);
    if length < 12.0 {
        return Vec::new();
    }
    let cell = length / Tag::CELLS as f64;
    let reach = (cell * REACH_OF_CELL).max(2.0);
    // Corners run clockwise with y down, so this points out of the tag.
    let out = [(to.y - from.y) / length, -(to.x - from.x) / length];
    let luminance = |base: Px, t: f64| {
        let [r, g, b] = picture.sample(base.x + t * out[0], base.y + t * out[1])?;
        // ITU-R BT.709-6, item 3.2.
        Some(f64::from(0.2126 * r + 0.7152 * g + 0.0722 * b))
    };
    let mut found = Vec::with_capacity(PROFILES);
    for k in 0..PROFILES {
        let share = END_MARGIN + (1.0 - 2.0 * END_MARGIN) * (k as f64 + 0.5) / PROFILES as f64;
        let base = Px::new(
            from.x + (to.x - from.x) * share,
            from.y + (to.y - from.y) * share,
        );
        let steps = (2.0 * reach / STEP_PX) as usize;
        let levels: Option<Vec<f64>> = (0..=steps)
            .map(|i| luminance(base, i as f64 * STEP_PX - reach))
            .collect();
        let (Some(levels), Some(black), Some(paper)) = (
            levels,
            luminance(base, -cell / 2.0),
            luminance(base, cell * 0.8),
        ) else {
            continue;
        };
        found.push(Profile {
            spread_px: spread(&levels).map(|steps| steps * STEP_PX),
            black,
            paper,
        });
    }
    found
}

/// Sigma, in samples, of a step from dark to light that fills the profile.
fn spread(levels: &[f64]) -> Option<f64> {
    let end = levels.len() / 6;
    let dark = quantile(levels.get(..end)?.to_vec(), 0.5)?;
    let light = quantile(levels.get(levels.len() - end..)?.to_vec(), 0.5)?;
    if light - dark < LEAST_STEP {
        return None;
    }
    let level = |share: f64| dark + share * (light - dark);
    // Outwards from the crossing nearest to where the side is: the profile's inner end comes
    // close to the tag's white cells, whose light must not be taken for the side's.
    let middle = (1..levels.len())
        .filter(|i| levels[i - 1] < level(0.5) && levels[*i] >= level(0.5))
        .min_by_key(|i| i.abs_diff(levels.len() / 2))?;
    let low = levels[..middle].iter().rposition(|l| *l <= level(0.25))?;
    let high = middle + levels[middle..].iter().position(|l| *l >= level(0.75))?;
    Some(high.saturating_sub(low) as f64 / QUARTERS_SIGMA)
}

/// The value at `share` of the numbers; `None` of nothing.
fn quantile(mut values: Vec<f64>, share: f64) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let place = share * values.len().saturating_sub(1) as f64;
    values.get(place.round() as usize).copied()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::card::FoundTag;

    /// A black square on paper, its sides blurred with known sigmas in x and y (logistic step of
    /// the same quarter points as the Gaussian), under light that is added to each of its halves.
    fn card(sigma: [f64; 2], added: [f64; 2]) -> (LinearPicture, FoundCard) {
        let inside = |at: f64, sigma: f64| {
            let step = |d: f64| 1.0 / (1.0 + (-d / sigma * 2.0 * 3f64.ln() / 1.349).exp());
            step(at - 60.0) * step(180.0 - at)
        };
        let picture = LinearPicture::from_fn(240, 240, |row, col| {
            let cover = inside(col as f64 + 0.5, sigma[0]) * inside(row as f64 + 0.5, sigma[1]);
            let added = added[usize::from(col >= 120)];
            [(0.8 * (1.0 - cover) + 0.01 * cover + added) as f32; 3]
        });
        let corners = [(60.0, 60.0), (180.0, 60.0), (180.0, 180.0), (60.0, 180.0)];
        let corners = corners.map(|(x, y)| Px::new(x, y));
        let tags = vec![FoundTag { id: 0, corners }];
        (picture, FoundCard { tags })
    }

    #[test]
    fn the_worse_direction_is_measured() {
        for (sigma, worse) in [([1.5, 1.5], 1.5), ([1.0, 3.0], 3.0), ([2.5, 1.0], 2.5)] {
            let (picture, card) = card(sigma, [0.0; 2]);
            let quality = card_quality(&picture, &card).unwrap();
            // A tenth, and the bilinear sampling's own spread.
            assert!(
                (quality.blur_px - worse).abs() < 0.1 * worse + 0.1,
                "{quality:?}"
            );
            assert!((quality.blur_mm - quality.blur_px * 24.0 / 120.0).abs() < 1e-9);
        }
    }

    #[test]
    fn glare_is_light_in_one_place_and_not_in_another() {
        let glare = |added| {
            let (picture, card) = card([1.0, 1.0], added);
            card_quality(&picture, &card).unwrap().glare
        };
        // Half of a percent is what the blur of the ring's other sides adds.
        assert!(glare([0.0, 0.0]) < 0.005);
        assert!((glare([0.0, 0.1]) - (0.11 / 0.9 - 0.01 / 0.8)).abs() < 0.005);
        // Stray light over all of it is none.
        assert!(glare([0.1, 0.1]) < 0.005);
    }

    #[test]
    fn a_blank_picture_tells_nothing() {
        let picture = LinearPicture::from_fn(240, 240, |_, _| [0.5; 3]);
        let (_, card) = card([1.0, 1.0], [0.0; 2]);
        assert_eq!(card_quality(&picture, &card), None);
    }
}
