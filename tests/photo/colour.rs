//! Colour: profiles against outside numbers.

use super::*;

/// A sample's code values, and what they are in linear light with sRGB primaries:
/// by Display P3's definition, and as the A2B table of one sample can hold it.
struct Row {
    codes: [u8; 3],
    defined: [f64; 3],
    by_table: [f64; 3],
}

/// The table by colour-science, one row a pixel of the samples.
fn p3_table() -> Vec<Row> {
    let text = std::fs::read_to_string(sample("display-p3-to-linear-srgb.csv")).unwrap();
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let rows = reader.deserialize::<(u8, u8, u8, f64, f64, f64, f64, f64, f64)>();
    rows.map(|row| {
        let (r8, g8, b8, r, g, b, table_r, table_g, table_b) = row.unwrap();
        Row {
            codes: [r8, g8, b8],
            defined: [r, g, b],
            by_table: [table_r, table_g, table_b],
        }
    })
    .collect()
}

/// Against colour-science (see the table's head). 2e-4 of full scale: the profiles
/// state their colorants in steps of 1/65536, which the matrix enlarges threefold,
/// and a tabulated curve is straight between its 1024 points. 5e-4 by a colour table,
/// where `moxcms` documents steps of 14 bits (6e-5), enlarged in the same way twice.
#[test]
fn display_p3_keeps_its_gamut_by_curve_table_and_colour_table() {
    let table = p3_table();
    assert_eq!(table.len(), 32);
    for (name, tolerance) in [("curve", 2e-4), ("table-curve", 2e-4), ("a2b", 5e-4)] {
        let photo = open(&format!("p3-samples-{name}.png"));
        assert!(photo.source.notes.is_empty(), "{name}");
        let mut beyond = 0;
        for (col, row) in table.iter().enumerate() {
            let expected = if name == "a2b" {
                row.by_table
            } else {
                row.defined
            };
            for (seen, expected) in photo.pixels.at(0, col).iter().zip(expected) {
                let difference = (f64::from(*seen) - expected).abs();
                assert!(
                    difference < tolerance,
                    "{name} {:?}: {seen} {expected}",
                    row.codes
                );
                beyond += usize::from(!(0.0..=1.0).contains(&expected));
            }
        }
        assert!(beyond > 10, "{name} has to hold colours outside sRGB");
    }
    assert_eq!(open("p3-samples-a2b.png").source.profile, "A2B-only P3");
}

/// Display P3's corners in linear sRGB as the matrices of CSS Color 4 (W3C, sample
/// code for colour conversions: `lin_P3_to_XYZ`, `XYZ_to_lin_sRGB`) give them.
#[test]
fn display_p3_corners_agree_with_css_color_4() {
    let photo = open("p3-samples-curve.png");
    let table = p3_table();
    for (codes, expected) in [
        ([255, 0, 0], [1.224_940, -0.042_057, -0.019_638]),
        ([0, 255, 0], [-0.224_940, 1.042_057, -0.078_636]),
        ([0, 0, 255], [0.0, 0.0, 1.098_274]),
        ([255, 255, 255], [1.0, 1.0, 1.0]),
    ] {
        let col = table.iter().position(|row| row.codes == codes).unwrap();
        for (seen, expected) in photo.pixels.at(0, col).iter().zip(expected) {
            assert!(
                (f64::from(*seen) - expected).abs() < 2e-4,
                "{codes:?} {seen} {expected}"
            );
        }
    }
}

/// 8-bit sRGB by IEC 61966-2-1; decode(0.5) = 0.2140411 by colour-science 0.4.7
/// lies between codes 127 and 128.
#[test]
fn untagged_pictures_are_srgb() {
    let ramp = RgbImage::from_fn(256, 1, |x, _| image::Rgb([x as u8; 3]));
    let photo = opened(&encoded(&ramp.into())).unwrap();
    assert_eq!(photo.source.profile, "untagged, read as sRGB");
    let light = |code: usize| f64::from(photo.pixels.at(0, code)[0]);
    assert_eq!((light(0), light(255)), (0.0, 1.0));
    assert!(((light(127) + light(128)) / 2.0 - 0.214_041_1).abs() < 5e-6);
    // The straight piece near black.
    assert!((light(10) - 10.0 / 255.0 / 12.92).abs() < 1e-8);
}

/// Puts a chunk behind the header chunk of a PNG; the check sum of a chunk that
/// the decoder does not need may be anything.
fn with_chunk(png: &[u8], name: &[u8; 4], data: &[u8]) -> Vec<u8> {
    let length = u32::try_from(data.len()).unwrap().to_be_bytes();
    let chunk = [&length, name.as_slice(), data].concat();
    let sum = crc32(&chunk[4..]).to_be_bytes();
    [&png[..33], &chunk, &sum, &png[33..]].concat()
}

#[test]
fn png_colour_chunks_are_honoured() {
    let flag = bytes("flag-24x16-turn-1.png");
    assert_eq!(
        opened(&with_chunk(&flag, b"sRGB", &[0]))
            .unwrap()
            .source
            .profile,
        "sRGB"
    );
    let p3 = opened(&with_chunk(&flag, b"cICP", &[12, 13, 0, 1])).unwrap();
    assert_eq!(p3.source.profile, "Display P3");
    assert!(p3.pixels.at(4, 4)[0] > open("flag-24x16-turn-1.png").pixels.at(4, 4)[0]);
    let pq = problem(opened(&with_chunk(&flag, b"cICP", &[9, 16, 0, 1])));
    assert!(matches!(pq, Problem::HighDynamicRange("PQ")), "{pq}");
    let linear = opened(&with_chunk(&flag, b"gAMA", &100_000_u32.to_be_bytes())).unwrap();
    assert_eq!(linear.source.notes, [Note::GammaIgnored]);
    let usual = opened(&with_chunk(&flag, b"gAMA", &45_455_u32.to_be_bytes())).unwrap();
    assert!(usual.source.notes.is_empty());
}

#[test]
fn a_broken_profile_is_read_as_srgb_and_said() {
    let flag = image::open(sample("flag-24x16-turn-1.png"))
        .unwrap()
        .into_rgb8();
    let mut spoilt = Cursor::new(Vec::new());
    let mut encoder = image::codecs::png::PngEncoder::new(&mut spoilt);
    encoder.set_icc_profile(b"not a profile".to_vec()).unwrap();
    encoder
        .write_image(&flag, 24, 16, image::ExtendedColorType::Rgb8)
        .unwrap();
    let photo = opened(&spoilt.into_inner()).unwrap();
    assert_flag(&photo, 0.0, "broken profile");
    assert_eq!(photo.source.notes, [Note::BrokenProfile]);
    assert_eq!(photo.source.profile, "broken profile, read as sRGB");

    // One of two profile segments of a JPEG is missing.
    let jpeg = bytes("flag-24x16-turn-1.jpg");
    let half = [
        &jpeg[..2],
        b"\xFF\xE2\x00\x14ICC_PROFILE\0\x01\x02half",
        &jpeg[2..],
    ]
    .concat();
    assert_eq!(opened(&half).unwrap().source.notes, [Note::BrokenProfile]);
}
