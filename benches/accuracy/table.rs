//! Tables of figures, in Markdown, which reads well in a terminal too.

use comfy_table::presets::ASCII_MARKDOWN;
use comfy_table::{Cell, CellAlignment, Row, Table};

use crate::best::Best;
use crate::doubts::{ByReason, SURE_PIECES};
use crate::held::held;
use crate::record::{Cost, End, Line, Measured, Record, cost};
use crate::reliability::Bin;
use crate::score::Figures;
use crate::set::{Folder, Kind};

/// Columns of figures, after the first that says what the line is of.
const COLUMNS: [&str; 21] = [
    "true",
    "counted",
    "total error",
    "group error",
    "groups exact",
    "missed",
    "half-visible found",
    "invented",
    "size",
    "form",
    "form shown",
    "colour",
    "sure",
    "**wrong and sure**",
    "groups sure",
    "of these wrong",
    "ranges hold",
    "CPU s",
    "CPU / decoding",
    "s",
    "MiB",
];

fn table(head: &[&str]) -> Table {
    let mut table = Table::new();
    table.load_style(ASCII_MARKDOWN);
    table.set_header(head.to_vec());
    table
}

fn text(table: Table) -> String {
    let lines: Vec<String> = table.lines().map(|l| l.trim_end().to_owned()).collect();
    lines.join("\n") + "\n"
}

fn percent(part: u32, whole: u32) -> String {
    if whole == 0 {
        return "-".to_owned();
    }
    format!("{:.1} %", 100.0 * f64::from(part) / f64::from(whole))
}

fn number(text: impl ToString) -> Cell {
    Cell::new(text).set_alignment(CellAlignment::Right)
}

fn figures(row: &mut Row, f: &Figures, cost: Cost) {
    let or_dash = |value: Option<f64>, digits: usize| {
        value.map_or("-".to_owned(), |value| format!("{value:.digits$}"))
    };
    let cells = [
        f.pieces.to_string(),
        f.counted.to_string(),
        percent(f.total_error, f.pieces),
        percent(f.group_error, f.pieces),
        format!("{} of {}", f.groups_exact, f.groups),
        f.missed.to_string(),
        percent(f.half_found, f.half_visible),
        f.invented.to_string(),
        percent(f.size_right, f.found),
        percent(f.form_right, f.found),
        percent(f.form_shown_right, f.form_shown),
        percent(f.colour_right, f.found),
        percent(f.sure, f.counted),
        f.sure_wrong.to_string(),
        f.groups_sure.to_string(),
        f.groups_sure_wrong.to_string(),
        percent(f.ranges_hold, f.ranges),
        or_dash(cost.cpu_seconds, 1),
        or_dash(cost.over_decoding, 0),
        format!("{:.1}", cost.seconds),
        format!("{:.0}", cost.peak_mib),
    ];
    for cell in cells {
        row.add_cell(number(cell));
    }
}

/// Lines of figures; empty without any.
pub fn lines(what: &str, lines: &[Line]) -> String {
    let mut table = table(&[&[what, "photos"][..], &COLUMNS].concat());
    for line in lines {
        let mut row = Row::new();
        row.add_cell(Cell::new(&line.name));
        row.add_cell(number(line.figures.photos));
        figures(&mut row, &line.figures, line.cost);
        table.add_row(row);
    }
    if lines.is_empty() {
        return String::new();
    }
    text(table)
}

/// Every photo of one folder, in the order of the kinds; empty without any.
pub fn by_photo(record: &Record, folder: Folder) -> String {
    let mut table = table(&[&["photo"][..], &COLUMNS].concat());
    for kind in Kind::ALL {
        let of_kind = |m: &Measured| m.folder == folder && m.kind == kind;
        for (name, measured) in record.photos.iter().filter(|(_, m)| of_kind(m)) {
            let mut row = Row::new();
            row.add_cell(Cell::new(name));
            figures(&mut row, &measured.figures, cost(&[measured]));
            table.add_row(row);
        }
    }
    if table.is_empty() {
        return String::new();
    }
    text(table)
}

/// How the photos ended that should be refused or warned of; empty without such.
pub fn failing(record: &Record) -> String {
    let mut table = table(&[
        "photo",
        "what is wrong",
        "how it ended",
        "true",
        "counted",
        "pieces wrong and sure",
        "groups wrong and sure",
    ]);
    for (name, measured) in &record.photos {
        let Some(failure) = &measured.failure else {
            continue;
        };
        let codes = measured.warnings.join(", ");
        let end = match (measured.end(), &measured.refused) {
            (End::Refused, Some(sentence)) => format!("refused: {sentence}"),
            (End::Refused, None) => "refused".to_owned(),
            (End::Right, _) if codes.is_empty() => "every group right".to_owned(),
            (End::Right, _) => format!("every group right; warned: {codes}"),
            (End::Warned, _) => format!("warned: {codes}"),
            (End::WrongInSilence, _) => "**wrong without a warning**".to_owned(),
        };
        let f = &measured.figures;
        let mut row = Row::new();
        for cell in [name.as_str(), failure, &end] {
            row.add_cell(Cell::new(cell));
        }
        for cell in [f.pieces, f.counted, f.sure_wrong, f.groups_sure_wrong] {
            row.add_cell(number(cell));
        }
        table.add_row(row);
    }
    if table.is_empty() {
        String::new()
    } else {
        text(table)
    }
}

/// Photos with pieces or groups that are wrong and sure.
pub fn wrong_and_sure(record: &Record) -> String {
    let mut table = table(&["photo", "pieces wrong and sure", "groups wrong and sure"]);
    for folder in [Folder::Check, Folder::Foreign, Folder::Tune] {
        for (name, measured) in record.photos.iter().filter(|(_, m)| m.folder == folder) {
            let f = &measured.figures;
            if f.sure_wrong + f.groups_sure_wrong > 0 {
                let mut row = Row::new();
                row.add_cell(Cell::new(format!("{}/{name}", folder.name())));
                row.add_cell(number(format!("{} of {}", f.sure_wrong, f.sure)));
                row.add_cell(number(format!(
                    "{} of {}",
                    f.groups_sure_wrong, f.groups_sure
                )));
                table.add_row(row);
            }
        }
    }
    if table.is_empty() {
        return "None in any photo.\n".to_owned();
    }
    text(table)
}

/// How teaching ended.
pub fn lessons(record: &Record) -> String {
    let mut table = table(&["teach photo", "how it ended"]);
    for (name, refused) in &record.lessons {
        let end = refused.as_deref().map_or("taught".to_owned(), |sentence| {
            format!("refused: {sentence}")
        });
        table.add_row(vec![name.clone(), end]);
    }
    text(table)
}

/// Stated probabilities against what came true.
pub fn reliability(bins: &[Bin]) -> String {
    let mut table = table(&["stated", "number", "mean stated", "right", "95 % interval"]);
    for bin in bins {
        let (share, low, high) = bin.share();
        let mut row = Row::new();
        row.add_cell(Cell::new(format!("{:.3} to {:.3}", bin.from, bin.to)));
        row.add_cell(number(bin.number));
        row.add_cell(number(format!("{:.1} %", bin.stated * 100.0)));
        row.add_cell(number(format!("{:.1} %", share * 100.0)));
        row.add_cell(number(format!(
            "{:.0} to {:.0} %",
            low * 100.0,
            high * 100.0
        )));
        table.add_row(row);
    }
    text(table)
}

/// Counted pieces by the main reason of their doubt, the commonest first; sure pieces at the top.
pub fn reasons(reasons: &ByReason) -> String {
    let mut table = table(&[
        "main reason of doubt",
        "pieces",
        "share",
        "mean stated",
        "right",
        "wrong",
        "invented",
        "wrong size",
        "wrong form",
        "wrong colour",
    ]);
    let all = reasons.values().map(|r| r.number).sum();
    let mut rows: Vec<_> = reasons.iter().collect();
    rows.sort_by_key(|(name, r)| (name.as_str() != SURE_PIECES, std::cmp::Reverse(r.number)));
    for (name, r) in rows {
        let mut row = Row::new();
        row.add_cell(Cell::new(name));
        row.add_cell(number(r.number));
        row.add_cell(number(percent(r.number, all)));
        let mean = 100.0 * r.stated / f64::from(r.number.max(1));
        row.add_cell(number(format!("{mean:.1} %")));
        row.add_cell(number(percent(r.number - r.wrong, r.number)));
        for cell in [r.wrong, r.invented, r.size, r.form, r.colour] {
            row.add_cell(number(cell));
        }
        table.add_row(row);
    }
    text(table)
}

/// Figures that are worse than they were at best by more than their margin, with the reasons.
pub fn fallen(record: &Record) -> String {
    let mut table = table(&["line", "figure", "at best", "now", "why"]);
    for (folder, bests) in &record.best {
        for line in record.lines(*folder) {
            for figure in held(&line) {
                let best: Option<&Best> =
                    (bests.get(&line.name)).and_then(|bests| bests.figures.get(figure.name));
                let Some((best, fell)) = best.and_then(|b| Some((b, b.fell.as_ref()?))) else {
                    continue;
                };
                let mut row = Row::new();
                row.add_cell(Cell::new(format!("{} of {}", line.name, folder.name())));
                row.add_cell(Cell::new(figure.name));
                let at_best = format!("{} ({})", figure.told(best.value), best.measured);
                row.add_cell(number(at_best));
                row.add_cell(number(figure.told(figure.value)));
                row.add_cell(Cell::new(&fell.because));
                table.add_row(row);
            }
        }
    }
    if table.is_empty() {
        return "None.\n".to_owned();
    }
    text(table)
}
