//! Turns, formats, identity.

use super::*;

#[test]
fn all_eight_turns_come_out_upright() {
    let mut hashes = Vec::new();
    for turn in 1..=8 {
        let png = open(&format!("flag-24x16-turn-{turn}.png"));
        assert_flag(&png, 0.0, &format!("PNG turn {turn}"));
        assert_eq!(png.source.orientation, turn);
        assert_eq!(png.source.format, Format::Png);
        hashes.push(png.hash);

        // JPEG at quality 98, flat blocks: two levels of rounding in YCbCr and DCT.
        let jpeg = open(&format!("flag-24x16-turn-{turn}.jpg"));
        assert_flag(&jpeg, 2.0, &format!("JPEG turn {turn}"));
        assert_eq!(jpeg.source.orientation, turn);
        assert_eq!(jpeg.source.format, Format::Jpeg);
    }
    // Turned without loss and said so: the same photo.
    assert!(
        hashes.windows(2).all(|pair| pair[0] == pair[1]),
        "{hashes:?}"
    );
}

#[test]
fn the_hash_is_of_size_and_upright_pixels() {
    use sha2::{Digest, Sha256};
    let mut plain = [24_u32.to_le_bytes(), 16_u32.to_le_bytes()].concat();
    for row in 0..16 {
        for col in 0..24 {
            plain.extend(FLAG[row / 8][col / 8].map(|level| level as u8));
        }
    }
    let expected: String = Sha256::digest(&plain)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect();
    assert_eq!(open("flag-24x16-turn-6.png").hash, expected);
}

#[test]
fn a_renamed_or_retagged_copy_is_the_same_photo() {
    let original = open("flag-24x16-turn-1.jpg");
    let bytes = bytes("flag-24x16-turn-1.jpg");
    // A comment segment right behind the start-of-image marker.
    let retagged = [
        &bytes[..2],
        b"\xFF\xFE\x00\x0Bat low tide"[..13].as_ref(),
        &bytes[2..],
    ]
    .concat();
    let copy = photo::from_bytes("elsewhere/copy.png", &retagged, &ANY_SIZE).unwrap();
    assert_eq!(copy.hash, original.hash);
    assert_eq!(copy.file, "copy.png");
    assert_eq!(
        copy.source.format,
        Format::Jpeg,
        "content decides, not the name"
    );

    // Another profile on the same pixels: the same hash, other light.
    let (p3, plain) = (open("p3-samples-curve.png"), open("p3-samples-a2b.png"));
    assert_eq!(p3.hash, plain.hash);
    // One pixel's lowest bit: another photo.
    let mut changed = image::open(sample("flag-24x16-turn-1.png"))
        .unwrap()
        .into_rgb8();
    changed.get_pixel_mut(3, 3).0[2] ^= 1;
    let changed = opened(&encoded(&DynamicImage::ImageRgb8(changed))).unwrap();
    assert_ne!(changed.hash, open("flag-24x16-turn-1.png").hash);
}

#[test]
fn focal_length_is_read_where_it_is() {
    for name in ["flag-24x16-turn-6.jpg", "flag-24x16-turn-6.png"] {
        assert_eq!(open(name).focal_35mm, Some(26.0), "{name}");
    }
    assert_eq!(open("flag-24x16-turn-1.jpg").focal_35mm, None);
}

#[test]
fn other_ways_of_coding_read_the_same() {
    for name in ["flag-24x16-progressive.jpg", "flag-24x16-restarts.jpg"] {
        assert_flag(&open(name), 2.0, name);
    }
    assert_flag(&open("flag-24x16-palette.png"), 0.0, "palette");
    // The weights of Pillow's grey: ITU-R BT.601, rounded down; one level for each rounding.
    for name in ["flag-24x16-grey.png", "flag-24x16-grey.jpg"] {
        let photo = open(name);
        for (row, col) in [(4, 4), (4, 12), (4, 20), (12, 4), (12, 12), (12, 20)] {
            let [r, g, b] = FLAG[row / 8][col / 8];
            let grey = 0.299 * r + 0.587 * g + 0.114 * b;
            for level in srgb8(&photo, row, col) {
                assert!((level - grey).abs() <= 2.0, "{name} {level} {grey}");
            }
        }
    }
}

#[test]
fn sixteen_bits_and_alpha_are_read_as_they_are_meant() {
    let flag = image::open(sample("flag-24x16-turn-1.png")).unwrap();
    let eight = opened(&encoded(&flag)).unwrap();

    let sixteen = opened(&encoded(&DynamicImage::ImageRgb16(flag.to_rgb16()))).unwrap();
    assert_flag(&sixteen, 0.0, "16 bits");
    assert_eq!(sixteen.hash, eight.hash);
    assert_eq!(sixteen.clipped, eight.clipped);
    // A step of 16 bits is seen, though it is far below one of 8.
    let mut finer = flag.to_rgb16();
    finer.get_pixel_mut(0, 0).0[0] += 40;
    let finer = opened(&encoded(&DynamicImage::ImageRgb16(finer))).unwrap();
    assert!(finer.pixels.at(0, 0)[0] > sixteen.pixels.at(0, 0)[0]);
    assert_eq!(finer.hash, eight.hash);

    let opaque = opened(&encoded(&DynamicImage::ImageRgba8(flag.to_rgba8()))).unwrap();
    assert_flag(&opaque, 0.0, "opaque");
    assert!(opaque.source.notes.is_empty());
    for see_through in [
        DynamicImage::ImageRgba8(flag.to_rgba8()),
        DynamicImage::ImageRgba16(flag.to_rgba16()),
        DynamicImage::ImageLumaA8(flag.to_luma_alpha8()),
    ] {
        let mut picture = see_through.to_rgba16();
        picture.pixels_mut().for_each(|pixel| pixel.0[3] = 0);
        let picture = match see_through {
            DynamicImage::ImageRgba8(_) => DynamicImage::ImageRgba16(picture).to_rgba8().into(),
            DynamicImage::ImageLumaA8(_) => {
                DynamicImage::ImageRgba16(picture).to_luma_alpha8().into()
            }
            _ => DynamicImage::ImageRgba16(picture),
        };
        let photo = opened(&encoded(&picture)).unwrap();
        assert_eq!(srgb8(&photo, 12, 12), [255.0; 3], "laid on white");
        assert_eq!(photo.source.notes, [Note::Transparent]);
    }
}

#[test]
fn clipped_pixels_are_known_by_the_files_own_values() {
    let mut picture = RgbImage::from_pixel(4, 2, image::Rgb([100, 100, 100]));
    picture.put_pixel(1, 0, image::Rgb([254, 100, 100]));
    picture.put_pixel(3, 1, image::Rgb([100, 100, 1]));
    let photo = opened(&encoded(&picture.into())).unwrap();
    for row in 0..2 {
        for col in 0..4 {
            assert_eq!(photo.clipped.high(row, col), (row, col) == (0, 1));
            assert_eq!(photo.clipped.low(row, col), (row, col) == (1, 3));
        }
    }
}

/// The turn that a file states is EXIF's, whose inverse painted the sample.
#[test]
fn exif_turns_mean_what_image_says() {
    let upright = image::open(sample("flag-24x16-turn-1.png")).unwrap();
    for turn in 1..=8 {
        let mut stored = image::open(sample(&format!("flag-24x16-turn-{turn}.png"))).unwrap();
        stored.apply_orientation(Orientation::from_exif(turn).unwrap());
        assert_eq!(stored.to_rgb8(), upright.to_rgb8(), "{turn}");
    }
}
