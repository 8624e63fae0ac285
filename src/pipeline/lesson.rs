//! What a photo for teaching shows before any piece is looked for.

use super::{Scene, on_card};
use crate::pieces::apart::things_apart;
use crate::units::Mm;

/// A thing on the tray as the photo shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct Thing {
    /// Its middle in the upright photo, px.
    pub middle_px: [f64; 2],
    /// Corners around it in the upright photo, px.
    pub outline_px: Vec<[f64; 2]>,
}

/// The things that lie apart on the tray, in no order; `None` where their number is not plain.
pub fn things(scene: &Scene) -> Option<Vec<Thing>> {
    let px = |x: f64, y: f64| {
        let place = scene.pose.camera.project(Mm::new(x, y), 0.0);
        place.map(|px| [px.x, px.y])
    };
    let things = things_apart(&scene.lab, &scene.foreground, &on_card)?.into_iter();
    things
        .map(|(from, to)| {
            let corners = [
                (from.x, from.y),
                (to.x, from.y),
                (to.x, to.y),
                (from.x, to.y),
            ];
            Some(Thing {
                middle_px: px((from.x + to.x) / 2.0, (from.y + to.y) / 2.0)?,
                outline_px: corners.iter().filter_map(|(x, y)| px(*x, *y)).collect(),
            })
        })
        .collect()
}
