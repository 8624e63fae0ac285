//! The tray's own pattern, taken out of the view: ruled lines, grain.
//!
//! No piece is as long and as thin as a ruled line: what is both longer than any piece and thinner than the
//! thinnest is a line of the tray. On a tray with a grain all that is so thin is part of that, and what is as light
//! as the tray is made even. So no later stage sees the pattern: neither the search for foreground
//! nor edges, nor the net, which was taught on plainer trays.

use image::{GrayImage, Luma};
use imageproc::distance_transform::Norm;
use imageproc::morphology::{dilate, open};
use imageproc::region_labelling::{Connectivity, connected_components};
use ndarray::Axis;
use rayon::prelude::*;

use super::foreground::{Foreground, Kind};
use super::ground::Ground;
use super::lab_view::LabView;
use crate::units::Mm;

/// Half of the width up to which a thing is thin, mm. The thinnest piece, a plate on its side, is twice as wide.
const THIN_RADIUS_MM: f64 = 1.25;
/// A thin thing longer than this is a line of the tray: the longest listed piece is 64 mm.
const LINE_MM: f64 = 80.0;
/// Gaps of twice this in a line do not part it: where it is worn, or glare hides it.
const GAP_MM: f64 = 1.0;
/// How far the colour of a line reaches over its rim, mm.
const RIM_MM: f64 = 0.5;
/// Robust sigma of the tray's L* from which it has a grain. Of the plain trays in `sample-photos/tune` none has more than
/// 0.9; kraft paper has 1.3, felt 1.6, a ruled mat 1.9, wood and cork 3.7 to 4.4.
const GRAIN: f32 = 1.2;

/// Things are told apart in cells of about this size, mm: a view of many pixels would take much memory.
const CELL_MM: f64 = 0.25;

const SET: Luma<u8> = Luma([255]);

/// Takes the tray's pattern out of the view and of the foreground, where it has one.
pub fn without_pattern(view: &mut LabView, ground: &Ground, foreground: &mut Foreground) {
    let step = ((CELL_MM / view.mm_per_px).round() as usize).max(1);
    let cell_mm = view.mm_per_px * step as f64;
    let mask = mask(foreground, step);
    let px = |mm: f64| (mm / cell_mm).round().clamp(1.0, 120.0) as u8;
    // Rounded down: on a coarse view a disc rounded up is wider than a plate on its side.
    let radius = (THIN_RADIUS_MM / cell_mm).clamp(1.0, 60.0) as u8;
    let thick = open(&mask, Norm::L2, radius);
    let near = dilate(&thick, Norm::LInf, px(2.0 * THIN_RADIUS_MM));
    let mut thin = mask;
    clear(&mut thin, &near, |near| near > 0);
    let lines = lines(&dilate(&thin, Norm::LInf, px(GAP_MM)), cell_mm);
    let has_grain = ground.noise[0] >= GRAIN;
    if lines.is_none() && !has_grain {
        return;
    }
    if let Some(lines) = lines.filter(|_| !has_grain) {
        // A piece of nearly the tray's colour shows little more than thin edges: those stay.
        clear(&mut thin, &lines, |line| line == 0);
    }
    let mut pattern = dilate(&thin, Norm::LInf, px(RIM_MM));
    clear(&mut pattern, &near, |near| near > 0);
    even(view, ground, foreground, (&pattern, step), has_grain);
}

/// Gives the pattern the empty tray's colour, and what is as light as the tray too, where it has a grain.
fn even(
    view: &mut LabView,
    ground: &Ground,
    foreground: &mut Foreground,
    (pattern, step): (&GrayImage, usize),
    has_grain: bool,
) {
    let (origin, mm) = (view.origin, view.mm_per_px);
    let kinds = foreground.kind.axis_iter_mut(Axis(0)).into_par_iter();
    (view.lab.axis_iter_mut(Axis(0)).into_par_iter())
        .zip(kinds)
        .enumerate()
        .for_each(|(row, (mut line, mut kinds))| {
            for (column, kind) in kinds.iter_mut().enumerate() {
                let cell = ((column / step) as u32, (row / step) as u32);
                let is_pattern = pattern.get_pixel(cell.0, cell.1).0[0] > 0;
                let is_grain = has_grain && *kind == Kind::Ground;
                if *kind == Kind::Outside || !is_pattern && !is_grain {
                    continue;
                }
                *kind = Kind::Ground;
                let at = Mm::new(
                    origin.x + (column as f64 + 0.5) * mm,
                    origin.y + (row as f64 + 0.5) * mm,
                );
                for (k, tray) in ground.at(at).into_iter().enumerate() {
                    line[(column, k)] = tray;
                }
            }
        });
}

/// Takes out of a mask what another one says.
fn clear(mask: &mut GrayImage, by: &GrayImage, is_out: impl Fn(u8) -> bool) {
    for (own, by) in mask.pixels_mut().zip(by.pixels()) {
        if is_out(by.0[0]) {
            own.0[0] = 0;
        }
    }
}

/// Cells of so many pixels each way in which something may be no tray.
fn mask(foreground: &Foreground, step: usize) -> GrayImage {
    let (rows, columns) = foreground.kind.dim();
    let size = (columns.div_ceil(step) as u32, rows.div_ceil(step) as u32);
    let mut mask = GrayImage::new(size.0, size.1);
    for ((row, column), kind) in foreground.kind.indexed_iter() {
        if matches!(kind, Kind::Piece | Kind::Dim) {
            mask.put_pixel((column / step) as u32, (row / step) as u32, SET);
        }
    }
    mask
}

/// The connected things that are longer than a piece can be; none where there are none.
fn lines(thin: &GrayImage, cell_mm: f64) -> Option<GrayImage> {
    let labels = connected_components(thin, Connectivity::Eight, Luma([0u8]));
    let count = labels.pixels().map(|p| p.0[0]).max().unwrap_or(0) as usize;
    let mut bounds = vec![[u32::MAX, 0, u32::MAX, 0]; count + 1];
    for (x, y, label) in labels.enumerate_pixels() {
        if let Some([left, right, top, bottom]) = bounds.get_mut(label.0[0] as usize) {
            (*left, *right) = ((*left).min(x), (*right).max(x));
            (*top, *bottom) = ((*top).min(y), (*bottom).max(y));
        }
    }
    let is_long: Vec<bool> = (bounds.iter().enumerate())
        .map(|(label, [left, right, top, bottom])| {
            let (across, down) = (right.saturating_sub(*left), bottom.saturating_sub(*top));
            label > 0 && f64::from(across).hypot(f64::from(down)) * cell_mm > LINE_MM
        })
        .collect();
    is_long.contains(&true).then(|| {
        GrayImage::from_fn(thin.width(), thin.height(), |x, y| {
            let label = labels.get_pixel(x, y).0[0] as usize;
            if is_long.get(label) == Some(&true) {
                SET
            } else {
                Luma([0])
            }
        })
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use ndarray::Array2;

    const MM_PER_PX: f64 = 0.5;
    const SIDE: usize = 400;
    const GREY: f32 = 0.2;

    /// A grey tray of 200 by 200 mm, on which `light` shines at some places (x and y in mm).
    fn view(light: impl Fn(f64, f64) -> Option<f32> + Sync) -> LabView {
        LabView::from_light(
            MM_PER_PX,
            Mm::new(0.0, 0.0),
            (SIDE, SIDE),
            &|row, column| {
                let mm = |k: usize| (k as f64 + 0.5) * MM_PER_PX;
                Some([light(mm(column), mm(row)).unwrap_or(GREY); 3])
            },
        )
    }

    /// A card of 40 by 20 mm in the top left corner.
    fn card(at: Mm, margin: f64) -> bool {
        at.x < 40.0 + margin && at.y < 20.0 + margin
    }

    /// What is left of the foreground at these places (mm), and of their L* beyond the tray's.
    fn left(view: &mut LabView, places: &[(f64, f64)]) -> Vec<(Kind, f32)> {
        let ground = Ground::fit(view, &card).unwrap();
        let mut foreground = Foreground::of(view, &ground, &card);
        without_pattern(view, &ground, &mut foreground);
        let kinds: &Array2<Kind> = &foreground.kind;
        (places.iter())
            .map(|(x, y)| {
                let at = ((y / MM_PER_PX) as usize, (x / MM_PER_PX) as usize);
                let light = view.at(at.0, at.1)[0] - ground.at(Mm::new(*x, *y))[0];
                (kinds[at], light)
            })
            .collect()
    }

    /// A ruled line, dashes, a plate on its side and a piece, which the line runs under.
    fn ruled(x: f64, y: f64) -> Option<f32> {
        let piece = (100.0..116.0).contains(&x) && (90.0..106.0).contains(&y);
        let on_side = (150.0..153.2).contains(&x) && (140.0..156.0).contains(&y);
        let line = (98.0..99.0).contains(&y);
        let dash = (60.0..61.0).contains(&y) && x % 20.0 < 8.0 && x > 60.0;
        (piece || on_side || line || dash).then_some(0.5)
    }

    #[test]
    fn ruled_lines_go_and_pieces_stay() {
        let mut view = view(ruled);
        let told = left(
            &mut view,
            &[(30.0, 98.5), (108.0, 98.5), (151.5, 148.0), (64.0, 60.5)],
        );
        assert_eq!(told[0].0, Kind::Ground);
        assert!(told[0].1.abs() < 0.01, "{told:?}");
        // Dashes may be the edges of a piece that is like the tray.
        for (kind, light) in &told[1..] {
            assert_eq!(*kind, Kind::Piece);
            assert!(*light > 10.0, "{light}");
        }
    }

    #[test]
    fn on_a_grain_all_that_is_thin_goes_and_the_tray_is_evened() {
        // Stripes of 1 mm, a little lighter and darker in turn.
        let grain = |_: f64, y: f64| (y % 2.0 < 1.0).then_some(GREY * 1.2);
        let mut view = view(|x, y| ruled(x, y).or_else(|| grain(x, y)));
        let ground = Ground::fit(&view, &card).unwrap();
        assert!(ground.noise[0] > GRAIN, "{}", ground.noise[0]);
        let before = view.at(300, 60)[0] - view.at(302, 60)[0];
        let told = left(
            &mut view,
            &[(64.0, 60.5), (30.0, 98.5), (108.0, 98.5), (151.5, 148.0)],
        );
        let kinds: Vec<Kind> = told.iter().map(|(kind, _)| *kind).collect();
        assert_eq!(
            kinds,
            [Kind::Ground, Kind::Ground, Kind::Piece, Kind::Piece]
        );
        let after = view.at(300, 60)[0] - view.at(302, 60)[0];
        assert!(after.abs() < 0.5 * before.abs(), "{after} of {before}");
    }

    #[test]
    fn a_plain_tray_is_left_as_it_is() {
        let mut plain = view(|x, y| ruled(x, y).filter(|_| !(98.0..99.0).contains(&y)));
        let before = plain.lab.clone();
        let told = left(&mut plain, &[(64.0, 60.5)]);
        assert_eq!(told[0].0, Kind::Piece);
        assert_eq!(plain.lab, before);
    }
}
