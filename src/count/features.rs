//! What tells how sure a piece is: named values, read off what was measured of it, that the fitted maps go by.

use crate::pieces::paint::Paint;
use crate::pieces::{Face, FoundPiece, Said, Shape};

use super::colours::Named;

/// What the photo as a whole is like, as far as it bears on its pieces.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PhotoQuality {
    /// Robust sigma of the empty tray's L*.
    pub tray_noise: f64,
    /// By how much the card's black is lighter in one place than in another, as a share of the paper's light.
    pub glare: f64,
    /// Whether its colours are unlike what was taught.
    pub unlike: bool,
}

/// A named value that a map goes by.
pub type Feature = (&'static str, f64);

/// Edge scores are compared by the mm of the piece's length and width; this is what one clearly missed side costs.
const SCORE_PER_MM: f64 = 4.0;
/// Hidden shares around a piece beyond this are as bad.
const MOST_HEAPED: f64 = 0.2;
/// Differences of scores beyond these tell no more.
const MOST_MARGIN: f64 = 1.0;
/// A higher probability tells no more of a name that is not sure ([`Named::is_sure`]): without this the surest tenth of
/// all names, as maps see them that did not know the world, is 96 % right, with it 99.6 %.
const UNSURE_MOST: f64 = 0.85;
/// Glare beyond this is as bad: a tenth of the paper's light.
const MOST_GLARE: f64 = 0.1;

/// What tells whether a piece that the net sees is there and of its size; `paint`: where the camera cut its channels off,
/// seams and studs show less.
pub fn size_features(
    piece: &FoundPiece,
    paint: &Paint,
    said: &Said,
    confirmed: bool,
    photo: &PhotoQuality,
) -> Vec<Feature> {
    let margin = piece
        .runner_up
        .filter(|_| confirmed)
        .map_or(0.0, |(_, other)| {
            ((piece.score - other) / (SCORE_PER_MM * piece.stance.shape.short_mm()))
                .clamp(-MOST_MARGIN, MOST_MARGIN)
        });
    vec![
        ("base", 1.0),
        ("confirmed", yes(confirmed)),
        ("touched", yes(piece.touched)),
        ("net size", logit(said.size_p, 0.002)),
        ("net score", logit(said.score, 0.02)),
        ("visible", said.visible),
        ("outline", piece.outline),
        ("weakest side", piece.weakest_side),
        ("tray within", piece.ground_share),
        ("no tray within", piece.piece_share),
        ("heaped", piece.heaped.min(MOST_HEAPED)),
        ("margin", margin),
        ("tray noise", photo.tray_noise.max(0.1).ln()),
        ("on its side", yes(!piece.stance.face.is_flat())),
        ("like tray", yes(piece.like_tray)),
        ("at frame", yes(piece.at_frame)),
        ("disputed", yes(piece.disputed)),
        ("cut off", cut_off(paint)),
    ]
}

/// What tells whether a form is right, given the size, where the next likeliest form is `other`.
pub fn form_features(
    piece: &FoundPiece,
    paint: &Paint,
    other: Shape,
    photo: &PhotoQuality,
) -> Vec<Feature> {
    let shape = piece.stance.shape;
    let underside = piece.stance.face == Face::Down && shape.height_mm() == other.height_mm();
    let by_net = piece.form_p < 1.0;
    let told = logit(piece.form_p, 0.002);
    let margin = piece.other_form.map_or(0.0, |(_, score)| {
        ((piece.score - score) / (shape.long_mm() + shape.short_mm()) / SCORE_PER_MM)
            .clamp(-MOST_MARGIN, MOST_MARGIN)
    });
    let both_lie_flat = piece.stance.face.is_flat();
    let brick = yes(shape.height_mm() != other.height_mm());
    vec![
        ("base", 1.0),
        ("by edges", yes(!by_net)),
        ("net form", if by_net && !underside { told } else { 0.0 }),
        ("underside", yes(underside)),
        (
            "net form of an underside",
            if underside { told } else { 0.0 },
        ),
        ("margin", if by_net { 0.0 } else { margin }),
        ("other height", brick),
        ("on its side", yes(!both_lie_flat)),
        ("touched", yes(piece.touched)),
        ("heaped", piece.heaped.min(MOST_HEAPED)),
        ("outline", piece.outline),
        ("tray noise", photo.tray_noise.max(0.1).ln()),
        ("cut off", cut_off(paint)),
    ]
}

/// Share of the channels that the camera cut off.
fn cut_off(paint: &Paint) -> f64 {
    paint.clipped.iter().filter(|cut| **cut).count() as f64 / 3.0
}

/// What tells whether a taught colour is right; `lamp`: whether a lamp mirrors in the piece; `touched` and `covered`:
/// whether others touch it, and which share of it they hide.
pub fn colour_features(
    named: &Named,
    paint: &Paint,
    lamp: bool,
    (touched, covered): (bool, f64),
    photo: &PhotoQuality,
) -> Vec<Feature> {
    let against = &named.against;
    vec![
        ("base", 1.0),
        (TOLD, told(named, photo.unlike)),
        ("lamp", yes(lamp)),
        ("uneven", yes(paint.uneven())),
        ("shaded", paint.shaded),
        ("cut off", yes(paint.clipped.contains(&true))),
        ("all cut off", yes(paint.clipped == [true; 3])),
        ("covered", covered),
        ("touched", yes(touched)),
        ("mirrored", against.mirrored),
        ("beside, taught once", against.beside_once),
        ("beside", against.beside),
        ("unlike", yes(photo.unlike)),
        ("glare", photo.glare.clamp(0.0, MOST_GLARE) / MOST_GLARE),
    ]
}

/// Name of the feature that says how likely the name is by likeness.
pub const TOLD: &str = "told";

/// How likely the name is by likeness, log-odds: less than that where it is not sure.
pub fn told(named: &Named, unlike: bool) -> f64 {
    let most = if named.is_sure(unlike) {
        1.0
    } else {
        UNSURE_MOST
    };
    logit(named.probability.min(most), 0.002)
}

/// Name of the feature that says whether the colours leave a piece's name sure.
pub const NAMED_SURELY: &str = "named surely";

/// What tells whether form, size and colour are right together, of the product of their probabilities and of whether the
/// colour is named surely ([`Named::is_sure`]).
pub fn whole_features(product: f64, surely: bool) -> Vec<Feature> {
    vec![
        ("base", 1.0),
        ("product", logit(product, 0.0005)),
        (NAMED_SURELY, yes(surely)),
    ]
}

/// What several photos of a tray say of one piece's form and size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShapeTogether {
    /// Probability by all photos and by where they show it ([`fuse`](crate::together::fuse())).
    pub right: f64,
    /// The least that a photo gives to that form and size, by itself.
    pub lowest: f64,
    /// The most that one gives.
    pub highest: f64,
    /// How many photos show it.
    pub photos: usize,
    /// Whether a photo that should show it does not.
    pub missed: bool,
    /// How far its places in the photos are from their middle, root mean square, mm.
    pub spread_mm: f64,
    /// The least share of it that others hide in a photo.
    pub covered: f64,
    /// Whether it lies in a heap.
    pub heaped: bool,
    /// Whether others touch it.
    pub touched: bool,
    /// Whether it lies studs down.
    pub underside: bool,
}

/// More photos than this that show a piece tell no more.
const MOST_PHOTOS: usize = 4;
/// Places further apart than this, mm, are as bad.
const MOST_SPREAD_MM: f64 = 3.0;

/// What tells whether a form and size are right by several photos.
pub fn shape_together_features(told: &ShapeTogether) -> Vec<Feature> {
    vec![
        ("base", 1.0),
        ("right", logit(told.right, 0.001)),
        ("lowest", logit(told.lowest, 0.002)),
        ("highest", logit(told.highest, 0.002)),
        ("one photo", yes(told.photos == 1)),
        ("photos", told.photos.min(MOST_PHOTOS) as f64),
        ("missed", yes(told.missed)),
        ("spread", told.spread_mm.min(MOST_SPREAD_MM)),
        ("covered", told.covered),
        ("heaped", yes(told.heaped)),
        ("touched", yes(told.touched)),
        ("underside", yes(told.underside)),
    ]
}

/// What several photos of a tray say of one piece's colour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColourTogether {
    /// Probability of the name by the photo that it is taken from.
    pub own: f64,
    /// Whether it is named surely there ([`Named::is_sure`]).
    pub surely: bool,
    /// The most that another photo gives to the same name; none where no other gives it.
    pub alike: Option<f64>,
    /// The most that another photo gives to another name; none where no other gives one.
    pub otherwise: Option<f64>,
    /// Whether one names it otherwise surely.
    pub surely_otherwise: bool,
    /// How many photos show it.
    pub photos: usize,
}

/// What tells whether a taught colour is right by several photos.
pub fn colour_together_features(told: &ColourTogether) -> Vec<Feature> {
    let of = |p: Option<f64>| p.map_or(0.0, |p| logit(p, 0.002).max(0.0));
    vec![
        ("base", 1.0),
        ("own", logit(told.own, 0.002)),
        (NAMED_SURELY, yes(told.surely)),
        ("none alike", yes(told.alike.is_none())),
        ("alike", of(told.alike)),
        ("some otherwise", yes(told.otherwise.is_some())),
        ("otherwise", of(told.otherwise)),
        ("surely otherwise", yes(told.surely_otherwise)),
        ("photos", told.photos.min(MOST_PHOTOS) as f64),
    ]
}

/// What tells whether a second photo makes a piece sure: the probabilities of its shape and of its colour by the first, and
/// whether the colour is named surely there.
pub fn second_photo_features(shape: f64, colour: f64, surely: bool) -> Vec<Feature> {
    vec![
        ("base", 1.0),
        ("shape", logit(shape, 0.002)),
        ("colour", logit(colour, 0.002)),
        (NAMED_SURELY, yes(surely)),
    ]
}

fn yes(is: bool) -> f64 {
    f64::from(u8::from(is))
}

/// Log-odds of a probability, held off 0 and 1.
pub fn logit(p: f64, least: f64) -> f64 {
    let p = p.clamp(least, 1.0 - least);
    (p / (1.0 - p)).ln()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::colours::Against;
    use super::super::fitted::fitted;
    use super::*;
    use crate::pieces::{Search, Shapes, Stance, Witness};
    use crate::units::Mm;

    /// A weight without a feature, or a feature without a weight, would count for nothing unseen.
    #[test]
    fn the_shipped_maps_weigh_what_is_told_and_nothing_else() {
        let shapes = Shapes::shipped();
        let search = Search::called(shapes, "any").unwrap();
        let said = Said {
            size_p: 0.9,
            allowed_p: 1.0,
            score: 0.8,
            visible: 1.0,
        };
        let stance = Stance {
            shape: search.shapes()[0],
            face: Face::Up,
            at: Mm::new(0.0, 0.0),
            turn: 0.0,
        };
        let piece = FoundPiece {
            stance,
            outline: 0.9,
            weakest_side: 0.8,
            studs: 0.7,
            piece_share: 1.0,
            ground_share: 0.0,
            score: 40.0,
            runner_up: None,
            rival: None,
            twin_on_side: None,
            among_odd: false,
            other_form: None,
            form_p: 0.9,
            at_frame: false,
            like_tray: false,
            disputed: false,
            touched: false,
            heaped: 0.0,
            witness: Witness::Net(said),
        };
        let paint = Paint {
            lab: [50.0, 0.0, 0.0],
            spread: 0.1,
            light: 1.0,
            measured: [0.2; 3],
            clipped: [false; 3],
            mixing: [[0.0; 3]; 3],
            dark: 0.1,
            at: stance.at,
            shaded: 0.0,
        };
        let named = Named {
            name: "fog".to_owned(),
            probability: 0.9,
            others: Vec::new(),
            untaught: 0.0,
            new: false,
            against: Against::default(),
        };
        let photo = PhotoQuality {
            tray_noise: 0.5,
            glare: 0.0,
            unlike: false,
        };
        let shipped = fitted();
        for (map, features) in [
            (
                &shipped.size,
                size_features(&piece, &paint, &said, true, &photo),
            ),
            (
                &shipped.form,
                form_features(&piece, &paint, stance.shape, &photo),
            ),
            (
                &shipped.colour,
                colour_features(&named, &paint, false, (false, 0.0), &photo),
            ),
            (&shipped.whole, whole_features(0.5, true)),
            (
                &shipped.together.shape,
                shape_together_features(&ShapeTogether {
                    right: 0.9,
                    lowest: 0.5,
                    highest: 0.95,
                    photos: 2,
                    missed: false,
                    spread_mm: 0.4,
                    covered: 0.0,
                    heaped: false,
                    touched: false,
                    underside: false,
                }),
            ),
            (
                &shipped.together.colour,
                colour_together_features(&ColourTogether {
                    own: 0.9,
                    surely: true,
                    alike: Some(0.8),
                    otherwise: None,
                    surely_otherwise: false,
                    photos: 2,
                }),
            ),
            (&shipped.together.whole, whole_features(0.5, true)),
            (&shipped.second_photo, second_photo_features(0.5, 0.5, true)),
        ] {
            let told: Vec<&str> = features.iter().map(|(name, _)| *name).collect();
            let weighed: Vec<&str> = map.weights.keys().map(String::as_str).collect();
            let sorted = |mut names: Vec<&str>| -> Vec<String> {
                names.sort_unstable();
                names.into_iter().map(str::to_owned).collect()
            };
            assert_eq!(sorted(told), sorted(weighed));
        }
    }
}
