//! A photo of one piece of each colour, read: names are held against the pieces before the long search.

use std::path::{Path, PathBuf};

use crate::cli::atomic::write_files;
use crate::cli::say::{self, Progress};
use crate::cli::{Context, Failure, home, look};
use crate::colour::{Lesson, Origin, Swatch};
use crate::count::features::PhotoQuality;
use crate::count::{flaws, shape_odds};
use crate::numbers::round2;
use crate::photo::Photo;
use crate::pieces::paint::Paint;
use crate::pieces::{ANY, Search, Shapes};
use crate::pipeline::{self, Seen, Stage, Targets};
use crate::sheet::chart::LightMap;
use crate::sheet::file::SURE;
use crate::sheet::marked::{Label, named, to_jpeg};
use crate::sheet::reading_order;

/// A photo that teaches.
pub struct Read {
    /// What it teaches.
    pub lesson: Lesson,
    /// The light over the tray.
    pub map: LightMap,
    /// Its pieces with numbers and names, JPEG.
    pub picture: Vec<u8>,
    /// How many things beside them were left out, which may be no pieces.
    pub left_out: usize,
}

/// Why a photo teaches nothing.
pub enum Unread {
    /// The sentence.
    Failure(Failure),
    /// Names and pieces differ in number.
    Unequal {
        /// How many pieces the photo shows.
        pieces: usize,
        /// These with their numbers and the names as far as they reach, JPEG.
        picture: Vec<u8>,
    },
}

impl From<Failure> for Unread {
    fn from(failure: Failure) -> Self {
        Self::Failure(failure)
    }
}

impl Unread {
    /// The sentence; the numbered picture is kept under the calibration folder and named in it, where it can be.
    pub fn told(self, photo: &Path, names: usize, home: &Path) -> Failure {
        let (pieces, picture) = match self {
            Self::Failure(failure) => return failure,
            Self::Unequal { pieces, picture } => (pieces, picture),
        };
        let kept = write_files(&home::calibration(home), &[(NOT_TAUGHT, &picture)]);
        let kept = kept.ok().and_then(|paths| paths.into_iter().next());
        let see = kept.map_or_else(String::new, |path| {
            format!("; {} has their numbers", path.display())
        });
        Failure::wrong_use(format!(
            "{} shows {} and {}; lay one piece of each colour on a plain tray, apart from each other, and name each in reading order{see}",
            photo.display(),
            say::plural(pieces, "piece", "pieces"),
            say::plural(names, "name was given", "names were given"),
        ))
    }
}

/// The picture of a photo that taught nothing, in the calibration folder.
pub const NOT_TAUGHT: &str = "not-taught.jpg";

/// What the pieces of a photo are called, and where it shows them.
#[derive(Clone, Copy)]
pub struct Called<'a> {
    /// The names: in reading order where no places are given.
    pub names: &'a [String],
    /// A place on each piece in the upright photo, px, in the order of the names; none where the names go by reading
    /// order. Pieces without a place are left out.
    pub at: &'a [[f64; 2]],
}

/// Reads the swatches off a photo, by the card's values as they are given.
///
/// # Errors
/// When the photo cannot be measured, pieces and names differ in number, or a place is on no piece. Nothing is written.
pub fn read(
    path: &Path,
    Called { names, at }: Called<'_>,
    light: &str,
    searches: &[Search],
    targets: &Targets,
    progress: &Progress,
) -> Result<Read, Unread> {
    for (k, name) in names.iter().enumerate() {
        if names[..k].contains(name) {
            return Err(Failure::wrong_use(format!(
                "the colour '{name}' is named twice; name each piece of the photo once"
            ))
            .into());
        }
    }
    if !at.is_empty() && at.len() != names.len() {
        return Err(Failure::wrong_use(format!(
            "{} and {} were given; give each name its place with --at",
            say::plural(names.len(), "name", "names"),
            say::plural(at.len(), "place", "places"),
        ))
        .into());
    }
    let photo = look::open(path)?;
    let scene = pipeline::measure(&photo, targets, &|stage| progress.stage(stage))
        .map_err(|e| look::trouble(path, &e))?;
    // The search takes nearly all of the time: where the number plainly is another it is not begun in vain.
    if at.is_empty()
        && let Some(things) = pipeline::things(&scene)
        && plainly_differ(things.len(), names.len())
    {
        let outlines = things.into_iter().map(|t| (t.middle_px, t.outline_px));
        return unequal(&photo, outlines.collect(), names);
    }
    let quality = pipeline::quality(&photo, &scene, false);
    let called = Called { names, at };
    let Look { mut seen, left_out } = look_for(&scene, &quality, searches, called, progress);
    let outlines = outlines(&scene, &seen);
    let order = if at.is_empty() {
        if seen.len() != names.len() {
            return unequal(&photo, outlines, names);
        }
        in_reading_order(&outlines)
    } else {
        let on = |(place, name): (&[f64; 2], &String)| {
            on_piece(*place, &outlines).ok_or_else(|| {
                Failure::failed(format!(
                    "{}: there is no piece at {:.0},{:.0}, which was to be called '{name}'",
                    path.display(),
                    place[0],
                    place[1]
                ))
            })
        };
        let order: Vec<usize> = at.iter().zip(names).map(on).collect::<Result<_, _>>()?;
        if let Some(k) = (1..order.len()).find(|k| order[..*k].contains(&order[*k])) {
            return Err(Failure::wrong_use(format!(
                "'{}' is at a piece that has another name already; give each name its own piece",
                names[k]
            ))
            .into());
        }
        order
    };
    progress.say("drawing the picture");
    let ordered: Vec<Placed> = (order.iter())
        .filter_map(|index| outlines.get(*index).cloned())
        .collect();
    let picture = numbered(&photo, &ordered, names)?;
    let paints: Vec<Paint> = seen.iter().map(|s| s.paint).collect();
    let flaws = flaws(&paints);
    let mut slots: Vec<Option<Seen>> = seen.drain(..).map(Some).collect();
    let mut taught = Vec::with_capacity(names.len());
    for (name, index) in names.iter().zip(order) {
        let Some(seen) = slots.get_mut(index).and_then(Option::take) else {
            continue;
        };
        let flaw = flaws.get(index).copied().flatten();
        taught.push(Swatch {
            name: name.clone(),
            samples: vec![seen.paint.lab.map(round2)],
            light: light.to_owned(),
            flaw,
            from: None,
        });
    }
    let lesson = Lesson {
        light: light.to_owned(),
        swatches: taught,
        card: pipeline::card_look(&scene),
        from: Some(Origin {
            photo: photo.hash.clone(),
            file: photo.file.clone(),
        }),
        time: None,
    };
    Ok(Read {
        lesson,
        map: pipeline::light_map(&scene),
        picture,
        left_out,
    })
}

/// Share of the names for which a piece may be missing among the things that are seen at a glance: one of the tray's own
/// colour is not, as 2 of 24 in the teaching photo under tubes in `sample-photos/tune`.
const UNSEEN: f64 = 0.25;

/// Whether so many things on the tray cannot be a piece for each name.
fn plainly_differ(things: usize, names: usize) -> bool {
    things > names || (things as f64) < (1.0 - UNSEEN) * names as f64
}

/// A piece's middle and its outline in the upright photo, px.
type Placed = ([f64; 2], Vec<[f64; 2]>);

/// Pieces in the photo.
fn outlines(scene: &pipeline::Scene, seen: &[Seen]) -> Vec<Placed> {
    let outline = |s: &Seen| -> Vec<[f64; 2]> {
        let outline = s.piece.stance.silhouette_px(&scene.pose.camera);
        outline.iter().map(|px| [px.x, px.y]).collect()
    };
    (seen.iter())
        .map(|s| (in_photo(scene, s), outline(s)))
        .collect()
}

fn in_reading_order(pieces: &[Placed]) -> Vec<usize> {
    let places: Vec<[f64; 2]> = pieces.iter().map(|(place, _)| *place).collect();
    reading_order::reading_order(&places)
}

/// The piece that a place is on.
fn on_piece([x, y]: [f64; 2], pieces: &[Placed]) -> Option<usize> {
    pieces.iter().position(|(_, outline)| {
        let next = outline.iter().cycle().skip(1);
        // A ray to the right leaves what it begins in: it crosses the outline an odd number of times.
        let crossed = outline.iter().zip(next).filter(|([ax, ay], [bx, by])| {
            (*ay > y) != (*by > y) && x < ax + (y - ay) / (by - ay) * (bx - ax)
        });
        crossed.count() % 2 == 1
    })
}

fn unequal<T>(photo: &Photo, pieces: Vec<Placed>, names: &[String]) -> Result<T, Unread> {
    let ordered: Vec<Placed> = (in_reading_order(&pieces).into_iter())
        .filter_map(|index| pieces.get(index).cloned())
        .collect();
    let picture = numbered(photo, &ordered, names)?;
    Err(Unread::Unequal {
        pieces: pieces.len(),
        picture,
    })
}

/// The photo with each piece's number, in order, and its name as far as there are some, as JPEG.
fn numbered(photo: &Photo, pieces: &[Placed], names: &[String]) -> Result<Vec<u8>, Failure> {
    let labels: Vec<Label> = (1..)
        .zip(pieces)
        .map(|(number, (_, outline_px)): (usize, &Placed)| {
            let name = names.get(number - 1).map_or("?", String::as_str);
            Label {
                outline_px: outline_px.clone(),
                words: format!("{number} {name}"),
            }
        })
        .collect();
    Ok(to_jpeg(&named(&photo.pixels, &labels)?, &photo.file)?)
}

/// One search for each form that may be.
///
/// # Errors
/// When there is no such form, or the user's list of shapes cannot be used.
pub fn searches(form: &str, context: &Context) -> Result<Vec<Search>, Failure> {
    let shapes = home::shapes(&context.home)?;
    if form == ANY {
        return Ok(each_form(shapes));
    }
    let search = Search::called(shapes, form);
    let search = search.map_err(|error| Failure::wrong_use(error.to_string()))?;
    Ok(vec![search])
}

/// One search for each form of a list.
fn each_form(shapes: Shapes) -> Vec<Search> {
    let forms = shapes.forms().into_iter();
    forms.map(|form| Search::of_form(shapes, form)).collect()
}

/// What lies on the tray of a teaching photo.
struct Look {
    seen: Vec<Seen>,
    /// How many things were left out.
    left_out: usize,
}

/// The pieces of a teaching photo. They are of one form as a rule: of the forms
/// that may be, the one is taken that finds just as many pieces as there are
/// names, or one at each place where those are given, at best without leaving any out; among equals, the one that
/// explains the photo best.
fn look_for(
    scene: &pipeline::Scene,
    quality: &PhotoQuality,
    searches: &[Search],
    Called { names, at }: Called<'_>,
    progress: &Progress,
) -> Look {
    let names = names.len();
    let merit = |look: &Look| {
        let score: f64 = look.seen.iter().map(|s| s.piece.score).sum();
        let as_many = if at.is_empty() {
            look.seen.len() == names
        } else {
            let outlines = outlines(scene, &look.seen);
            at.iter().all(|place| on_piece(*place, &outlines).is_some())
        };
        (as_many, as_many && look.left_out == 0, score)
    };
    let looks = (1..).zip(searches).map(|(number, search)| {
        // Nearly all of the time goes here, once a form.
        let told = |stage| match stage {
            Stage::Pieces if searches.len() > 1 => progress.say(&format!(
                "finding pieces, form {number} of {}",
                searches.len()
            )),
            _ => progress.stage(stage),
        };
        let seen = pipeline::look(scene, search, &told).0;
        let all = seen.len();
        let shape = |s: &Seen| s.piece.stance.shape;
        let is_sure = |s: &Seen| shape_odds(&s.piece, &s.paint, quality).right >= SURE;
        let seen = if at.is_empty() {
            without_strays(seen, names, shape, is_sure)
        } else {
            seen
        };
        Look {
            left_out: all - seen.len(),
            seen,
        }
    });
    let best = looks.max_by(|a, b| {
        let (a, b) = (merit(a), merit(b));
        (a.0, a.1).cmp(&(b.0, b.1)).then(a.2.total_cmp(&b.2))
    });
    best.unwrap_or(Look {
        seen: Vec::new(),
        left_out: 0,
    })
}

/// Where more is seen than there are names, hard shadows and the tray's rim may have been taken for pieces too. If just
/// as many as there are names share one shape, and none of the others is sure, the others are left out. A
/// piece whose name was forgotten is either of that shape, which makes them one too many, or is sure.
fn without_strays<T, S: PartialEq>(
    mut seen: Vec<T>,
    names: usize,
    shape: impl Fn(&T) -> S,
    is_sure: impl Fn(&T) -> bool,
) -> Vec<T> {
    if seen.len() > names
        && let Some(common) = seen.iter().map(&shape).find(|common| {
            let (alike, others): (Vec<&T>, Vec<&T>) =
                seen.iter().partition(|s| shape(s) == *common);
            alike.len() == names && !others.into_iter().any(&is_sure)
        })
    {
        seen.retain(|s| shape(s) == common);
    }
    seen
}

fn in_photo(scene: &pipeline::Scene, seen: &Seen) -> [f64; 2] {
    let px = scene
        .pose
        .camera
        .project(seen.piece.stance.at, 0.0)
        .unwrap_or_default();
    [px.x, px.y]
}

/// The picture of a photo that taught, in the calibration folder.
pub fn picture_of(light: &str) -> String {
    format!("taught-{light}.jpg")
}

/// Takes the pictures of lights away in which nothing is taught any more.
pub fn sweep(home: &Path, lights: impl IntoIterator<Item = impl AsRef<str>>) {
    let folder = home::calibration(home);
    let gone = |name: String| -> PathBuf { folder.join(name) };
    for light in lights {
        let light = light.as_ref();
        for name in [picture_of(light), format!("swatches-{light}.svg")] {
            // They are only drawings: what cannot be taken away does no harm.
            let _ = std::fs::remove_file(gone(name));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{on_piece, without_strays};

    #[test]
    fn a_place_is_on_the_piece_whose_outline_is_around_it() {
        let square = |x: f64| -> Vec<[f64; 2]> {
            vec![[x, 0.0], [x + 10.0, 0.0], [x + 10.0, 10.0], [x, 10.0]]
        };
        let pieces = [([5.0, 5.0], square(0.0)), ([25.0, 5.0], square(20.0))];
        assert_eq!(on_piece([2.0, 9.0], &pieces), Some(0));
        assert_eq!(on_piece([29.0, 1.0], &pieces), Some(1));
        for off in [[15.0, 5.0], [5.0, 11.0], [-1.0, 5.0], [31.0, 5.0]] {
            assert_eq!(on_piece(off, &pieces), None, "{off:?}");
        }
    }

    /// Pieces as their sizes and whether they are sure.
    fn left(seen: &[(&'static str, bool)], names: usize) -> usize {
        without_strays(seen.to_vec(), names, |s| s.0, |s| s.1).len()
    }

    #[test]
    fn what_may_be_no_piece_is_left_out_where_the_others_are_of_one_shape() {
        let pieces = [("2x4", true), ("2x4", true), ("2x4", false)];
        let shadow = ("1x4", false);
        let with = |more: &[(&'static str, bool)]| [&pieces[..], more].concat();
        assert_eq!(left(&with(&[shadow]), 3), 3);
        assert_eq!(left(&with(&[shadow, ("1x2", false)]), 3), 3);
        // A name was forgotten, or one too many was given: none may slip by.
        assert_eq!(left(&with(&[shadow]), 2), 4);
        assert_eq!(left(&with(&[("1x4", true)]), 3), 4);
        assert_eq!(left(&with(&[shadow]), 4), 4);
        assert_eq!(left(&with(&[]), 4), 3);
        assert_eq!(left(&[], 1), 0);
    }
}
