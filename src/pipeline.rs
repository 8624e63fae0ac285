//! The order of the stages, here and nowhere else.

use palette::white_point::D65;
use palette::{FromColor, Lab, LinSrgb};
use thiserror::Error;

use crate::card::design::CardDesign;
use crate::card::{CardError, FoundCard, card_quality, find};
use crate::colour::{
    Correction, CorrectionError, Flaw, Patch, PrintProfile, SwatchBook, correct, read_patches,
};
use crate::count::fitted::PhotoQuality;
use crate::count::groups::{hidden, total};
use crate::count::reason::{is_about_the_form, is_about_the_list};
use crate::count::record::{HomeMap, maps_id};
use crate::count::{Named, flaws, groups, name_colours};
use crate::numbers::round2;
use crate::photo::{Photo, edge_width_px, flat_share, overexposed_share, white_level};
use crate::pieces::heap::around;
use crate::pieces::paint::{Paint, paint};
use crate::pieces::{Face, FoundPiece, Leftover, Search, Sight, find_pieces};
use crate::sheet::advice::{self, Advice, Undersides};
use crate::sheet::faults::{Fault, Measured, faults, why_unseen};
use crate::sheet::file::{SetRightBy, Unexplained, Version};
use crate::sheet::{Piece, Sheet, Warning};
use crate::tray::ground::GroundError;
use crate::tray::{Foreground, Ground, LabView, Light, without_pattern};
use crate::units::Mm;
use crate::view::{MetricView, Pose, PoseError, fit_pose};

mod lesson;
mod piece;
mod report;
mod together;

use piece::{Whole, counted, in_reading_order};

pub use lesson::{Thing, things};
pub use report::{
    card_look, card_report, colour_report, light_file, light_map, patch_reports, photo_ref,
};
pub use together::{Set, count_together};

/// Why a photo could not be measured; each is a sentence with a remedy.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum Trouble {
    /// No card to measure by.
    #[error(transparent)]
    Card(#[from] CardError),
    /// No card to measure by, and what is wrong with the photo.
    #[error(
        "no card can be read in this photo: {0}; take it again from above, the whole card flat beside the pieces"
    )]
    Unseen(String),
    /// A screenshot or a drawing.
    #[error(
        "it has large areas of one even colour, as screenshots and drawings have and photos have not; give the photo itself, as the phone saved it"
    )]
    Drawn,
    /// No view of the tray from above.
    #[error(transparent)]
    Pose(#[from] PoseError),
    /// No colour correction.
    #[error(transparent)]
    Colour(#[from] CorrectionError),
    /// No plain tray.
    #[error(transparent)]
    Ground(#[from] GroundError),
}

/// What the card's patches should look like.
#[derive(Clone, Debug, PartialEq)]
pub struct Targets {
    /// CIELAB D65 of each patch, in the card's order.
    pub lab: Vec<[f64; 3]>,
    /// Whether this printed copy was measured.
    pub print_profile: bool,
}

impl Targets {
    /// What was sent to the printer.
    pub fn nominal() -> Self {
        let lab = CardDesign::v1().patches.iter().map(|p| p.lab_d65).collect();
        Self {
            lab,
            print_profile: false,
        }
    }

    /// What one printed copy was measured to look like.
    pub fn of(profile: &PrintProfile) -> Self {
        Self {
            lab: profile.patches.iter().map(|p| p.lab).collect(),
            print_profile: true,
        }
    }
}

/// What is being done with a photo, told while it is done: some takes many seconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// Looking for the card.
    Card,
    /// Fitting the camera and the colours to it, and the empty tray.
    Tray,
    /// Looking for pieces.
    Pieces,
    /// Reading the colours of pieces.
    Colours,
}

/// Who is told of every [`Stage`] as it begins.
pub type Told<'a> = &'a dyn Fn(Stage);

/// A photo with everything that is measured before pieces are looked for.
pub struct Scene {
    /// The tags.
    pub card: FoundCard,
    /// The camera, in the pixels of the photo as it is kept.
    pub pose: Pose,
    /// Pixels of the whole photo, as sheets count them, to one of the photo as it is kept (across, down).
    pub full: [f64; 2],
    /// The patches as the photo shows them.
    pub patches: Vec<Patch>,
    /// The colour correction learned from them.
    pub correction: Correction,
    /// The tray from above.
    pub view: MetricView,
    lab: LabView,
    /// The empty tray.
    pub ground: Ground,
    foreground: Foreground,
}

/// Whether a place is on the card, or within this margin (mm) around it.
fn on_card(at: Mm, margin_mm: f64) -> bool {
    let design = CardDesign::v1();
    at.x > -margin_mm
        && at.y > -margin_mm
        && at.x < design.width_mm + margin_mm
        && at.y < design.height_mm + margin_mm
}

/// Share of even areas (see [`flat_share`]) from which a picture is no photo: three times the most that a photo has, half
/// the least that a screenshot of the review page has.
const MOST_FLAT: f64 = 0.05;

/// Measures a photo: card, camera, colours, tray.
///
/// # Errors
/// [`Trouble`] where the photo cannot be measured.
pub fn measure(photo: &Photo, targets: &Targets, told: Told) -> Result<Scene, Trouble> {
    told(Stage::Card);
    let design = CardDesign::v1();
    let grey = photo.pixels.grey8();
    let card = find(&grey).map_err(|error| explained(error, photo, &grey))?;
    if flat_share(photo) > MOST_FLAT {
        return Err(Trouble::Drawn);
    }
    told(Stage::Tray);
    let size = (photo.pixels.width() as u32, photo.pixels.height() as u32);
    let pose = fit_pose(&card, design, size, photo.focal_35mm)?;
    let patches = read_patches(photo, &pose.camera, &targets.lab);
    let correction = correct(&patches)?;
    let middle = Mm::new(design.width_mm / 2.0, design.height_mm / 2.0);
    let view = MetricView::of(photo, &pose.camera, middle);
    let mut lab = LabView::of(&view);
    let ground = Ground::fit(&lab, &on_card)?;
    let mut foreground = Foreground::of(&lab, &ground, &on_card);
    without_pattern(&mut lab, &ground, &mut foreground);
    let kept = [photo.pixels.width(), photo.pixels.height()];
    Ok(Scene {
        card,
        pose,
        full: [0, 1].map(|k| f64::from(photo.full_px[k]) / kept[k] as f64),
        patches,
        correction,
        view,
        lab,
        ground,
        foreground,
    })
}

impl Scene {
    /// A place of the photo as it is kept, in pixels of the whole photo, rounded as sheets round.
    fn full_px(&self, x: f64, y: f64) -> [f64; 2] {
        [round2(x * self.full[0]), round2(y * self.full[1])]
    }
}

/// Why no card was found, as well as the photo tells.
fn explained(error: CardError, photo: &Photo, grey: &image::GrayImage) -> Trouble {
    let why = || {
        why_unseen(
            edge_width_px(grey),
            white_level(grey),
            overexposed_share(photo),
        )
    };
    match error {
        CardError::NoCard => why().map_or(Trouble::Card(error), Trouble::Unseen),
        other => Trouble::Card(other),
    }
}

/// What is wrong with the photo as a whole.
fn photo_faults(photo: &Photo, scene: &Scene, paints: &[Paint]) -> Vec<Fault> {
    let pieces: Vec<[f64; 3]> = paints.iter().map(|paint| paint.lab).collect();
    let beside = Mm::new(CardDesign::v1().width_mm / 2.0, -TRAY_BESIDE_CARD_MM);
    let [l, a, b] = scene.ground.at(beside);
    let rgb: LinSrgb<f32> = LinSrgb::from_color(Lab::<D65, f32>::new(l, a, b));
    faults(&Measured {
        card: card_quality(&photo.pixels, &scene.card),
        overexposed: overexposed_share(photo),
        misfit_px: scene.pose.median_residual_px(),
        tray_noise: scene.ground.noise[0],
        tray: scene.correction.apply([rgb.red, rgb.green, rgb.blue]),
        pieces: &pieces,
    })
}

/// What a photo is like as a whole, as far as it bears on its pieces; `unlike`: whether its colours are unlike what was
/// taught.
pub fn quality(photo: &Photo, scene: &Scene, unlike: bool) -> PhotoQuality {
    let card = card_quality(&photo.pixels, &scene.card);
    PhotoQuality {
        tray_noise: f64::from(scene.ground.noise[0]),
        glare: card.map_or(0.0, |card| card.glare),
        unlike,
    }
}

/// Where the tray's colour is read: close to the card, whose light the correction knows.
const TRAY_BESIDE_CARD_MM: f64 = 20.0;

/// A found piece with its colour, where that could be read.
#[derive(Clone, Debug)]
pub struct Seen {
    /// What stands where.
    pub piece: FoundPiece,
    /// The body's colour.
    pub paint: Paint,
}

/// Finds the pieces of a measured photo and reads their colours. Pieces whose
/// top is hardly in the photo come back as leftovers.
pub fn look(scene: &Scene, search: &Search, told: Told) -> (Vec<Seen>, Vec<Leftover>) {
    told(Stage::Pieces);
    let camera = &scene.pose.camera;
    let sight = Sight {
        view: &scene.lab,
        ground: &scene.ground,
        foreground: &scene.foreground,
        camera,
    };
    let (found, mut leftovers) = find_pieces(&sight, search, &on_card);
    told(Stage::Colours);
    let light = Light::of(&scene.ground, &scene.correction);
    let mut seen = Vec::with_capacity(found.len());
    let around = around(&found, camera);
    for (piece, around) in found.into_iter().zip(&around) {
        match paint(
            &scene.view,
            camera,
            &scene.correction,
            &light,
            &piece.stance,
            around,
        ) {
            Some(paint) => seen.push(Seen { piece, paint }),
            None => leftovers.push(Leftover {
                at: piece.stance.at,
                area_mm2: piece.stance.shape.area_mm2(),
                at_frame: piece.at_frame,
            }),
        }
    }
    (seen, leftovers)
}

/// Counts one photo into a sheet.
///
/// # Errors
/// [`Trouble`] where the photo cannot be measured.
pub fn count(
    photo: &Photo,
    targets: &Targets,
    search: &Search,
    book: Option<&SwatchBook>,
    told: Told,
) -> Result<Sheet, Trouble> {
    let scene = measure(photo, targets, told)?;
    let known = Known {
        book,
        only_taught: false,
        record: None,
    };
    Ok(count_scene(photo, &scene, targets, search, &known, told))
}

/// What is known of the colours that may lie on a tray, and of how far what is stated of pieces can be trusted.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// What was taught.
    pub book: Option<&'a SwatchBook>,
    /// Whether somebody said that these are all there are.
    pub only_taught: bool,
    /// What this home's reviews make of it, where there are enough.
    pub record: Option<&'a HomeMap>,
}

/// Counts a measured photo into a sheet.
pub fn count_scene(
    photo: &Photo,
    scene: &Scene,
    targets: &Targets,
    search: &Search,
    known: &Known,
    told: Told,
) -> Sheet {
    let shown = shown(photo, scene, search, known, told);
    let whole = shown.whole(known);
    let seen_as = (shown.seen.iter())
        .zip(shown.named.iter().zip(&shown.otherwise))
        .zip(&shown.flaws);
    let pieces = seen_as
        .filter_map(|((seen, (named, otherwise)), flaw)| {
            counted(scene, seen, (named, otherwise), *flaw, whole)
        })
        .collect();
    let pieces = in_reading_order(pieces, photo.full_px[1]);
    let unexplained = unexplained(scene, &shown.leftovers);
    let warnings = warnings_of(&shown, &pieces, &unexplained, known);
    sheet_of(&shown, targets, known, pieces, unexplained, warnings)
}

/// What one photo shows by itself, before it is put into words.
pub struct Shown<'a> {
    photo: &'a Photo,
    scene: &'a Scene,
    seen: Vec<Seen>,
    leftovers: Vec<Leftover>,
    /// The pieces' colours, and the same under the other answer to whether the taught colours are all there are.
    named: Vec<Named>,
    otherwise: Vec<Named>,
    flaws: Vec<Option<Flaw>>,
    faults: Vec<Fault>,
    quality: PhotoQuality,
}

impl Shown<'_> {
    /// What bears on every piece of the photo.
    fn whole<'a>(&'a self, known: &Known<'a>) -> Whole<'a> {
        Whole {
            faults: &self.faults,
            quality: &self.quality,
            home: known.record,
        }
    }
}

/// Finds the pieces of a measured photo and names their colours.
pub fn shown<'a>(
    photo: &'a Photo,
    scene: &'a Scene,
    search: &Search,
    known: &Known,
    told: Told,
) -> Shown<'a> {
    let (seen, leftovers) = look(scene, search, told);
    let paints: Vec<Paint> = seen.iter().map(|s| s.paint).collect();
    let colours = name_colours(&paints, known.book, &card_look(scene));
    let [mut named, mut otherwise] = [colours.named, colours.only_taught];
    let mut unlike = colours.unlike;
    if known.only_taught {
        std::mem::swap(&mut named, &mut otherwise);
        unlike = colours.only_taught_unlike;
    }
    Shown {
        photo,
        scene,
        faults: photo_faults(photo, scene, &paints),
        flaws: flaws(&paints),
        quality: quality(photo, scene, unlike),
        seen,
        leftovers,
        named,
        otherwise,
    }
}

/// What a person should know about a counted photo.
fn warnings_of(
    shown: &Shown<'_>,
    pieces: &[Piece],
    unexplained: &[Unexplained],
    known: &Known,
) -> Vec<Warning> {
    advice::warnings(&Advice {
        untaught: known.book.is_none_or(|book| book.names().is_empty()),
        unlike: shown.quality.unlike,
        pieces,
        unexplained,
        at_edge: shown.leftovers.iter().filter(|l| l.at_frame).count(),
        cut: shown.seen.iter().filter(|s| s.piece.at_frame).count(),
        hidden: hidden(pieces),
        unlisted: (pieces.iter())
            .filter(|piece| piece.doubts.iter().any(|doubt| is_about_the_list(doubt)))
            .count(),
        undersides: undersides(pieces),
        ..without_pieces(shown.photo, shown.scene, &shown.faults)
    })
}

/// The sheet of a photo with these pieces.
fn sheet_of(
    shown: &Shown<'_>,
    targets: &Targets,
    known: &Known,
    pieces: Vec<Piece>,
    unexplained: Vec<Unexplained>,
    warnings: Vec<Warning>,
) -> Sheet {
    Sheet {
        sheet: Version::V1,
        photos: photo_ref(shown.photo).into(),
        place: None,
        light: None,
        checked: false,
        only_taught: known.only_taught,
        set_right_by: known.record.map(|home| SetRightBy {
            sheets: home.sheets as u64,
            pieces: home.pieces,
        }),
        stated_by: Some(maps_id().to_owned()),
        card: card_report(shown.scene),
        colour: colour_report(shown.scene, targets),
        groups: groups(&pieces),
        total: Some(total(&pieces)),
        pieces,
        unexplained,
        weighing: None,
        warnings,
        review: None,
    }
}

/// The doubtful pieces that show an underside which may be of another form.
fn undersides(pieces: &[Piece]) -> Undersides {
    let down = Face::Down.name();
    let open = |piece: &&Piece| {
        piece.face == down && piece.doubts.iter().any(|doubt| is_about_the_form(doubt))
    };
    let alone = |piece: &&Piece| piece.doubts.len() == 1;
    Undersides {
        all: pieces.iter().filter(open).count(),
        alone: pieces.iter().filter(open).filter(alone).count(),
    }
}

/// What a count of a photo would warn of, whatever pieces lie in it.
pub fn card_warnings(photo: &Photo, scene: &Scene) -> Vec<Warning> {
    let faults = photo_faults(photo, scene, &[]);
    let warnings = advice::warnings(&without_pieces(photo, scene, &faults));
    (warnings.into_iter())
        .filter(|warning| warning.code != "no-pieces")
        .collect()
}

/// What advice is drawn from where no piece is looked for.
fn without_pieces<'a>(photo: &'a Photo, scene: &'a Scene, faults: &'a [Fault]) -> Advice<'a> {
    Advice {
        notes: &photo.source.notes,
        card: &scene.card,
        pose: &scene.pose,
        patches: scene.patches.len(),
        residuals: scene.correction.residuals(),
        untaught: false,
        unlike: false,
        pieces: &[],
        unexplained: &[],
        faults,
        at_edge: 0,
        cut: 0,
        hidden: 0.0,
        unlisted: 0,
        undersides: Undersides::default(),
    }
}

fn unexplained(scene: &Scene, leftovers: &[Leftover]) -> Vec<Unexplained> {
    let mut spots: Vec<Unexplained> = leftovers
        .iter()
        .filter_map(|spot| {
            let px = scene.pose.camera.project(spot.at, 0.0)?;
            let [x_px, y_px] = scene.full_px(px.x, px.y);
            Some(Unexplained {
                x_px,
                y_px,
                x_mm: round2(spot.at.x),
                y_mm: round2(spot.at.y),
                area_mm2: spot.area_mm2.round(),
            })
        })
        .collect();
    spots.sort_by(|a, b| b.area_mm2.total_cmp(&a.area_mm2));
    spots
}
