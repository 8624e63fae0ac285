//! Tables of figures, in Markdown, which reads well in a terminal too.

use comfy_table::presets::ASCII_MARKDOWN;
use comfy_table::{Cell, CellAlignment, Row, Table};

use crate::record::{End, Line, Measured, Record};
use crate::reliability::Bin;
use crate::score::Figures;
use crate::set::{Folder, Kind};

/// Columns of figures, after the first that says what the line is of.
const COLUMNS: [&str; 18] = [
    "true",
    "counted",
    "total error",
    "group error",
    "groups exact",
    "missed",
    "invented",
    "size",
    "form",
    "colour",
    "sure",
    "**wrong and sure**",
    "groups sure",
    "of these wrong",
    "ranges hold",
    "CPU s",
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

fn figures(row: &mut Row, figures: &Figures, cost: (Option<f64>, f64, f64)) {
    let (f, (cpu, wall, mib)) = (figures, cost);
    let cells = [
        f.pieces.to_string(),
        f.counted.to_string(),
        percent(f.total_error, f.pieces),
        percent(f.group_error, f.pieces),
        format!("{} of {}", f.groups_exact, f.groups),
        f.missed.to_string(),
        f.invented.to_string(),
        percent(f.size_right, f.found),
        percent(f.form_right, f.found),
        percent(f.colour_right, f.found),
        percent(f.sure, f.counted),
        f.sure_wrong.to_string(),
        f.groups_sure.to_string(),
        f.groups_sure_wrong.to_string(),
        percent(f.ranges_hold, f.ranges),
        cpu.map_or("-".to_owned(), |cpu| format!("{cpu:.1}")),
        format!("{wall:.1}"),
        format!("{mib:.0}"),
    ];
    for cell in cells {
        row.add_cell(number(cell));
    }
}

/// The lines of one folder, a kind each.
pub fn by_kind(record: &Record, folder: Folder) -> String {
    let mut table = table(&[&["kind", "photos"][..], &COLUMNS].concat());
    for line in record.lines(folder) {
        table.add_row(kind_row(&line));
    }
    text(table)
}

fn kind_row(line: &Line) -> Row {
    let mut row = Row::new();
    let name = line.kind.map_or("all but failing", Kind::name);
    row.add_cell(Cell::new(name));
    row.add_cell(number(line.figures.photos));
    figures(
        &mut row,
        &line.figures,
        (line.cpu_seconds, line.seconds, line.peak_mib),
    );
    row
}

/// Every photo of one folder, in the order of the kinds.
pub fn by_photo(record: &Record, folder: Folder) -> String {
    let mut table = table(&[&["photo"][..], &COLUMNS].concat());
    for kind in Kind::ALL {
        let of_kind = |m: &Measured| m.folder == folder && m.kind == kind;
        for (name, measured) in record.photos.iter().filter(|(_, m)| of_kind(m)) {
            let mut row = Row::new();
            row.add_cell(Cell::new(name));
            figures(
                &mut row,
                &measured.figures,
                (measured.cpu_seconds, measured.seconds, measured.peak_mib),
            );
            table.add_row(row);
        }
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
        "wrong and sure",
    ]);
    for (name, measured) in &record.photos {
        let Some(failure) = &measured.failure else {
            continue;
        };
        let codes = measured.warnings.join(", ");
        let end = match (measured.end(), &measured.refused) {
            (End::Refused, Some(sentence)) => format!("refused: {}", without_path(sentence)),
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
        for cell in [f.pieces, f.counted, f.sure_wrong] {
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
    for folder in [Folder::Check, Folder::Tune] {
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
            format!("refused: {}", without_path(sentence))
        });
        table.add_row(vec![name.clone(), end]);
    }
    text(table)
}

/// A refusal begins with the photo's path, which is another on every machine.
fn without_path(sentence: &str) -> &str {
    sentence.split_once(".jpg: ").map_or(sentence, |s| s.1)
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
