//! A drawing as a one-page PDF of true size.

use crate::drawing::{Drawing, Ink, Outline, Segment, Shape};
use crate::units::Mm;
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, TextStr};

const MM_PER_INCH: f64 = 25.4;
const POINTS_PER_INCH: f64 = 72.0;

/// How hard the page's contents are packed, 0 to 10; the file is small either way.
const PACKING: u8 = 8;

/// Writes a drawing as PDF. The same drawing gives the same bytes: the file holds
/// no date and no random name.
///
/// The page has the drawing's size, and the file asks the printing program not to
/// scale it (a program may ignore that, which is why the card has a bar to check).
pub fn pdf(drawing: &Drawing, title: &str) -> Vec<u8> {
    let [catalog_id, pages_id, page_id, content_id, info_id] = [1, 2, 3, 4, 5].map(Ref::new);
    let page_size = Rect::new(
        0.0,
        0.0,
        points(drawing.width_mm),
        points(drawing.height_mm),
    );

    let mut pdf = Pdf::new();
    let mut catalog = pdf.catalog(catalog_id);
    catalog.pages(pages_id).lang(TextStr("en"));
    let mut preferences = catalog.viewer_preferences();
    preferences.display_doc_title(true);
    preferences.pair(Name(b"PrintScaling"), Name(b"None"));
    preferences.pair(Name(b"PickTrayByPDFSize"), true);
    preferences.pair(Name(b"Duplex"), Name(b"Simplex"));
    preferences.finish();
    catalog.finish();

    pdf.pages(pages_id).kids([page_id]).count(1);
    let mut page = pdf.page(page_id);
    page.parent(pages_id)
        .media_box(page_size)
        .contents(content_id);
    page.resources();
    page.finish();

    let packed = miniz_oxide::deflate::compress_to_vec_zlib(&content(drawing), PACKING);
    pdf.stream(content_id, &packed).filter(Filter::FlateDecode);
    pdf.document_info(info_id)
        .title(TextStr(title))
        .creator(TextStr("cuptally"));
    pdf.finish()
}

fn points(mm: f64) -> f32 {
    (mm / MM_PER_INCH * POINTS_PER_INCH) as f32
}

fn content(drawing: &Drawing) -> Vec<u8> {
    let mut content = Content::new();
    // From here on in mm, from the top left, y down, as the drawing is.
    let scale = points(1.0);
    content.transform([scale, 0.0, 0.0, -scale, 0.0, points(drawing.height_mm)]);
    let mut ink = None;
    for shape in &drawing.shapes {
        if ink != Some(shape.ink) {
            set_ink(&mut content, shape.ink);
            ink = Some(shape.ink);
        }
        fill(&mut content, shape);
    }
    content.finish().into_vec()
}

fn set_ink(content: &mut Content, ink: Ink) {
    match ink {
        // Black alone, not a mix of all inks: sharp, and matt on most printers.
        Ink::BLACK => content.set_fill_gray(0.0),
        Ink(levels) => {
            let [red, green, blue] = levels.map(|level| f32::from(level) / 255.0);
            content.set_fill_rgb(red, green, blue)
        }
    };
}

fn fill(content: &mut Content, shape: &Shape) {
    match &shape.outline {
        Outline::Rect {
            corner,
            width_mm,
            height_mm,
        } => {
            let (x, y) = xy(*corner);
            content.rect(x, y, micrometre(*width_mm), micrometre(*height_mm));
        }
        Outline::Path(segments) => {
            let mut pen = Mm::default();
            for segment in segments {
                pen = step(content, pen, *segment);
            }
        }
    }
    content.fill_nonzero();
}

/// Writes one step of a path from `pen`, and gives where it ends.
fn step(content: &mut Content, pen: Mm, segment: Segment) -> Mm {
    match segment {
        Segment::Move(p) => {
            let (x, y) = xy(p);
            content.move_to(x, y);
            p
        }
        Segment::Line(p) => {
            let (x, y) = xy(p);
            content.line_to(x, y);
            p
        }
        // PDF has cubic curves only; the same curve has its control points two
        // thirds of the way to the quadratic one's.
        Segment::Quad(c, p) => {
            let towards =
                |from: Mm| Mm::new((from.x + 2.0 * c.x) / 3.0, (from.y + 2.0 * c.y) / 3.0);
            step(content, pen, Segment::Cubic(towards(pen), towards(p), p))
        }
        Segment::Cubic(a, b, p) => {
            let ((ax, ay), (bx, by), (x, y)) = (xy(a), xy(b), xy(p));
            content.cubic_to(ax, ay, bx, by, x, y);
            p
        }
        Segment::Close => {
            content.close_path();
            pen
        }
    }
}

fn xy(place: Mm) -> (f32, f32) {
    (micrometre(place.x), micrometre(place.y))
}

/// Rounded to 1 µm, which no printer can show and which keeps the numbers short.
fn micrometre(mm: f64) -> f32 {
    ((mm * 1000.0).round() / 1000.0) as f32
}
