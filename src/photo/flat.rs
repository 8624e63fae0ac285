//! What screenshots and drawings have and photos have not: large areas of one even colour.

use super::Photo;

/// Rows between those that are looked at: areas are higher than that.
const ROW_STEP: usize = 4;
/// Shortest stretch of one colour along a row that counts, as a share of the row. Noise, and a camera's own
/// smoothing of it, leave shorter ones.
const STRETCH: f64 = 1.0 / 8.0;

/// Within the code range: from above 1 of 255 to below 254, as light. Not by the photo's own [`Saturation`](super::Saturation):
/// an even page of a drawing would pass for a full sensor.
const DARKEST: f32 = 0.0004;
const BRIGHTEST: f32 = 0.991;

/// Share of the picture in long stretches of exactly one colour along rows; white and black that are cut off at
/// the end of the range do not count, since too bright and too dark photos have them.
///
/// Measured on 108 photos, rendered and from cameras' models: 0.016 at most. On screenshots of the review page: 0.09 to 0.13.
pub fn flat_share(photo: &Photo) -> f64 {
    let picture = &photo.pixels;
    let shortest = ((picture.width() as f64 * STRETCH) as usize).max(2);
    let (mut flat, mut all) = (0, 0);
    for row in (0..picture.height()).step_by(ROW_STEP) {
        let mut last: Option<([f32; 3], usize)> = None;
        let mut close = |stretch: Option<([f32; 3], usize)>| {
            flat += stretch.map_or(0, |(_, length)| if length >= shortest { length } else { 0 });
        };
        for pixel in picture.row(row) {
            all += 1;
            let within_range = pixel
                .iter()
                .all(|v| (DARKEST..BRIGHTEST).contains(&v.abs()));
            last = match last {
                Some((colour, length)) if within_range && colour == pixel => {
                    Some((colour, length + 1))
                }
                before => {
                    close(before);
                    within_range.then_some((pixel, 1))
                }
            };
        }
        close(last);
    }
    flat as f64 / all.max(1) as f64
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::photo::{Limits, from_bytes};
    use image::{ImageFormat, Rgb, RgbImage};

    fn share(paint: impl Fn(u32, u32) -> [u8; 3]) -> f64 {
        let picture = RgbImage::from_fn(400, 240, |x, y| Rgb(paint(x, y)));
        let mut png = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut png, ImageFormat::Png).unwrap();
        flat_share(&from_bytes("a.png", &png.into_inner(), &Limits::default()).unwrap())
    }

    #[test]
    fn only_long_stretches_of_one_colour_within_the_range_count() {
        // A panel over a quarter of the width, beside a slope.
        let beside = |x: u32, y: u32| {
            if x < 100 {
                [240; 3]
            } else {
                [(x % 200 + y % 3) as u8 + 9; 3]
            }
        };
        assert!((share(beside) - 0.25).abs() < 0.01);
        assert!(share(|x, y| beside(x + 100, y)) < 0.01);
        // Stripes narrower than an eighth; white.
        assert!(share(|x, _| [90 + (x / 40 % 2) as u8; 3]) < 0.01);
        assert!(share(|_, _| [255; 3]) < 0.01);
    }
}
