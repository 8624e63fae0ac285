//! The truth of a photo: where its camera stood and what lies in it.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

/// `NAME.json` beside the photo; `sample-photos/README.md` says what its keys mean.
#[derive(Clone, Deserialize)]
pub struct Truth {
    /// `sorted`, `teach`, `touching`, `poured`, `dumped` or `empty`.
    pub kind: String,
    /// CIE illuminant, or a word of the photo's own world.
    pub light: String,
    /// `brick`, `plate`, `tile`, `mixed` or `none`.
    pub form: String,
    /// Where it was taken from.
    pub camera: Camera,
    /// Every piece of the scene.
    pub pieces: Vec<TruePiece>,
    /// What lies there and is no piece.
    #[serde(default)]
    pub unknown: Vec<Stray>,
    /// Colours in reading order, in teach photos.
    #[serde(default)]
    pub names: Vec<String>,
    /// Why a count should not be trusted.
    #[serde(default)]
    pub failure: Option<String>,
    /// One user's desk: a printed card, a camera or more, colours. The first had no name.
    #[serde(default)]
    pub world: Option<String>,
    /// The program that followed the light.
    #[serde(default = "first_renderer")]
    pub renderer: String,
    /// Which view of which scene, where one scene at rest was taken from several places.
    #[serde(flatten)]
    pub view: Option<View>,
}

/// Truths did not name it before there was a second.
fn first_renderer() -> String {
    "mitsuba".to_owned()
}

/// One of several photos of one scene at rest.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct View {
    /// The same in all its views.
    pub scene: String,
    /// `a`, `b`...; the first stands for the scene in sums.
    pub view: String,
}

impl View {
    /// Whether it is the one that stands for the scene.
    pub fn is_first(&self) -> bool {
        self.view == "a"
    }
}

/// A pinhole camera in the frame of the pieces' places.
#[derive(Clone, Deserialize)]
pub struct Camera {
    /// Focal length.
    pub f_px: f64,
    /// Middle of the picture as the lens has it.
    pub cx: f64,
    /// Middle of the picture as the lens has it.
    pub cy: f64,
    /// The lens.
    pub position_mm: [f64; 3],
    /// Rows are the camera's x (right), y (down) and z (ahead).
    pub rotation: [[f64; 3]; 3],
    /// Width of the upright photo.
    pub width_px: f64,
    /// Height of the upright photo.
    pub height_px: f64,
}

/// A piece as it was put there.
#[derive(Clone, Deserialize)]
pub struct TruePiece {
    /// `brick`, `plate`, `tile`...
    pub form: String,
    /// Studs, small side first.
    pub size: String,
    /// One of the palette's names.
    pub colour: String,
    /// What looks up.
    pub face: String,
    /// On the tray, from the card's top left.
    pub x_mm: f64,
    /// On the tray, from the card's top left.
    pub y_mm: f64,
    /// Middle of what can be seen of it; none where nothing can.
    pub x_px: Option<f64>,
    /// Middle of what can be seen of it; none where nothing can.
    pub y_px: Option<f64>,
    /// Pixels that show it.
    #[serde(default)]
    pub visible_px: f64,
    /// Pixels that would if nothing hid it and the picture went on.
    #[serde(default)]
    pub whole_px: f64,
}

impl TruePiece {
    /// Whether half of it or more can be seen.
    pub fn is_half_visible(&self) -> bool {
        self.x_px.is_some() && self.visible_px >= 0.5 * self.whole_px
    }

    /// Whether one photo can tell its form: plate and tile have the same underside.
    pub fn shows_its_form(&self) -> bool {
        !(self.face == "down" && matches!(self.form.as_str(), "plate" | "tile"))
    }
}

/// A thing that a count must not contain.
#[derive(Clone, Deserialize)]
pub struct Stray {
    /// Wheel, disc, crumb...
    pub what: String,
    /// Middle of what can be seen of it.
    pub x_px: Option<f64>,
    /// Middle of what can be seen of it.
    pub y_px: Option<f64>,
    /// On the tray.
    pub x_mm: f64,
    /// On the tray.
    pub y_mm: f64,
}

impl Truth {
    /// The truth of several photos of one tray, whose pieces are the same: as of the first, but for how much of each can be
    /// seen, which is told of the photo that shows it best. What the first hides is where it would be seen.
    pub fn together(views: &[&Self]) -> Self {
        let mut truth = views[0].clone();
        let first = truth.clone();
        for (k, piece) in truth.pieces.iter_mut().enumerate() {
            let seen = views.iter().filter_map(|view| view.pieces.get(k));
            let share = |p: &&TruePiece| p.visible_px / p.whole_px.max(1e-9);
            if let Some(best) = seen.max_by(|a, b| share(a).total_cmp(&share(b)))
                && best.x_px.is_some()
            {
                (piece.visible_px, piece.whole_px) = (best.visible_px, best.whole_px);
                if piece.x_px.is_none() {
                    let (x, y) = first.px_of(piece.x_mm, piece.y_mm);
                    (piece.x_px, piece.y_px) = (Some(x), Some(y));
                }
            }
        }
        truth
    }

    /// From the lens to a place on the tray, in the camera's frame, mm.
    fn ray_to(&self, x_mm: f64, y_mm: f64) -> [f64; 3] {
        let from = self.camera.position_mm;
        let ray = [x_mm - from[0], y_mm - from[1], -from[2]];
        self.camera
            .rotation
            .map(|row| row.iter().zip(ray).map(|(r, p)| r * p).sum())
    }

    /// How many mm of the tray one pixel shows at a place on it.
    pub fn mm_per_px(&self, x_mm: f64, y_mm: f64) -> f64 {
        self.ray_to(x_mm, y_mm)[2] / self.camera.f_px
    }

    /// Where the picture shows a place on the tray. The lens' distortion (below 3 %) is left out: pieces without a visible
    /// pixel are either far out or under others.
    fn px_of(&self, x_mm: f64, y_mm: f64) -> (f64, f64) {
        let [x, y, z] = self.ray_to(x_mm, y_mm);
        let camera = &self.camera;
        (
            camera.f_px * x / z + camera.cx,
            camera.f_px * y / z + camera.cy,
        )
    }

    /// Whether a place on the tray lies within the picture.
    pub fn in_picture(&self, x_mm: f64, y_mm: f64) -> bool {
        let (px, py) = self.px_of(x_mm, y_mm);
        let camera = &self.camera;
        px > 0.0 && py > 0.0 && px < camera.width_px && py < camera.height_px
    }

    /// The `--form` that a user of this tray would say.
    pub fn form_argument(&self) -> &str {
        match self.form.as_str() {
            "mixed" | "none" => "any",
            form => form,
        }
    }

    /// The `--expect` of a user who knows which pieces the cup can hold, but not how many.
    pub fn expect_argument(&self) -> String {
        let kinds: BTreeSet<String> = (self.pieces.iter())
            .map(|p| format!("{} {}", p.form, p.size))
            .collect();
        kinds.into_iter().collect::<Vec<_>>().join(",")
    }
}
