//! The printed page, A4 and US Letter: is what comes out of a PDF or SVG reader as
//! large, and as coloured, as the design says?

use crate::support::card::{detect, printed};
use crate::support::need_tool;
use cuptally::card::design::{CardDesign, ScaleBar};
use cuptally::card::print::page::CARD_TOP_MM;
use cuptally::units::Mm;
use image::{GrayImage, RgbImage};
use std::fs;
use std::process::Command;
use std::sync::OnceLock;

const DPI: u32 = 600;
const PX_PER_MM: f64 = DPI as f64 / 25.4;

/// What a ruler on paper can show, and 2.4 pixels of the raster: a wrong scale of
/// 0.1 % on the 100 mm bar fails.
const TRUE_MM: f64 = 0.1;

/// Paper, width and height in mm, and in points as the PDF standard counts them.
type Paper = (&'static str, [f64; 2], [f64; 2]);

const PAPERS: [Paper; 2] = [
    ("a4", [210.0, 297.0], [595.276, 841.89]),
    ("letter", [215.9, 279.4], [612.0, 792.0]),
];

/// A page as another program draws it.
struct Sheet {
    paper: &'static str,
    colour: RgbImage,
    grey: GrayImage,
    /// Where the card's top left should be.
    card: Mm,
}

/// The pages of both papers, drawn once by poppler; none when it is missing.
fn sheets() -> &'static [Sheet] {
    static SHEETS: OnceLock<Vec<Sheet>> = OnceLock::new();
    SHEETS.get_or_init(|| {
        if !need_tool("pdftoppm", "poppler-utils") {
            return Vec::new();
        }
        PAPERS.iter().map(sheet).collect()
    })
}

fn sheet(&(paper, [width, _], _): &Paper) -> Sheet {
    let folder = printed(paper);
    let status = Command::new("pdftoppm")
        .args(["-r", &DPI.to_string(), "-png", "-singlefile"])
        .arg(folder.path().join("card.pdf"))
        .arg(folder.path().join("page"))
        .status()
        .unwrap();
    assert!(status.success());
    let picture = image::open(folder.path().join("page.png")).unwrap();
    Sheet {
        paper,
        colour: picture.to_rgb8(),
        grey: picture.to_luma8(),
        card: Mm::new((width - CardDesign::v1().width_mm) / 2.0, CARD_TOP_MM),
    }
}

impl Sheet {
    fn on_page(&self, place: Mm) -> Mm {
        Mm::new(self.card.x + place.x, self.card.y + place.y)
    }

    /// Where the page turns from light to dark or back along a level line, x in mm.
    fn level_edges(&self, y: f64, from: f64, to: f64) -> Vec<f64> {
        let row = (y * PX_PER_MM) as u32;
        edges(from, to, |x| self.grey.get_pixel(x, row).0[0])
    }

    /// The same along an upright line, y in mm.
    fn upright_edges(&self, x: f64, from: f64, to: f64) -> Vec<f64> {
        let column = (x * PX_PER_MM) as u32;
        edges(from, to, |y| self.grey.get_pixel(column, y).0[0])
    }
}

/// Where the lightness passes the middle, between pixel centres, in mm.
fn edges(from: f64, to: f64, lightness: impl Fn(u32) -> u8) -> Vec<f64> {
    const MIDDLE: f64 = 127.5;
    let pixels = (from * PX_PER_MM) as u32..(to * PX_PER_MM) as u32;
    let mut found = Vec::new();
    for pixel in pixels {
        let (here, next) = (f64::from(lightness(pixel)), f64::from(lightness(pixel + 1)));
        if (here < MIDDLE) != (next < MIDDLE) {
            let part = (MIDDLE - here) / (next - here);
            found.push((f64::from(pixel) + 0.5 + part) / PX_PER_MM);
        }
    }
    found
}

#[test]
fn the_page_has_the_papers_size_and_asks_not_to_be_scaled() {
    for (paper, _, [width, height]) in PAPERS {
        let bytes = fs::read(printed(paper).path().join("card.pdf")).unwrap();
        let text = String::from_utf8_lossy(&bytes);
        let (_, after) = text.split_once("/MediaBox [").unwrap();
        let (numbers, _) = after.split_once(']').unwrap();
        let found: Vec<f64> = numbers
            .split_whitespace()
            .map(|number| number.parse().unwrap())
            .collect();
        // A thousandth of a point is what the published sizes are rounded to.
        for (found, expected) in found.iter().zip([0.0, 0.0, width, height]) {
            assert!((found - expected).abs() < 1e-3, "{paper}: {found} pt");
        }
        assert_eq!(found.len(), 4);
        assert!(text.contains("/PrintScaling /None"));
    }
}

/// Each tag's four edges, measured through its black ring at three places.
#[test]
fn the_black_squares_have_their_true_size_and_distances() {
    for sheet in sheets() {
        for tag in &CardDesign::v1().tags {
            let corner = sheet.on_page(Mm::new(tag.x_mm, tag.y_mm));
            let (size, quiet) = (tag.size_mm, 2.0);
            // Through the ring's upper, left, right and lower side; the cells
            // between would add edges of their own.
            for along in [0.7, 1.5, size - 1.5] {
                let level =
                    sheet.level_edges(corner.y + along, corner.x - quiet, corner.x + size + quiet);
                let upright = sheet.upright_edges(
                    corner.x + along,
                    corner.y - quiet,
                    corner.y + size + quiet,
                );
                for (edges, start, way) in
                    [(level, corner.x, "across"), (upright, corner.y, "down")]
                {
                    let [first, last] = edges[..] else {
                        panic!("{}, tag {}: edges {way} at {edges:?}", sheet.paper, tag.id);
                    };
                    let what = format!("{}, tag {} {way}: {first} to {last}", sheet.paper, tag.id);
                    assert!((last - first - size).abs() < TRUE_MM, "{what}");
                    assert!((first - start).abs() < TRUE_MM / 2.0, "{what}");
                    assert!((last - start - size).abs() < TRUE_MM / 2.0, "{what}");
                }
            }
        }
    }
}

#[test]
fn both_bars_are_100_mm_long_with_a_tick_every_10() {
    let bar = CardDesign::v1().scale_bar;
    for sheet in sheets() {
        let left = sheet.on_page(Mm::new(bar.x_mm, bar.y_mm));
        let on_card = sheet.level_edges(left.y - 1.5, left.x - 5.0, left.x + bar.length_mm + 5.0);
        // The upright bar is found rather than expected: 2 mm in from the card's
        // edge, anywhere below the card.
        let below = sheet.card.y + CardDesign::v1().height_mm + 8.0;
        let beside = sheet.upright_edges(sheet.card.x + 0.8, below, below + 120.0);
        for (edges, which) in [(on_card, "on the card"), (beside, "beside the text")] {
            let what = format!("{}, {which}: {edges:?}", sheet.paper);
            let ticks: Vec<f64> = edges
                .chunks(2)
                .map(|e| (e[0] + e[e.len() - 1]) / 2.0)
                .collect();
            assert_eq!(edges.len(), 22, "{what}");
            for (index, tick) in ticks.iter().enumerate() {
                let expected = ticks[0] + index as f64 * ScaleBar::STEP_MM;
                assert!((tick - expected).abs() < TRUE_MM, "tick {index}, {what}");
            }
            assert!((ticks[10] - ticks[0] - 100.0).abs() < TRUE_MM, "{what}");
        }
    }
}

#[test]
fn the_reference_detector_reads_the_page() {
    for sheet in sheets() {
        let found = detect(&sheet.grey, PX_PER_MM);
        let ids: Vec<usize> = found.iter().map(|(id, _)| *id).collect();
        assert_eq!(ids, [0, 1, 2, 3], "{}", sheet.paper);
        for ((id, corners), tag) in found.iter().zip(&CardDesign::v1().tags) {
            for (found, expected) in corners.iter().zip(tag.corners_mm()) {
                let off = found.distance(sheet.on_page(expected));
                assert!(off < TRUE_MM, "{}, tag {id}: off by {off} mm", sheet.paper);
            }
        }
    }
}

#[test]
fn the_page_prints_the_patches_as_they_are() {
    for sheet in sheets() {
        for patch in &CardDesign::v1().patches {
            let middle = patch.middle();
            for (dx, dy) in [
                (0.0, 0.0),
                (-6.9, -6.9),
                (6.9, -6.9),
                (6.9, 6.9),
                (-6.9, 6.9),
            ] {
                let place = sheet.on_page(Mm::new(middle.x + dx, middle.y + dy));
                let (x, y) = ((place.x * PX_PER_MM) as u32, (place.y * PX_PER_MM) as u32);
                let found = sheet.colour.get_pixel(x, y).0;
                assert_eq!(
                    found, patch.srgb,
                    "{}, {} {dx} {dy}",
                    sheet.paper, patch.name
                );
            }
        }
    }
}

/// Crop marks stand outside the card, in line with its edges, and nothing comes
/// nearer to the paper's edge than a printer reaches.
#[test]
fn crop_marks_are_in_line_with_the_card_and_printable() {
    let (width, height) = (CardDesign::v1().width_mm, CardDesign::v1().height_mm);
    for sheet in sheets() {
        let Mm { x: left, y: top } = sheet.card;
        for (beside, out) in [(left, -3.0), (left + width, 3.0)] {
            for y in [top, top + height] {
                let mark = sheet.upright_edges(beside + out, y - 1.0, y + 1.0);
                assert_eq!(mark.len(), 2, "{}: level mark at {y}", sheet.paper);
                assert!(((mark[0] + mark[1]) / 2.0 - y).abs() < TRUE_MM);
            }
        }
        for (above, out) in [(top, -3.0), (top + height, 3.0)] {
            for x in [left, left + width] {
                let mark = sheet.level_edges(above + out, x - 1.0, x + 1.0);
                assert_eq!(mark.len(), 2, "{}: upright mark at {x}", sheet.paper);
                assert!(((mark[0] + mark[1]) / 2.0 - x).abs() < TRUE_MM);
            }
        }
        let (columns, rows) = sheet.grey.dimensions();
        // Most printers leave 3 to 5 mm blank (common practice, no source).
        let reach = (5.0 * PX_PER_MM) as u32;
        for (x, y, pixel) in sheet.grey.enumerate_pixels() {
            let inside =
                (reach..columns - reach).contains(&x) && (reach..rows - reach).contains(&y);
            assert!(
                inside || pixel.0 == [255],
                "{}: ink at {x}, {y}",
                sheet.paper
            );
        }
    }
}

/// Renders an SVG with so many pixels a millimetre, from this place on the page.
fn rendered(text: &str, px_per_mm: f64, from: Mm, (width, height): (u32, u32)) -> RgbImage {
    let tree = resvg::usvg::Tree::from_str(text, &resvg::usvg::Options::default()).unwrap();
    // SVG counts 96 px an inch.
    let scale = (px_per_mm * 25.4 / 96.0) as f32;
    let (dx, dy) = (-px_per_mm * from.x, -px_per_mm * from.y);
    let transform =
        resvg::tiny_skia::Transform::from_scale(scale, scale).post_translate(dx as f32, dy as f32);
    let mut canvas = resvg::tiny_skia::Pixmap::new(width, height).unwrap();
    resvg::render(&tree, transform, &mut canvas.as_mut());
    let pixels = canvas.pixels().iter();
    let levels = pixels
        .flat_map(|p| [p.red(), p.green(), p.blue()])
        .collect();
    RgbImage::from_raw(width, height, levels).unwrap()
}

#[test]
fn the_svg_has_the_papers_size_and_shows_the_card_of_the_picture() {
    for (paper, [page_width, page_height], _) in PAPERS {
        let folder = printed(paper);
        let text = fs::read_to_string(folder.path().join("card.svg")).unwrap();
        let size = format!("width=\"{page_width}mm\" height=\"{page_height}mm\"");
        assert!(text.contains(&size), "{paper}");

        let png = image::open(folder.path().join("card.png"))
            .unwrap()
            .into_rgb8();
        let card = Mm::new((page_width - CardDesign::v1().width_mm) / 2.0, CARD_TOP_MM);
        let svg = rendered(&text, 20.0, card, png.dimensions());
        let mut differing = 0;
        for ((x, y, ours), theirs) in png.enumerate_pixels().zip(svg.pixels()) {
            if ours == theirs {
                continue;
            }
            // The SVG's curves are rounded to 1 µm, so on the edges of the bar's
            // words a pixel may fall to the next of the renderer's four levels
            // of cover. Everything else must be equal.
            let off = ours.0[0].abs_diff(theirs.0[0]);
            let in_words = (45 * 20..106 * 20).contains(&x) && (63 * 20..66 * 20).contains(&y);
            assert!(
                in_words && off <= 64,
                "{paper}: {ours:?}, {theirs:?} at {x}, {y}"
            );
            differing += 1;
        }
        // Of some 70,000 pixels there; measured: 228.
        assert!(differing < 700, "{paper}: {differing} pixels differ");
    }
}

/// PDF and SVG are the same page: compared by how much ink lies on each square of
/// 2 mm, so that the two programs may draw edges as they like.
#[test]
fn pdf_and_svg_show_the_same_page() {
    for sheet in sheets() {
        let folder = printed(sheet.paper);
        let text = fs::read_to_string(folder.path().join("card.svg")).unwrap();
        let svg = rendered(&text, PX_PER_MM, Mm::default(), sheet.colour.dimensions());
        let side = (2.0 * PX_PER_MM) as u32;
        let (columns, rows) = (svg.width() / side, svg.height() / side);
        for (column, row) in (0..rows).flat_map(|row| (0..columns).map(move |c| (c, row))) {
            let ink = |page: &RgbImage| {
                let mut sum = 0.0;
                for y in row * side..(row + 1) * side {
                    for x in column * side..(column + 1) * side {
                        sum += f64::from(page.get_pixel(x, y).0.map(u32::from).iter().sum::<u32>());
                    }
                }
                1.0 - sum / f64::from(side * side * 3 * 255)
            };
            let off = (ink(&sheet.colour) - ink(&svg)).abs();
            // Measured: 0.02, where poppler widens thin lines to whole pixels. A
            // single missing letter or tick is 0.1.
            assert!(off < 0.04, "{}: {off} at {column}, {row}", sheet.paper);
        }
    }
}
