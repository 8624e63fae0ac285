//! What a file is, by its first bytes; its name has no say.

use super::error::Problem;
use super::source::Format;

/// Recognises a format that is read.
///
/// # Errors
/// [`Problem::OtherKind`] for well-known kinds that are not read, otherwise
/// [`Problem::NotAPicture`].
pub(super) fn recognise(bytes: &[u8]) -> Result<Format, Problem> {
    if bytes.starts_with(&[0xFF, 0xD8, 0xFF]) {
        return Ok(Format::Jpeg);
    }
    if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        return Ok(Format::Png);
    }
    if bytes.get(4..8) == Some(b"ftyp") {
        return by_brand(bytes);
    }
    match other(bytes) {
        Some((kind, remedy)) => Err(Problem::OtherKind { kind, remedy }),
        None => Err(Problem::NotAPicture),
    }
}

const AS_JPEG: &str = "save or export the photo as JPEG and give that";

/// The ISO base media family: the major brand first, then the compatible ones
/// (ISO/IEC 14496-12, `ftyp`).
fn by_brand(bytes: &[u8]) -> Result<Format, Problem> {
    let stated = bytes.get(..4).map_or(0, |size| {
        size.iter()
            .fold(0_usize, |sum, &byte| (sum << 8) | usize::from(byte))
    });
    let end = stated.clamp(12, 512).min(bytes.len());
    let major = bytes.get(8..12).unwrap_or_default();
    let listed = bytes.get(16..end).unwrap_or_default();
    let brands = || std::iter::once(major).chain(listed.chunks_exact(4));
    let has = |wanted: &[&[u8]]| brands().any(|brand| wanted.contains(&brand));
    // AVIF before HEIC: both share the `mif1` brand.
    let (kind, remedy) = if has(&[b"avif", b"avis"]) {
        ("an AVIF picture", AS_JPEG)
    } else if has(&[
        b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"mif2",
    ]) {
        return Ok(Format::Heic);
    } else if major == b"crx " {
        ("a camera raw file", "develop it and export a JPEG")
    } else {
        ("a video", "take a still photo instead")
    };
    Err(Problem::OtherKind { kind, remedy })
}

/// Well-known kinds that are not read, so that the sentence can name them.
fn other(bytes: &[u8]) -> Option<(&'static str, &'static str)> {
    let starts = |signature: &[u8]| bytes.starts_with(signature);
    let at = |offset: usize, text: &[u8]| {
        bytes
            .get(offset..)
            .is_some_and(|rest| rest.starts_with(text))
    };
    let raw = "export the photo as JPEG; a raw file (DNG) has to be developed first";
    Some(if starts(b"RIFF") && at(8, b"WEBP") {
        ("a WebP picture", AS_JPEG)
    } else if starts(b"II*\0") || starts(b"MM\0*") || starts(b"II+\0") || starts(b"MM\0+") {
        ("a TIFF picture or a camera raw file", raw)
    } else if starts(b"GIF87a") || starts(b"GIF89a") {
        ("a GIF picture", AS_JPEG)
    } else if starts(b"\0\0\0\x0cJXL \r\n\x87\n") || starts(&[0xFF, 0x0A]) {
        ("a JPEG XL picture", AS_JPEG)
    } else if starts(b"\0\0\0\x0cjP  ") {
        ("a JPEG 2000 picture", AS_JPEG)
    } else if starts(b"BM") && at(6, &[0, 0, 0, 0]) {
        ("a BMP picture", AS_JPEG)
    } else if starts(b"%PDF") {
        (
            "a PDF document",
            "save the photo itself as JPEG and give that",
        )
    } else if starts(b"PK\x03\x04") {
        ("a ZIP archive", "unpack it and give the photos inside")
    } else {
        return None;
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sentence(bytes: &[u8]) -> String {
        match recognise(bytes) {
            Ok(format) => format.to_string(),
            Err(problem) => problem.to_string(),
        }
    }

    #[test]
    fn content_decides_the_format() {
        assert_eq!(sentence(b"\xFF\xD8\xFF\xE0"), "JPEG");
        assert_eq!(sentence(b"\x89PNG\r\n\x1a\nrest"), "PNG");
        assert_eq!(sentence(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"), "HEIC");
        assert_eq!(sentence(b"\0\0\0\x18ftypmif1\0\0\0\0mif1heic"), "HEIC");
    }

    #[test]
    fn other_kinds_are_named_with_a_remedy() {
        let avif: &[u8] = b"\0\0\0\x1cftypmif1\0\0\0\0mif1avifmiaf";
        for (bytes, name) in [
            (avif, "AVIF"),
            (b"\0\0\0\x20ftypavif\0\0\0\0avifmif1miafMA1B", "AVIF"),
            (b"\0\0\0\x18ftypqt  \0\0\0\0qt  \0\0\0\0", "video"),
            (b"\0\0\0\x18ftypcrx \0\0\0\x01crx isom", "raw"),
            (b"RIFF\x10\0\0\0WEBPVP8 ", "WebP"),
            (b"II*\0\x08\0\0\0", "DNG"),
            (b"MM\0*\0\0\0\x08", "TIFF"),
            (b"GIF89a", "GIF"),
            (b"%PDF-1.7", "PDF"),
            (b"PK\x03\x04", "ZIP"),
            (b"BM\x36\0\0\0\0\0\0\0\x36", "BMP"),
        ] {
            let text = sentence(bytes);
            assert!(text.contains(name) && text.contains("; "), "{text}");
        }
    }

    #[test]
    fn text_and_scraps_are_not_pictures() {
        for bytes in [
            &b"tide table"[..],
            b"\xFF\xD8",
            b"RIFF",
            b"BM is a word",
            b"\0\0\0\x18fty",
        ] {
            assert!(
                matches!(recognise(bytes), Err(Problem::NotAPicture)),
                "{bytes:?}"
            );
        }
        // A brand box cut short is some video or picture, never a crash.
        assert!(recognise(b"\xFF\xFF\xFF\xFFftyp").is_err());
        assert!(recognise(b"\0\0\0\0ftyphei").is_err());
    }
}
