//! A JPEG's segments, one after the other, up to the end of the image (ITU-T T.81, B.1).

/// The file ends before the image does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Cut;

/// End of image.
pub(super) const EOI: u8 = 0xD9;
/// Start of scan.
pub(super) const SOS: u8 = 0xDA;

/// One marker with its segment.
#[derive(Clone, Copy, Debug)]
pub(super) struct Segment<'a> {
    /// The marker's second byte.
    pub(super) marker: u8,
    /// What the segment holds, less its length; empty at the end of the image.
    pub(super) data: &'a [u8],
    /// All that follows in the file: after a start of scan, coded data.
    pub(super) after: &'a [u8],
}

impl<'a> Segment<'a> {
    /// Whether this is the header of a frame, whichever coding it has.
    pub(super) fn is_frame(&self) -> bool {
        matches!(self.marker, 0xC0..=0xCF) && !matches!(self.marker, 0xC4 | 0xC8 | 0xCC)
    }

    /// The coded data behind a start of scan, restart markers and all, up to the next marker of another kind.
    pub(super) fn coded(&self) -> &'a [u8] {
        let mut from = 0;
        while let Some(at) = self.after.get(from..).and_then(|rest| {
            let found = rest.iter().position(|&byte| byte == 0xFF)?;
            Some(from + found)
        }) {
            match self.after.get(at + 1) {
                Some(0x00 | 0xD0..=0xD7) => from = at + 2,
                // A fill byte: the next one may introduce a marker.
                Some(0xFF) => from = at + 1,
                _ => return self.after.get(..at).unwrap_or_default(),
            }
        }
        self.after
    }
}

/// The segments of a file from its first byte on; behind the end of the image comes nothing more, although phones
/// hang a second picture or a video there.
pub(super) struct Segments<'a> {
    rest: Option<&'a [u8]>,
}

impl<'a> Segments<'a> {
    pub(super) fn of(bytes: &'a [u8]) -> Self {
        // After the start of image.
        Self {
            rest: Some(bytes.get(2..).unwrap_or_default()),
        }
    }

    /// The next segment in `rest`, which may begin with coded data and fill bytes.
    fn find(mut rest: &'a [u8]) -> Result<Segment<'a>, Cut> {
        loop {
            let start = rest.iter().position(|&byte| byte == 0xFF).ok_or(Cut)?;
            rest = rest.get(start + 1..).ok_or(Cut)?;
            let marker = *rest.first().ok_or(Cut)?;
            match marker {
                // Another fill byte: it may itself introduce the marker.
                0xFF => continue,
                // A stuffed zero, a restart, or a marker without a segment.
                0x00 | 0x01 | 0xD0..=0xD8 => {
                    rest = rest.get(1..).ok_or(Cut)?;
                    continue;
                }
                EOI => {
                    return Ok(Segment {
                        marker,
                        data: &[],
                        after: rest.get(1..).unwrap_or_default(),
                    });
                }
                _ => {}
            }
            let length = match rest {
                [_, high, low, ..] => usize::from(u16::from_be_bytes([*high, *low])),
                _ => return Err(Cut),
            };
            let end = (1 + length).max(3);
            return Ok(Segment {
                marker,
                data: rest.get(3..end).ok_or(Cut)?,
                after: rest.get(end..).ok_or(Cut)?,
            });
        }
    }
}

impl<'a> Iterator for Segments<'a> {
    type Item = Result<Segment<'a>, Cut>;

    fn next(&mut self) -> Option<Self::Item> {
        let found = Self::find(self.rest?);
        self.rest = match found {
            Ok(segment) if segment.marker != EOI => Some(segment.after),
            _ => None,
        };
        Some(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &[u8] = b"\xFF\xD8\xFF\xC0\x00\x0B\x08\x00\x10\x00\x18\x01\x01\x11\x00";

    fn with(tail: &[u8]) -> Vec<u8> {
        [HEAD, b"\xFF\xDA\x00\x08\x01\x01\x00\x00\x3F\x00", tail].concat()
    }

    fn markers(bytes: &[u8]) -> Result<Vec<u8>, Cut> {
        Segments::of(bytes)
            .map(|found| found.map(|s| s.marker))
            .collect()
    }

    #[test]
    fn the_walk_ends_at_the_end_of_image_only() {
        let whole = with(b"\x12\xFF\x00\x34\xFF\xD0\x56\xFF\xFF\xD9 and a video");
        assert_eq!(markers(&whole), Ok(vec![0xC0, SOS, EOI]));
        for tail in [
            &b""[..],
            b"\x12",
            b"\x12\xFF",
            b"\xFF\x00\xD9",
            b"\xFF\xD0\xD9",
        ] {
            assert_eq!(markers(&with(tail)), Err(Cut), "{tail:?}");
        }
    }

    #[test]
    fn coded_data_goes_up_to_the_next_marker() {
        let whole = with(b"\x12\xFF\x00\x34\xFF\xD0\x56\xFF\xFF\xD9 and a video");
        let coded = Segments::of(&whole)
            .flatten()
            .find(|segment| segment.marker == SOS)
            .map(|segment| segment.coded());
        assert_eq!(coded, Some(&b"\x12\xFF\x00\x34\xFF\xD0\x56\xFF"[..]));
    }

    #[test]
    fn an_end_marker_inside_a_segment_is_not_the_end() {
        // A thumbnail with its own end, inside an application segment.
        let cut = b"\xFF\xD8\xFF\xE1\x00\x08\xFF\xD8\xFF\xD9\x00\x00";
        assert_eq!(markers(cut), Err(Cut));
        let whole = [&cut[..], b"\xFF\xD9"].concat();
        assert_eq!(markers(&whole), Ok(vec![0xE1, EOI]));
    }

    #[test]
    fn segments_that_lie_about_their_length_do_no_harm() {
        for length in [0_u8, 1, 2, 3, 255] {
            let bytes = [0xFF, 0xD8, 0xFF, 0xE1, 0, length, 0xFF, 0xD9];
            let _ = markers(&bytes);
        }
    }
}
