//! What lies on the tray and is no listed piece.
//!
//! The net was taught on wheels, discs, crumbs and the like and tells them from pieces and from
//! tray. What edges and areas leave over besides is mostly the rim of a shadow or of a piece: it
//! counts where the net sees something there as well.

use std::collections::BTreeMap;

use ndarray::Array2;

use super::canvas::Rest;
use super::found::Leftover;
use super::learned::maps::OUT_MM;
use super::learned::strangers::LEAST_STRANGER;
use super::learned::{Maps, Stranger, strangers};
use crate::units::Mm;

/// A patch that the net takes for tray by more than this is none.
const TRAY: f64 = 0.5;
/// From this share of a stranger on its foreground shows how far it reaches, finer than the net's cells do: most of it then
/// stands out from the tray. Set by hand.
const SHOWN: f64 = 0.5;

/// The strangers that the net sees, and of the patches that no piece explains those where it sees
/// more than tray. Without its word all patches.
pub fn unknown(rest: Vec<Rest>, maps: Option<&Maps>) -> Vec<Leftover> {
    let Some(maps) = maps else {
        return rest.into_iter().map(Leftover::from).collect();
    };
    let strange = strangers(maps);
    let mut shown = shown(&rest, &strange, maps);
    let strange: Vec<Leftover> = (strange.iter().enumerate())
        .map(|(k, stranger)| leftover(stranger, shown.remove(&k), maps))
        .collect();
    let besides = rest
        .into_iter()
        .filter(|rest| is_besides(&rest.cells, maps));
    (strange.into_iter())
        .chain(besides.map(Leftover::from))
        .collect()
}

/// The foreground within each stranger, by its place among them: the pixels and their size.
fn shown(rest: &[Rest], strange: &[Stranger], maps: &Maps) -> BTreeMap<usize, (Vec<Mm>, f64)> {
    let mut of_cell: Array2<Option<usize>> = Array2::from_elem(maps.size(), None);
    for (k, stranger) in strange.iter().enumerate() {
        for cell in &stranger.cells {
            of_cell[*cell] = Some(k);
        }
    }
    let mut shown: BTreeMap<usize, (Vec<Mm>, f64)> = BTreeMap::new();
    for rest in rest {
        for at in &rest.cells {
            if let Some(k) = maps.cell(*at).and_then(|cell| of_cell[cell]) {
                let of = (shown.entry(k)).or_insert_with(|| (Vec::new(), rest.cell_mm));
                of.0.push(*at);
            }
        }
    }
    shown
}

/// A stranger as what lies there.
fn leftover(stranger: &Stranger, shown: Option<(Vec<Mm>, f64)>, maps: &Maps) -> Leftover {
    let area = stranger.cells.len() as f64 * OUT_MM * OUT_MM;
    let fine = shown.filter(|(cells, mm)| cells.len() as f64 * mm * mm > SHOWN * area);
    fine.map_or_else(
        || {
            let cells = stranger.cells.iter();
            let cells: Vec<Mm> = cells.map(|cell| maps.middle(cell.0, cell.1)).collect();
            Leftover::of(stranger.at, &cells, OUT_MM, false)
        },
        |(cells, mm)| Leftover::of(stranger.at, &cells, mm, false),
    )
}

/// Whether a patch is more than tray, and not part of a stranger.
fn is_besides(places: &[Mm], maps: &Maps) -> bool {
    let (mut ground, mut count) = (0.0, 0.0);
    for cell in places.iter().filter_map(|at| maps.cell(*at)) {
        let what = maps.what(cell.0, cell.1);
        if what.stranger > LEAST_STRANGER {
            return false;
        }
        ground += what.ground;
        count += 1.0;
    }
    ground < TRAY * count
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use ndarray::Array3;

    use super::super::learned::net::OUTPUTS;
    use super::*;

    /// Ten by ten cells, with logits for ground, piece and stranger from `what`.
    fn maps(what: impl Fn(usize, usize) -> [f32; 3]) -> Maps {
        let values = Array3::from_shape_fn((10, 10, OUTPUTS), |(row, column, channel)| {
            what(row, column).get(channel).copied().unwrap_or(0.0)
        });
        Maps::from_output(values, Mm::new(0.0, 0.0)).unwrap()
    }

    fn patch(maps: &Maps, cells: &[(usize, usize)]) -> Rest {
        let cells: Vec<Mm> = cells.iter().map(|c| maps.middle(c.0, c.1)).collect();
        Rest {
            at: cells[0],
            cells,
            cell_mm: OUT_MM,
            at_frame: false,
        }
    }

    #[test]
    fn strangers_come_first_and_patches_of_tray_go() {
        let maps = maps(|row, column| match (row, column) {
            (2..=3, 2..=3) => [0.0, 0.0, 5.0],
            (7, 7) => [0.0, 5.0, 0.0],
            _ => [5.0, 0.0, 0.0],
        });
        let patches = vec![
            patch(&maps, &[(3, 3), (3, 4)]),
            patch(&maps, &[(7, 7)]),
            patch(&maps, &[(8, 2), (8, 3)]),
        ];
        let alone = unknown(patches.clone(), None);
        assert_eq!(alone.len(), 3);
        let found = unknown(patches, Some(&maps));
        assert_eq!(found.len(), 2);
        assert!((found[0].area_mm2 - 16.0).abs() < 1e-9);
        assert_eq!(found[1].at, maps.middle(7, 7));
    }
}
