//! Colour profiles: from code values to linear light with sRGB primaries.
//!
//! A profile of curves and a matrix, which is what cameras embed, becomes three
//! tables and one matrix, so nothing is clipped: `moxcms` reads the profile and
//! works out both. A profile with a colour table goes through `moxcms` as a
//! whole, into primaries that hold every colour, and by a matrix from there.

use super::decoded::{ColourTag, Decoded, Pixels};
use super::error::Problem;
use super::picture::srgb_decode;
use super::source::Note;
use moxcms::{
    CicpColorPrimaries, CicpProfile, ColorProfile, DataColorSpace, Layout, Matrix3d,
    MatrixCoefficients, ProfileText, ToneReprCurve, TransferCharacteristics, TransformF32Executor,
    TransformOptions,
};
use ndarray::Array3;
use rayon::prelude::*;
use std::sync::Arc;

/// Linear light with the primaries of some space to linear light with sRGB's.
type Matrix = [[f32; 3]; 3];

/// How code values become linear light with sRGB primaries.
pub(super) enum Reading {
    /// The sRGB curve and nothing else.
    Srgb,
    /// A curve for each channel, then a matrix (none for a grey profile).
    Curves(Box<[ToneReprCurve; 3]>, Option<Matrix>),
    /// A colour table, then a matrix.
    Table(Arc<TransformF32Executor>, Matrix),
}

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
    let profile = ColorProfile::new_from_cicp(CicpProfile {
        color_primaries,
        transfer_characteristics,
        matrix_coefficients: MatrixCoefficients::Identity,
        full_range: true,
    });
    Ok(curves(&profile).map(|reading| (reading, name)))
}

/// Reads an ICC profile; `None` where it is broken or does not fit the picture.
fn icc(bytes: &[u8], grey: bool) -> Result<Option<(Reading, String)>, Problem> {
    let Ok(profile) = ColorProfile::new_from_slice(bytes) else {
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
        DataColorSpace::Rgb => curves(&profile),
        DataColorSpace::Gray if grey => profile
            .gray_trc
            .clone()
            .map(|curve| Reading::Curves(Box::new([curve.clone(), curve.clone(), curve]), None)),
        _ => None,
    };
    Ok(reading.map(|reading| (reading, name(&profile))))
}

/// Three curves and a matrix; `None` where one is missing or makes no sense.
fn curves(profile: &ColorProfile) -> Option<Reading> {
    if !profile.is_matrix_shaper() {
        return None;
    }
    let matrix = finite(profile.transform_matrix(&ColorProfile::new_srgb()))?;
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
    let matrix = finite(wide.transform_matrix(&ColorProfile::new_srgb()))?;
    let transform = profile
        .create_transform_f32(Layout::Rgb, &wide, Layout::Rgb, TransformOptions::default())
        .ok()?;
    Some(Reading::Table(transform, matrix))
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

impl Reading {
    /// Converts all pixels: shape (rows, columns, 3). `None` where a curve makes no
    /// sense, which counts as a broken profile.
    pub(super) fn linear(&self, pixels: &Pixels) -> Option<Array3<f32>> {
        match pixels {
            Pixels::Eight(picture) => {
                let size = (picture.height() as usize, picture.width() as usize, 3);
                self.convert(picture.as_raw(), 256, size)
            }
            Pixels::Sixteen(picture) => {
                let size = (picture.height() as usize, picture.width() as usize, 3);
                self.convert(picture.as_raw(), 65_536, size)
            }
        }
    }

    fn convert<T>(
        &self,
        codes: &[T],
        levels: usize,
        size: (usize, usize, usize),
    ) -> Option<Array3<f32>>
    where
        T: Copy + Into<u32> + Sync,
    {
        let mut linear = vec![0_f32; codes.len()];
        let row = (size.1 * 3).max(1);
        let rows = linear.par_chunks_mut(row).zip(codes.par_chunks(row));
        match self {
            Self::Srgb => {
                let table = tabulate(levels, |encoded| srgb_decode(f64::from(encoded)) as f32)?;
                rows.for_each(|(out, row)| {
                    for (out, &code) in out.iter_mut().zip(row) {
                        *out = look_up(&table, code);
                    }
                });
            }
            Self::Curves(curves, matrix) => {
                let [red, green, blue] = curves.as_ref();
                let tables = [
                    tabulate_curve(levels, red)?,
                    tabulate_curve(levels, green)?,
                    tabulate_curve(levels, blue)?,
                ];
                rows.for_each(|(out, row)| {
                    for (out, &[r, g, b]) in out
                        .as_chunks_mut::<3>()
                        .0
                        .iter_mut()
                        .zip(row.as_chunks::<3>().0)
                    {
                        let light = [
                            look_up(&tables[0], r),
                            look_up(&tables[1], g),
                            look_up(&tables[2], b),
                        ];
                        *out = match matrix {
                            Some(matrix) => apply(matrix, light),
                            None => light,
                        };
                    }
                });
            }
            Self::Table(transform, matrix) => {
                let scale = 1.0 / (levels - 1) as f32;
                let done = rows
                    .map(|(out, row)| {
                        let encoded: Vec<f32> =
                            row.iter().map(|&code| code.into() as f32 * scale).collect();
                        transform.transform(&encoded, out).is_ok()
                            && out.as_chunks_mut::<3>().0.iter_mut().all(|pixel| {
                                *pixel = apply(matrix, *pixel);
                                pixel.iter().all(|v| v.is_finite())
                            })
                    })
                    .all(|good| good);
                if !done {
                    return None;
                }
            }
        }
        Array3::from_shape_vec(size, linear).ok()
    }
}

fn apply(matrix: &Matrix, [r, g, b]: [f32; 3]) -> [f32; 3] {
    matrix.map(|row| row[0] * r + row[1] * g + row[2] * b)
}

/// Finds a code value's light; every table has an entry for every code.
fn look_up<T: Into<u32>>(table: &[f32], code: T) -> f32 {
    table.get(code.into() as usize).copied().unwrap_or_default()
}

/// A function of the encoded value 0..=1 at each code value; `None` unless all
/// results are plausible light.
fn tabulate(levels: usize, decode: impl Fn(f32) -> f32) -> Option<Vec<f32>> {
    let table: Vec<f32> = (0..levels)
        .map(|level| decode(level as f32 / (levels - 1) as f32))
        .collect();
    // Sound curves stay in 0..1, give or take a toe; not-a-number is out as well.
    table.iter().all(|v| v.abs() <= 4.0).then_some(table)
}

fn tabulate_curve(levels: usize, curve: &ToneReprCurve) -> Option<Vec<f32>> {
    let curve = curve.make_linear_evaluator().ok()?;
    tabulate(levels, |encoded| curve.evaluate_value(encoded))
}
