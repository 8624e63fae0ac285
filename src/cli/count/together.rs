//! `cuptally count --together`: several photos of one tray, one sheet.

use std::path::{Path, PathBuf};

use super::keep::Files;
use super::{Counted, Known, Order, complete, scale, stem, write};
use crate::cli::say::{self, Progress};
use crate::cli::{Failure, look};
use crate::count::weigh::{Masses, Reading};
use crate::photo::Photo;
use crate::pipeline::{self, Scene, Seen, Set, Shown, Unknown};
use crate::sheet::Warning;

/// Photos of one tray that can be counted together; each is held in memory.
const PHOTOS: std::ops::RangeInclusive<usize> = 2..=MOST_PHOTOS;
/// The most of them.
pub const MOST_PHOTOS: usize = 8;

/// Refuses what is no set of photos: a name that is mistyped must not cost a photo unseen.
///
/// # Errors
/// When they are too few or too many, or one is not there.
pub fn check(photos: &[PathBuf]) -> Result<(), Failure> {
    if PHOTOS.contains(&photos.len()) {
        let missing = photos.iter().find(|path| !path.exists());
        return missing.map_or(Ok(()), |path| look::open(path).map(|_| ()));
    }
    Err(Failure::wrong_use(format!(
        "--together counts {} to {} photos of one tray, and {} given; name those of one tray, taken from different sides",
        PHOTOS.start(),
        PHOTOS.end(),
        match photos.len() {
            1 => "1 is".to_owned(),
            n => format!("{n} are"),
        }
    )))
}

/// A photo with what was measured of it.
struct Measured<'a> {
    path: &'a Path,
    photo: Photo,
    scene: Scene,
}

/// Counts the photos of one tray and writes the sheet. One that cannot be measured, is there twice or shows another tray is
/// told of and left out.
///
/// # Errors
/// When no photo can be read and measured, the pieces not be weighed, or the files not be written.
pub fn count(
    paths: &[PathBuf],
    order: &Order,
    scale: Option<(Reading, &Masses)>,
    progress: &Progress,
) -> Result<Counted, Failure> {
    let Known {
        book,
        targets,
        lights,
        record,
    } = order.known;
    let told = |stage| progress.stage(stage);
    let mut measured: Vec<Measured> = Vec::new();
    let mut failures: Vec<Failure> = Vec::new();
    let mut found: Vec<(Vec<Seen>, Vec<Unknown>)> = Vec::new();
    for path in paths {
        progress.begin(path);
        let photo = look::open(path).and_then(|photo| new_to(&measured, path, photo));
        if let (true, Ok(photo)) = (measured.is_empty(), &photo) {
            // Before time goes into counting: the sheet is called by the first photo.
            files(order, &stem(path), photo).refuse_corrected()?;
        }
        let of_photo = photo.and_then(|photo| {
            let scene = pipeline::measure(&photo, targets, &told);
            let scene = scene.map_err(|e| look::trouble(path, &e))?;
            Ok(Measured { path, photo, scene })
        });
        match of_photo {
            Ok(mut one) => {
                found.push(pipeline::look(&one.scene, order.search, &told));
                one.scene.let_go_of_the_view();
                measured.push(one);
            }
            Err(failure) => failures.push(failure),
        }
        progress.done();
    }
    let Some(first) = measured.first() else {
        return Err(none_left(failures));
    };
    for failure in &failures {
        progress.pause(|| say::note(&format!("counted without this one: {failure}")));
    }
    let colours = pipeline::Known {
        book: Some(book),
        only_taught: order.only_taught,
        record: record.as_ref(),
    };
    let shown: Vec<Shown<'_>> = (measured.iter().zip(found))
        .map(|(one, found)| pipeline::shown(&one.photo, &one.scene, found, &colours))
        .collect();
    let Some(Set {
        mut sheet,
        other_trays,
    }) = pipeline::count_together(&shown, targets, &colours)
    else {
        return Err(none_left(failures));
    };
    for one in other_trays.iter().filter_map(|k| measured.get(*k)) {
        progress.pause(|| {
            say::note(&format!(
                "counted without {}: its pieces lie elsewhere than those of {}, as on another tray; count it by itself",
                one.path.display(),
                first.path.display()
            ));
        });
    }
    complete(&mut sheet, &first.scene, order, lights);
    let left_out = failures.len() + other_trays.len();
    if left_out > 0 {
        sheet.warnings.push(Warning {
            code: "photo-left-out".to_owned(),
            text: format!(
                "{left_out} of the {} photos left out: not to be read or measured, there twice, or of another tray; take what is missing again, and count all together",
                paths.len()
            ),
        });
    }
    if let Some((grams, masses)) = scale {
        scale::weigh(&mut sheet, masses, order.search, grams)
            .map_err(|error| look::fault(first.path, &error))?;
    }
    progress.say("drawing the pictures");
    let counted: Vec<(&Photo, &Path)> = (measured.iter().enumerate())
        .filter(|(k, _)| !other_trays.contains(k))
        .map(|(_, one)| (&one.photo, one.path))
        .collect();
    let stem = stem(first.path);
    write(
        &counted,
        sheet,
        &files(order, &stem, &first.photo),
        progress,
    )
}

/// The photo, unless it is there already.
fn new_to(measured: &[Measured<'_>], path: &Path, photo: Photo) -> Result<Photo, Failure> {
    let Some(twin) = measured.iter().find(|one| one.photo.hash == photo.hash) else {
        return Ok(photo);
    };
    let (own, other) = (path.display(), twin.path.display());
    Err(Failure::failed(if path == twin.path {
        format!("{own} is named twice")
    } else {
        format!("{own} is the same photo as {other}; take another from the other side")
    }))
}

/// Where the set's sheet and pictures go.
fn files<'a>(order: &'a Order<'_>, stem: &'a str, first: &'a Photo) -> Files<'a> {
    Files {
        out: order.out,
        stem,
        hash: &first.hash,
        again: order.again,
    }
}

/// Why not one of the photos could be counted.
fn none_left(mut failures: Vec<Failure>) -> Failure {
    let more = failures.split_off(failures.len().min(1));
    for failure in more {
        say::note(&failure.to_string());
    }
    (failures.pop()).unwrap_or_else(|| Failure::failed("no photo can be counted".to_owned()))
}
