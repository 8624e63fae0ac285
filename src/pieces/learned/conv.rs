//! One convolution over a picture with many channels.
//!
//! Pictures lie in memory as (rows, columns, channels), so that what a kernel sees of one
//! picture row is one run of numbers. A band of output rows is gathered into a matrix with
//! a line for each cell, and multiplied with the kernel in one go. A cell's sum is taken in
//! the same order whatever band or thread it falls to.

use ndarray::linalg::general_mat_mul;
use ndarray::{Array1, Array2, Array3, Array4, ArrayView2, ArrayViewMut2, Axis};
use rayon::prelude::*;

/// Cells gathered at a time: with 1152 numbers a cell (a 3x3 kernel over 128 channels) that
/// is 2 MB, what a core's own cache holds. More costs memory and wins nothing.
const BAND_CELLS: usize = 512;

/// A square kernel with its bias.
#[derive(Clone, Debug)]
pub(super) struct Conv {
    /// (kernel row, kernel column and input channel as one; output channels).
    weights: Array2<f32>,
    bias: Array1<f32>,
    /// Width of the kernel.
    side: usize,
    /// Input cells from one output cell to the next.
    stride: usize,
}

impl Conv {
    /// From weights as they stand in the file: (output, input, kernel row, kernel column).
    /// `None` where kernel or bias have another shape than a convolution's.
    pub fn new(weights: &Array4<f32>, bias: Array1<f32>, stride: usize) -> Option<Self> {
        let (outputs, inputs, side, across) = weights.dim();
        if side != across || side % 2 == 0 || bias.len() != outputs || stride == 0 {
            return None;
        }
        let flat = Array2::from_shape_fn((side * side * inputs, outputs), |(at, output)| {
            let (tap, input) = (at / inputs, at % inputs);
            weights[(output, input, tap / side, tap % side)]
        });
        Some(Self {
            weights: flat,
            bias,
            side,
            stride,
        })
    }

    /// Channels that it takes.
    pub fn inputs(&self) -> usize {
        self.weights.nrows() / (self.side * self.side)
    }

    /// The convolution of `input` (rows, columns, channels), which counts as 0 beyond its
    /// rim, plus `onto` where given. Output cell i has its middle on input cell stride * i.
    /// `input` must have the kernel's channels and `onto` the output's shape.
    pub fn of(&self, input: &Array3<f32>, onto: Option<Array3<f32>>, then: Then) -> Array3<f32> {
        let (rows, columns, _) = input.dim();
        let outputs = self.bias.len();
        let (out_rows, out_columns) = (rows.div_ceil(self.stride), columns.div_ceil(self.stride));
        let mut out = match onto {
            Some(onto) => onto + &self.bias,
            None => {
                Array3::from_shape_fn((out_rows, out_columns, outputs), |(_, _, c)| self.bias[c])
            }
        };
        let band = (BAND_CELLS / out_columns.max(1)).max(1);
        out.axis_chunks_iter_mut(Axis(0), band)
            .into_par_iter()
            .enumerate()
            .for_each(|(index, mut lines)| {
                let height = lines.len_of(Axis(0));
                let seen = self.gather(input, index * band, height, out_columns);
                if let Ok(mut cells) = lines
                    .view_mut()
                    .into_shape_with_order((height * out_columns, outputs))
                {
                    multiply(&seen.view(), &self.weights.view(), &mut cells);
                }
                if then == Then::Rectify {
                    lines.mapv_inplace(|v| v.max(0.0));
                }
            });
        out
    }

    /// What the kernel sees from each cell of some output rows, a line a cell.
    fn gather(
        &self,
        input: &Array3<f32>,
        first: usize,
        height: usize,
        out_columns: usize,
    ) -> Array2<f32> {
        let (rows, columns, channels) = input.dim();
        let run = self.side * channels;
        let mut seen = Array2::zeros((height * out_columns, self.side * run));
        let Some(pixels) = input.as_slice() else {
            return seen;
        };
        let margin = self.side / 2;
        for (cell, mut line) in seen.axis_iter_mut(Axis(0)).enumerate() {
            let Some(line) = line.as_slice_mut() else {
                continue;
            };
            let (top, left) = (
                (first + cell / out_columns) * self.stride,
                cell % out_columns * self.stride,
            );
            // The part of the kernel's width that lies over the picture.
            let skip = margin.saturating_sub(left);
            let last = self.side.min(columns + margin - left);
            for tap in 0..self.side {
                let Some(row) = (top + tap).checked_sub(margin).filter(|row| *row < rows) else {
                    continue;
                };
                let from = (row * columns + left + skip - margin) * channels;
                let taken = pixels.get(from..from + (last - skip) * channels);
                let place = line.get_mut(tap * run + skip * channels..tap * run + last * channels);
                if let (Some(taken), Some(place)) = (taken, place) {
                    place.copy_from_slice(taken);
                }
            }
        }
        seen
    }
}

/// What is done with a convolution's sums.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Then {
    /// They stay.
    Keep,
    /// Negative ones become 0.
    Rectify,
}

fn multiply(a: &ArrayView2<f32>, b: &ArrayView2<f32>, onto: &mut ArrayViewMut2<f32>) {
    general_mat_mul(1.0, a, b, 1.0, onto);
}

/// Each cell four times, in a square, plus `onto`, which is twice as high and wide and is written over.
pub(super) fn doubled_onto(small: &Array3<f32>, mut onto: Array3<f32>) -> Array3<f32> {
    onto.axis_iter_mut(Axis(0))
        .into_par_iter()
        .enumerate()
        .for_each(|(row, mut line)| {
            for (column, mut cell) in line.axis_iter_mut(Axis(0)).enumerate() {
                cell += &small.slice(ndarray::s![row / 2, column / 2, ..]);
            }
        });
    onto
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;

    /// Numbers that look like chance and are the same each time.
    fn numbers(seed: u64) -> impl FnMut() -> f32 {
        let mut state = seed.wrapping_mul(2).wrapping_add(1);
        move || {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            ((state >> 40) as f32 / (1u64 << 24) as f32) * 2.0 - 1.0
        }
    }

    /// The definition, sum by sum.
    fn plainly(
        input: &Array3<f32>,
        weights: &Array4<f32>,
        bias: &Array1<f32>,
        stride: usize,
    ) -> Array3<f32> {
        let (rows, columns, channels) = input.dim();
        let (outputs, _, side, _) = weights.dim();
        let margin = (side / 2) as i64;
        let shape = (rows.div_ceil(stride), columns.div_ceil(stride), outputs);
        Array3::from_shape_fn(shape, |(r, c, o)| {
            let mut sum = f64::from(bias[o]);
            for i in 0..channels {
                for y in 0..side {
                    for x in 0..side {
                        let row = (r * stride + y) as i64 - margin;
                        let column = (c * stride + x) as i64 - margin;
                        if (0..rows as i64).contains(&row) && (0..columns as i64).contains(&column)
                        {
                            let seen = input[(row as usize, column as usize, i)];
                            sum += f64::from(seen) * f64::from(weights[(o, i, y, x)]);
                        }
                    }
                }
            }
            sum as f32
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig {
            cases: 60,
            rng_seed: proptest::test_runner::RngSeed::Fixed(7),
            ..ProptestConfig::default()
        })]

        #[test]
        fn a_convolution_is_its_definition(
            (rows, columns) in (1usize..40, 1usize..40),
            (inputs, outputs) in (1usize..9, 1usize..9),
            wide in any::<bool>(),
            stride in 1usize..3,
            added in any::<bool>(),
            seed in any::<u64>(),
        ) {
            let mut next = numbers(seed);
            let side = if wide { 3 } else { 1 };
            let input = Array3::from_shape_simple_fn((rows, columns, inputs), &mut next);
            let weights = Array4::from_shape_simple_fn((outputs, inputs, side, side), &mut next);
            let bias = Array1::from_shape_simple_fn(outputs, &mut next);
            let mut expected = plainly(&input, &weights, &bias, stride);
            let onto = Array3::from_shape_simple_fn(expected.dim(), &mut next);
            let conv = Conv::new(&weights, bias, stride).unwrap();
            prop_assert_eq!(conv.inputs(), inputs);
            if added {
                expected += &onto;
            }
            let onto = added.then_some(onto);
            // Sums of at most 74 products below 1: rounding stays far below this.
            let near = |a: &Array3<f32>, b: &Array3<f32>| {
                a.dim() == b.dim() && a.iter().zip(b).all(|(a, b)| (a - b).abs() < 2e-5)
            };
            prop_assert!(near(&conv.of(&input, onto.clone(), Then::Keep), &expected));
            let rectified = expected.mapv(|v| v.max(0.0));
            prop_assert!(near(&conv.of(&input, onto, Then::Rectify), &rectified));
        }
    }

    #[test]
    fn what_is_no_convolution_is_refused() {
        let conv = |shape, bias, stride| {
            Conv::new(&Array4::zeros(shape), Array1::zeros(bias), stride).is_some()
        };
        assert!(conv((4, 3, 3, 3), 4, 2));
        assert!(!conv((4, 3, 3, 1), 4, 1));
        assert!(!conv((4, 3, 2, 2), 4, 1));
        assert!(!conv((4, 3, 3, 3), 3, 1));
        assert!(!conv((4, 3, 3, 3), 4, 0));
    }

    #[test]
    fn doubling_repeats_each_cell_and_adds() {
        let small = Array3::from_shape_fn((2, 3, 2), |(r, c, k)| (100 * r + 10 * c + k) as f32);
        let onto = Array3::from_shape_fn((4, 6, 2), |(r, c, _)| (r as f32) / 8.0 + c as f32 / 64.0);
        let sum = doubled_onto(&small, onto.clone());
        for ((r, c, k), v) in sum.indexed_iter() {
            assert_eq!(*v, small[(r / 2, c / 2, k)] + onto[(r, c, k)]);
        }
    }
}
