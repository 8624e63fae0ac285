//! What carries over to photos that the studio did not make and what does not: the page's first lines.

use crate::record::{ALL, Line, Record};
use crate::reliability::Bin;
use crate::score::Figures;
use crate::set::{Folder, Kind};

/// Points of a hundred by which a figure may be worse on foreign photos and still carries over. A share of 95 % of
/// 500 pieces, as a line has, is known to 1.9 points (95 % interval).
pub const CARRIES: f64 = 2.0;

/// A figure of which it is told whether it carries over.
struct Claim {
    /// The line that it is from.
    line: &'static str,
    /// In words.
    what: &'static str,
    /// Of which numbers it is the share.
    share: fn(&Figures) -> (u32, u32),
    /// Whether less of it is better.
    less_is_better: bool,
}

const fn good(line: &'static str, what: &'static str, share: fn(&Figures) -> (u32, u32)) -> Claim {
    Claim {
        line,
        what,
        share,
        less_is_better: false,
    }
}

const fn bad(line: &'static str, what: &'static str, share: fn(&Figures) -> (u32, u32)) -> Claim {
    Claim {
        line,
        what,
        share,
        less_is_better: true,
    }
}

const APART: &str = Kind::Sorted.name();
const TOUCHING: &str = Kind::Touching.name();
const POURED: &str = Kind::Poured.name();
const HEAPED: &str = Kind::Dumped.name();

const CLAIMS: [Claim; 16] = [
    bad(APART, "pieces that stand apart: error of the count", |f| {
        (f.total_error, f.pieces)
    }),
    good(APART, "pieces that stand apart: right size", |f| {
        (f.size_right, f.found)
    }),
    good(APART, "pieces that stand apart: right colour", |f| {
        (f.colour_right, f.found)
    }),
    bad(TOUCHING, "pieces that touch: error of the count", |f| {
        (f.total_error, f.pieces)
    }),
    good(TOUCHING, "pieces that touch: right size", |f| {
        (f.size_right, f.found)
    }),
    good(TOUCHING, "pieces that touch: right colour", |f| {
        (f.colour_right, f.found)
    }),
    bad(
        POURED,
        "a cup poured in one layer: error of the count",
        |f| (f.total_error, f.pieces),
    ),
    good(POURED, "a cup poured in one layer: right size", |f| {
        (f.size_right, f.found)
    }),
    good(
        POURED,
        "a cup poured in one layer: right form, undersides of plate and tile left aside",
        |f| (f.form_shown_right, f.form_shown),
    ),
    good(POURED, "a cup poured in one layer: right colour", |f| {
        (f.colour_right, f.found)
    }),
    bad(HEAPED, "heaps: error of the count", |f| {
        (f.total_error, f.pieces)
    }),
    good(
        HEAPED,
        "heaps: pieces found of those of which half or more can be seen",
        |f| (f.half_found, f.half_visible),
    ),
    good(HEAPED, "heaps: right size", |f| (f.size_right, f.found)),
    good(
        ALL,
        "all photos: kinds whose true number lies within the stated range",
        |f| (f.ranges_hold, f.ranges),
    ),
    good(ALL, "all photos: pieces marked sure", |f| {
        (f.sure, f.counted)
    }),
    bad(
        ALL,
        "all photos: wrong ones among the pieces marked sure",
        |f| (f.sure_wrong, f.sure),
    ),
];

/// The page's first lines.
pub fn carries_over(record: &Record) -> String {
    let (check, foreign) = (record.lines(Folder::Check), record.lines(Folder::Foreign));
    if foreign.is_empty() {
        return "**Whether this carries over to photos that the project's studio did not make was not measured**:\n\
                the folder of foreign photos was not at hand.\n"
            .to_owned();
    }
    let (mut same, mut worse) = (Vec::new(), Vec::new());
    for claim in &CLAIMS {
        let share = |lines: &[Line]| {
            let line = lines.iter().find(|line| line.name == claim.line)?;
            let (part, whole) = (claim.share)(&line.figures);
            (whole > 0).then(|| 100.0 * f64::from(part) / f64::from(whole))
        };
        let Some((own, other)) = share(&check).zip(share(&foreign)) else {
            continue;
        };
        let loss = if claim.less_is_better {
            other - own
        } else {
            own - other
        };
        let list = if loss <= CARRIES {
            &mut same
        } else {
            &mut worse
        };
        list.push(format!(
            "- {}: {own:.1} %, foreign {other:.1} %",
            claim.what
        ));
    }
    let gap = |folder| {
        record
            .reliability
            .get(&folder)
            .map(|bins| gap(&bins.pieces))
    };
    if let Some((own, other)) = gap(Folder::Check).zip(gap(Folder::Foreign)) {
        let list = if other - own <= CARRIES {
            &mut same
        } else {
            &mut worse
        };
        list.push(format!(
            "- all photos: how far what is stated of pieces is from what comes true, in the mean: {own:.1} points, \
             foreign {other:.1} points"
        ));
    }
    format!(
        "What **carries over** to photos that the project's studio did not make: it is no more than {CARRIES} \
         points of a hundred worse on them (*foreign*) than in `check`, whose figure comes first.\n\n{}\n\
         What **does not carry over**:\n\n{}\n{}\n",
        listed(&same),
        listed(&worse),
        nothing_sure(record)
    )
}

fn listed(items: &[String]) -> String {
    if items.is_empty() {
        return "- nothing that was measured\n".to_owned();
    }
    items.join("\n") + "\n"
}

/// Mean distance of stated probabilities from the share that came true, bin by bin, in points.
fn gap(bins: &[Bin]) -> f64 {
    let all: u32 = bins.iter().map(|bin| bin.number).sum();
    let sum: f64 = (bins.iter())
        .map(|bin| f64::from(bin.number) * (bin.stated - bin.share().0).abs())
        .sum();
    100.0 * sum / f64::from(all.max(1))
}

/// On how many foreign photos the program commits itself to nothing.
fn nothing_sure(record: &Record) -> String {
    let with_pieces = |folder| {
        let photos = record.photos.values();
        let counted = photos.filter(move |m| m.folder == folder && m.is_in_sum());
        counted.filter(|m| m.figures.counted > 0)
    };
    let unsure = |folder| with_pieces(folder).filter(|m| m.figures.sure == 0).count();
    format!(
        "Nothing at all is marked sure on {} of {} foreign photos with pieces, and on {} of {} of `check`.",
        unsure(Folder::Foreign),
        with_pieces(Folder::Foreign).count(),
        unsure(Folder::Check),
        with_pieces(Folder::Check).count()
    )
}
