//! The figures of a line that are held: which way is better, and by how much one may be off.

use crate::record::Line;

/// Points of a hundred by which a line's errors may rise or its right pieces fall: one piece in a
/// hundred.
pub const ERROR_POINTS: f64 = 1.0;

/// Points of a hundred by which the share of sure pieces and of ranges that hold may fall:
/// sureness changes before counts do, so it gets twice that.
pub const SURE_POINTS: f64 = 2.0;

/// One figure of a line.
#[derive(Clone, Copy, Debug)]
pub struct Held {
    /// As the tables call it.
    pub name: &'static str,
    /// A percentage, or a number of pieces or groups.
    pub value: f64,
    /// Whether less of it is better.
    pub less_is_better: bool,
    /// What other processors' last digits may make of it.
    pub margin: f64,
    /// Whether it is a percentage.
    pub is_share: bool,
}

impl Held {
    /// By how much it is worse than another value of the same figure; below 0 where it is better.
    pub fn worse_than(&self, other: f64) -> f64 {
        if self.less_is_better {
            self.value - other
        } else {
            other - self.value
        }
    }

    /// A value of this figure in words.
    pub fn told(&self, value: f64) -> String {
        if self.is_share {
            format!("{value:.1} %")
        } else {
            format!("{value:.0}")
        }
    }
}

/// The figures of a line; those that nothing was measured of are left out.
pub fn held(line: &Line) -> Vec<Held> {
    let f = &line.figures;
    let share = |name, (part, whole): (u32, u32), less_is_better, margin| {
        (whole > 0).then(|| Held {
            name,
            // Thousandths of a point, so that a file holds short numbers.
            value: (1e5 * f64::from(part) / f64::from(whole)).round() / 1e3,
            less_is_better,
            margin,
            is_share: true,
        })
    };
    let number = |name, value: u32| {
        Some(Held {
            name,
            value: f64::from(value),
            less_is_better: true,
            margin: 0.0,
            is_share: false,
        })
    };
    let figures = [
        share("total error", (f.total_error, f.pieces), true, ERROR_POINTS),
        share("group error", (f.group_error, f.pieces), true, ERROR_POINTS),
        share(
            "groups exact",
            (f.groups_exact, f.groups),
            false,
            ERROR_POINTS,
        ),
        share(
            "half-visible found",
            (f.half_found, f.half_visible),
            false,
            ERROR_POINTS,
        ),
        share("invented", (f.invented, f.counted), true, ERROR_POINTS),
        share("size", (f.size_right, f.found), false, ERROR_POINTS),
        share("form", (f.form_right, f.found), false, ERROR_POINTS),
        share(
            "form shown",
            (f.form_shown_right, f.form_shown),
            false,
            ERROR_POINTS,
        ),
        share("colour", (f.colour_right, f.found), false, ERROR_POINTS),
        share("sure", (f.sure, f.counted), false, SURE_POINTS),
        number("wrong and sure", f.sure_wrong),
        number("groups wrong and sure", f.groups_sure_wrong),
        share("ranges hold", (f.ranges_hold, f.ranges), false, SURE_POINTS),
    ];
    figures.into_iter().flatten().collect()
}
