//! The two things that are wanted from EXIF: which way up, and the focal length.

use exif::{In, Reader, Tag};
use image::metadata::Orientation;

/// 35 mm equivalent focal lengths that a camera over a tray can have, mm; others
/// are a fault of the writer (0 means 'unknown' in CIPA DC-008).
const PLAUSIBLE_MM: std::ops::RangeInclusive<u32> = 10..=200;

/// The turn that makes the picture upright; none where EXIF does not say, or says nonsense.
pub(super) fn turn(tiff: Option<&[u8]>) -> Orientation {
    tiff.and_then(Orientation::from_exif_chunk)
        .unwrap_or(Orientation::NoTransforms)
}

/// `FocalLengthIn35mmFilm`, mm, where it is plausible.
pub(super) fn focal_35mm(tiff: &[u8]) -> Option<f64> {
    // Cameras' private blocks are often not quite in order; what could be read counts.
    let exif = Reader::new()
        .continue_on_error(true)
        .read_raw(tiff.to_vec())
        .or_else(|error| error.distill_partial_result(|_| ()))
        .ok()?;
    let value = exif
        .get_field(Tag::FocalLengthIn35mmFilm, In::PRIMARY)?
        .value
        .get_uint(0)?;
    PLAUSIBLE_MM.contains(&value).then(|| f64::from(value))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A little-endian TIFF structure: orientation, and a focal length in the EXIF block.
    fn tiff(orientation: u16, focal: u16) -> Vec<u8> {
        let entry = |tag: u16, kind: u16, value: u32| {
            let mut bytes = tag.to_le_bytes().to_vec();
            bytes.extend(kind.to_le_bytes());
            bytes.extend(1_u32.to_le_bytes());
            bytes.extend(value.to_le_bytes());
            bytes
        };
        let mut bytes = b"II*\0\x08\0\0\0\x02\0".to_vec();
        bytes.extend(entry(0x0112, 3, u32::from(orientation)));
        bytes.extend(entry(0x8769, 4, 38));
        bytes.extend([0; 4]);
        bytes.extend(1_u16.to_le_bytes());
        bytes.extend(entry(0xA405, 3, u32::from(focal)));
        bytes.extend([0; 4]);
        bytes
    }

    #[test]
    fn reads_turn_and_focal_length() {
        assert_eq!(turn(Some(&tiff(6, 26))), Orientation::Rotate90);
        assert_eq!(focal_35mm(&tiff(6, 26)), Some(26.0));
    }

    #[test]
    fn nonsense_counts_as_not_said() {
        assert_eq!(turn(Some(&tiff(0, 26))), Orientation::NoTransforms);
        assert_eq!(turn(Some(&tiff(9, 26))), Orientation::NoTransforms);
        assert_eq!(turn(Some(b"II")), Orientation::NoTransforms);
        assert_eq!(turn(None), Orientation::NoTransforms);
        for focal in [0, 9, 201, 65535] {
            assert_eq!(focal_35mm(&tiff(1, focal)), None, "{focal}");
        }
    }

    #[test]
    fn a_cut_block_gives_what_is_there_or_nothing() {
        let whole = tiff(6, 26);
        for length in 0..whole.len() {
            let part = &whole[..length];
            assert!(matches!(
                turn(Some(part)),
                Orientation::NoTransforms | Orientation::Rotate90
            ));
            assert!(matches!(focal_35mm(part), None | Some(26.0)), "{length}");
        }
    }
}
