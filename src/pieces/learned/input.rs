//! What the net sees: the metric view in cells of half a millimetre, each compared with the
//! empty tray there and told from which side the lens looks at it.

use ndarray::{Array3, Axis};
use rayon::prelude::*;

use super::net::{INPUTS, MULTIPLE};
use crate::tray::{Ground, LabView};
use crate::units::Mm;
use crate::view::Camera;

/// Size of a cell, mm; the net was trained on this one.
pub const CELL_MM: f64 = 0.5;
/// How far around the card cells stay empty, mm; as for [`crate::tray::Foreground`].
const CARD_MARGIN_MM: f64 = 1.0;
/// No input is wider or higher than this, mm; of a wider view the part around the lens'
/// foot is taken. A tray is half as wide; what lies further off is seen too flat to count.
const WIDEST_MM: f64 = 1200.0;
/// A cell of which less lies in the photo is empty.
const LEAST_COVERED: f32 = 0.5;
/// The net's units: colour differences in 25 CIELAB units and at most 4 of them...
const COLOUR_UNIT: f32 = 25.0;
const MOST_COLOUR: f32 = 4.0;
/// ...the tray's lightness from 60, in 30.
const LIGHTNESS: (f32, f32) = (60.0, 30.0);

/// The input and where it lies on the tray.
#[derive(Clone, Debug)]
pub struct Input {
    /// (channels, rows, columns). 0 to 2: L*, a*, b* less the empty tray's; 3: the empty
    /// tray's L*; 4 and 5: x and y away from the lens' foot, by the lens' height.
    pub values: Array3<f32>,
    /// Outer corner of the first cell.
    pub origin: Mm,
}

/// Which pixels of the view a row or column of cells covers, and how much of each.
struct Cover {
    first: usize,
    shares: Vec<f32>,
}

impl Cover {
    /// `from` and `to` in pixels from the view's corner; none beyond its `size`.
    fn of(from: f64, to: f64, size: usize) -> Self {
        let (from, to) = (from.clamp(0.0, size as f64), to.clamp(0.0, size as f64));
        let (first, last) = (from.floor() as usize, to.ceil() as usize);
        let shares = (first..last)
            .map(|pixel| (to.min(pixel as f64 + 1.0) - from.max(pixel as f64)) as f32)
            .collect();
        Self { first, shares }
    }

    fn all(start: usize, cells: usize, pixels_per_cell: f64, size: usize) -> Vec<Self> {
        (start..start + cells)
            .map(|cell| {
                let from = cell as f64 * pixels_per_cell;
                Self::of(from, from + pixels_per_cell, size)
            })
            .collect()
    }

    fn each(&self) -> impl Iterator<Item = (usize, f32)> {
        (self.first..).zip(self.shares.iter().copied())
    }
}

/// First cell and number of cells along a side of the view, of which `wanted` (mm from its start) is asked: so far
/// as the net takes it, or what of it lies around the foot. The first is a multiple of what the net takes, so that each
/// of its cells speaks for the same place whatever is asked.
fn span(side_mm: f64, wanted: (f64, f64), foot_mm: f64) -> (usize, usize) {
    let cells = |mm: f64| (mm.clamp(0.0, side_mm) / CELL_MM) as usize;
    let first = cells(wanted.0) / MULTIPLE * MULTIPLE;
    let end = (wanted.1.clamp(0.0, side_mm) / CELL_MM).ceil() as usize;
    let all = end.saturating_sub(first);
    let most = (WIDEST_MM / CELL_MM) as usize;
    let start = if all > most {
        let around = cells(foot_mm).saturating_sub(most / 2);
        around.clamp(first, first + all - most)
    } else {
        first
    };
    (start, all.clamp(1, most).next_multiple_of(MULTIPLE))
}

impl Input {
    /// Averages the view, from its place `low` to `high`, into cells. `card` tells whether a place lies on the card,
    /// with a margin in mm; such cells stay empty, as do those that the photo does not show.
    pub fn of(
        view: &LabView,
        (low, high): (Mm, Mm),
        ground: &Ground,
        camera: &Camera,
        card: &(dyn Fn(Mm, f64) -> bool + Sync),
    ) -> Self {
        let (view_rows, view_columns) = view.size();
        let (foot, height) = (camera.foot(), camera.height_mm());
        let mm = view.mm_per_px;
        let from = view.origin;
        let (top, rows) = span(
            view_rows as f64 * mm,
            (low.y - from.y, high.y - from.y),
            foot.y - from.y,
        );
        let (left, columns) = span(
            view_columns as f64 * mm,
            (low.x - from.x, high.x - from.x),
            foot.x - from.x,
        );
        let down = Cover::all(top, rows, CELL_MM / mm, view_rows);
        let across = Cover::all(left, columns, CELL_MM / mm, view_columns);
        let whole = ((CELL_MM / mm) * (CELL_MM / mm)) as f32;
        let origin = Mm::new(
            view.origin.x + left as f64 * CELL_MM,
            view.origin.y + top as f64 * CELL_MM,
        );
        let mut values = Array3::<f32>::zeros((INPUTS, rows, columns));
        values
            .axis_iter_mut(Axis(1))
            .into_par_iter()
            .zip(&down)
            .enumerate()
            .for_each(|(row, (mut line, down))| {
                for (column, across) in across.iter().enumerate() {
                    let at = Mm::new(
                        origin.x + (column as f64 + 0.5) * CELL_MM,
                        origin.y + (row as f64 + 0.5) * CELL_MM,
                    );
                    line[(4, column)] = ((at.x - foot.x) / height) as f32;
                    line[(5, column)] = ((at.y - foot.y) / height) as f32;
                    let (lab, covered) = mean(view, down, across);
                    if covered < LEAST_COVERED * whole || card(at, CARD_MARGIN_MM) {
                        continue;
                    }
                    let tray = ground.at(at);
                    for k in 0..3 {
                        let off = (lab[k] - tray[k]) / COLOUR_UNIT;
                        line[(k, column)] = off.clamp(-MOST_COLOUR, MOST_COLOUR);
                    }
                    line[(3, column)] = (tray[0] - LIGHTNESS.0) / LIGHTNESS.1;
                }
            });
        Self { values, origin }
    }
}

/// Mean colour of a cell's pixels in the photo, and how many they are.
fn mean(view: &LabView, down: &Cover, across: &Cover) -> ([f32; 3], f32) {
    let (mut sum, mut covered) = ([0.0f32; 3], 0.0f32);
    for (row, high) in down.each() {
        for (column, wide) in across.each() {
            if view.inside.get((row, column)) == Some(&true) {
                let lab = view.at(row, column);
                for k in 0..3 {
                    sum[k] += high * wide * lab[k];
                }
                covered += high * wide;
            }
        }
    }
    (sum.map(|v| v / covered.max(f32::MIN_POSITIVE)), covered)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use nalgebra::{Rotation3, Vector3};
    use ndarray::Array2;

    const HEIGHT_MM: f64 = 500.0;

    /// Straight above (10, 20).
    fn camera() -> Camera {
        Camera {
            focal_px: 1500.0,
            centre: crate::units::Px::new(1000.0, 750.0),
            k1: 0.0,
            rotation: Rotation3::identity(),
            translation: Vector3::new(-10.0, -20.0, HEIGHT_MM),
        }
    }

    fn card(at: Mm, margin: f64) -> bool {
        let within = |v: f64, side: f64| v > -margin && v < side + margin;
        within(at.x, 30.0) && within(at.y, 20.0)
    }

    const TRAY: [f32; 3] = [70.0, 2.0, -3.0];
    const ORIGIN: Mm = Mm { x: -30.0, y: -25.0 };

    /// A plain tray of 103 x 81 mm in pixels of 0.15 mm (3 1/3 to a cell), with a bar at x from
    /// 50.1 to 53.1 mm that has L* 6 and a* 140 more, and no photo right of 65 mm.
    fn view() -> LabView {
        let (rows, columns) = (540, 687);
        let x = |column: usize| ORIGIN.x + (column as f64 + 0.5) * 0.15;
        LabView {
            mm_per_px: 0.15,
            origin: ORIGIN,
            lab: Array3::from_shape_fn((rows, columns, 3), |(_, c, k)| {
                let bar = (50.1..53.1).contains(&x(c));
                TRAY[k] + if bar { [6.0, 140.0, 0.0][k] } else { 0.0 }
            }),
            inside: Array2::from_shape_fn((rows, columns), |(_, c)| x(c) < 65.0),
        }
    }

    #[test]
    fn cells_hold_means_and_stay_empty_where_nothing_is_seen() {
        let view = view();
        let ground = Ground::fit(&view, &card).unwrap();
        let all = (ORIGIN, Mm::new(1e3, 1e3));
        let input = Input::of(&view, all, &ground, &camera(), &card);
        // 207 and 162 cells, made multiples of 16.
        assert_eq!(input.values.dim(), (6, 176, 208));
        assert_eq!(input.origin, ORIGIN);
        let cell = |x: f64, y: f64| {
            let column = ((x - ORIGIN.x) / CELL_MM) as usize;
            let row = ((y - ORIGIN.y) / CELL_MM) as usize;
            [0, 1, 2, 3, 4, 5].map(|k| input.values[(k, row, column)])
        };
        // The fitted ground is off by what its ridge costs, far below a level of 8 bits.
        let near = |a: f32, b: f32| (a - b).abs() < 0.01;
        let bar = cell(51.6, 40.0);
        assert!(near(bar[0], 6.0 / 25.0), "{bar:?}");
        // 140 is more than four units.
        assert!(near(bar[1], 4.0) && near(bar[2], 0.0), "{bar:?}");
        assert!(near(bar[3], 10.0 / 30.0), "{bar:?}");
        // The cell from 50 to 50.5 mm is a fifth tray.
        assert!(near(cell(50.25, 40.0)[0], 0.8 * 6.0 / 25.0));
        let plain = cell(45.25, -10.25);
        assert!(plain[..3].iter().all(|v| near(*v, 0.0)), "{plain:?}");
        // To the lens: (45.25 - 10) / 500 and (-10.25 - 20) / 500.
        assert!((plain[4] - 0.0705).abs() < 1e-6 && (plain[5] + 0.0605).abs() < 1e-6);
        for (x, y) in [
            (15.25, 10.25),
            (-0.75, 10.25),
            (70.25, 10.25),
            (40.25, 60.25),
        ] {
            let empty = cell(x, y);
            assert_eq!(empty[..4], [0.0; 4], "at {x}, {y}");
            assert!((f64::from(empty[4]) - (x - 10.0) / HEIGHT_MM).abs() < 1e-6);
        }
    }

    #[test]
    fn of_a_wide_view_the_part_below_the_lens_is_taken() {
        let all = (0.0, 1e4);
        assert_eq!(span(300.0, all, 100.0), (0, 608));
        assert_eq!(span(0.1, all, 0.0), (0, 16));
        assert_eq!(span(1200.0, all, 0.0), (0, 2400));
        assert_eq!(span(3000.0, all, 1500.0), (1800, 2400));
        assert_eq!(span(3000.0, all, -50.0), (0, 2400));
        assert_eq!(span(3000.0, all, 9000.0), (3600, 2400));
    }

    #[test]
    fn of_a_view_only_what_is_asked_is_taken_in_the_same_cells() {
        assert_eq!(span(300.0, (100.0, 150.0), 0.0), (192, 112));
        assert_eq!(span(300.0, (-20.0, 8.0), 0.0), (0, 16));
        assert_eq!(span(300.0, (290.0, 350.0), 0.0), (576, 32));
        assert_eq!(span(300.0, (400.0, 350.0), 0.0), (592, 16));
        assert_eq!(span(3000.0, (500.0, 2900.0), 0.0), (992, 2400));
    }
}
