//! Colour profiles: what a file's colour tag says about its code values.
//!
//! A profile of curves and a matrix, which is what cameras embed, becomes three
//! tables and one matrix, so nothing is clipped: `moxcms` reads the profile and
//! works out both. A profile with a colour table goes through `moxcms` as a
//! whole, into primaries that hold every colour, and by a matrix from there.

use super::decoded::{ColourTag, Decoded};
use super::error::Problem;
use super::icc;
use super::reading::{Matrix, Reading};
use super::source::Note;
use moxcms::{
    CicpColorPrimaries, CicpProfile, ColorProfile, DataColorSpace, Layout, Matrix3d,
    MatrixCoefficients, ProfileText, TransferCharacteristics, TransformOptions,
};

/// XYZ relative to ICC's D50 (0.9642, 1, 0.8249) to linear light with sRGB's primaries
/// and white (x .3127, y .3290), Bradford-adapted. By colour-science 0.4.7:
/// `inv(matrix_chromatic_adaptation_VonKries(D65, D50, "Bradford") @
/// normalised_primary_matrix(sRGB))`. Its own, since `moxcms` has a slightly other
/// D65, which would be off by 6e-4 at Display P3's red.
const D50_TO_SRGB: Matrix3d = Matrix3d {
    v: [
        [3.134_186_364, -1.617_208_959, -0.490_694_064],
        [-0.978_748_504, 1.916_130_097, 0.033_433_399],
        [0.071_963_928, -0.228_993_873, 1.405_753_733],
    ],
};

/// Chooses how to read a decoded picture, and names it. A profile that cannot be
/// used is noted, and sRGB taken.
///
/// # Errors
/// [`Problem::HighDynamicRange`] for PQ and HLG.
pub(super) fn reading(
    decoded: &Decoded,
    notes: &mut Vec<Note>,
) -> Result<(Reading, String), Problem> {
    let read = match &decoded.colour {
        ColourTag::Untagged => return Ok((Reading::Srgb, "untagged, read as sRGB".into())),
        ColourTag::Cicp {
            primaries,
            transfer,
        } => code_points(*primaries, *transfer)?,
        ColourTag::Icc(profile) => icc(profile, decoded.grey)?,
    };
    Ok(read.unwrap_or_else(|| fallback(notes)))
}

/// What is read when the profile cannot be used, and says so.
pub(super) fn fallback(notes: &mut Vec<Note>) -> (Reading, String) {
    notes.push(Note::BrokenProfile);
    (Reading::Srgb, "broken profile, read as sRGB".into())
}

/// Refuses the transfer functions of high dynamic range (ITU-R BT.2100).
fn refuse_hdr(transfer: TransferCharacteristics) -> Result<(), Problem> {
    match transfer {
        TransferCharacteristics::Smpte2084 => Err(Problem::HighDynamicRange("PQ")),
        TransferCharacteristics::Hlg => Err(Problem::HighDynamicRange("HLG")),
        _ => Ok(()),
    }
}

/// Reads ITU-T H.273 code points; `None` for those without a meaning here.
fn code_points(primaries: u8, transfer: u8) -> Result<Option<(Reading, String)>, Problem> {
    // 2 is 'unspecified': sRGB's, as everywhere else.
    let primaries = if primaries == 2 { 1 } else { primaries };
    let transfer = if transfer == 2 { 13 } else { transfer };
    let name = match (primaries, transfer) {
        (1, 13) => return Ok(Some((Reading::Srgb, "sRGB".into()))),
        (12, 13) => "Display P3".into(),
        _ => format!("H.273 primaries {primaries}, transfer {transfer}"),
    };
    let (Ok(color_primaries), Ok(transfer_characteristics)) = (
        CicpColorPrimaries::try_from(primaries),
        TransferCharacteristics::try_from(transfer),
    ) else {
        return Ok(None);
    };
    refuse_hdr(transfer_characteristics)?;
    let profile = |color_primaries, transfer_characteristics| {
        ColorProfile::new_from_cicp(CicpProfile {
            color_primaries,
            transfer_characteristics,
            matrix_coefficients: MatrixCoefficients::Identity,
            full_range: true,
        })
    };
    let source = profile(color_primaries, transfer_characteristics);
    // From one set of primaries to the other by way of the same D50.
    let srgb = profile(CicpColorPrimaries::Bt709, TransferCharacteristics::Srgb);
    let matrix = finite(source.transform_matrix(&srgb));
    Ok(matrix.and_then(|matrix| Some((curves(&source, matrix)?, name))))
}

/// Reads an ICC profile; `None` where it is broken or does not fit the picture.
fn icc(bytes: &[u8], grey: bool) -> Result<Option<(Reading, String)>, Problem> {
    let Some(Ok(profile)) = icc::trimmed(bytes).map(|bytes| ColorProfile::new_from_slice(&bytes))
    else {
        return Ok(None);
    };
    if let Some(cicp) = &profile.cicp {
        refuse_hdr(cicp.transfer_characteristics)?;
    }
    let has_table = profile.lut_a_to_b_perceptual.is_some()
        || profile.lut_a_to_b_colorimetric.is_some()
        || profile.lut_a_to_b_saturation.is_some();
    let reading = match profile.color_space {
        DataColorSpace::Rgb if has_table => table(&profile),
        DataColorSpace::Rgb => {
            finite(from_d50(&profile)).and_then(|matrix| curves(&profile, matrix))
        }
        DataColorSpace::Gray if grey => profile
            .gray_trc
            .clone()
            .map(|curve| Reading::Curves(Box::new([curve.clone(), curve.clone(), curve]), None)),
        _ => None,
    };
    Ok(reading.map(|reading| (reading, name(&profile))))
}

/// Three curves and a matrix; `None` where one is missing or makes no sense.
fn curves(profile: &ColorProfile, matrix: Matrix) -> Option<Reading> {
    if !profile.is_matrix_shaper() {
        return None;
    }
    let curves = [
        profile.red_trc.clone()?,
        profile.green_trc.clone()?,
        profile.blue_trc.clone()?,
    ];
    Some(Reading::Curves(Box::new(curves), Some(matrix)))
}

/// A colour table, into linear light with the ACES AP0 primaries (SMPTE ST 2065-1):
/// they enclose all colours, so the clipping to 0..1 on the way harms none.
fn table(profile: &ColorProfile) -> Option<Reading> {
    let wide = ColorProfile::new_aces_aces_2065_1_linear();
    let matrix = finite(from_d50(&wide))?;
    let transform = profile
        .create_transform_f32(Layout::Rgb, &wide, Layout::Rgb, TransformOptions::default())
        .ok()?;
    Some(Reading::Table(transform, matrix))
}

/// A profile's linear light to that with sRGB's primaries, by its colorants, which
/// are relative to D50 (ICC.1:2022, F.3).
fn from_d50(profile: &ColorProfile) -> Matrix3d {
    D50_TO_SRGB.mat_mul(profile.rgb_to_xyz_matrix())
}

/// A matrix of sound numbers in single precision. Real spaces stay below 4 or so;
/// beyond 100 the colorants are nonsense.
#[allow(clippy::cast_possible_truncation)] // f64 to f32 on purpose
fn finite(matrix: Matrix3d) -> Option<Matrix> {
    let sound = matrix.v.iter().flatten().all(|v| v.abs() < 100.0);
    sound.then(|| matrix.v.map(|row| row.map(|v| v as f32)))
}

/// The profile's own description, on one short line.
fn name(profile: &ColorProfile) -> String {
    let text = match &profile.description {
        Some(ProfileText::PlainString(text)) => text.clone(),
        Some(ProfileText::Localizable(texts)) => texts
            .iter()
            .find(|text| text.language == "en")
            .or(texts.first())
            .map(|text| text.value.clone())
            .unwrap_or_default(),
        Some(ProfileText::Description(text)) => text.ascii_string.clone(),
        None => String::new(),
    };
    let line: String = text.chars().filter(|c| !c.is_control()).take(80).collect();
    let line = line.trim();
    if line.is_empty() {
        "unnamed profile".into()
    } else {
        line.into()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::decoded::Pixels;
    use super::*;
    use image::codecs::png::PngDecoder;
    use image::{ImageDecoder, RgbImage};

    /// The profile inside one of the Display P3 samples.
    fn sample(name: &str) -> Vec<u8> {
        let path = format!("tests/data/photo/p3-samples-{name}.png");
        let file = std::io::BufReader::new(std::fs::File::open(path).unwrap());
        PngDecoder::new(file)
            .unwrap()
            .icc_profile()
            .unwrap()
            .unwrap()
    }

    fn small() -> Pixels {
        let codes = (0..=255).flat_map(|v: u8| [v, 255 - v, v / 2]).collect();
        Pixels::Eight(RgbImage::from_raw(256, 1, codes).unwrap())
    }

    /// Changed bytes and cuts of real profiles: finite light or a
    /// refusal, never a panic.
    #[test]
    fn spoilt_profiles_never_panic_nor_give_unsound_light() {
        let (mut used, mut refused) = (0, 0);
        let mut check = |bytes: &[u8]| {
            let reading = icc(bytes, false).ok().flatten();
            match reading.and_then(|(reading, _)| reading.linear(&mut Some(small()))) {
                Some(light) => {
                    assert!(light.to_array().iter().all(|v| v.is_finite()));
                    used += 1;
                }
                None => refused += 1,
            }
        };
        for name in ["curve", "table-curve", "a2b"] {
            let whole = sample(name);
            // Header, tag list and the heads of the tags; the tables behind are all alike.
            for place in (0..whole.len().min(560)).step_by(3) {
                for change in [0x01, 0xFF] {
                    let mut spoilt = whole.clone();
                    spoilt[place] ^= change;
                    check(&spoilt);
                }
            }
            for length in (0..whole.len()).step_by(211) {
                check(&whole[..length]);
            }
        }
        assert!(used > 100 && refused > 50, "{used} used, {refused} refused");
    }

    #[test]
    fn a_profile_that_does_not_fit_the_picture_is_refused() {
        let grey = ColorProfile::new_gray_with_gamma(2.2).encode().unwrap();
        assert!(icc(&grey, false).unwrap().is_none());
        let (reading, _) = icc(&grey, true).unwrap().unwrap();
        let light = reading.linear(&mut Some(small())).unwrap();
        // Grey 128 at gamma 2.2.
        assert!((light.at(0, 128)[0] - (128.0_f32 / 255.0).powf(2.2)).abs() < 2e-4);
        assert!(icc(b"", true).unwrap().is_none());
    }

    #[test]
    fn high_dynamic_range_is_refused_by_name() {
        for (transfer, name) in [(16, "PQ"), (18, "HLG")] {
            let error = code_points(9, transfer).err().unwrap().to_string();
            assert!(error.contains(name), "{error}");
        }
        let pq = ColorProfile::new_bt2020_pq().encode().unwrap();
        assert!(matches!(
            icc(&pq, false),
            Err(Problem::HighDynamicRange("PQ"))
        ));
    }

    #[test]
    fn code_points_without_a_meaning_count_as_broken() {
        assert!(code_points(0, 13).unwrap().is_none());
        assert!(code_points(1, 3).unwrap().is_none());
        assert!(matches!(
            code_points(2, 2).unwrap(),
            Some((Reading::Srgb, _))
        ));
    }

    /// The sixteen-bit tables hold the eight-bit ones: code v is code 257 v.
    #[test]
    fn both_depths_agree() {
        let (curve, _) = icc(&sample("curve"), false).unwrap().unwrap();
        let (table, _) = icc(&sample("a2b"), false).unwrap().unwrap();
        let Pixels::Eight(picture) = small() else {
            return;
        };
        let wide = picture
            .as_raw()
            .iter()
            .map(|&v| u16::from(v) * 257)
            .collect();
        let sixteen: super::super::decoded::Rgb16Image =
            image::ImageBuffer::from_raw(256, 1, wide).unwrap();
        for reading in [Reading::Srgb, curve, table] {
            let (a, b) = (
                reading.linear(&mut Some(small())).unwrap().to_array(),
                reading
                    .linear(&mut Some(Pixels::Sixteen(sixteen.clone())))
                    .unwrap()
                    .to_array(),
            );
            let worst = a
                .iter()
                .zip(&b)
                .map(|(a, b)| (a - b).abs())
                .fold(0.0, f32::max);
            assert!(worst < 1e-6, "{worst}");
        }
    }
}
