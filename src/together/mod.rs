//! Several photos of one tray at rest: which pieces in them are the same, and what they tell together.
//!
//! Takes what each photo shows by itself, as [`Sighting`]s in the card's frame, which all photos share, and gives
//! [`Instance`]s: one for each piece, with the photos that show it. A photo from another place sees a raised thing against
//! another part of the tray (parallax), so that a reading of the wrong height lies elsewhere in each; see [`mod@fuse`].

use crate::count::ShapeOdds;
use crate::pieces::learned::Lies;
use crate::pieces::{Face, Shape, Stance};
use crate::units::Mm;
use crate::view::Camera;

pub mod drift;
pub mod fuse;
pub mod matching;

pub use drift::{Drift, drift};
pub use fuse::{Fused, fuse};
pub use matching::{Instance, matched};

/// One photo of the tray.
#[derive(Clone, Debug)]
pub struct View<'a> {
    /// From where it was taken, in the card's frame.
    pub camera: &'a Camera,
    /// Width and height of the photo in the camera's pixels.
    pub size_px: [f64; 2],
    /// What it shows.
    pub sightings: Vec<Sighting<'a>>,
    /// How its places lie against those of the first photo.
    pub drift: Drift,
}

/// A piece as one photo shows it.
#[derive(Clone, Debug)]
pub struct Sighting<'a> {
    /// How it is taken to stand.
    pub stance: Stance,
    /// What form and size it may be.
    pub odds: &'a ShapeOdds,
    /// Share of it that others hide.
    pub covered: f64,
    /// Whether it lies in a heap, where it may lie on others.
    pub heaped: bool,
}

/// Form and size of a piece, and which way it lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hypothesis {
    /// Form and size.
    pub shape: Shape,
    /// Which way it lies.
    pub face: Face,
}

/// Probability that a piece was turned over in place between two photos, which a person does who is asked to: set by hand.
const TURNED: f64 = 0.05;
/// Less likely than this a reading is none of a sighting's own.
const OWN: f64 = 0.01;

impl Hypothesis {
    /// The same piece on its other side, where it lies on one of the two flat ones.
    pub fn turned_over(self) -> Option<Self> {
        let face = match self.face {
            Face::Up => Face::Down,
            Face::Down => Face::Up,
            _ => return None,
        };
        Some(Self { face, ..self })
    }

    /// The box that it fills.
    fn lies(self) -> Option<Lies> {
        Lies::of(self.shape, self.face).or_else(|| Lies::of(self.shape, Face::Side))
    }
}

impl Sighting<'_> {
    /// What it was taken for.
    pub fn own(&self) -> Hypothesis {
        Hypothesis {
            shape: self.stance.shape,
            face: self.stance.face,
        }
    }

    /// What it may be, as it was taken first.
    pub fn hypotheses(&self) -> Vec<Hypothesis> {
        let others = self.odds.others.iter().filter(|(_, p)| *p >= OWN);
        let others = others.map(|(shape, _)| Hypothesis {
            shape: *shape,
            face: self.stance.face,
        });
        std::iter::once(self.own()).chain(others).collect()
    }

    /// Probability of a reading, as this photo tells it: a small part of what it leaves open where it does not speak of it. A
    /// piece that lay on its other side may have been turned over since.
    pub fn probability(&self, of: Hypothesis) -> f64 {
        let told = self.told(of);
        let turned = of
            .turned_over()
            .map_or(0.0, |other| TURNED * self.told(other));
        told.max(turned)
    }

    /// The same, had it not been touched.
    fn told(&self, of: Hypothesis) -> f64 {
        let lies_alike = self.stance.face == of.face
            || self.stance.face.is_flat() && of.face.is_flat() && self.stance.shape != of.shape;
        let told = if of == self.own() {
            Some(self.odds.right)
        } else {
            let others = || self.odds.others.iter();
            lies_alike
                .then(|| others().find(|(shape, _)| *shape == of.shape))
                .flatten()
                .map(|(_, p)| *p)
        };
        told.unwrap_or_default().max(OWN * self.open()).max(LEAST)
    }

    /// Probability of a form and size, whichever way it lies.
    pub fn of_shape(&self, shape: Shape) -> f64 {
        if self.stance.shape == shape {
            return self.odds.right;
        }
        let mut others = self.odds.others.iter();
        others
            .find(|(other, _)| *other == shape)
            .map_or(0.0, |(_, p)| *p)
    }

    /// Probability that it is nothing of what was told.
    pub fn open(&self) -> f64 {
        let others: f64 = self.odds.others.iter().map(|(_, p)| p).sum();
        (1.0 - self.odds.right - others).clamp(0.0, 1.0)
    }
}

/// Nothing is less likely than this by the word of one photo.
const LEAST: f64 = 1e-3;

impl View<'_> {
    /// Where a sighting would stand were it this and lay `raised_mm` above the tray, in the first photo's frame: its
    /// silhouette has one middle in the photo, which lies over another place of the tray for another height.
    pub fn place(&self, sighting: &Sighting<'_>, were: Hypothesis, raised_mm: f64) -> Option<Mm> {
        let own = sighting.own().lies()?;
        let seen = own.seen(sighting.stance.at, self.camera);
        let mut lies = were.lies()?;
        lies.lift_mm += raised_mm;
        Some(self.drift.undone(lies.at(seen, self.camera)))
    }

    /// Whether all of a stance lies in the photo.
    pub fn shows(&self, stance: &Stance) -> bool {
        let stance = Stance {
            at: self.drift.done(stance.at),
            ..*stance
        };
        let outline = stance.silhouette(self.camera);
        let corners = outline.into_iter().map(|mm| self.camera.project(mm, 0.0));
        let [width, height] = self.size_px;
        corners.into_iter().all(|px| {
            px.is_some_and(|px| px.x > 0.0 && px.y > 0.0 && px.x < width && px.y < height)
        })
    }
}
