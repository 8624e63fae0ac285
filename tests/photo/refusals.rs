//! What is refused, and that nothing gets past.

use super::*;

#[test]
fn every_refusal_names_the_file_the_fault_and_the_remedy() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    };
    let flag = bytes("flag-24x16-turn-1.png");
    for (path, words) in [
        (folder.path().join("gone.jpg"), "no such file"),
        (folder.path().to_owned(), "is a folder"),
        (write("empty.jpg", b""), "is empty"),
        (
            write("text.jpg", b"High water 06:12, low water 12:31."),
            "not a JPEG, PNG or HEIC",
        ),
        (write("web.jpg", b"RIFF\x24\0\0\0WEBPVP8 "), "WebP"),
        (write("small.png", &flag), "only 24 x 16 pixels"),
        (write("cmyk.jpg", &bytes("flag-24x16-cmyk.jpg")), "CMYK"),
        (
            write("cut.png", &flag[..flag.len() - 20]),
            "ends before its picture",
        ),
        (write("long.jpg", &[0xFF; 2000]), "the limit is 1 MB"),
    ] {
        let limits = Limits {
            max_file_bytes: 1500,
            min_side: if words == "CMYK" { 1 } else { 200 },
            ..Limits::default()
        };
        let text = photo::open(&path, &limits).unwrap_err().to_string();
        assert!(text.contains(&path.display().to_string()), "{text}");
        assert!(text.contains(words), "{text}");
        assert!(
            text.contains("; ") && !text.contains('\n'),
            "what to do: {text}"
        );
    }
}

#[cfg(unix)]
#[test]
fn devices_and_closed_files_are_refused() {
    let device = photo::open("/dev/zero".as_ref(), &Limits::default());
    assert!(matches!(problem(device), Problem::NotAFile));
    // A file as a folder: found in the way, not missing.
    let inside = photo::open(&sample("flag-24x16-turn-1.png/x.jpg"), &Limits::default());
    assert!(matches!(problem(inside), Problem::Unreadable(_)));
}

#[test]
fn bombs_are_refused_by_their_header() {
    // 60 000 x 60 000 in a file of a hundred bytes, header check sum and all.
    let mut png = bytes("flag-24x16-palette.png");
    png[16..20].copy_from_slice(&60_000_u32.to_be_bytes());
    png[20..24].copy_from_slice(&60_000_u32.to_be_bytes());
    let sum = crc32(&png[12..29]).to_be_bytes();
    png[29..33].copy_from_slice(&sum);
    let mut jpeg = bytes("flag-24x16-turn-1.jpg");
    let frame = jpeg.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap();
    jpeg[frame + 5..frame + 9].copy_from_slice(&[0xEA, 0x60, 0xEA, 0x60]);
    for bomb in [png, jpeg] {
        let refused = problem(photo::from_bytes("bomb", &bomb, &Limits::default()));
        let Problem::TooLarge { width, height, .. } = refused else {
            panic!("{refused}");
        };
        assert_eq!((width, height), (60_000, 60_000));
    }
}

/// Cut at every twentieth of its length, no file panics and none passes for whole.
#[test]
fn cut_files_never_pass_for_whole_ones() {
    let mut names = vec![
        "harbour-192x128-baseline.jpg",
        "harbour-192x128-progressive.jpg",
        "flag-24x16-restarts.jpg",
        "harbour-192x128.png",
        "flag-24x16-palette.png",
    ];
    if cfg!(feature = "heic") {
        names.extend([
            "harbour-192x128-p3-icc-tiles.heic",
            "harbour-192x128-turn-6.heic",
        ]);
    }
    for name in names {
        let whole = bytes(name);
        assert!(opened(&whole).is_ok(), "{name}");
        let twentieths = (0..20).map(|i| whole.len() * i / 20);
        let last = whole.len().saturating_sub(12)..whole.len();
        for length in twentieths.chain(last) {
            let result = opened(&whole[..length]);
            assert!(result.is_err(), "{name} cut to {length} of {}", whole.len());
        }
    }
}

/// Bit flips, seeds fixed: any outcome but a panic, and light that is sound.
#[test]
fn flipped_bits_never_panic() {
    let mut names = vec![
        "harbour-192x128-baseline.jpg",
        "harbour-192x128-progressive.jpg",
        "flag-24x16-turn-6.png",
    ];
    if cfg!(feature = "heic") {
        names.extend([
            "harbour-192x128-p3-icc-tiles.heic",
            "harbour-192x128-p3-nclx.heic",
            "harbour-192x128-turn-7.heic",
        ]);
    }
    // A panic that was caught would read as a decoder that 'gave up'.
    for name in names {
        let whole = bytes(name);
        let mut state = 0x9E37_79B9_7F4A_7C15_u64;
        let mut random = |below: usize| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            usize::try_from(state % below as u64).unwrap()
        };
        for round in 0..300 {
            let mut spoilt = whole.clone();
            for _ in 0..=random(3) {
                let place = random(spoilt.len());
                spoilt[place] ^= 1 << random(8);
            }
            match opened(&spoilt) {
                Ok(photo) => assert!(photo.pixels.to_array().iter().all(|v| v.is_finite())),
                Err(error) => {
                    let text = error.to_string();
                    assert!(!text.contains("gave up"), "{name} round {round}: {text}");
                    assert!(text.contains("; "), "{text}");
                }
            }
        }
    }
}
