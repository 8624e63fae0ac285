//! Words as outlines, so that a print looks the same whatever fonts a reader has.

use super::{DrawingError, Ink, Outline, Segment, Shape};
use crate::units::Mm;
use ttf_parser::gpos::{PairAdjustment, PositioningSubtable};
use ttf_parser::{Face, GlyphId, OutlineBuilder, Tag};

/// How heavy the letters are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weight {
    /// For text.
    Regular,
    /// For headings.
    SemiBold,
}

/// How a line of words is set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Style {
    /// How heavy.
    pub weight: Weight,
    /// The em, in mm: capitals are 0.7 of it, small letters 0.5.
    pub size_mm: f64,
    /// Colour.
    pub ink: Ink,
}

/// The two built-in fonts, ready to set words.
pub struct Lettering {
    regular: Face<'static>,
    semi_bold: Face<'static>,
}

impl Lettering {
    /// Reads the built-in fonts.
    ///
    /// # Errors
    /// [`DrawingError::Lettering`] when a font in this build is damaged.
    pub fn load() -> Result<Self, DrawingError> {
        Ok(Self {
            regular: Face::parse(include_bytes!("font/figtree-regular.ttf"), 0)?,
            semi_bold: Face::parse(include_bytes!("font/figtree-semibold.ttf"), 0)?,
        })
    }

    /// How long a line of words is, in mm.
    pub fn width_mm(&self, words: &str, style: Style) -> f64 {
        let (face, scale) = self.face(style);
        let (_, advance) = set(face, words);
        advance * scale
    }

    /// A line of words, its baseline starting at `at`.
    pub fn line(&self, words: &str, style: Style, at: Mm) -> Shape {
        let (face, scale) = self.face(style);
        let place = |p: Mm| Mm::new(at.x + p.x * scale, at.y - p.y * scale);
        shape(face, words, style.ink, place)
    }

    /// A line of words that reads upwards, its baseline starting at `at`.
    pub fn line_upwards(&self, words: &str, style: Style, at: Mm) -> Shape {
        let (face, scale) = self.face(style);
        let place = |p: Mm| Mm::new(at.x - p.y * scale, at.y - p.x * scale);
        shape(face, words, style.ink, place)
    }

    /// Breaks words into lines no longer than `width_mm` (a single longer word
    /// keeps its own line). Breaks at plain spaces only, so a no-break space keeps
    /// a number with its unit.
    pub fn wrap(&self, words: &str, style: Style, width_mm: f64) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        for word in words.split(' ') {
            if let Some(line) = lines.last_mut() {
                let longer = format!("{line} {word}");
                if self.width_mm(&longer, style) <= width_mm {
                    *line = longer;
                    continue;
                }
            }
            lines.push(word.to_owned());
        }
        lines
    }

    /// Whether both fonts can draw this character.
    pub fn has(&self, character: char) -> bool {
        let drawn = |face: &Face<'_>| face.glyph_index(character).is_some();
        drawn(&self.regular) && drawn(&self.semi_bold)
    }

    fn face(&self, style: Style) -> (&Face<'static>, f64) {
        let face = match style.weight {
            Weight::Regular => &self.regular,
            Weight::SemiBold => &self.semi_bold,
        };
        (face, style.size_mm / f64::from(face.units_per_em()))
    }
}

/// Glyphs with the place of their origin along the line, and the whole line's
/// length, in font units.
fn set(face: &Face<'_>, words: &str) -> (Vec<(GlyphId, f64)>, f64) {
    let mut glyphs: Vec<(GlyphId, f64)> = Vec::new();
    let mut x = 0.0;
    for character in words.chars() {
        // Glyph 0 is the box that stands for a missing character.
        let glyph = face.glyph_index(character).unwrap_or_default();
        if let Some((before, _)) = glyphs.last() {
            x += f64::from(kerning(face, *before, glyph));
        }
        glyphs.push((glyph, x));
        x += f64::from(face.glyph_hor_advance(glyph).unwrap_or(0));
    }
    (glyphs, x)
}

fn shape(face: &Face<'_>, words: &str, ink: Ink, place: impl Fn(Mm) -> Mm) -> Shape {
    let mut pen = Pen::default();
    for (glyph, x) in set(face, words).0 {
        pen.x = x;
        face.outline_glyph(glyph, &mut pen);
    }
    let segments = pen.segments.iter().map(|s| s.map(&place)).collect();
    Shape {
        outline: Outline::Path(segments),
        ink,
        words: Some(words.to_owned()),
    }
}

/// How much nearer (negative) or further `right` stands to `left`, in font units:
/// the first matching pair of the font's `kern` feature.
fn kerning(face: &Face<'_>, left: GlyphId, right: GlyphId) -> i16 {
    let kern = || {
        let table = face.tables().gpos?;
        let feature = table.features.find(Tag::from_bytes(b"kern"))?;
        let mut lookups = feature.lookup_indices.into_iter();
        lookups.find_map(|index| {
            let lookup = table.lookups.get(index)?;
            let mut subtables = lookup.subtables.into_iter::<PositioningSubtable<'_>>();
            subtables.find_map(|subtable| match subtable {
                PositioningSubtable::Pair(pairs) => pair(&pairs, left, right),
                _ => None,
            })
        })
    };
    kern().unwrap_or(0)
}

fn pair(pairs: &PairAdjustment<'_>, left: GlyphId, right: GlyphId) -> Option<i16> {
    let index = pairs.coverage().get(left)?;
    let (first, _) = match pairs {
        PairAdjustment::Format1 { sets, .. } => sets.get(index)?.get(right)?,
        PairAdjustment::Format2 {
            classes, matrix, ..
        } => matrix.get((classes.0.get(left), classes.1.get(right)))?,
    };
    Some(first.x_advance)
}

/// Collects a glyph's outline, `x` font units along the line.
#[derive(Default)]
struct Pen {
    segments: Vec<Segment>,
    x: f64,
}

impl Pen {
    fn at(&self, x: f32, y: f32) -> Mm {
        Mm::new(self.x + f64::from(x), f64::from(y))
    }
}

impl OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.segments.push(Segment::Move(self.at(x, y)));
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.segments.push(Segment::Line(self.at(x, y)));
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let segment = Segment::Quad(self.at(x1, y1), self.at(x, y));
        self.segments.push(segment);
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let segment = Segment::Cubic(self.at(x1, y1), self.at(x2, y2), self.at(x, y));
        self.segments.push(segment);
    }

    fn close(&mut self) {
        self.segments.push(Segment::Close);
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    const fn style(weight: Weight) -> Style {
        Style {
            weight,
            size_mm: 1000.0,
            ink: Ink::BLACK,
        }
    }

    /// Lengths in thousandths of an em, shaped with HarfBuzz (uharfbuzz) and the
    /// same two fonts; without kerning the first would be 9157 and 9352. The last two
    /// hold letters of both parts that the fonts are joined from.
    #[test]
    fn sets_words_as_long_as_another_shaper() {
        let lettering = Lettering::load().unwrap();
        for (words, regular, semi_bold) in [
            ("To the Tide, 7.4 AVA", 9009.0, 9160.0),
            ("Wharf: “Ty” – 100 %", 8733.0, 8978.0),
            (
                "this bar is 100 mm long: check it with a ruler",
                19574.0,
                19963.0,
            ),
            ("Grün-Weiß: 2×4 … Tüte", 10286.0, 10501.0),
            ("Řeka Łódź Tęcza", 7468.0, 7552.0),
        ] {
            let width = |weight| lettering.width_mm(words, style(weight));
            assert_eq!(width(Weight::Regular), regular, "{words}");
            assert_eq!(width(Weight::SemiBold), semi_bold, "{words}");
        }
    }

    #[test]
    fn a_character_that_the_fonts_lack_is_seen_as_a_box() {
        let lettering = Lettering::load().unwrap();
        for weight in [Weight::Regular, Weight::SemiBold] {
            for missing in ["潮", "ш", "🦀"] {
                let missing = lettering.line(missing, style(weight), Mm::new(0.0, 0.0));
                let Outline::Path(box_of_missing) = missing.outline else {
                    unreachable!()
                };
                assert!(box_of_missing.len() > 4, "nothing is drawn");
            }
        }
        let all = (' '..='~').chain('\u{a0}'..='\u{17e}');
        // As the font's README says: the soft hyphen, and letters of rarer alphabets.
        let lacking = "\u{ad}ĔĕĨĩĬĭĸĿŀŉŎŏŢţŦŧŨũ";
        for character in all.chain("‘’‚“”„‹›–—…•€™↑↓−".chars()) {
            let has = lettering.has(character);
            assert_eq!(has, !lacking.contains(character), "{character}");
        }
    }

    #[test]
    fn wraps_at_spaces_and_keeps_units_with_their_numbers() {
        let lettering = Lettering::load().unwrap();
        let em = style(Weight::Regular);
        let words = "keep 3\u{a0}mm of white";
        let fits = lettering.width_mm("keep 3\u{a0}mm", em);
        assert_eq!(
            lettering.wrap(words, em, fits),
            ["keep 3\u{a0}mm", "of white"]
        );
        let lines = lettering.wrap(words, em, fits - 1.0);
        assert_eq!(lines, ["keep", "3\u{a0}mm of", "white"]);
        // Nothing is lost even where nothing fits.
        assert_eq!(
            lettering.wrap(words, em, 0.0),
            ["keep", "3\u{a0}mm", "of", "white"]
        );
    }

    #[test]
    fn words_that_read_upwards_are_the_level_ones_turned() {
        let lettering = Lettering::load().unwrap();
        let at = Mm::new(30.0, 40.0);
        let level = lettering.line("tide", style(Weight::Regular), at);
        let upwards = lettering.line_upwards("tide", style(Weight::Regular), at);
        let turn = |p: Mm| Mm::new(at.x + (p.y - at.y), at.y - (p.x - at.x));
        let (Outline::Path(level), Outline::Path(upwards)) = (level.outline, upwards.outline)
        else {
            unreachable!()
        };
        assert_eq!(level.len(), upwards.len());
        for (level, upwards) in level.iter().zip(&upwards) {
            // Equal but for rounding of sums.
            let close = |a: Mm, b: Mm| assert!(a.distance(b) < 1e-9);
            match (level.map(turn), *upwards) {
                (Segment::Move(a), Segment::Move(b)) | (Segment::Line(a), Segment::Line(b)) => {
                    close(a, b);
                }
                (Segment::Quad(a, p), Segment::Quad(b, q)) => {
                    close(a, b);
                    close(p, q);
                }
                (a, b) => assert_eq!(a, b),
            }
        }
    }
}
