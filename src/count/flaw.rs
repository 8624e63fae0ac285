//! Whether pieces show their own colours, so that a photo of them may teach.
//!
//! A lamp mirrored in a top hides the body below it, and a channel that the camera cut off says
//! only that there was at least so much light. Such a piece would teach a wrong colour.

use super::explain::Look;
use super::shade::shade_of;
use crate::colour::Flaw;
use crate::numbers::median;
use crate::pieces::Stance;
use crate::pieces::paint::Paint;
use crate::sheet::Spoilt;

/// A lamp's image ends on a top whose lightness spreads so many times as far as is usual in the
/// photo, and at least by so much (L*). Over the sample photos to tune on 1.7 times at most
/// where none lies, and 3.2 to 5 where one does.
const LAMP_SPREADS: f64 = 2.5;
const LAMP_SPREAD: f64 = 1.0;
/// A lamp's image covers a top whose dark places are too dark for it by this, log of luminance.
/// Over the sample photos to tune on 1.2 at most where none does, and 1.6 to 1.7 where one does.
const LAMP_SHADE: f64 = 1.4;

/// A piece in whose light others stand with a higher probability than this may be shaded. Of those that
/// touch another 4 in 100 are, of those in a heap 17 (`pieces::heap`): this lies between.
const MAY_BE_SHADED: f64 = 0.1;

/// What keeps the top of a counted piece from showing its own colour. `flaw` is that of [`flaws`] over
/// all pieces of its photo.
pub fn spoils(paint: &Paint, stance: &Stance, flaw: Option<Flaw>) -> Vec<Spoilt> {
    let lamp = flaw == Some(Flaw::Lamp) || paint.mirrors_lamp(stance);
    [
        (Spoilt::Lamp, lamp),
        (Spoilt::CutOff, paint.clipped.contains(&true)),
        (Spoilt::Shaded, paint.shaded > MAY_BE_SHADED),
        (Spoilt::Uneven, paint.uneven()),
    ]
    .into_iter()
    .filter_map(|(what, is)| is.then_some(what))
    .collect()
}

/// What each piece of a photo suffers from.
pub fn flaws(paints: &[Paint]) -> Vec<Option<Flaw>> {
    let shades: Vec<f64> = paints
        .iter()
        .map(|paint| shade_of(&Look::of(paint), paint.measured, 0.0))
        .collect();
    let spreads: Vec<f64> = paints.iter().map(|paint| paint.spread).collect();
    let [shade, spread] =
        [&shades, &spreads].map(|all| median(all.iter().copied()).unwrap_or_default());
    paints
        .iter()
        .zip(shades)
        .map(|(paint, own)| {
            let ends = paint.spread > (LAMP_SPREADS * spread).max(LAMP_SPREAD);
            if ends || own < shade - LAMP_SHADE {
                Some(Flaw::Lamp)
            } else if paint.clipped.contains(&true) {
                Some(Flaw::CutOff)
            } else {
                None
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::colour::lab::lab_from_linear;
    use crate::units::Mm;

    fn paint(body: f64, gloss: f64, spread: f64) -> Paint {
        let measured = [body + gloss; 3];
        Paint {
            lab: lab_from_linear(measured),
            spread,
            light: 1.0,
            measured,
            clipped: [measured[0] > 1.0, false, false],
            mixing: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            dark: 0.4 * body,
            at: Mm::new(0.0, 0.0),
            shaded: 0.0,
        }
    }

    #[test]
    fn a_lamp_and_a_cut_off_channel_are_seen() {
        let mut paints: Vec<Paint> = [0.1, 0.2, 0.3, 0.5, 0.7]
            .map(|body| paint(body, 0.01, 0.5))
            .into();
        assert_eq!(flaws(&paints), [None; 5]);
        // All over a dark piece, at the edge on a light one, and too bright.
        paints.push(paint(0.03, 0.2, 0.5));
        paints.push(paint(0.4, 0.1, 2.0));
        paints.push(paint(1.02, 0.0, 0.5));
        let lamp = Some(Flaw::Lamp);
        let all = flaws(&paints);
        assert_eq!(all[..5], [None; 5]);
        assert_eq!(all[5..], [lamp, lamp, Some(Flaw::CutOff)]);
    }

    #[test]
    fn nothing_has_no_flaws() {
        assert!(flaws(&[]).is_empty());
    }
}
