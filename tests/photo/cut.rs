//! A part of a JPEG is refused, whatever ends it; a whole one is read, whatever follows it.

use super::*;

/// Baseline and progressive, each without and with restart markers.
const KINDS: [&str; 5] = [
    "harbour-192x128-baseline.jpg",
    "harbour-192x128-progressive.jpg",
    "harbour-192x128-restarts.jpg",
    "harbour-192x128-progressive-restarts.jpg",
    "flag-24x16-grey.jpg",
];

const END: [u8; 2] = [0xFF, 0xD9];

/// Where the first scan's coded data begins.
fn scan_start(jpeg: &[u8]) -> usize {
    let header = jpeg.windows(2).position(|w| w == [0xFF, 0xDA]).unwrap();
    header + 2 + usize::from(u16::from_be_bytes([jpeg[header + 2], jpeg[header + 3]]))
}

/// Restart and start-of-scan markers in a file.
fn markers(jpeg: &[u8], wanted: std::ops::RangeInclusive<u8>) -> usize {
    jpeg.windows(2)
        .filter(|w| w[0] == 0xFF && wanted.contains(&w[1]))
        .count()
}

#[test]
fn the_files_are_what_they_are_called() {
    for name in KINDS {
        let jpeg = bytes(name);
        assert_eq!(
            name.contains("restarts"),
            markers(&jpeg, 0xD0..=0xD7) > 0,
            "{name}"
        );
        assert_eq!(
            name.contains("progressive"),
            markers(&jpeg, 0xC2..=0xC2) > 0,
            "{name}"
        );
    }
}

/// At 300 places of the coded data; of the last bytes nothing is left out either.
#[test]
fn a_cut_file_with_a_new_end_marker_is_refused() {
    for name in KINDS {
        let whole = bytes(name);
        assert!(opened(&whole).is_ok(), "{name}");
        let (start, end) = (scan_start(&whole), whole.len() - 2);
        let places = (0..300).map(|i| start + (end - start) * i / 300);
        for place in places.chain(end - 40..end - 1) {
            let cut = [&whole[..place], &END].concat();
            let problem = problem(opened(&cut));
            let words = problem.to_string();
            assert!(
                words.contains("ends before its picture") || words.contains("damaged"),
                "{name} cut at {place} of {end}: {words}"
            );
        }
    }
}

/// A scan of a progressive picture, or a stretch between restart markers, may be missing as a whole.
#[test]
fn a_part_that_is_missing_between_two_markers_is_noticed() {
    let whole = bytes("harbour-192x128-progressive.jpg");
    let scans: Vec<usize> = (0..whole.len() - 1)
        .filter(|&at| whole[at..].starts_with(&[0xFF, 0xDA]))
        .collect();
    assert!(scans.len() > 4);
    for &scan in &scans[1..] {
        assert!(opened(&[&whole[..scan], &END].concat()).is_err());
    }
    let whole = bytes("harbour-192x128-restarts.jpg");
    let restarts: Vec<usize> = (scan_start(&whole)..whole.len() - 1)
        .filter(|&at| whole[at] == 0xFF && matches!(whole[at + 1], 0xD0..=0xD7))
        .collect();
    for pair in restarts.windows(2) {
        let without = [&whole[..pair[0]], &whole[pair[1]..]].concat();
        assert!(matches!(problem(opened(&without)), Problem::Damaged { .. }));
    }
}

/// Phones hang a second picture, its depth or a film behind the end; mending programs leave noughts there.
#[test]
fn what_follows_the_end_changes_nothing() {
    let second = bytes("flag-24x16-turn-1.jpg");
    for name in KINDS {
        let whole = bytes(name);
        let hash = opened(&whole).unwrap().hash;
        for tail in [&second[..], b"a film", &[0; 4000], &END, &[0xFF]] {
            let longer = [&whole[..], tail].concat();
            assert_eq!(opened(&longer).unwrap().hash, hash, "{name}");
        }
    }
}

#[test]
fn fill_bytes_before_markers_are_read_over() {
    let whole = bytes("harbour-192x128-restarts.jpg");
    let mut filled = whole[..2].to_vec();
    for pair in whole[2..].windows(2) {
        if pair[0] == 0xFF && matches!(pair[1], 0xD0..=0xD9) {
            filled.extend([0xFF, 0xFF]);
        }
        filled.push(pair[0]);
    }
    filled.push(0xD9);
    assert_eq!(opened(&filled).unwrap().hash, opened(&whole).unwrap().hash);
}

#[test]
fn a_small_file_of_a_huge_picture_is_refused_before_it_takes_memory() {
    let mut jpeg = bytes("flag-24x16-turn-1.jpg");
    let frame = jpeg.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap();
    // 12 000 x 12 000, within the limits of a photo.
    jpeg[frame + 5..frame + 9].copy_from_slice(&[0x2E, 0xE0, 0x2E, 0xE0]);
    let refused = problem(photo::from_bytes("bomb.jpg", &jpeg, &Limits::default()));
    assert!(
        matches!(refused, Problem::Truncated(Format::Jpeg)),
        "{refused}"
    );
}

#[test]
fn a_thousand_layers_are_refused() {
    let whole = bytes("harbour-192x128-progressive.jpg");
    // A scan of no component but with a header, as often as one likes.
    let empty = [0xFF, 0xDA, 0, 8, 1, 1, 0, 1, 63, 0];
    let many = [&whole[..whole.len() - 2], &empty.repeat(1000), &END].concat();
    assert!(matches!(problem(opened(&many)), Problem::Damaged { .. }));
}
