//! The metric view in CIELAB, and a coarse copy of it for slow questions.

use ndarray::{Array2, Array3, Axis};
use palette::white_point::D65;
use palette::{FromColor, Lab, LinSrgb};
use rayon::prelude::*;

use crate::units::Mm;
use crate::view::MetricView;

/// CIELAB (D65) of the photo as it is: no card correction.
#[derive(Clone, Debug)]
pub struct LabView {
    /// Size of a pixel, mm.
    pub mm_per_px: f64,
    /// Outer corner of the first pixel.
    pub origin: Mm,
    /// L*, a*, b* (rows, columns, 3).
    pub lab: Array3<f32>,
    /// Whether the photo covers the pixel.
    pub inside: Array2<bool>,
}

impl LabView {
    /// Converts a metric view.
    pub fn of(view: &MetricView) -> Self {
        Self::from_light(view.mm_per_px, view.origin, view.size(), &|row, column| {
            view.at(row, column)
        })
    }

    /// Converts linear RGB, given for each (row, column) that the photo covers.
    pub fn from_light(
        mm_per_px: f64,
        origin: Mm,
        (rows, columns): (usize, usize),
        light: &(dyn Fn(usize, usize) -> Option<[f32; 3]> + Sync),
    ) -> Self {
        let mut lab = Array3::<f32>::zeros((rows, columns, 3));
        let mut inside = Array2::from_elem((rows, columns), false);
        lab.axis_iter_mut(Axis(0))
            .into_par_iter()
            .zip(inside.axis_iter_mut(Axis(0)))
            .enumerate()
            .for_each(|(row, (mut line, mut flags))| {
                for (column, mut pixel) in line.axis_iter_mut(Axis(0)).enumerate() {
                    let seen = light(row, column);
                    let [red, green, blue] = seen.unwrap_or_default();
                    let converted: Lab<D65, f32> = Lab::from_color(LinSrgb::new(red, green, blue));
                    pixel[0] = converted.l;
                    pixel[1] = converted.a;
                    pixel[2] = converted.b;
                    flags[column] = seen.is_some();
                }
            });
        Self {
            mm_per_px,
            origin,
            lab,
            inside,
        }
    }

    /// Rows and columns.
    pub fn size(&self) -> (usize, usize) {
        self.inside.dim()
    }

    /// The tray place of a pixel's middle.
    pub fn middle(&self, row: usize, column: usize) -> Mm {
        Mm::new(
            self.origin.x + (column as f64 + 0.5) * self.mm_per_px,
            self.origin.y + (row as f64 + 0.5) * self.mm_per_px,
        )
    }

    /// The pixel's colour.
    pub fn at(&self, row: usize, column: usize) -> [f32; 3] {
        [
            self.lab[(row, column, 0)],
            self.lab[(row, column, 1)],
            self.lab[(row, column, 2)],
        ]
    }

    /// Bilinear colour at a tray place; `None` outside the photo.
    pub fn sample(&self, at: Mm) -> Option<[f32; 3]> {
        let x = (at.x - self.origin.x) / self.mm_per_px - 0.5;
        let y = (at.y - self.origin.y) / self.mm_per_px - 0.5;
        let (rows, columns) = self.size();
        if x < 0.0 || y < 0.0 || x >= columns as f64 - 1.0 || y >= rows as f64 - 1.0 {
            return None;
        }
        let (column, row) = (x as usize, y as usize);
        if !(self.inside[(row, column)] && self.inside[(row + 1, column + 1)]) {
            return None;
        }
        let (fx, fy) = ((x - column as f64) as f32, (y - row as f64) as f32);
        let mut out = [0.0; 3];
        for (c, value) in out.iter_mut().enumerate() {
            let top = self.lab[(row, column, c)] * (1.0 - fx) + self.lab[(row, column + 1, c)] * fx;
            let bottom = self.lab[(row + 1, column, c)] * (1.0 - fx)
                + self.lab[(row + 1, column + 1, c)] * fx;
            *value = top * (1.0 - fy) + bottom * fy;
        }
        Some(out)
    }

    /// Averages whole blocks of pixels into cells of about `cell_mm`.
    pub fn coarse(&self, cell_mm: f64) -> Coarse {
        let step = ((cell_mm / self.mm_per_px).round() as usize).max(1);
        let (rows, columns) = self.size();
        let (cell_rows, cell_columns) = (rows / step, columns / step);
        let mut mean = Array3::<f32>::zeros((cell_rows, cell_columns, 3));
        let mut rough = Array2::<f32>::zeros((cell_rows, cell_columns));
        let mut inside = Array2::from_elem((cell_rows, cell_columns), false);
        for row in 0..cell_rows {
            for column in 0..cell_columns {
                let (mut sum, mut square, mut count) = ([0.0f32; 3], 0.0f32, 0usize);
                for r in row * step..(row + 1) * step {
                    for c in column * step..(column + 1) * step {
                        if self.inside[(r, c)] {
                            let lab = self.at(r, c);
                            for k in 0..3 {
                                sum[k] += lab[k];
                            }
                            square += lab[0] * lab[0];
                            count += 1;
                        }
                    }
                }
                if count == step * step {
                    let n = count as f32;
                    for k in 0..3 {
                        mean[(row, column, k)] = sum[k] / n;
                    }
                    let l = sum[0] / n;
                    rough[(row, column)] = (square / n - l * l).max(0.0).sqrt();
                    inside[(row, column)] = true;
                }
            }
        }
        Coarse {
            mm_per_cell: step as f64 * self.mm_per_px,
            pixels_per_cell: step,
            origin: self.origin,
            mean,
            rough,
            inside,
        }
    }
}

/// Block averages of a [`LabView`].
#[derive(Clone, Debug)]
pub struct Coarse {
    /// Size of a cell, mm.
    pub mm_per_cell: f64,
    /// Size of a cell in view pixels.
    pub pixels_per_cell: usize,
    /// Outer corner of the first cell.
    pub origin: Mm,
    /// Mean L*, a*, b* (rows, columns, 3).
    pub mean: Array3<f32>,
    /// Standard deviation of L* within the cell.
    pub rough: Array2<f32>,
    /// Whether the whole cell lies in the photo.
    pub inside: Array2<bool>,
}

impl Coarse {
    /// The tray place of a cell's middle.
    pub fn middle(&self, row: usize, column: usize) -> Mm {
        Mm::new(
            self.origin.x + (column as f64 + 0.5) * self.mm_per_cell,
            self.origin.y + (row as f64 + 0.5) * self.mm_per_cell,
        )
    }

    /// The cell's mean colour.
    pub fn at(&self, row: usize, column: usize) -> [f32; 3] {
        [
            self.mean[(row, column, 0)],
            self.mean[(row, column, 1)],
            self.mean[(row, column, 2)],
        ]
    }
}
