//! Forms and sizes, with their dimensions.
//!
//! Which there are is data: [`super::list`] reads it. Dimensions here are common practice, no
//! source: 8.0 mm pitch, 0.1 mm clearance a side, studs 4.8 mm across and 1.7 mm high.

use std::cmp::Ordering;
use std::fmt;
use std::hash::{Hash, Hasher};

use super::polygon::area_and_middle;
use super::profile::{Along, Profile};

/// Distance between neighbouring studs, mm.
pub const PITCH_MM: f64 = 8.0;
/// What a row of n studs lacks to 8 n mm.
pub const CLEARANCE_MM: f64 = 0.2;
/// Radius of a stud, mm.
pub const STUD_RADIUS_MM: f64 = 2.4;
/// Height of a stud above the top face, mm.
pub const STUD_HEIGHT_MM: f64 = 1.7;

/// What kind of piece, by its name in the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Form(&'static str);

impl Form {
    /// 9.6 mm high, with studs.
    pub const BRICK: Form = Form("brick");
    /// 3.2 mm high, with studs.
    pub const PLATE: Form = Form("plate");
    /// 3.2 mm high, smooth.
    pub const TILE: Form = Form("tile");
    /// A plate of two by two studs that lacks one of its cells.
    pub const CORNER: Form = Form("corner");
    /// A disc as high as a plate, with studs.
    pub const ROUND: Form = Form("round");

    /// A form of the list.
    pub(super) const fn listed(name: &'static str) -> Self {
        Self(name)
    }

    /// The word for files and tables.
    pub fn name(self) -> &'static str {
        self.0
    }
}

/// What one moulded element measures.
#[derive(Clone, Debug, PartialEq)]
pub struct Moulding {
    /// What kind.
    pub form: Form,
    /// Studs along the sides of the box around it: the short one, the long one.
    pub studs_box: (u8, u8),
    /// Height of the body without studs, mm.
    pub height_mm: f64,
    /// Corners of the footprint in turn, mm from the middle of its box: along the long side, and
    /// across it, as seen from above with `along` to the right and `across` towards the viewer.
    pub outline: Vec<(f64, f64)>,
    /// Middles of the studs, likewise.
    pub studs: Vec<(f64, f64)>,
    /// Whether the footprint fills its box.
    pub fills_box: bool,
    /// Whether the footprint is not convex.
    pub has_notch: bool,
    /// Whether the footprint is round.
    pub is_round: bool,
    /// How high it is along a side, where that is not the same everywhere.
    pub profile: Option<Profile>,
    /// What it is like below.
    pub below: Below,
}

/// What a shape is like below.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Deserialize, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Below {
    /// Open, with walls around.
    #[default]
    Hollow,
    /// Closed.
    Solid,
}

/// A form in a size: one element of the list.
///
/// It refers to a list that stays for as long as the program runs, so that it costs no more to
/// hand on than a number does.
#[derive(Clone, Copy)]
pub struct Shape(&'static Moulding);

impl Shape {
    /// An element of a list that stays.
    pub(super) fn of(moulding: &'static Moulding) -> Self {
        Self(moulding)
    }

    /// What kind.
    pub fn form(self) -> Form {
        self.0.form
    }

    /// Studs along the sides of the box around it: the short one, the long one.
    pub fn studs_box(self) -> (u8, u8) {
        self.0.studs_box
    }

    /// Length of the short side, mm.
    pub fn short_mm(self) -> f64 {
        side_mm(self.0.studs_box.0)
    }

    /// Length of the long side, mm.
    pub fn long_mm(self) -> f64 {
        side_mm(self.0.studs_box.1)
    }

    /// Height of the body without studs, mm.
    pub fn height_mm(self) -> f64 {
        self.0.height_mm
    }

    /// Corners of the footprint: see [`Moulding::outline`].
    pub fn outline(self) -> &'static [(f64, f64)] {
        &self.0.outline
    }

    /// Middles of the studs, in the axes of the outline.
    pub fn studs(self) -> &'static [(f64, f64)] {
        &self.0.studs
    }

    /// Whether studs stand on the top face.
    pub fn has_studs(self) -> bool {
        !self.0.studs.is_empty()
    }

    /// Area of the footprint, mm².
    pub fn area_mm2(self) -> f64 {
        area_and_middle(&self.0.outline).0
    }

    /// Whether the body is a box: its footprint a full rectangle, and as high everywhere.
    pub fn is_block(self) -> bool {
        self.0.fills_box && self.0.profile.is_none()
    }

    /// How high it is along a side, where that is not the same everywhere.
    pub fn profile(self) -> Option<&'static Profile> {
        self.0.profile.as_ref()
    }

    /// What it is like below.
    pub fn below(self) -> Below {
        self.0.below
    }

    /// Corners of the body, (along, across, height above its underside), mm.
    pub fn corners(self) -> Vec<(f64, f64, f64)> {
        match self.profile() {
            Some(profile) => profile.corners(self.across_mm(profile)).collect(),
            None => {
                let level = |height| self.outline().iter().map(move |p| (p.0, p.1, height));
                level(0.0).chain(level(self.height_mm())).collect()
            }
        }
    }

    /// Where its top bends: from one side to the other, (along, across, height) mm.
    pub fn folds(self) -> Vec<[(f64, f64, f64); 2]> {
        let Some(profile) = self.profile() else {
            return Vec::new();
        };
        let width = self.across_mm(profile);
        let bends = profile.top().iter().skip(1);
        let bends = bends.take(profile.top().len().saturating_sub(2));
        bends.map(|corner| profile.across(*corner, width)).collect()
    }

    /// How wide it is across its profile, mm.
    pub fn across_mm(self, profile: &Profile) -> f64 {
        match profile.along() {
            Along::Long => self.short_mm(),
            Along::Short => self.long_mm(),
        }
    }

    /// Share of its height that it fills on the mean, 0 to 1.
    pub fn filled(self) -> f64 {
        self.profile().map_or(1.0, |profile| {
            let side = self.short_mm() * self.long_mm() / self.across_mm(profile);
            profile.area_mm2() / (side * self.height_mm())
        })
    }

    /// How high a stud's foot is, mm.
    pub fn foot_mm(self, stud: (f64, f64)) -> f64 {
        let level = |profile: &Profile| profile.level_at(stud, STUD_RADIUS_MM);
        self.profile().and_then(level).unwrap_or(self.height_mm())
    }

    /// Whether the footprint is not convex.
    pub fn has_notch(self) -> bool {
        self.0.has_notch
    }

    /// Whether the footprint is round.
    pub fn is_round(self) -> bool {
        self.0.is_round
    }

    /// Whether the box around it is as long as it is wide.
    pub fn is_square(self) -> bool {
        self.0.studs_box.0 == self.0.studs_box.1
    }

    /// Whether both have one footprint, whatever their height and studs.
    pub fn has_footprint_of(self, other: Shape) -> bool {
        self.0.outline == other.0.outline
    }

    /// The turn in degrees after which it looks the same from above; 0 if it always does.
    pub fn same_after_deg(self) -> f64 {
        let is_same = |quarters: u8| {
            let turned = |&(x, y): &(f64, f64)| (0..quarters).fold((x, y), |(x, y), _| (-y, x));
            let covers = |points: &[(f64, f64)]| {
                let near = |p: (f64, f64)| {
                    (points.iter()).any(|q| (p.0 - q.0).abs() < 0.01 && (p.1 - q.1).abs() < 0.01)
                };
                points.iter().map(turned).all(near)
            };
            covers(&self.0.outline) && covers(&self.0.studs)
        };
        let sloped = self.profile();
        if sloped.is_some_and(|profile| !profile.is_symmetric()) {
            return 360.0;
        }
        let middle_only = (self.0.studs.iter()).all(|(x, y)| x.abs() < 0.01 && y.abs() < 0.01);
        if self.0.is_round && middle_only {
            0.0
        } else if is_same(1) && sloped.is_none() {
            90.0
        } else if is_same(2) {
            180.0
        } else {
            360.0
        }
    }

    /// The size as in sheets: small side first.
    pub fn size(self) -> String {
        let (short, long) = self.0.studs_box;
        format!("{short}x{long}")
    }

    fn key(self) -> (Form, (u8, u8)) {
        (self.0.form, self.0.studs_box)
    }
}

/// Length of a side of n studs, mm.
pub(super) fn side_mm(studs: u8) -> f64 {
    f64::from(studs) * PITCH_MM - CLEARANCE_MM
}

// A list names each form in each size once.
impl PartialEq for Shape {
    fn eq(&self, other: &Self) -> bool {
        self.key() == other.key()
    }
}

impl Eq for Shape {}

impl PartialOrd for Shape {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Shape {
    fn cmp(&self, other: &Self) -> Ordering {
        self.key().cmp(&other.key())
    }
}

impl Hash for Shape {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.key().hash(state);
    }
}

impl fmt::Debug for Shape {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Shape({self})")
    }
}

impl fmt::Display for Shape {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.form().name(), self.size())
    }
}

#[cfg(test)]
mod tests {
    use super::super::list::tests::shape;

    #[test]
    fn a_turn_is_told_as_far_as_it_shows() {
        for (form, size, turn) in [
            ("plate", "2x2", 90.0),
            ("tile", "1x1", 90.0),
            ("brick", "1x4", 180.0),
            ("corner", "2x2", 360.0),
            ("round", "1x1", 0.0),
            ("round", "2x2", 90.0),
        ] {
            assert_eq!(shape(form, size).same_after_deg(), turn, "{form} {size}");
        }
    }
}
