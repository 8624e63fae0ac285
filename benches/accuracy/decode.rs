//! How long decoding a photo takes: what a count costs is told as a multiple of it, which depends less on the
//! machine than seconds do.

use std::fs;
use std::io::Cursor;
use std::path::Path;
use std::time::Instant;

use anyhow::{Context, Result};
use image::{ImageFormat, ImageReader};

use crate::set::Photo;

/// The shortest of these many is taken: whatever else the machine does only adds.
const TIMES: usize = 3;

/// Time in which the `image` crate decodes the JPEG on one thread, read into memory before; of photos counted together the
/// sum.
///
/// # Errors
/// When it cannot be read or decoded.
pub fn seconds(photo: &Photo) -> Result<f64> {
    let further = photo.further.iter().flat_map(|further| &further.paths);
    std::iter::once(&photo.path)
        .chain(further)
        .map(|path| seconds_of(&photo.root.join(path)))
        .sum()
}

fn seconds_of(path: &Path) -> Result<f64> {
    let bytes = fs::read(path).with_context(|| format!("reading {}", path.display()))?;
    let mut least = f64::INFINITY;
    for _ in 0..TIMES {
        let start = Instant::now();
        let picture = ImageReader::with_format(Cursor::new(&bytes), ImageFormat::Jpeg)
            .decode()
            .with_context(|| format!("decoding {}", path.display()))?;
        least = least.min(start.elapsed().as_secs_f64());
        std::hint::black_box(picture);
    }
    Ok(least)
}
