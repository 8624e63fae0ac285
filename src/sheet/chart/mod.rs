//! Pictures of a calibration for a person: how the card's patches were corrected, what the
//! taught colours look like, how the light falls on the tray, and which shapes are looked for.

mod bars;
mod map;
mod names;
mod plane;
mod shapes;
mod swatches;

use crate::colour::lab::{encode, linear_from_lab};
use crate::drawing::lettering::{Style, Weight};
use crate::drawing::{Drawing, DrawingError, Ink, Lettering, Segment};
use crate::sheet::LightFile;
use crate::units::Mm;

pub use map::LightMap;
pub use shapes::of_shapes;
pub use swatches::Taught;

/// Ink of words and axes, of what is less important, of grid lines, and of what needs a look.
const DARK: Ink = Ink([32, 40, 48]);
const FAINT: Ink = Ink([110, 118, 126]);
const GRID: Ink = Ink([222, 226, 230]);
const ALERT: Ink = Ink([178, 52, 36]);
/// Margin around the whole, and between its parts, mm.
const MARGIN: f64 = 10.0;
const GAP: f64 = 8.0;

/// How a light shows the card: patches before and after in the a* b* plane, the error of each, the light
/// over the tray.
///
/// # Errors
/// When a built-in font is damaged.
pub fn of_light(file: &LightFile, map: &LightMap) -> Result<Drawing, DrawingError> {
    let lettering = Lettering::load()?;
    let mut sheet = Drawing::sheet(297.0, 250.0);
    let mut y = title(
        &mut sheet,
        &lettering,
        &format!("Light '{}'", file.name),
        &format!(
            "{}; {}; each patch left out in turn: mean {:.1}, worst {:.1} dE00",
            file.photo.file,
            if file.colour.print_profile {
                "card as this copy was measured"
            } else {
                "nominal card values"
            },
            file.colour.mean_de00,
            file.colour.max_de00
        ),
    );
    y += GAP;
    let plane = plane::of_patches(&file.patches, &lettering);
    let bars = bars::of_patches(&file.patches, &lettering);
    let map = map::draw(map, file.fall_off_percent, &lettering);
    let below = y + plane.height_mm + GAP;
    let right = MARGIN + plane.width_mm + GAP;
    sheet.place(plane, Mm::new(MARGIN, y));
    sheet.place(map, Mm::new(MARGIN, below));
    sheet.place(bars, Mm::new(right, y));
    Ok(sheet)
}

/// What was taught: each colour with its name and its nearest neighbour, all in the a* b* plane,
/// and the light over the tray.
///
/// # Errors
/// When a built-in font is damaged.
pub fn of_swatches(
    light: &str,
    photo: &str,
    taught: &[Taught],
    map: &LightMap,
) -> Result<Drawing, DrawingError> {
    let lettering = Lettering::load()?;
    let list = swatches::list(taught, &lettering);
    let height = 34.0 + (list.height_mm).max(220.0);
    let mut sheet = Drawing::sheet(297.0, height);
    let y = GAP
        + title(
            &mut sheet,
            &lettering,
            &format!("Colours taught in light '{light}'"),
            &match taught.len() {
                1 => format!("{photo}; 1 colour, CIELAB D65"),
                n => format!("{photo}; {n} colours, CIELAB D65"),
            },
        );
    let plane = plane::of_swatches(taught, &lettering);
    let below = y + plane.height_mm + GAP;
    let right = MARGIN + plane.width_mm + GAP;
    sheet.place(plane, Mm::new(MARGIN, y));
    sheet.place(
        map::draw(map, [f64::NAN; 2], &lettering),
        Mm::new(MARGIN, below),
    );
    sheet.place(list, Mm::new(right, y));
    Ok(sheet)
}

/// Heading and a line below it; gives where that ends.
fn title(sheet: &mut Drawing, lettering: &Lettering, head: &str, line: &str) -> f64 {
    let at = |y: f64| Mm::new(MARGIN, y);
    sheet
        .shapes
        .push(lettering.line(head, strong(7.0), at(MARGIN + 6.0)));
    sheet
        .shapes
        .push(lettering.line(line, faint(4.0), at(MARGIN + 13.0)));
    MARGIN + 14.0
}

fn plain(size_mm: f64) -> Style {
    Style {
        weight: Weight::Regular,
        size_mm,
        ink: DARK,
    }
}

fn strong(size_mm: f64) -> Style {
    Style {
        weight: Weight::SemiBold,
        ..plain(size_mm)
    }
}

fn faint(size_mm: f64) -> Style {
    Style {
        ink: FAINT,
        ..plain(size_mm)
    }
}

/// A straight line of any direction.
fn stroke(sheet: &mut Drawing, from: Mm, to: Mm, thick_mm: f64, ink: Ink) {
    let length = from.distance(to);
    if length < 1e-6 {
        return;
    }
    let (dx, dy) = (
        (to.x - from.x) / length * thick_mm / 2.0,
        (to.y - from.y) / length * thick_mm / 2.0,
    );
    sheet.path(
        vec![
            Segment::Move(Mm::new(from.x - dy, from.y + dx)),
            Segment::Line(Mm::new(to.x - dy, to.y + dx)),
            Segment::Line(Mm::new(to.x + dy, to.y - dx)),
            Segment::Line(Mm::new(from.x + dy, from.y - dx)),
            Segment::Close,
        ],
        ink,
    );
}

/// The nearest ink of a colour that a screen can show.
fn ink_of(lab: [f64; 3]) -> Ink {
    Ink(linear_from_lab(lab).map(|v| (255.0 * encode(v.clamp(0.0, 1.0))).round() as u8))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inks_are_the_screen_s_own() {
        assert_eq!(ink_of([100.0, 0.0, 0.0]), Ink([255; 3]));
        // sRGB red in CIELAB D65 (colour-science 0.4.7); half a code for the published matrix.
        let Ink([red, green, blue]) = ink_of([53.2329, 80.1112, 67.2237]);
        assert!(
            red >= 254 && green <= 2 && blue <= 2,
            "{red} {green} {blue}"
        );
    }
}
