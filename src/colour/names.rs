//! Names for colours that nobody taught us: the ISCC-NBS system (NBS Circular 553, 1955).
//!
//! The system divides surface colours into 267 named blocks. We carry one colour a name
//! (`iscc-nbs.csv`, with its origin in the header) and take the nearest in dE00. That is
//! near the block's middle what the system says, and near its borders only roughly so.

use std::sync::LazyLock;

use super::lab::{de00, lab_from_srgb8};

/// One of the 267 names.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColourName {
    /// Number in the system, 1..=267.
    pub number: u16,
    /// Lower-case name, such as `vivid red`.
    pub name: &'static str,
    /// The name's colour, CIELAB D65.
    pub lab: [f64; 3],
}

static NAMES: LazyLock<Vec<ColourName>> = LazyLock::new(|| {
    include_str!("iscc-nbs.csv")
        .lines()
        .filter_map(parse_row)
        .collect()
});

/// Reads `number,name,#rrggbb`; header and comment lines give `None`.
fn parse_row(line: &'static str) -> Option<ColourName> {
    let mut fields = line.split(',');
    let number = fields.next()?.parse().ok()?;
    let name = fields.next()?;
    let hex = u32::from_str_radix(fields.next()?.strip_prefix('#')?, 16).ok()?;
    let [_, r, g, b] = hex.to_be_bytes();
    Some(ColourName {
        number,
        name,
        lab: lab_from_srgb8([r, g, b]),
    })
}

/// All names with their colours, in the system's order.
pub fn all() -> &'static [ColourName] {
    &NAMES
}

/// The ISCC-NBS name whose colour is nearest in dE00 to `lab` (CIELAB D65).
///
/// A colour that is not a number has no nearest name and is called `unnamed`.
pub fn name_of(lab: [f64; 3]) -> &'static str {
    NAMES
        .iter()
        .map(|entry| (de00(entry.lab, lab), entry.name))
        .filter(|(distance, _)| distance.is_finite())
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or("unnamed", |(_, name)| name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn the_table_is_whole() {
        assert_eq!(all().len(), 267);
        let names: HashSet<_> = all().iter().map(|entry| entry.name).collect();
        assert_eq!(names.len(), 267);
        for (entry, number) in all().iter().zip(1..) {
            assert_eq!(entry.number, number);
            assert!(
                entry
                    .name
                    .chars()
                    .all(|c| c.is_ascii_lowercase() || c == ' '),
                "{}",
                entry.name
            );
        }
    }

    #[test]
    fn every_centroid_names_itself() {
        for entry in all() {
            assert_eq!(name_of(entry.lab), entry.name);
        }
    }

    /// Hex values as color-name-lists 3.33.2 gives them, read here a second time by hand.
    #[test]
    fn well_known_names() {
        assert_eq!(name_of(lab_from_srgb8([0xbe, 0x00, 0x32])), "vivid red");
        assert_eq!(name_of(lab_from_srgb8([0xf3, 0xc3, 0x00])), "vivid yellow");
        assert_eq!(name_of(lab_from_srgb8([0x22, 0x22, 0x22])), "black");
        assert_eq!(name_of([97.0, 0.0, 0.0]), "white");
        assert_eq!(name_of([f64::NAN, 0.0, 0.0]), "unnamed");
    }
}
