//! A piece cut from its photo upright, its colours as in daylight (D65).
//!
//! The photo is measured again by its own card, as it was when it was counted: so pieces of a colour look alike wherever
//! they lie, and in whatever light the photo was taken.

use image::{Rgb, RgbImage};

use crate::colour::Correction;
use crate::colour::lab::decode;
use crate::photo::{Photo, srgb_encode_8};
use crate::pipeline::{Targets, Trouble, measure};
use crate::sheet::Piece;
use crate::tray::{Ground, Light};
use crate::units::Mm;
use crate::view::Camera;

use super::side::{box_mm, placed};
use super::tray::middle;

/// Pixels of a crop to a mm of the tray: about as many as a phone's photo of a tray has, so that more would show no more.
const PX_PER_MM: f64 = 6.0;
/// How much of its own look what lies around the piece keeps: enough to see what it is, too little to be taken for a part of
/// the piece.
const AROUND_KEEPS: f64 = 0.4;
/// What it fades to, encoded: as far from black pieces as from white ones.
const AROUND_FADES_TO: f64 = 0.6;

/// What takes a photo's colours to daylight.
#[derive(Debug)]
pub struct Daylight {
    correction: Correction,
    ground: Ground,
}

/// Where a piece is to be cut out.
#[derive(Clone, Debug, PartialEq)]
pub struct Cut {
    /// Its outline in the upright photo, px of the whole photo.
    outline_px: Vec<[f64; 2]>,
    /// Middle of its silhouette on the tray.
    at: Mm,
    /// Direction of what becomes the crop's width, degrees.
    turn_deg: f64,
    /// Width and height of what is shown.
    box_mm: [f64; 2],
}

impl Cut {
    /// Around a piece, its long side across; none where it cannot be laid beside its like or does not lie on the tray.
    pub fn of(piece: &Piece, camera: &Camera) -> Option<Self> {
        let studs = placed(piece)?;
        let [x, y] = middle(&piece.outline_px);
        let at = camera.unproject(crate::units::Px::new(x, y), 0.0)?;
        Some(Self {
            outline_px: piece.outline_px.clone(),
            at,
            turn_deg: upright(piece.turn_deg),
            box_mm: box_mm(studs),
        })
    }
}

/// The same direction of a line, such that what is further up in the photo stays further up in the crop: a turn of a corner
/// says which way it points and stays as it is.
fn upright(turn_deg: f64) -> f64 {
    match turn_deg {
        turn if turn > 90.0 && turn < 180.0 => turn - 180.0,
        turn => turn,
    }
}

impl Daylight {
    /// Measures a photo by its card.
    ///
    /// # Errors
    /// As when it is counted.
    pub fn of(photo: &Photo, targets: &Targets) -> Result<Self, Trouble> {
        let scene = measure(photo, targets, &|_| {})?;
        Ok(Self {
            correction: scene.correction,
            ground: scene.ground,
        })
    }

    /// Cuts a piece out. `pixels` are those of the upright photo, perhaps reduced; the camera and the cut are in
    /// pixels of the whole photo, of which there are `full_px`.
    pub fn crop(
        &self,
        pixels: &RgbImage,
        full_px: [u32; 2],
        camera: &Camera,
        cut: &Cut,
    ) -> RgbImage {
        let light = Light::of(&self.ground, &self.correction).at(cut.at);
        let kept = [pixels.width(), pixels.height()];
        let scale = [0, 1].map(|k| f64::from(kept[k]) / f64::from(full_px[k].max(1)));
        let [width, height] = cut.box_mm.map(|mm| (mm * PX_PER_MM).round() as u32);
        let (sin, cos) = cut.turn_deg.to_radians().sin_cos();
        RgbImage::from_fn(width.max(1), height.max(1), |column, row| {
            let along = (f64::from(column) + 0.5) / PX_PER_MM - cut.box_mm[0] / 2.0;
            let across = (f64::from(row) + 0.5) / PX_PER_MM - cut.box_mm[1] / 2.0;
            let at = Mm::new(
                cut.at.x + along * cos - across * sin,
                cut.at.y + along * sin + across * cos,
            );
            let Some(px) = camera.project(at, 0.0) else {
                return Rgb([0; 3]);
            };
            let shown = sample(pixels, px.x * scale[0], px.y * scale[1]);
            let corrected = self.correction.linear_d65(shown, light);
            let levels = corrected.map(|v| srgb_encode_8(v as f32));
            if contains(&cut.outline_px, [px.x, px.y]) {
                return Rgb(levels);
            }
            Rgb(levels.map(faded))
        })
    }
}

fn faded(level: u8) -> u8 {
    let kept = f64::from(level) * AROUND_KEEPS + 255.0 * AROUND_FADES_TO * (1.0 - AROUND_KEEPS);
    kept.round() as u8
}

/// Linear light at a place, bilinear between pixel middles; the edge goes on outside.
fn sample(pixels: &RgbImage, x: f64, y: f64) -> [f32; 3] {
    let (x, y) = (x - 0.5, y - 0.5);
    let most = [pixels.width() - 1, pixels.height() - 1].map(f64::from);
    let level = |column: f64, row: f64| {
        let column = column.clamp(0.0, most[0]) as u32;
        let row = row.clamp(0.0, most[1]) as u32;
        pixels.get_pixel(column, row).0.map(decode_8)
    };
    let (left, top) = (x.floor(), y.floor());
    let (right, down) = ((x - left) as f32, (y - top) as f32);
    let mix = |a: [f32; 3], b: [f32; 3], t: f32| -> [f32; 3] {
        std::array::from_fn(|i| a[i] + (b[i] - a[i]) * t)
    };
    let upper = mix(level(left, top), level(left + 1.0, top), right);
    let lower = mix(level(left, top + 1.0), level(left + 1.0, top + 1.0), right);
    mix(upper, lower, down)
}

fn decode_8(level: u8) -> f32 {
    static LEVELS: std::sync::LazyLock<[f32; 256]> =
        std::sync::LazyLock::new(|| std::array::from_fn(|v| decode(v as f64 / 255.0) as f32));
    LEVELS[usize::from(level)]
}

fn contains(outline: &[[f64; 2]], [x, y]: [f64; 2]) -> bool {
    let mut inside = false;
    let before = outline.iter().cycle().skip(outline.len().saturating_sub(1));
    for ([ax, ay], [bx, by]) in outline.iter().zip(before) {
        if (*ay > y) != (*by > y) && x < (bx - ax) * (y - ay) / (by - ay) + ax {
            inside = !inside;
        }
    }
    inside
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_in_an_outline_is_told_from_what_does_not() {
        let outline = [[0.0, 0.0], [10.0, 0.0], [10.0, 4.0], [5.0, 2.0], [0.0, 4.0]];
        for (at, is_in) in [
            ([5.0, 1.0], true),
            ([1.0, 3.0], true),
            ([5.0, 3.0], false),
            ([11.0, 1.0], false),
        ] {
            assert_eq!(contains(&outline, at), is_in, "{at:?}");
        }
        assert!(!contains(&[], [0.0, 0.0]));
    }

    #[test]
    fn a_line_keeps_its_upper_side_up() {
        for (turn, upright_turn) in [
            (0.0, 0.0),
            (90.0, 90.0),
            (135.0, -45.0),
            (179.0, -1.0),
            (270.0, 270.0),
        ] {
            assert_eq!(upright(turn), upright_turn);
        }
    }
}
