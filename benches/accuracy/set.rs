//! The sample photos with their truth, and what a user would have taught before each.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use serde::{Deserialize, Serialize};

/// Whether the program was written with this photo in sight.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Folder {
    /// `sample-photos/tune`: looked at while developing.
    Tune,
    /// `sample-photos/check`: never tuned on.
    Check,
}

impl Folder {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Tune, Self::Check];

    /// The folder's name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Tune => "tune",
            Self::Check => "check",
        }
    }
}

/// What a scene asks of the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Apart from each other, studs up, one form.
    Sorted,
    /// One piece of each colour, to teach by.
    Teach,
    /// In clumps that touch.
    Touching,
    /// Touching, each colour beside the one most like it.
    HardColours,
    /// A cup poured out, one layer, any face up.
    Poured,
    /// The same photos, where the user said which pieces the cup can hold.
    Expected,
    /// A cup dumped in a heap.
    Dumped,
    /// Sorted, with things that are no pieces.
    Strays,
    /// The card alone.
    Empty,
    /// A photo that should be refused or warned of.
    Failing,
}

impl Kind {
    /// In the order of the tables.
    pub const ALL: [Self; 10] = [
        Self::Sorted,
        Self::Teach,
        Self::Touching,
        Self::HardColours,
        Self::Poured,
        Self::Expected,
        Self::Dumped,
        Self::Strays,
        Self::Empty,
        Self::Failing,
    ];

    /// As the tables call it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Sorted => "sorted",
            Self::Teach => "teach",
            Self::Touching => "touching",
            Self::HardColours => "hard colours",
            Self::Poured => "poured",
            Self::Expected => "expected",
            Self::Dumped => "dumped",
            Self::Strays => "strays",
            Self::Empty => "empty",
            Self::Failing => "failing",
        }
    }

    /// Whether its photos belong to the sum of all: those made to fail do not, nor do
    /// those that are counted a second time.
    pub fn is_in_sum(self) -> bool {
        !matches!(self, Self::Failing | Self::Expected)
    }

    /// Whether every piece stands apart from all others, studs up.
    pub fn is_apart(self) -> bool {
        matches!(
            self,
            Self::Sorted | Self::Teach | Self::Strays | Self::Empty
        )
    }
}

/// `NAME.json` beside the photo; `sample-photos/README.md` says what its keys mean.
#[derive(Deserialize)]
pub struct Truth {
    kind: String,
    /// CIE illuminant.
    pub light: String,
    /// `brick`, `plate`, `tile`, `mixed` or `none`.
    pub form: String,
    camera: Camera,
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
}

#[derive(Deserialize)]
struct Camera {
    f_px: f64,
    cx: f64,
    cy: f64,
    position_mm: [f64; 3],
    rotation: [[f64; 3]; 3],
    width_px: f64,
    height_px: f64,
}

/// A piece as it was put there.
#[derive(Deserialize)]
pub struct TruePiece {
    /// `brick`, `plate` or `tile`.
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
}

/// A thing that a count must not contain.
#[derive(Deserialize)]
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

    /// Whether a place on the tray lies within the picture. The lens' distortion (below
    /// 2 %) is left out: pieces without a visible pixel are either far out or under others.
    pub fn in_picture(&self, x_mm: f64, y_mm: f64) -> bool {
        let [x, y, z] = self.ray_to(x_mm, y_mm);
        let camera = &self.camera;
        let (px, py) = (
            camera.f_px * x / z + camera.cx,
            camera.f_px * y / z + camera.cy,
        );
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

/// A photo of the set.
pub struct Photo {
    /// File name without extension.
    pub name: String,
    /// Where it lies, from the project's root, so that what the program says of it is the
    /// same everywhere.
    pub path: PathBuf,
    /// Which half of the set.
    pub folder: Folder,
    /// What it asks.
    pub kind: Kind,
    /// What is in it.
    pub truth: Truth,
}

/// All photos, `tune` first, by name.
///
/// # Errors
/// When the folders or a truth cannot be read.
pub fn photos(root: &Path) -> Result<Vec<Photo>> {
    let mut photos = Vec::new();
    for folder in Folder::ALL {
        let place = root.join("sample-photos").join(folder.name());
        let list = fs::read_dir(&place).with_context(|| format!("reading {}", place.display()))?;
        let mut paths = Vec::new();
        for item in list {
            paths.push(item?.path());
        }
        paths.sort();
        for path in paths {
            if path.extension().is_some_and(|e| e == "jpg") {
                let read = photo(root, &path, folder)?;
                if read.kind == Kind::Poured {
                    photos.push(Photo {
                        name: format!("{} with --expect", read.name),
                        kind: Kind::Expected,
                        ..photo(root, &path, folder)?
                    });
                }
                photos.push(read);
            }
        }
    }
    Ok(photos)
}

fn photo(root: &Path, path: &Path, folder: Folder) -> Result<Photo> {
    let beside = path.with_extension("json");
    let text =
        fs::read_to_string(&beside).with_context(|| format!("reading {}", beside.display()))?;
    let truth: Truth =
        serde_json::from_str(&text).with_context(|| format!("in {}", beside.display()))?;
    let name = path
        .file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    let kind = if truth.failure.is_some() {
        Kind::Failing
    } else if !truth.unknown.is_empty() {
        Kind::Strays
    } else if name.starts_with("hard-colours-") {
        Kind::HardColours
    } else {
        match truth.kind.as_str() {
            "sorted" => Kind::Sorted,
            "teach" => Kind::Teach,
            "touching" => Kind::Touching,
            "poured" => Kind::Poured,
            "dumped" => Kind::Dumped,
            "empty" => Kind::Empty,
            other => bail!("{} is of a kind '{other}' unknown here", beside.display()),
        }
    };
    Ok(Photo {
        name,
        path: path.strip_prefix(root)?.to_owned(),
        folder,
        kind,
        truth,
    })
}

/// Lights under which every user is taken to have taught: daylight and a warm lamp, as the
/// demo does.
const USUAL_LIGHTS: [&str; 2] = ["D65", "LED-B1"];

/// The teach photos that a user of this photo's pieces would have taken: of each palette
/// that its colours are from, those under the usual lights and under the photo's own light,
/// or all where there is none such. A palette is a set of names that a teach photo has.
pub fn lessons<'a>(photo: &Photo, all: &'a [Photo]) -> Vec<&'a Photo> {
    let teach = || all.iter().filter(|p| p.kind == Kind::Teach);
    let mut palettes: Vec<&[String]> = Vec::new();
    for lesson in teach() {
        let names = lesson.truth.names.as_slice();
        let used = photo.truth.pieces.is_empty()
            || photo.truth.pieces.iter().any(|p| names.contains(&p.colour));
        if used && !palettes.contains(&names) {
            palettes.push(names);
        }
    }
    let mut chosen = Vec::new();
    for palette in palettes {
        let of_palette = || teach().filter(move |p| p.truth.names == palette);
        let usual: Vec<&Photo> = of_palette()
            .filter(|p| USUAL_LIGHTS.contains(&p.truth.light.as_str()))
            .collect();
        if usual.is_empty() {
            chosen.extend(of_palette());
            continue;
        }
        chosen.extend(usual);
        let own = |p: &&Photo| {
            p.truth.light == photo.truth.light && !USUAL_LIGHTS.contains(&p.truth.light.as_str())
        };
        chosen.extend(of_palette().filter(own));
    }
    chosen
}
