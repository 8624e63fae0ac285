//! The numbers of card v1, as data.
//!
//! Places, sizes and colours are those of `calibration/card-v1.json` (a unit test holds the
//! two together, field by field). The tags' cells are facts of the 36h11 family
//! (Olson 2011), printed as the card's contract draws them.

use super::design::{CardDesign, Patch, ScaleBar, Tag};

/// All patches are squares of this side, in mm.
const PATCH_MM: f64 = 14.0;

// One line each, so that it reads as the table it is.
#[rustfmt::skip]
pub(super) static V1: CardDesign = CardDesign {
    width_mm: 190.0,
    height_mm: 70.0,
    tags: [
        tag(0, 5.0, 5.0, [0b001_000, 0b011_010, 0b000_101, 0b000_110, 0b101_110, 0b101_011]),
        tag(1, 161.0, 5.0, [0b100_100, 0b101_101, 0b000_110, 0b001_111, 0b111_010, 0b011_011]),
        tag(2, 161.0, 41.0, [0b011_100, 0b001_000, 0b100_100, 0b000_001, 0b010_010, 0b111_011]),
        tag(3, 5.0, 41.0, [0b000_110, 0b010_011, 0b100_101, 0b111_001, 0b111_000, 0b100_111]),
    ],
    patches: [
        patch("grey-20", (0, 0), (32.0, 5.0), [48, 48, 48], [19.87, 0.0, 0.0]),
        patch("L45h000", (0, 1), (48.0, 5.0), [177, 68, 108], [45.03, 48.09, 0.15]),
        patch("L72h020", (0, 2), (64.0, 5.0), [249, 148, 153], [71.97, 38.49, 13.86]),
        patch("L45h040", (0, 3), (80.0, 5.0), [172, 78, 57], [44.96, 36.97, 30.77]),
        patch("L72h060", (0, 4), (96.0, 5.0), [238, 158, 101], [71.94, 24.13, 41.67]),
        patch("L45h080", (0, 5), (112.0, 5.0), [138, 100, 19], [45.03, 8.07, 47.43]),
        patch("L72h100", (0, 6), (128.0, 5.0), [189, 179, 88], [72.07, -8.49, 47.13]),
        patch("grey-65", (0, 7), (144.0, 5.0), [158, 158, 158], [65.11, 0.01, 0.0]),
        patch("grey-80", (1, 0), (32.0, 21.0), [198, 198, 198], [79.88, 0.01, 0.0]),
        patch("L45h120", (1, 1), (48.0, 21.0), [87, 116, 30], [45.1, -24.12, 41.75]),
        patch("L72h140", (1, 2), (64.0, 21.0), [123, 193, 118], [72.0, -36.96, 30.99]),
        patch("L45h160", (1, 3), (80.0, 21.0), [7, 122, 82], [45.04, -38.91, 14.0]),
        patch("L72h180", (1, 4), (96.0, 21.0), [14, 198, 175], [71.94, -45.93, -0.03]),
        patch("L45h200", (1, 5), (112.0, 21.0), [9, 119, 121], [45.13, -26.17, -9.0]),
        patch("L72h220", (1, 6), (128.0, 21.0), [16, 193, 221], [71.87, -29.72, -25.18]),
        patch("grey-35", (1, 7), (144.0, 21.0), [82, 82, 82], [34.88, 0.0, 0.0]),
        patch("grey-50", (2, 0), (32.0, 37.0), [119, 119, 119], [50.03, 0.0, 0.0]),
        patch("L45h240", (2, 1), (48.0, 37.0), [13, 115, 148], [44.92, -14.28, -25.38]),
        patch("L72h260", (2, 2), (64.0, 37.0), [96, 184, 250], [72.01, -7.1, -40.56]),
        patch("L45h280", (2, 3), (80.0, 37.0), [46, 107, 186], [45.14, 8.15, -47.29]),
        patch("L72h300", (2, 4), (96.0, 37.0), [180, 166, 249], [72.1, 22.67, -39.51]),
        patch("L45h320", (2, 5), (112.0, 37.0), [142, 84, 158], [45.03, 36.8, -30.56]),
        patch("L72h340", (2, 6), (128.0, 37.0), [242, 145, 207], [71.98, 44.88, -16.17]),
        patch("grey-92", (2, 7), (144.0, 37.0), [232, 232, 232], [92.0, 0.01, 0.0]),
    ],
    scale_bar: ScaleBar { x_mm: 45.0, y_mm: 60.0, length_mm: 100.0, tick_mm: 4.0 },
};

const fn tag(id: u8, x_mm: f64, y_mm: f64, cells: [u8; 6]) -> Tag {
    Tag {
        id,
        x_mm,
        y_mm,
        size_mm: 24.0,
        cells,
    }
}

const fn patch(
    name: &'static str,
    (row, column): (u8, u8),
    (x_mm, y_mm): (f64, f64),
    srgb: [u8; 3],
    lab_d65: [f64; 3],
) -> Patch {
    Patch {
        name,
        row,
        column,
        x_mm,
        y_mm,
        width_mm: PATCH_MM,
        height_mm: PATCH_MM,
        srgb,
        lab_d65,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::V1;
    use serde_json::{Value, json};

    /// The JSON is what other programs read; the two must never drift apart.
    #[test]
    fn agrees_with_the_json_in_every_field() {
        let file: Value =
            serde_json::from_str(include_str!("../../calibration/card-v1.json")).unwrap();
        let tags: Vec<Value> = V1
            .tags
            .iter()
            .map(|t| json!({"id": t.id, "x_mm": t.x_mm, "y_mm": t.y_mm, "size_mm": t.size_mm}))
            .collect();
        let patches: Vec<Value> = V1
            .patches
            .iter()
            .map(|p| {
                json!({
                    "name": p.name, "row": p.row, "column": p.column,
                    "x_mm": p.x_mm, "y_mm": p.y_mm,
                    "width_mm": p.width_mm, "height_mm": p.height_mm,
                    "srgb": p.srgb, "lab_d65": p.lab_d65,
                })
            })
            .collect();
        let bar = &V1.scale_bar;
        let ours = json!({
            "card": "v1",
            "width_mm": V1.width_mm, "height_mm": V1.height_mm,
            "tag_family": "36h11",
            "tags": tags,
            "patches": patches,
            "scale_bar": {
                "x_mm": bar.x_mm, "y_mm": bar.y_mm,
                "length_mm": bar.length_mm, "tick_mm": bar.tick_mm,
            },
            "notes": file["notes"],
        });
        assert_eq!(ours, file);
    }
}
