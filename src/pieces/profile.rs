//! How high a shape is along one of its sides: slopes, shapes that are cut away below, arches.

use thiserror::Error;

/// Most corners of a profile's line.
const MOST_CORNERS: usize = 32;
/// Share of the distance between two corners that is next to one of them.
const NEAR_END: f64 = 1e-6;
/// Beyond this, mm, two heights are two.
const SAME_MM: f64 = 1e-4;

/// Along which side of the box a profile runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default, serde::Deserialize, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Along {
    /// The long side.
    #[default]
    Long,
    /// The short one.
    Short,
}

/// A shape's upper and lower line, the same all across it.
///
/// Both are corners (mm from the middle of the box along the profile's side, in the axes of
/// [`super::Shape::outline`]; mm above the shape's own underside), ordered along that side.
#[derive(Clone, Debug, PartialEq)]
pub struct Profile {
    along: Along,
    top: Vec<(f64, f64)>,
    bottom: Vec<(f64, f64)>,
}

/// Why lines are no profile; each goes after a shape's name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum ProfileError {
    /// Too few corners, or too many.
    #[error("has a profile with a line of fewer than 2 or more than 32 corners")]
    Corners,
    /// Not from one end to the other.
    #[error(
        "has a profile that does not run from 0 to the end of its side: distances in studs that never fall"
    )]
    Reach,
    /// Above or below the body.
    #[error("has a profile that leaves 0 to height_mm, or that touches only one of the two")]
    Height,
    /// No body in between.
    #[error("has a profile whose bottom is not below its top")]
    Crossed,
}

impl Profile {
    /// A profile along a side of `side_mm`, whose corners are at distances of 0 to 1 along it.
    ///
    /// # Errors
    /// When the lines are none of a body of that height.
    pub fn new(
        along: Along,
        side_mm: f64,
        height_mm: f64,
        top: &[(f64, f64)],
        bottom: &[(f64, f64)],
    ) -> Result<Self, ProfileError> {
        for line in [top, bottom] {
            if !(2..=MOST_CORNERS).contains(&line.len()) {
                return Err(ProfileError::Corners);
            }
            let ends = [line[0].0, line[line.len() - 1].0 - 1.0];
            let falls = line.windows(2).any(|pair| pair[1].0 < pair[0].0);
            let finite = line.iter().all(|(at, z)| at.is_finite() && z.is_finite());
            if !finite || falls || ends.iter().any(|off| off.abs() > SAME_MM) {
                return Err(ProfileError::Reach);
            }
        }
        let low = bottom
            .iter()
            .fold(f64::MAX, |low, corner| low.min(corner.1));
        let high = top.iter().fold(f64::MIN, |high, corner| high.max(corner.1));
        let touches = low.abs() <= SAME_MM && (high - height_mm).abs() <= SAME_MM;
        let leaves = |z: f64| !(-SAME_MM..=height_mm + SAME_MM).contains(&z);
        if !touches || top.iter().chain(bottom).any(|corner| leaves(corner.1)) {
            return Err(ProfileError::Height);
        }
        let placed = |line: &[(f64, f64)]| {
            let place = |(at, z): &(f64, f64)| ((at - 0.5) * side_mm, *z);
            straightened(line.iter().map(place).collect())
        };
        let profile = Self {
            along,
            top: placed(top),
            bottom: placed(bottom),
        };
        let corners = profile.top.iter().chain(&profile.bottom);
        let mut places: Vec<f64> = corners.map(|corner| corner.0).collect();
        places.sort_by(f64::total_cmp);
        // Between two corners both lines are straight: what holds at both ends and in the middle holds everywhere.
        let mut between = places.windows(2).filter(|pair| pair[1] - pair[0] > SAME_MM);
        let room = |at: f64| height_at(&profile.top, at) - height_at(&profile.bottom, at);
        let crossed = between.any(|pair| {
            let near = (pair[1] - pair[0]) * NEAR_END;
            let ends = [pair[0] + near, pair[1] - near].map(room);
            ends.into_iter().any(|room| room < -SAME_MM)
                || room((pair[0] + pair[1]) / 2.0) < SAME_MM
        });
        if crossed {
            return Err(ProfileError::Crossed);
        }
        Ok(profile)
    }

    /// Along which side it runs.
    pub fn along(&self) -> Along {
        self.along
    }

    /// The upper line's corners.
    pub fn top(&self) -> &[(f64, f64)] {
        &self.top
    }

    /// The lower line's corners.
    pub fn bottom(&self) -> &[(f64, f64)] {
        &self.bottom
    }

    /// Of a place `(along, across)` in the shape's own axes, how far along the profile it is, mm.
    pub fn distance(&self, (along, across): (f64, f64)) -> f64 {
        match self.along {
            Along::Long => along,
            Along::Short => across,
        }
    }

    /// How high the top is at a place in the shape's own axes, mm; `None` where it is not level
    /// for `around_mm` to both sides.
    pub fn level_at(&self, place: (f64, f64), around_mm: f64) -> Option<f64> {
        let at = self.distance(place);
        let (from, to) = (at - around_mm, at + around_mm);
        let height = height_at(&self.top, at);
        let corners = self
            .top
            .iter()
            .filter(|corner| corner.0 > from && corner.0 < to);
        let near = [height_at(&self.top, from), height_at(&self.top, to)];
        let mut all = corners.map(|corner| corner.1).chain(near);
        all.all(|other| (other - height).abs() < SAME_MM)
            .then_some(height)
    }

    /// All corners of the body, (along, across, height above its underside) mm, where it is
    /// `width_mm` wide across the profile.
    pub fn corners(&self, width_mm: f64) -> impl Iterator<Item = (f64, f64, f64)> + '_ {
        let line = self.top.iter().chain(&self.bottom);
        line.flat_map(move |corner| self.across(*corner, width_mm))
    }

    /// Both ends of the line across the body at one of its corners.
    pub fn across(&self, (at, height): (f64, f64), width_mm: f64) -> [(f64, f64, f64); 2] {
        [-0.5, 0.5].map(|side| match self.along {
            Along::Long => (at, side * width_mm, height),
            Along::Short => (side * width_mm, at, height),
        })
    }

    /// Area between the two lines, mm².
    pub fn area_mm2(&self) -> f64 {
        area_under(&self.top) - area_under(&self.bottom)
    }

    /// Whether it looks the same from its other end.
    pub fn is_symmetric(&self) -> bool {
        [&self.top, &self.bottom].iter().all(|line| {
            let mirrored = line.iter().rev().map(|(at, z)| (-at, *z));
            (line.iter().zip(mirrored))
                .all(|(a, b)| (a.0 - b.0).abs() < 0.01 && (a.1 - b.1).abs() < 0.01)
        })
    }
}

/// A line without the corners at which it does not bend.
fn straightened(line: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    let mut kept: Vec<(f64, f64)> = Vec::new();
    for corner in line {
        while let [.., a, b] = kept.as_slice() {
            let cross = (b.0 - a.0) * (corner.1 - b.1) - (b.1 - a.1) * (corner.0 - b.0);
            if cross.abs() > SAME_MM {
                break;
            }
            kept.pop();
        }
        kept.push(corner);
    }
    kept
}

fn area_under(line: &[(f64, f64)]) -> f64 {
    let parts = line.windows(2);
    parts
        .map(|pair| (pair[1].0 - pair[0].0) * (pair[0].1 + pair[1].1) / 2.0)
        .sum()
}

/// A line's height at a distance, mm; its ends reach on.
fn height_at(line: &[(f64, f64)], at: f64) -> f64 {
    let after = line.iter().position(|corner| corner.0 > at);
    match after {
        Some(0) | None => {
            let end = if after.is_some() {
                line.first()
            } else {
                line.last()
            };
            end.map_or(0.0, |corner| corner.1)
        }
        Some(k) => {
            let (from, to) = (line[k - 1], line[k]);
            from.1 + (at - from.0) / (to.0 - from.0) * (to.1 - from.1)
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn falling() -> Result<Profile, ProfileError> {
        let top = [(0.0, 9.6), (0.5, 9.6), (1.0, 1.6)];
        Profile::new(Along::Long, 15.8, 9.6, &top, &[(0.0, 0.0), (1.0, 0.0)])
    }

    #[test]
    fn a_slope_is_level_on_its_ridge_alone() {
        let slope = falling().unwrap();
        assert_eq!(slope.level_at((-4.0, 0.0), 2.4), Some(9.6));
        assert_eq!(slope.level_at((-1.0, 0.0), 2.4), None);
        assert_eq!(slope.level_at((4.0, 0.0), 2.4), None);
        assert!(!slope.is_symmetric());
        // By hand: half of 15.8 mm is 9.6 high, over the other half it falls to 1.6.
        assert!((slope.area_mm2() - 7.9 * (9.6 + 5.6)).abs() < 1e-9);
        assert_eq!(slope.corners(15.8).count(), 10);
        let lowest = slope.corners(15.8).find(|c| c.0 > 7.0 && c.2 > 0.0);
        assert_eq!(lowest, Some((7.9, -7.9, 1.6)));
    }

    #[test]
    fn lines_that_are_no_body_are_told() {
        let flat = [(0.0, 0.0), (1.0, 0.0)];
        let of = |top: &[(f64, f64)], bottom: &[(f64, f64)]| {
            Profile::new(Along::Short, 7.8, 9.6, top, bottom).err()
        };
        assert_eq!(of(&[(0.0, 9.6)], &flat), Some(ProfileError::Corners));
        assert_eq!(
            of(&[(0.0, 9.6), (0.9, 2.0)], &flat),
            Some(ProfileError::Reach)
        );
        let back = [(0.0, 9.6), (0.8, 5.0), (0.5, 4.0), (1.0, 2.0)];
        assert_eq!(of(&back, &flat), Some(ProfileError::Reach));
        assert_eq!(
            of(&[(0.0, 9.0), (1.0, 2.0)], &flat),
            Some(ProfileError::Height)
        );
        let deep = [(0.0, 0.0), (0.5, 9.0), (1.0, 0.0)];
        assert_eq!(
            of(&[(0.0, 9.6), (0.5, 4.0), (1.0, 9.6)], &deep),
            Some(ProfileError::Crossed)
        );
        assert_eq!(of(&[(0.0, 9.6), (1.0, 9.6)], &deep), None);
        // What leaves the body between two corners at one distance, too.
        let spike = [(0.0, 0.0), (0.5, 0.0), (0.5, 480.0), (0.5, 0.0), (1.0, 0.0)];
        let level = [(0.0, 9.6), (1.0, 9.6)];
        assert_eq!(of(&level, &spike), Some(ProfileError::Height));
        // Two lines that cross next to an end alone.
        let (rising, falling) = ([(0.0, 0.0), (1.0, 9.6)], [(0.0, 1.0), (1.0, 0.0)]);
        assert_eq!(of(&rising, &falling), Some(ProfileError::Crossed));
        // A step is two corners at one distance.
        assert_eq!(
            of(&[(0.0, 9.6), (0.5, 9.6), (0.5, 3.2), (1.0, 3.2)], &flat),
            None
        );
    }
}
