//! From code values to linear light with sRGB primaries, pixel by pixel.

use super::decoded::Pixels;
use super::picture::srgb_decode;
use moxcms::{ToneReprCurve, TransformF32Executor};
use ndarray::Array3;
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
