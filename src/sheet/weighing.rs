//! A kitchen scale's word on a count: what the counted pieces weigh, against what it shows.

use serde::{Deserialize, Serialize};

use super::file::Warning;

/// What the scale showed, what the count comes to, and whether the two agree.
///
/// It belongs to the count as it was made: later corrections do not change it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Weighing {
    /// What the scale showed.
    pub grams: f64,
    /// What one step of its last digit is worth.
    pub step_g: f64,
    /// What the counted pieces come to.
    pub counted_g: f64,
    /// They weigh no less than this: two standard deviations of masses and scale below.
    pub low_g: f64,
    /// They weigh no more than this.
    pub high_g: f64,
    /// Standard deviation of `counted_g` from what is not known of each piece's mass.
    pub mass_sd_g: f64,
    /// Standard deviation of `grams`.
    pub scale_sd_g: f64,
    /// Standard deviation from the groups' ranges, on the scale's side of the count.
    pub count_sd_g: f64,
    /// Where the masses are from.
    pub masses: MassSource,
    /// Whether `grams` lies between `low_g` and `high_g`; the counts' own doubt is not in it.
    pub agrees: bool,
    /// Whether the difference is within what the counts' ranges allow.
    pub ranges_allow: bool,
    /// What the scale shows less what was counted.
    pub difference_g: f64,
    /// The difference in pieces of the mean counted mass; none where nothing was counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub difference_pieces: Option<f64>,
    /// A difference of fewer mean pieces would not show; none where nothing was counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shows_from_pieces: Option<f64>,
    /// What would explain a difference, likeliest first; empty where nothing does or they agree.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub explanations: Vec<Explanation>,
}

/// Where the masses of the counted pieces are from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MassSource {
    /// From dimensions and density.
    Estimated,
    /// Every counted kind was weighed.
    Measured,
    /// Some kinds were weighed, the others estimated.
    Both,
}

impl MassSource {
    fn word(self) -> &'static str {
        match self {
            MassSource::Estimated => "estimated",
            MassSource::Measured => "measured",
            MassSource::Both => "partly measured",
        }
    }
}

/// One way in which the count could be wrong so that the scale is right. A scale sees no
/// colours, so this speaks of a form in a size, and `colours` says where to look first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Explanation {
    /// How far fetched it is.
    pub kind: ExplanationKind,
    /// Form, as in a piece.
    pub form: String,
    /// Size, as in a piece.
    pub size: String,
    /// How many pieces.
    pub number: u32,
    /// What they are instead; only of [`ExplanationKind::Instead`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<Form>,
    /// Colours of the groups in question, the least certain first.
    pub colours: Vec<String>,
    /// By how much the counted grams would change: below 0 where too many were counted.
    pub change_g: f64,
}

/// A form in a size.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Form {
    /// Form, as in a piece.
    pub form: String,
    /// Size, as in a piece.
    pub size: String,
}

/// How far fetched an explanation is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ExplanationKind {
    /// More or fewer pieces, as the groups' ranges allow.
    WithinRange,
    /// Pieces that are what the sheet says they could be instead.
    Instead,
    /// More or fewer pieces than the groups' ranges allow.
    BeyondRange,
}

/// Colours named in a sentence; the sheet has all.
const COLOURS_TOLD: usize = 3;

impl Explanation {
    /// As a part of a sentence: `2 plate 2x3 (fog, tar) counted too many`.
    pub fn text(&self) -> String {
        let told = self.colours.iter().take(COLOURS_TOLD).cloned();
        let mut colours = told.collect::<Vec<_>>().join(", ");
        if self.colours.len() > COLOURS_TOLD {
            colours.push_str(", ...");
        }
        // Of pieces that nothing points to, any colour is as likely as those that were seen.
        let unseen = self.kind == ExplanationKind::BeyondRange && self.change_g > 0.0;
        if unseen {
            colours.clear();
        } else {
            colours = format!(" ({colours})");
        }
        let what = match (&self.to, self.change_g < 0.0) {
            (Some(to), _) => format!("that may be {} {}", to.form, to.size),
            (None, true) => "counted too many".to_owned(),
            (None, false) => "not counted".to_owned(),
        };
        let beyond = match self.kind {
            ExplanationKind::BeyondRange => ", beyond its range",
            ExplanationKind::WithinRange | ExplanationKind::Instead => "",
        };
        format!(
            "{} {} {}{colours} {what}{beyond}",
            self.number, self.form, self.size
        )
    }
}

impl Weighing {
    /// The outcome in one line.
    pub fn line(&self) -> String {
        let outcome = if self.agrees {
            format!("agrees{}", self.blind())
        } else {
            self.apart()
        };
        format!("{}: {outcome}", self.both())
    }

    /// What a person should know where the two do not agree; `unexplained` is the number of
    /// places that show something which is in no count.
    pub fn warning(&self, unexplained: usize) -> Option<Warning> {
        if self.agrees {
            return None;
        }
        let (likeliest, remedy) = match self.explanations.first() {
            Some(first) => (
                format!("likeliest: {}", first.text()),
                "look at those first, or weigh again",
            ),
            None => (
                "no single mistake in the count explains it".to_owned(),
                "look through the picture, or weigh again",
            ),
        };
        let allowed = if self.ranges_allow {
            ", within what the ranges allow"
        } else {
            ""
        };
        let others = if unexplained > 0 {
            format!("{}; ", on_the_scale_too(unexplained))
        } else {
            String::new()
        };
        Some(Warning {
            code: "weight".to_owned(),
            text: format!(
                "{} ({} g, not {:.1} g){allowed}; {likeliest}; {others}{remedy}",
                self.apart(),
                self.shown(),
                self.counted_g,
            ),
        })
    }

    fn both(&self) -> String {
        format!(
            "{} g on the scale, {:.1} g counted ({}-{} g, {})",
            self.shown(),
            self.counted_g,
            self.end(self.low_g, f64::floor),
            self.end(self.high_g, f64::ceil),
            self.masses.word()
        )
    }

    /// The scale's number with the digits that it showed.
    fn shown(&self) -> String {
        let digits = (-self.step_g.log10()).round().clamp(0.0, 9.0) as usize;
        format!("{:.digits$}", self.grams)
    }

    /// An end of the range, outwards, with a decimal only where the range is narrow.
    fn end(&self, grams: f64, outwards: fn(f64) -> f64) -> String {
        if self.high_g - self.low_g < NARROW_G {
            // A hair inwards, so that 41.8 is not written as 41.7 for its last bit.
            let inwards = if outwards(0.5) > 0.5 { -1e-6 } else { 1e-6 };
            format!("{:.1}", outwards((grams + inwards) * 10.0) / 10.0)
        } else {
            format!("{:.0}", outwards(grams))
        }
    }

    fn apart(&self) -> String {
        let side = if self.difference_g < 0.0 {
            "fewer on the scale than counted"
        } else {
            "more on the scale than counted"
        };
        match self.difference_pieces.map(|pieces| pieces.abs().round()) {
            None => "nothing was counted".to_owned(),
            Some(pieces) if pieces < 1.0 => format!("less than a piece {side}"),
            Some(1.0) => format!("about 1 piece {side}"),
            Some(pieces) => format!("about {pieces:.0} pieces {side}"),
        }
    }

    /// What an agreement is worth.
    fn blind(&self) -> String {
        match self.shows_from_pieces.map(f64::ceil) {
            Some(pieces) if pieces > 1.0 => {
                format!("; a difference below about {pieces:.0} pieces would not show")
            }
            _ => String::new(),
        }
    }
}

/// Below this width a range is told with a decimal.
const NARROW_G: f64 = 5.0;

/// That places which are in no count may be among what was weighed.
pub fn on_the_scale_too(unexplained: usize) -> String {
    let places = match unexplained {
        1 => "1 place shows something that is in no count and".to_owned(),
        n => format!("{n} places show something that is in no count and"),
    };
    format!("{places} may lie on the scale too")
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn weighing() -> Weighing {
        Weighing {
            grams: 61.0,
            step_g: 0.1,
            counted_g: 60.2,
            low_g: 55.4,
            high_g: 65.1,
            mass_sd_g: 2.4,
            scale_sd_g: 0.05,
            count_sd_g: 0.0,
            masses: MassSource::Estimated,
            agrees: true,
            ranges_allow: true,
            difference_g: 0.8,
            difference_pieces: Some(0.5),
            shows_from_pieces: Some(0.9),
            explanations: Vec::new(),
        }
    }

    #[test]
    fn an_agreement_is_one_line_and_no_warning() {
        let mut agreed = weighing();
        assert_eq!(
            agreed.line(),
            "61.0 g on the scale, 60.2 g counted (55-66 g, estimated): agrees"
        );
        assert_eq!(agreed.warning(3), None);
        agreed.shows_from_pieces = Some(3.2);
        let blind = "; a difference below about 4 pieces would not show";
        assert!(agreed.line().ends_with(blind), "{}", agreed.line());
    }

    #[test]
    fn a_difference_says_how_much_and_what_would_explain_it() {
        let explanation = |kind, to| Explanation {
            kind,
            form: "plate".into(),
            size: "2x3".into(),
            number: 2,
            to,
            colours: ["fog", "tar", "kelp", "rust"].map(str::to_owned).to_vec(),
            change_g: -2.0,
        };
        let mut apart = Weighing {
            grams: 58.0,
            step_g: 1.0,
            low_g: 59.8,
            high_g: 60.6,
            agrees: false,
            ranges_allow: false,
            difference_g: -2.2,
            difference_pieces: Some(-1.8),
            explanations: vec![explanation(ExplanationKind::BeyondRange, None)],
            ..weighing()
        };
        let warning = apart.warning(1).unwrap();
        assert_eq!(warning.code, "weight");
        assert_eq!(
            warning.text,
            "about 2 pieces fewer on the scale than counted (58 g, not 60.2 g); likeliest: 2 plate 2x3 (fog, tar, kelp, ...) counted too many, beyond its range; 1 place shows something that is in no count and may lie on the scale too; look at those first, or weigh again"
        );
        let to = Form {
            form: "plate".into(),
            size: "2x2".into(),
        };
        let swap = explanation(ExplanationKind::Instead, Some(to)).text();
        assert!(swap.ends_with("that may be plate 2x2"), "{swap}");
        apart.explanations.clear();
        apart.ranges_allow = true;
        let text = apart.warning(0).unwrap().text;
        assert!(text.contains("no single mistake"), "{text}");
        assert!(text.contains("within what the ranges allow"), "{text}");
        apart.difference_pieces = Some(-0.3);
        assert!(apart.line().contains("less than a piece"));
        apart.difference_pieces = None;
        assert!(apart.line().ends_with("nothing was counted"));
    }
}
