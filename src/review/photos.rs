//! The photo of a sheet: found, held to its hash, and handed out in sizes that a
//! page can show.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use image::codecs::jpeg::JpegEncoder;
use image::{RgbImage, imageops};

use crate::photo::{self, Limits, Photo, PhotoError, signed};
use crate::pipeline::{Scene, Targets, measure};
use crate::sheet::Sheet;
use crate::sheet::file::PhotoRef;
use crate::view::Camera;

use super::daylight::{Cut, Daylight};

/// Longest sides that are handed out, px: a phone, a desktop, and for looking closely.
pub const LONG_SIDES: [u32; 3] = [1600, 3200, 6400];
/// Longest side of a crop, px: twice what the page shows it at.
const CROP_SIDE: u32 = 720;
/// JPEG quality at which studs keep their edges.
const QUALITY: u8 = 88;
/// Photos that stay in memory: those of the sheet in work, or it and its neighbours.
const KEPT: usize = 4;

/// Why a photo cannot be shown.
#[derive(Debug, thiserror::Error)]
pub enum AlbumError {
    /// None of the usual places has it.
    #[error("the photo {file} of {} is not where it was counted, nor beside the sheet; name its folder with --photos DIR", .sheet.display())]
    Missing {
        /// The photo.
        file: String,
        /// The sheet.
        sheet: PathBuf,
    },
    /// A photo of that name, but another one.
    #[error("{} is not the photo that {} was counted from (its pixels differ); put the right one there or name its folder with --photos DIR", .photo.display(), .sheet.display())]
    Other {
        /// What was found.
        photo: PathBuf,
        /// The sheet.
        sheet: PathBuf,
    },
    /// It cannot be opened.
    #[error(transparent)]
    Open(#[from] PhotoError),
    /// Its colours cannot be put right.
    #[error(
        "the colours of {file} cannot be taken to daylight ({cause}); count it again, or review its pieces one by one"
    )]
    Colours {
        /// The photo.
        file: String,
        /// Why.
        cause: String,
    },
    /// Nothing can be traced in it.
    #[error(
        "nothing can be traced in {file} ({cause}); put the photo back, or write the shape's entry yourself (docs/shapes.md)"
    )]
    Traced {
        /// The photo.
        file: String,
        /// Why.
        cause: String,
    },
    /// It cannot be packed.
    #[error("the photo cannot be packed for the page; close other programs and try again")]
    Pack,
}

/// A photo that was held to its sheet's hash.
#[derive(Debug)]
pub struct Upright {
    /// Upright pixels, sRGB; of a large photo a reduced copy.
    pub pixels: RgbImage,
    /// Width and height of the whole photo, px.
    full_px: [u32; 2],
    /// The photo's file name.
    file: String,
    /// Where it was found, and its hash.
    found: (PathBuf, String),
    packed: Mutex<BTreeMap<u32, Arc<[u8]>>>,
    /// What takes its colours to daylight, or why nothing does; measured when it is first asked for.
    daylight: OnceLock<Result<Daylight, String>>,
    cut: Mutex<BTreeMap<String, Arc<[u8]>>>,
}

/// The sheet's number here, and the photo's in the sheet.
type Key = (usize, u32);

/// The photos of the sheets in work.
#[derive(Debug, Default)]
pub struct Album {
    /// Where else to look.
    folder: Option<PathBuf>,
    /// What the card's patches should look like where a printed copy was measured.
    printed: Option<Targets>,
    open: Mutex<Vec<(Key, Arc<Upright>)>>,
}

impl Album {
    /// Photos are also looked for in `folder`; `printed` is the measured copy of the card, where there is one.
    pub fn new(folder: Option<PathBuf>, printed: Option<Targets>) -> Self {
        Self {
            folder,
            printed,
            ..Self::default()
        }
    }

    /// What the patches of a sheet's card should look like, as when it was counted.
    pub fn targets(&self, sheet: &Sheet) -> Targets {
        let printed = self.printed.clone();
        let printed = printed.filter(|_| sheet.colour.print_profile);
        printed.unwrap_or_else(Targets::nominal)
    }

    /// A photo of the sheet that lies at `path`.
    ///
    /// # Errors
    /// [`AlbumError`] when it is not there, is another, or cannot be read.
    pub fn photo(&self, key: Key, path: &Path, of: &PhotoRef) -> Result<Arc<Upright>, AlbumError> {
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(at) = open.iter().position(|(number, _)| *number == key) {
            let found = open.remove(at);
            let photo = Arc::clone(&found.1);
            open.push(found);
            return Ok(photo);
        }
        // Held while it is read, so that a page's many questions read it once.
        let photo = Arc::new(self.read(path, of)?);
        open.push((key, Arc::clone(&photo)));
        if open.len() > KEPT {
            open.remove(0);
        }
        Ok(photo)
    }

    /// Whether there is a file that may be the photo.
    ///
    /// # Errors
    /// [`AlbumError::Missing`] when there is none.
    pub fn seek(&self, path: &Path, sheet: &Sheet) -> Result<(), AlbumError> {
        match self.places(path, &sheet.photos.first).is_empty() {
            true => Err(missing(path, &sheet.photos.first)),
            false => Ok(()),
        }
    }

    /// Files that may be the photo: as it was counted, beside the sheet, above the
    /// sheet's folder, in the folder that was named, in the working folder.
    fn places(&self, sheet: &Path, of: &PhotoRef) -> Vec<PathBuf> {
        let beside = sheet.parent().unwrap_or(Path::new(""));
        // A sheet's own word for the file must not lead elsewhere by itself.
        let Some(name) = Path::new(&of.file).file_name() else {
            return Vec::new();
        };
        let counted = of.path.as_ref().map(|path| beside.join(path));
        let folders = [
            self.folder.clone(),
            Some(beside.to_owned()),
            beside.parent().map(Path::to_owned),
            Some(PathBuf::new()),
        ];
        let named = folders
            .into_iter()
            .flatten()
            .map(|folder| folder.join(name));
        counted
            .into_iter()
            .chain(named)
            .filter(|path| path.is_file())
            .collect()
    }

    fn read(&self, sheet: &Path, of: &PhotoRef) -> Result<Upright, AlbumError> {
        let mut last = missing(sheet, of);
        for path in self.places(sheet, of) {
            match photo::open(&path, &Limits::default()) {
                Ok(photo) if photo.hash == of.hash => return Ok(Upright::of(&photo, path)),
                Ok(_) => {
                    last = AlbumError::Other {
                        photo: path,
                        sheet: sheet.to_owned(),
                    };
                }
                Err(error) => last = error.into(),
            }
        }
        Err(last)
    }
}

fn missing(sheet: &Path, of: &PhotoRef) -> AlbumError {
    AlbumError::Missing {
        file: of.file.clone(),
        sheet: sheet.to_owned(),
    }
}

impl Upright {
    fn of(photo: &Photo, path: PathBuf) -> Self {
        Self {
            pixels: photo.pixels.to_srgb(),
            full_px: photo.full_px,
            file: photo.file.clone(),
            found: (path, photo.hash.clone()),
            packed: Mutex::default(),
            daylight: OnceLock::new(),
            cut: Mutex::default(),
        }
    }

    /// A piece cut out upright, its colours as in daylight, as JPEG. `look` names the piece as it is
    /// ([`super::side::look_of`]): what was cut once is kept.
    ///
    /// # Errors
    /// When the photo is no longer there or its card cannot be read, or it cannot be packed.
    pub fn piece(
        &self,
        look: &str,
        targets: &Targets,
        camera: &Camera,
        cut: &Cut,
    ) -> Result<Arc<[u8]>, AlbumError> {
        let kept = || self.cut.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(bytes) = kept().get(look) {
            return Ok(Arc::clone(bytes));
        }
        let daylight = self.daylight.get_or_init(|| self.measured(targets));
        let daylight = daylight.as_ref().map_err(|cause| AlbumError::Colours {
            file: self.file.clone(),
            cause: cause.clone(),
        })?;
        let picture = daylight.crop(&self.pixels, self.full_px, camera, cut);
        let bytes: Arc<[u8]> = pack(&picture, &self.file)?.into();
        kept().insert(look.to_owned(), Arc::clone(&bytes));
        Ok(bytes)
    }

    fn measured(&self, targets: &Targets) -> Result<Daylight, String> {
        Daylight::of(&self.whole()?, targets).map_err(|trouble| trouble.to_string())
    }

    /// Reads the photo once more, in its whole depth: as it is kept here it has lost what lies beyond white.
    fn whole(&self) -> Result<Photo, String> {
        let (path, hash) = &self.found;
        let photo = photo::open(path, &Limits::default()).map_err(|error| error.to_string())?;
        if photo.hash != *hash {
            return Err("it was replaced by another photo meanwhile".to_owned());
        }
        Ok(photo)
    }

    /// The photo measured again by its card, as when it was counted.
    ///
    /// # Errors
    /// When it is no longer there or its card cannot be read.
    pub fn scene(&self, targets: &Targets) -> Result<Scene, AlbumError> {
        let measured = || {
            let photo = self.whole()?;
            measure(&photo, targets, &|_| ()).map_err(|trouble| trouble.to_string())
        };
        measured().map_err(|cause| AlbumError::Traced {
            file: self.file.clone(),
            cause,
        })
    }

    /// The photo as JPEG, its longer side at most `long_side` px.
    ///
    /// # Errors
    /// When it cannot be packed.
    pub fn jpeg(&self, long_side: u32) -> Result<Arc<[u8]>, AlbumError> {
        let mut packed = self.packed.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(bytes) = packed.get(&long_side) {
            return Ok(Arc::clone(bytes));
        }
        let bytes: Arc<[u8]> = pack(&reduced(&self.pixels, long_side), &self.file)?.into();
        packed.insert(long_side, Arc::clone(&bytes));
        Ok(bytes)
    }

    /// A part of the photo as JPEG: left, top, width, height in px of the whole photo. What lies off
    /// it is left out.
    ///
    /// # Errors
    /// When it cannot be packed.
    pub fn crop(&self, [left, top, width, height]: [u32; 4]) -> Result<Vec<u8>, AlbumError> {
        let kept = |side: u32, kept: u32, full: u32| {
            let side = u64::from(side) * u64::from(kept) / u64::from(full.max(1));
            u32::try_from(side).unwrap_or(u32::MAX)
        };
        let [full_width, full_height] = self.full_px;
        let [left, width] = [left, width].map(|x| kept(x, self.pixels.width(), full_width));
        let [top, height] = [top, height].map(|y| kept(y, self.pixels.height(), full_height));
        let left = left.min(self.pixels.width().saturating_sub(1));
        let top = top.min(self.pixels.height().saturating_sub(1));
        let width = width.clamp(1, self.pixels.width() - left);
        let height = height.clamp(1, self.pixels.height() - top);
        let part = imageops::crop_imm(&self.pixels, left, top, width, height).to_image();
        pack(&reduced(&part, CROP_SIDE), &self.file)
    }
}

fn reduced(picture: &RgbImage, long_side: u32) -> RgbImage {
    let (width, height) = picture.dimensions();
    let long = width.max(height);
    if long <= long_side {
        return picture.clone();
    }
    let side = |side: u32| {
        let reduced = u64::from(side) * u64::from(long_side) / u64::from(long);
        u32::try_from(reduced.max(1)).unwrap_or(long_side)
    };
    imageops::thumbnail(picture, side(width), side(height))
}

/// Packs what the page shows, signed: somebody may save it from there and count it.
fn pack(picture: &RgbImage, photo: &str) -> Result<Vec<u8>, AlbumError> {
    let mut bytes = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut bytes, QUALITY);
    encoder
        .encode_image(picture)
        .map_err(|_| AlbumError::Pack)?;
    Ok(signed(&bytes, photo))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use image::{ImageFormat, Rgb};

    /// A red field in a blue photo, asked for in the photo's pixels, whether they are all kept or one in sixteen.
    #[test]
    fn a_part_is_asked_for_in_pixels_of_the_whole_photo() {
        let field = |x: u32, y: u32| (300..340).contains(&x) && (200..240).contains(&y);
        let picture = RgbImage::from_fn(400, 300, |x, y| {
            Rgb(if field(x, y) {
                [220, 30, 30]
            } else {
                [30, 30, 220]
            })
        });
        let mut png = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut png, ImageFormat::Png).unwrap();
        for most in [120_000, 7_500] {
            let limits = Limits {
                max_kept_pixels: most,
                ..Limits::default()
            };
            let photo = photo::from_bytes("quay.png", png.get_ref(), &limits).unwrap();
            let part = Upright::of(&photo, PathBuf::new())
                .crop([304, 204, 32, 32])
                .unwrap();
            let part = image::load_from_memory(&part).unwrap().into_rgb8();
            assert!(
                part.pixels().all(|p| p.0[0] > 180 && p.0[2] < 80),
                "{most}: {part:?}"
            );
            // Signed, so that nobody counts it.
            let again = photo::from_bytes(
                "part.jpg",
                &Upright::of(&photo, PathBuf::new())
                    .crop([0, 0, 300, 300])
                    .unwrap(),
                &limits,
            );
            assert!(
                again
                    .unwrap_err()
                    .to_string()
                    .contains("drew from quay.png")
            );
        }
    }
}
