//! The colour correction on spectra: what it must do whatever the lamp.
//!
//! Data: `tests/reference/colour_reference.py`.

use crate::spectral::Spectral;
use cuptally::colour::lab::de00;
use cuptally::colour::{Correction, CorrectionError, Exclusion, Patch, correct};
use proptest::prelude::*;
use std::sync::LazyLock;

const SCENE: &str = "LED-B3/a/s/++";

static DATA: LazyLock<Spectral> = LazyLock::new(Spectral::load);

fn card() -> Vec<Patch> {
    DATA.card(SCENE, "dye")
}

/// Mean dE00 over the test spectra of a scene.
fn mean_error(correction: &Correction) -> f64 {
    let errors = DATA.errors(SCENE, "test", correction);
    errors.iter().sum::<f64>() / errors.len() as f64
}

#[test]
fn greys_beyond_the_card_keep_their_lightness_and_stay_grey() {
    for scene in ["D50/a/s/--", "LED-B3/a/s/++", "FL2/a/film/++"] {
        let correction = correct(&DATA.card(scene, "sigmoid")).unwrap();
        for (name, rgb, lab) in DATA.pixels(scene, "flat") {
            let got = correction.apply(rgb);
            // 1.5: one 8-bit step is up to 0.6 L* at L* 5, and the tone curve is extrapolated there.
            assert!((got[0] - lab[0]).abs() < 1.5, "{scene} {name}: {got:?}");
            assert!(got[1].hypot(got[2]) < 2.5, "{scene} {name}: {got:?}");
        }
    }
}

#[test]
fn a_covered_patch_is_reported_and_does_no_harm() {
    let clean = mean_error(&correct(&card()).unwrap());
    let mut patches = card();
    for (i, finger) in [(4, [0.45, 0.25, 0.18]), (13, [0.40, 0.22, 0.16])] {
        patches[i].rgb = finger;
    }
    let correction = correct(&patches).unwrap();
    for i in [4, 13] {
        let patch = &correction.residuals().patches[i];
        assert_eq!(patch.excluded, Some(Exclusion::Outlier), "{patch:?}");
    }
    assert_eq!(correction.residuals().used(), 22);
    let covered = mean_error(&correction);
    // 0.25: two patches fewer are two patches fewer.
    assert!(covered < clean + 0.25, "{covered}, clean {clean}");
}

#[test]
fn clipped_and_uneven_patches_have_no_say() {
    let mut patches = card();
    patches[3].rgb = [1.0, 1.0, 1.0];
    patches[3].clipped = true;
    patches[9].rgb = patches[9].rgb.map(|v| 0.5 * v);
    patches[9].spread = patches[9].rgb.map(|v| 0.9 * v);
    let correction = correct(&patches).unwrap();
    let excluded = |i: usize| correction.residuals().patches[i].excluded;
    assert_eq!(excluded(3), Some(Exclusion::Clipped));
    assert_eq!(excluded(9), Some(Exclusion::Uneven));

    let mut without = patches.clone();
    without.remove(9);
    without.remove(3);
    let alone = correct(&without).unwrap();
    let rgb = [0.3, 0.2, 0.4];
    assert!(de00(correction.apply(rgb), alone.apply(rgb)) < 1e-6);
}

#[test]
fn a_slope_of_the_light_is_found() {
    let scene = "D65/a/s/+-";
    let flat = correct(&DATA.card(scene, "sigmoid")).unwrap();
    let mut patches = DATA.card(scene, "sigmoid");
    for patch in &mut patches {
        // The same card, told that its right end got more light than it was rendered with.
        patch.illumination = (0.0015 * patch.place.x).exp();
    }
    let sloped = correct(&patches).unwrap();
    let change = sloped.light_slope()[0] - flat.light_slope()[0];
    assert!((change + 0.0015).abs() < 1.5e-4, "{change}");
    // Known and found light cancel, up to the exposure at the card's middle and the prior.
    let error = sloped.residuals().mean - flat.residuals().mean;
    assert!(error.abs() < 0.1, "{error}");
}

#[test]
fn too_few_patches_are_refused_with_the_reason() {
    let mut patches = card();
    patches.truncate(7);
    patches[0].clipped = true;
    assert!(correct(&patches).is_ok());
    patches[1].clipped = true;
    let error = correct(&patches).unwrap_err();
    assert_eq!(
        error,
        CorrectionError::TooFewPatches {
            given: 7,
            usable: 5,
            clipped: 2,
            uneven: 0
        }
    );
    assert!(error.to_string().contains("only 5 of the 7"), "{error}");
    assert!(correct(&[]).is_err());
}

#[test]
fn impossible_numbers_are_refused_by_name() {
    let break_one = |change: fn(&mut Patch)| {
        let mut patches = card();
        change(&mut patches[5]);
        correct(&patches).unwrap_err().to_string()
    };
    for sentence in [
        break_one(|p| p.rgb[1] = f32::NAN),
        break_one(|p| p.target[2] = f64::INFINITY),
        break_one(|p| p.illumination = 0.0),
        break_one(|p| p.place.x = f64::NAN),
    ] {
        assert!(sentence.contains("L45h080"), "{sentence}");
    }
}

#[test]
fn a_correction_survives_its_file() {
    let correction = correct(&card()).unwrap();
    let text = serde_json::to_string(&correction).unwrap();
    let back: Correction = serde_json::from_str(&text).unwrap();
    let rgb = [0.3, 0.2, 0.4];
    assert!(de00(back.apply(rgb), correction.apply(rgb)) < 1e-9);
    assert_eq!(back.method(), correction.method());
}

#[test]
fn the_same_patches_give_the_same_bits() {
    assert_eq!(correct(&card()).unwrap(), correct(&card()).unwrap());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, rng_seed: proptest::test_runner::RngSeed::Fixed(7), failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever is measured, the answer is an error or a correction with finite numbers.
    #[test]
    fn nonsense_gives_no_panic(
        values in prop::collection::vec(prop::array::uniform3(-0.1f32..1.2), 24),
        count in 0usize..24,
    ) {
        let mut patches = card();
        for (patch, rgb) in patches.iter_mut().zip(values) {
            patch.rgb = rgb;
        }
        patches.truncate(count);
        if let Ok(correction) = correct(&patches) {
            prop_assert!(correction.apply([0.5, 0.2, 0.1]).iter().all(|v| v.is_finite()));
            prop_assert!(correction.residuals().mean.is_finite());
        }
    }
}

/// Part of the card, as when its other end is out of view: every run of 8 patches or more.
#[test]
fn part_of_the_card_still_corrects() {
    for count in 8..=12 {
        for first in 0..=24 - count {
            let patches = card()[first..first + count].to_vec();
            let error = mean_error(&correct(&patches).unwrap());
            // Under this light pixels are 13 off without correction (see `reference`).
            assert!(error < 5.0, "{first}+{count}: {error}");
        }
    }
}
