//! Pictures that this program draws from a photo are signed, and a signed picture is not counted: its outlines, numbers
//! and words would be taken for pieces.
//!
//! A JPEG has the signature in a comment (`COM`) right behind its start, a PNG in a text chunk (`tEXt`) of any keyword:
//! [`SIGNATURE`], then the file name of the photo in UTF-8.

/// What a signature begins with.
pub const SIGNATURE: &str = "cuptally drawing, made from the photo ";

/// Longest file name that is kept, bytes; file systems allow 255.
const LONGEST_NAME: usize = 255;

/// Signs a JPEG that was drawn from the photo of this file name.
pub fn signed(jpeg: &[u8], photo: &str) -> Vec<u8> {
    let name: String = photo.chars().take(LONGEST_NAME / 4).collect();
    let comment = format!("{SIGNATURE}{name}");
    let (start, rest) = jpeg.split_at(jpeg.len().min(2));
    // The length counts itself; a name is far from 64 kB.
    let length = (comment.len() as u16 + 2).to_be_bytes();
    [start, &[0xFF, COMMENT], &length, comment.as_bytes(), rest].concat()
}

/// The marker of a JPEG's comment.
pub(super) const COMMENT: u8 = 0xFE;

/// The photo's name, where a comment is a signature.
pub(super) fn drawn_from(comment: &[u8]) -> Option<String> {
    let name = comment.strip_prefix(SIGNATURE.as_bytes())?;
    let name = name.get(..LONGEST_NAME).unwrap_or(name);
    Some(String::from_utf8_lossy(name).into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_signature_is_read_again() {
        let jpeg = signed(b"\xFF\xD8\xFF\xD9", "cup 7.jpg");
        assert!(jpeg.starts_with(b"\xFF\xD8\xFF\xFE\x00\x31cuptally"));
        assert!(jpeg.ends_with(b"cup 7.jpg\xFF\xD9"));
        assert_eq!(
            drawn_from(&jpeg[6..jpeg.len() - 2]).as_deref(),
            Some("cup 7.jpg")
        );
        assert_eq!(drawn_from(b"a comment"), None);
        assert_eq!(drawn_from(b""), None);
    }
}
