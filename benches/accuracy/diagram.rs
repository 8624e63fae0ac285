//! The reliability diagram: share right over stated probability, as SVG.

use std::fmt::Write;

use crate::record::Record;
use crate::reliability::Bin;
use crate::set::Folder;

/// Side of a panel's square, user units.
const SIDE: f64 = 300.0;
/// Room around the squares for words.
const LEFT: f64 = 58.0;
const TOP: f64 = 64.0;
const BETWEEN: f64 = 70.0;
const BELOW: f64 = 56.0;

/// Colours that differ in lightness too; `check` is a filled disc, `tune` an open square, `foreign` a triangle.
const STROKES: [(Folder, &str); 3] = [
    (Folder::Tune, "#b35900"),
    (Folder::Check, "#004a80"),
    (Folder::Foreign, "#1f7a3d"),
];

/// The picture of a record.
pub fn svg(record: &Record) -> String {
    let width = LEFT + 2.0 * SIDE + BETWEEN + 24.0;
    let height = TOP + SIDE + BELOW;
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
         font-family=\"sans-serif\" font-size=\"13\" fill=\"#222\">\n\
         <title>Share right over stated probability</title>\n\
         <rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n"
    );
    panel(&mut out, LEFT, "pieces", |folder| {
        record.reliability.get(&folder).map(|b| b.pieces.as_slice())
    });
    panel(&mut out, LEFT + SIDE + BETWEEN, "groups", |folder| {
        record.reliability.get(&folder).map(|b| b.groups.as_slice())
    });
    legend(&mut out);
    out + "</svg>\n"
}

fn line(out: &mut String, parts: std::fmt::Arguments<'_>) {
    // Writing to a String does not fail.
    let _ = out.write_fmt(parts);
    out.push('\n');
}

fn panel<'a>(out: &mut String, left: f64, title: &str, bins: impl Fn(Folder) -> Option<&'a [Bin]>) {
    let x = |p: f64| left + SIDE * p;
    let y = |p: f64| TOP + SIDE * (1.0 - p);
    for step in 0..=5 {
        let p = f64::from(step) / 5.0;
        line(
            out,
            format_args!(
                "<path d=\"M{:.1} {:.1}V{:.1}M{:.1} {:.1}H{:.1}\" stroke=\"#ddd\"/>",
                x(p),
                y(0.0),
                y(1.0),
                x(0.0),
                y(p),
                x(1.0)
            ),
        );
        let percent = step * 20;
        line(
            out,
            format_args!(
                "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{percent}</text>\
                 <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{percent}</text>",
                x(p),
                y(0.0) + 18.0,
                x(0.0) - 8.0,
                y(p) + 4.5
            ),
        );
    }
    line(
        out,
        format_args!(
            "<path d=\"M{:.1} {:.1}L{:.1} {:.1}\" stroke=\"#888\" stroke-dasharray=\"5 4\"/>",
            x(0.0),
            y(0.0),
            x(1.0),
            y(1.0)
        ),
    );
    line(
        out,
        format_args!(
            "<text x=\"{:.1}\" y=\"{:.1}\" font-size=\"15\" text-anchor=\"middle\">{title}</text>\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">stated probability, %</text>\
             <text transform=\"translate({:.1} {:.1}) rotate(-90)\" text-anchor=\"middle\">right, %</text>",
            x(0.5),
            TOP - 12.0,
            x(0.5),
            y(0.0) + 40.0,
            x(0.0) - 42.0,
            y(0.5)
        ),
    );
    for (folder, colour) in STROKES {
        for bin in bins(folder).unwrap_or_default() {
            let (share, low, high) = bin.share();
            line(
                out,
                format_args!(
                    "<path d=\"M{0:.1} {1:.1}V{2:.1}\" stroke=\"{colour}\" stroke-width=\"1.5\"/>",
                    x(bin.stated),
                    y(low),
                    y(high)
                ),
            );
            mark(out, folder, colour, x(bin.stated), y(share));
        }
    }
}

fn mark(out: &mut String, folder: Folder, colour: &str, x: f64, y: f64) {
    match folder {
        Folder::Check => line(
            out,
            format_args!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"5\" fill=\"{colour}\"/>"),
        ),
        Folder::Tune => line(
            out,
            format_args!(
                "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"9\" height=\"9\" fill=\"#fff\" stroke=\"{colour}\" stroke-width=\"2\"/>",
                x - 4.5,
                y - 4.5
            ),
        ),
        Folder::Foreign => line(
            out,
            format_args!(
                "<path d=\"M{:.1} {:.1}l5.5 10h-11z\" fill=\"{colour}\"/>",
                x,
                y - 6.5
            ),
        ),
    }
}

fn legend(out: &mut String) {
    let mut left = LEFT;
    for (folder, colour) in STROKES {
        mark(out, folder, colour, left, 20.0);
        let means = match folder {
            Folder::Tune => "tune, in sample",
            Folder::Check => "check, not tuned on",
            Folder::Foreign => "foreign",
        };
        line(
            out,
            format_args!("<text x=\"{:.1}\" y=\"24.5\">{means}</text>", left + 12.0),
        );
        left += 155.0;
    }
    line(
        out,
        format_args!(
            "<text x=\"{:.1}\" y=\"24.5\">bars: 95 % interval; dashed: as stated</text>",
            left - 65.0
        ),
    );
}
