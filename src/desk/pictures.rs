//! Photos in the sizes that the page shows, and pictures that counts drew.

use std::collections::VecDeque;
use std::io;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::SystemTime;

use image::codecs::jpeg::JpegEncoder;
use image::imageops;

use crate::photo::{self, Limits, PhotoError, signed};

/// Longest sides that are handed out, px: in a list, and to name pieces on.
pub const LONG_SIDES: [u32; 2] = [320, 1600];
/// JPEG quality for looking at.
const QUALITY: u8 = 84;
/// Pictures that stay in memory: of 200 photos in a list, some 4 MB.
const KEPT: usize = 240;

/// Why there is no picture.
#[derive(Debug, thiserror::Error)]
pub enum NoPicture {
    /// The photo.
    #[error(transparent)]
    Photo(#[from] PhotoError),
    /// Packing.
    #[error("the picture cannot be packed for the page")]
    Pack,
    /// The disk.
    #[error(transparent)]
    Disk(#[from] io::Error),
}

type Key = (String, Option<SystemTime>, u32);

/// Pictures that were asked for lately.
#[derive(Debug, Default)]
pub struct Pictures {
    kept: Mutex<VecDeque<(Key, Arc<[u8]>)>>,
    /// One photo is opened at a time: a large one takes 150 MB.
    opening: Mutex<()>,
}

impl Pictures {
    /// A photo, its longer side at most so many px, as JPEG.
    ///
    /// # Errors
    /// When it cannot be read.
    pub fn of(&self, path: &Path, long_side: u32) -> Result<Arc<[u8]>, NoPicture> {
        let changed = std::fs::metadata(path)?.modified().ok();
        let key = (path.to_string_lossy().into_owned(), changed, long_side);
        if let Some(bytes) = self.find(&key) {
            return Ok(bytes);
        }
        let _opening = self.opening.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(bytes) = self.find(&key) {
            return Ok(bytes);
        }
        let photo = photo::open(path, &Limits::default())?;
        let whole = photo.pixels.to_srgb();
        let (width, height) = whole.dimensions();
        let scale = (f64::from(long_side) / f64::from(width.max(height))).min(1.0);
        let side = |side: u32| ((f64::from(side) * scale).round() as u32).max(1);
        let small = imageops::thumbnail(&whole, side(width), side(height));
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, QUALITY)
            .encode_image(&small)
            .map_err(|_| NoPicture::Pack)?;
        let bytes: Arc<[u8]> = signed(&bytes, &photo.file).into();
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.push_back((key, Arc::clone(&bytes)));
        if kept.len() > KEPT {
            kept.pop_front();
        }
        Ok(bytes)
    }

    fn find(&self, key: &Key) -> Option<Arc<[u8]>> {
        let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let found = kept.iter().find(|(known, _)| known == key);
        found.map(|(_, bytes)| Arc::clone(bytes))
    }
}
