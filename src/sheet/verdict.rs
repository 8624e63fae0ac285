//! Whether a photo of the card will do for measuring a light: one word, and why.

use super::advice::POOR_COLOUR_DE00;
use super::faults::Fault;
use super::file::{ColourReport, Warning};
use crate::colour::swatch::CLOSE_DE00;

/// Mean leave-one-out error up to which a light is good: two colours that are just not told to be close
/// ([`CLOSE_DE00`]) may then both be off by it, towards each other, and still not meet.
pub const GOOD_COLOUR_DE00: f64 = CLOSE_DE00 / 2.0;
const _: () = assert!(GOOD_COLOUR_DE00 < POOR_COLOUR_DE00);

/// What to make of a photo of the card.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// Nothing to do.
    Good,
    /// It will do, and a better one would tell more.
    Usable,
    /// In such a photo colours cannot be read.
    Retake,
}

/// Whether a warning of this code is reason enough to take the photo again: one that says that colours cannot be
/// read or corrected.
fn is_grave(code: &str) -> bool {
    Fault::spoils_colours(code) || ["exposure", "colour-poor"].contains(&code)
}

/// Judges by the warnings that a count of the photo would give, and by how far colours are off.
pub fn verdict(warnings: &[Warning], colour: &ColourReport) -> Verdict {
    if warnings.iter().any(|warning| is_grave(&warning.code)) {
        Verdict::Retake
    } else if warnings.is_empty() && colour.mean_de00 <= GOOD_COLOUR_DE00 {
        Verdict::Good
    } else {
        Verdict::Usable
    }
}

/// The verdict in a sentence, with what decides it.
pub fn sentence(warnings: &[Warning], colour: &ColourReport) -> String {
    let verdict = verdict(warnings, colour);
    let decides = warnings
        .iter()
        .find(|warning| is_grave(&warning.code))
        .or(warnings.first());
    match (verdict, decides) {
        (Verdict::Retake, Some(Warning { code, text })) => {
            format!("light: take the photo again: {text} [{code}]")
        }
        (Verdict::Usable, Some(Warning { code, text })) => {
            format!("light: usable, but {text} [{code}]")
        }
        (Verdict::Usable, None) => {
            "light: usable; colours come out a little off, and one kind of light, falling evenly, may do better".to_owned()
        }
        _ => "light: good; colours come out as they are, and a count would warn of nothing".to_owned(),
    }
}

/// The warnings that the sentence leaves out.
pub fn others(warnings: &[Warning]) -> Vec<&Warning> {
    let told = warnings
        .iter()
        .position(|warning| is_grave(&warning.code))
        .unwrap_or(0);
    let but = |(k, warning)| (k != told).then_some(warning);
    warnings.iter().enumerate().filter_map(but).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn warning(code: &str) -> Warning {
        Warning {
            code: code.to_owned(),
            text: format!("something about {code}"),
        }
    }

    fn off_by(mean_de00: f64) -> ColourReport {
        ColourReport {
            mean_de00,
            p95_de00: 2.0 * mean_de00,
            max_de00: 3.0 * mean_de00,
            print_profile: false,
            method: "matrix".to_owned(),
        }
    }

    #[test]
    fn the_gravest_decides() {
        let good = off_by(1.2);
        assert_eq!(verdict(&[], &good), Verdict::Good);
        assert_eq!(verdict(&[], &off_by(2.1)), Verdict::Usable);
        assert_eq!(verdict(&[warning("tilted")], &good), Verdict::Usable);
        let both = [warning("tilted"), warning("blurred"), warning("card-bent")];
        assert_eq!(verdict(&both, &good), Verdict::Retake);
        let told = sentence(&both, &good);
        assert!(
            told.starts_with("light: take the photo again") && told.contains("[blurred]"),
            "{told}"
        );
        let rest: Vec<&str> = others(&both).iter().map(|w| w.code.as_str()).collect();
        assert_eq!(rest, ["tilted", "card-bent"]);
        for code in [
            "too-dark",
            "too-bright",
            "card-glare",
            "exposure",
            "colour-poor",
        ] {
            assert_eq!(verdict(&[warning(code)], &good), Verdict::Retake, "{code}");
        }
        assert_eq!(verdict(&[warning("busy-tray")], &good), Verdict::Usable);
        assert!(sentence(&[], &good).starts_with("light: good"));
        assert!(others(&[]).is_empty());
    }
}
