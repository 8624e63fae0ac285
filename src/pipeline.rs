//! The order of the stages, here and nowhere else.

use ndarray::{Array2, Array3};
use palette::white_point::D65;
use palette::{FromColor, Lab, LinSrgb};
use thiserror::Error;

use crate::card::design::CardDesign;
use crate::card::{CardError, FoundCard, card_quality, find};
use crate::colour::{
    Correction, CorrectionError, Patch, PrintProfile, SwatchBook, correct, read_patches,
};
use crate::count::doubt::{ToldBy, settled_by_second, stated};
use crate::count::features::PhotoQuality;
use crate::count::record::HomeMap;
use crate::count::shape_odds;
use crate::numbers::round2;
use crate::photo::{Photo, edge_width_px, flat_share, overexposed_share, white_level};
use crate::pieces::heap::around;
use crate::pieces::paint::{Paint, colour_at, paint};
use crate::pieces::traced::{TraceError, Traced, traced};
use crate::pieces::{FoundPiece, Leftover, Search, Sight, find_pieces};
use crate::sheet::faults::{Fault, Measured, faults, why_unseen};
use crate::sheet::file::SecondPhoto;
use crate::sheet::{Piece, SURE, Sheet};
use crate::tray::ground::GroundError;
use crate::tray::{Foreground, Ground, Kind, LabView, Light, without_pattern};
use crate::units::{Mm, Px};
use crate::view::{MetricView, Pose, PoseError, fit_pose};

mod lesson;
mod piece;
mod report;
mod shown;
mod together;

use piece::{counted, in_reading_order, told_by_one};
use shown::{sheet_of, unexplained, warnings_of};

pub use lesson::{Thing, things};
pub use report::{
    card_look, card_report, colour_report, light_file, light_map, patch_reports, photo_ref,
};
pub use shown::{NamedPiece, Shown, card_warnings, shown};
pub use together::{Evidence, Joined, Set, count_together, join, shape_odds_of};

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
    /// Lets go of the view that [`look`] needs, the largest part of a scene: of several photos one alone has it at a time.
    pub fn let_go_of_the_view(&mut self) {
        self.lab.lab = Array3::zeros((0, 0, 3));
        self.lab.inside = Array2::from_elem((0, 0), false);
        self.foreground.kind = Array2::from_elem((0, 0), Kind::Outside);
    }

    /// Traces the things at places of the whole upright photo, in its pixels; each is `height_mm` high and lies apart from all
    /// others.
    ///
    /// # Errors
    /// For each place as [`traced`].
    pub fn trace(&self, places: &[[f64; 2]], height_mm: f64) -> Vec<Result<Traced, TraceError>> {
        // What lies beyond the horizon is on no tray.
        let nowhere = Mm::new(f64::INFINITY, f64::INFINITY);
        let under = |[x, y]: &[f64; 2]| {
            let px = Px::new(x / self.full[0], y / self.full[1]);
            self.pose.camera.unproject(px, 0.0).unwrap_or(nowhere)
        };
        let sight = Sight {
            view: &self.lab,
            ground: &self.ground,
            foreground: &self.foreground,
            camera: &self.pose.camera,
        };
        let places: Vec<Mm> = places.iter().map(under).collect();
        traced(&sight, &places, height_mm)
    }

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

/// Something that no piece explains, with the colour that it shows, CIELAB D65, where that can be read.
#[derive(Clone, Debug)]
pub struct Unknown {
    /// Where it lies.
    pub leftover: Leftover,
    /// Its colour.
    pub lab: Option<[f64; 3]>,
}

/// Finds the pieces of a measured photo and reads their colours. A piece whose
/// top is hardly in the photo comes back as unknown.
pub fn look(scene: &Scene, search: &Search, told: Told) -> (Vec<Seen>, Vec<Unknown>) {
    told(Stage::Pieces);
    let camera = &scene.pose.camera;
    let sight = Sight {
        view: &scene.lab,
        ground: &scene.ground,
        foreground: &scene.foreground,
        camera,
    };
    let (found, leftovers) = find_pieces(&sight, search, &on_card);
    told(Stage::Colours);
    let light = Light::of(&scene.ground, &scene.correction);
    let mut unknown: Vec<Unknown> = (leftovers.into_iter())
        .map(|leftover| Unknown {
            lab: colour_at(
                &scene.view,
                &scene.correction,
                light.at(leftover.at),
                &leftover.places,
            ),
            leftover,
        })
        .collect();
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
            None => unknown.push(Unknown {
                leftover: Leftover::hardly_in(&piece),
                lab: None,
            }),
        }
    }
    (seen, unknown)
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
    let shown = shown(photo, scene, look(scene, search, told), known);
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
    let unexplained = unexplained(scene, &shown.unknown);
    let warnings = warnings_of(&shown, &pieces, &unexplained, known);
    let second_photo = second_photo(&shown, &pieces).filter(|_| shown.is_taught());
    let mut sheet = sheet_of(&shown, targets, known, pieces, unexplained, warnings);
    sheet.second_photo = second_photo;
    sheet
}

/// A second photo is worth taking from so many pieces on that it would settle: it costs some ten seconds, as a look at three
/// pieces does.
const WORTH_A_PHOTO: u32 = 5;

/// What a second photo would settle of the doubtful pieces; none where that is hardly worth it.
fn second_photo(shown: &Shown<'_>, pieces: &[Piece]) -> Option<SecondPhoto> {
    let settled: f64 = (shown.told())
        .filter_map(|NamedPiece { seen, named, flaw }| {
            let shape = shape_odds(&seen.piece, &seen.paint, &shown.quality).right;
            let told = told_by_one(seen, named, flaw, &shown.quality);
            let stated = stated(shape * told.right, told.surely, ToldBy::One);
            let is_open = !named.new && stated < SURE;
            is_open.then(|| settled_by_second(shape, told.right, told.surely))
        })
        .sum();
    let doubtful = pieces.iter().filter(|piece| piece.sure < SURE).count() as u32;
    let would_settle = (settled.round() as u32).min(doubtful);
    (would_settle >= WORTH_A_PHOTO).then_some(SecondPhoto {
        would_settle,
        doubtful,
    })
}
