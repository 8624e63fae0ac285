//! What lies on the tray and is no listed piece.
//!
//! The net was taught on wheels, discs, crumbs and the like and tells them from pieces and from
//! tray. What edges and areas leave over besides is mostly the rim of a shadow or of a piece: it
//! counts where the net sees something there as well.

use super::found::Leftover;
use super::learned::strangers::LEAST_STRANGER;
use super::learned::{Maps, strangers};
use crate::units::Mm;

/// A patch that the net takes for tray by more than this is none.
const TRAY: f64 = 0.5;

/// The strangers that the net sees, and of the patches that no piece explains those where it sees
/// more than tray. Without its word all patches.
pub fn unknown(patches: Vec<(Leftover, Vec<Mm>)>, maps: Option<&Maps>) -> Vec<Leftover> {
    let Some(maps) = maps else {
        return patches.into_iter().map(|(patch, _)| patch).collect();
    };
    let strange = strangers(maps).into_iter().map(|stranger| Leftover {
        at: stranger.at,
        area_mm2: stranger.area_mm2,
        at_frame: false,
    });
    let besides = patches
        .into_iter()
        .filter(|(_, places)| is_besides(places, maps));
    strange.chain(besides.map(|(patch, _)| patch)).collect()
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

    fn patch(maps: &Maps, cells: &[(usize, usize)]) -> (Leftover, Vec<Mm>) {
        let places: Vec<Mm> = cells.iter().map(|c| maps.middle(c.0, c.1)).collect();
        let leftover = Leftover {
            at: places[0],
            area_mm2: 40.0,
            at_frame: false,
        };
        (leftover, places)
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
