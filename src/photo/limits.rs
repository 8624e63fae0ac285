//! How large and how small a photo may be.

use super::error::Problem;

/// What is refused before any memory is set aside for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Most pixels in a photo. Default 150 million: phone photos of 12 to 108
    /// megapixels pass. Raise it only where there is memory for it: 3 bytes a pixel at the least.
    pub max_pixels: u64,
    /// Longest side, px. Default 32 767, the largest number of 15 bits, in which much
    /// that handles pictures counts; the longest side of a phone's panorama is half of
    /// that. Raising it lets in strips that no stage was tried on.
    pub max_side: u32,
    /// Most pixels that are kept; a larger photo is reduced to this many. Default 24 million: over a tray of
    /// 400 mm that is 0.07 mm a pixel, finer than the finest view that pieces are looked for in (0.15 mm).
    /// Raising it costs memory and finds nothing more.
    pub max_kept_pixels: u64,
    /// Shortest side, px. Default 200: at the coarsest useful scale, 1 mm a
    /// pixel, the card alone is 190 px long. Lower it for made-up pictures only.
    pub min_side: u32,
    /// Most bytes in the file. Default 400 million, several times what the most
    /// generous phone writes; it bounds what a wrong file name can read in.
    pub max_file_bytes: u64,
    /// Most memory, bytes, that decoding may take beside the file itself. Default 700 million,
    /// which leaves room for the file and the program within 1 GB. Raising it lets in larger
    /// progressive JPEG, interlaced PNG and HEIC.
    pub max_decoding_bytes: u64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            max_pixels: 150_000_000,
            max_side: 32_767,
            max_kept_pixels: 24_000_000,
            min_side: 200,
            max_file_bytes: 400_000_000,
            max_decoding_bytes: 700_000_000,
        }
    }
}

impl Limits {
    /// Checks a size that a file's header states, before decoding.
    ///
    /// # Errors
    /// [`Problem::TooLarge`], [`Problem::TooLong`] or [`Problem::TooSmall`].
    pub(super) fn check(&self, width: u32, height: u32) -> Result<(), Problem> {
        if u64::from(width) * u64::from(height) > self.max_pixels {
            return Err(Problem::TooLarge {
                width,
                height,
                limit: self.max_pixels,
            });
        }
        if width.max(height) > self.max_side {
            return Err(Problem::TooLong {
                width,
                height,
                limit: self.max_side,
            });
        }
        // A picture without a pixel is too small whatever the limit says.
        let limit = self.min_side.max(1);
        if width.min(height) < limit {
            return Err(Problem::TooSmall {
                width,
                height,
                limit,
            });
        }
        Ok(())
    }

    /// Whether a picture of this size is reduced.
    pub(super) fn reduces(&self, width: u32, height: u32) -> bool {
        u64::from(width) * u64::from(height) > self.max_kept_pixels
    }

    /// Checks how much memory a decoder will take for what a file's header states.
    ///
    /// # Errors
    /// [`Problem::TooMuchMemory`].
    pub(super) fn check_memory(&self, bytes: u64) -> Result<(), Problem> {
        match bytes > self.max_decoding_bytes {
            true => Err(Problem::TooMuchMemory {
                bytes,
                limit: self.max_decoding_bytes,
            }),
            false => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn phone_photos_pass_and_bombs_do_not() {
        let limits = Limits::default();
        for (width, height) in [(4000, 3000), (8160, 6120), (12000, 9000), (200, 200)] {
            assert!(limits.check(width, height).is_ok(), "{width} x {height}");
        }
        for (width, height) in [(60_000, 60_000), (16_320, 12_240), (u32::MAX, u32::MAX)] {
            assert!(matches!(
                limits.check(width, height),
                Err(Problem::TooLarge { .. })
            ));
        }
        for (width, height) in [(32_768, 400), (300, 40_000)] {
            assert!(matches!(
                limits.check(width, height),
                Err(Problem::TooLong { .. })
            ));
        }
        assert!(limits.check(32_767, 400).is_ok());
        for (width, height) in [(199, 4000), (4000, 1), (0, 0)] {
            assert!(matches!(
                limits.check(width, height),
                Err(Problem::TooSmall { .. })
            ));
        }
    }

    #[test]
    fn no_limit_lets_a_picture_without_pixels_through() {
        let limits = Limits {
            min_side: 0,
            ..Limits::default()
        };
        assert!(limits.check(0, 5).is_err());
        assert!(limits.check(1, 1).is_ok());
    }
}
