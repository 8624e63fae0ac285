//! The error of each patch as a bar.

use super::{ALERT, DARK, FAINT, GRID, faint, ink_of, plain, strong};
use crate::colour::Exclusion;
use crate::drawing::lettering::Style;
use crate::drawing::{Drawing, Ink, Lettering};
use crate::sheet::PatchReport;
use crate::units::Mm;

const WIDTH: f64 = 140.0;
const HEAD: f64 = 14.0;
const ROW: f64 = 8.0;
/// Where names, the two halves of a swatch, and bars begin.
const SWATCH: f64 = 22.0;
const BAR: f64 = 42.0;
/// Longest bar, mm and dE00; longer ones are cut and say so by their number.
const LONGEST: f64 = 84.0;
const MOST: f64 = 10.0;
/// Bars beyond this (dE00) are drawn as needing a look.
const FAR: f64 = 5.0;

/// One row a patch: name, as it should be beside as it looks, and how far off it is when predicted without it.
pub fn of_patches(patches: &[PatchReport], lettering: &Lettering) -> Drawing {
    let height = HEAD + ROW * patches.len() as f64 + 2.0;
    let mut sheet = Drawing::sheet(WIDTH, height);
    let say = |sheet: &mut Drawing, words: &str, style: Style, x: f64, y: f64| {
        let line = lettering.line(words, style, Mm::new(x, y));
        sheet.shapes.push(line);
    };
    say(
        &mut sheet,
        "dE00 of each patch, predicted by the others",
        strong(4.4),
        0.0,
        4.5,
    );
    say(
        &mut sheet,
        "should be | looks",
        faint(2.8),
        SWATCH - 5.0,
        11.5,
    );
    for k in 0..=5 {
        let value = 2.0 * f64::from(k);
        let x = BAR + value / MOST * LONGEST;
        let ink = if k == 0 { FAINT } else { GRID };
        sheet.upright_line(Mm::new(x, HEAD - 1.0), height - HEAD, 0.25, ink);
        say(
            &mut sheet,
            &format!("{value:.0}"),
            faint(2.8),
            x - 0.8,
            11.5,
        );
    }
    for (k, patch) in patches.iter().enumerate() {
        let y = HEAD + ROW * k as f64;
        let middle = y + ROW / 2.0 + 1.1;
        say(&mut sheet, &patch.name, plain(3.2), 0.0, middle);
        let half = 8.0;
        let rect = |sheet: &mut Drawing, x: f64, ink: Ink| {
            sheet.rect(Mm::new(x, y + 0.6), half, ROW - 1.2, ink);
        };
        rect(&mut sheet, SWATCH, ink_of(patch.target_lab));
        rect(&mut sheet, SWATCH + half, ink_of(patch.corrected_lab));
        let length = (patch.de00 / MOST).clamp(0.0, 1.0) * LONGEST;
        let ink = if patch.de00 > FAR { ALERT } else { DARK };
        let corner = Mm::new(BAR, y + 2.0);
        sheet.rect(corner, length.max(0.2), ROW - 4.0, ink);
        let note = match patch.excluded {
            None => format!("{:.1}", patch.de00),
            Some(Exclusion::Clipped) => "not used: over- or underexposed".to_owned(),
            Some(Exclusion::Uneven) => "not used: partly covered or in shadow".to_owned(),
            Some(Exclusion::Outlier) => format!("{:.1}, not used: unlike the others", patch.de00),
        };
        let style = if patch.excluded.is_some() {
            Style {
                ink: ALERT,
                ..plain(3.0)
            }
        } else {
            plain(3.0)
        };
        let room = WIDTH - lettering.width_mm(&note, style);
        say(
            &mut sheet,
            &note,
            style,
            (BAR + length + 1.2).min(room),
            middle,
        );
    }
    sheet
}
