//! From code values to linear light with sRGB primaries, pixel by pixel.

use super::decoded::Pixels;
use super::picture::{LinearPicture, srgb_decode};
use moxcms::{ToneReprCurve, TransformF32Executor};
use rayon::prelude::*;
use std::sync::Arc;

/// Linear light with the primaries of some space to linear light with sRGB's.
pub(super) type Matrix = [[f32; 3]; 3];

/// How code values become linear light with sRGB primaries.
pub(super) enum Reading {
    /// The sRGB curve and nothing else.
    Srgb,
    /// A curve for each channel, then a matrix (none for a grey profile).
    Curves(Box<[ToneReprCurve; 3]>, Option<Matrix>),
    /// A colour table, then a matrix.
    Table(Arc<TransformF32Executor>, Matrix),
}

/// What code values of one depth mean: a table for each channel, then a matrix (none for a grey profile).
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Curves {
    tables: [Arc<[f32]>; 3],
    matrix: Option<Matrix>,
}

impl Curves {
    /// The light of a pixel's code values.
    pub(super) fn light<T: Into<u32>>(&self, [red, green, blue]: [T; 3]) -> [f32; 3] {
        let light = [
            look_up(&self.tables[0], red),
            look_up(&self.tables[1], green),
            look_up(&self.tables[2], blue),
        ];
        match &self.matrix {
            Some(matrix) => apply(matrix, light),
            None => light,
        }
    }
}

impl Reading {
    /// Takes all pixels as light. `None` where a curve makes no sense, which counts as a broken profile; the pixels
    /// are then still there.
    pub(super) fn linear(&self, pixels: &mut Option<Pixels>) -> Option<LinearPicture> {
        let levels = match pixels.as_ref()? {
            Pixels::Eight(_) => 256,
            Pixels::Sixteen(_) => 65_536,
        };
        let curves = match self {
            Self::Srgb => {
                let table = tabulate(levels, |encoded| srgb_decode(f64::from(encoded)) as f32)?;
                let table: Arc<[f32]> = table.into();
                Curves {
                    tables: [table.clone(), table.clone(), table],
                    matrix: None,
                }
            }
            Self::Curves(curves, matrix) => {
                let [red, green, blue] = curves.as_ref();
                Curves {
                    tables: [
                        tabulate_curve(levels, red)?.into(),
                        tabulate_curve(levels, green)?.into(),
                        tabulate_curve(levels, blue)?.into(),
                    ],
                    matrix: *matrix,
                }
            }
            Self::Table(transform, matrix) => {
                let (width, height, light) = match pixels.as_ref()? {
                    Pixels::Eight(picture) => {
                        let light = through(
                            transform.as_ref(),
                            matrix,
                            picture.as_raw(),
                            picture.width(),
                        );
                        (picture.width(), picture.height(), light?)
                    }
                    Pixels::Sixteen(picture) => {
                        let light = through(
                            transform.as_ref(),
                            matrix,
                            picture.as_raw(),
                            picture.width(),
                        );
                        (picture.width(), picture.height(), light?)
                    }
                };
                return LinearPicture::from_light(width as usize, height as usize, light);
            }
        };
        match pixels.take()? {
            Pixels::Eight(picture) => LinearPicture::from_eight(picture, curves),
            Pixels::Sixteen(picture) => LinearPicture::from_sixteen(picture, curves),
        }
    }
}

/// All pixels through a colour table and a matrix; `None` where it makes no sense.
fn through<T>(
    transform: &TransformF32Executor,
    matrix: &Matrix,
    codes: &[T],
    width: u32,
) -> Option<Vec<f32>>
where
    T: Copy + Into<u32> + Sync,
{
    let scale = 1.0 / (256_u32.pow(size_of::<T>() as u32) - 1) as f32;
    let mut linear = vec![0_f32; codes.len()];
    let row = (width as usize * 3).max(1);
    let done = linear
        .par_chunks_mut(row)
        .zip(codes.par_chunks(row))
        .map(|(out, row)| {
            let encoded: Vec<f32> = row.iter().map(|&code| code.into() as f32 * scale).collect();
            transform.transform(&encoded, out).is_ok()
                && out.as_chunks_mut::<3>().0.iter_mut().all(|pixel| {
                    *pixel = apply(matrix, *pixel);
                    pixel.iter().all(|v| v.is_finite())
                })
        })
        .all(|good| good);
    done.then_some(linear)
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
