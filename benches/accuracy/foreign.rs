//! Photos that the project's studio did not make: another renderer's, with another camera, print of the card, tray,
//! light and colours. They are measured, and nothing is trained or fitted on them, so they say what carries over.
//!
//! `CUPTALLY_FOREIGN` names their folder, which is no part of the project. It holds `photos/ID.jpg` with
//! `truth/ID.json`, and in `views/` a second set of the same layout, of scenes taken from several places.

use std::env;
use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use serde::Deserialize;

use crate::set::{Folder, Kind, Photo};
use crate::truth::{Camera, TruePiece, Truth, View};

/// The variable that names the folder.
pub const VARIABLE: &str = "CUPTALLY_FOREIGN";

/// The folder, where there is one.
///
/// # Errors
/// When the variable names what is no folder of photos.
pub fn folder() -> Result<Option<PathBuf>> {
    let Some(named) = env::var_os(VARIABLE).filter(|name| !name.is_empty()) else {
        return Ok(None);
    };
    let folder = PathBuf::from(named);
    if !folder.join("truth").is_dir() || !folder.join("photos").is_dir() {
        bail!(
            "{VARIABLE} names {}, which has no folders photos and truth; name the folder that holds both, or unset it",
            folder.display()
        );
    }
    Ok(Some(folder))
}

/// What this run makes of a truth in the foreign layout.
#[derive(Deserialize)]
struct Told {
    kind: String,
    sub: Option<String>,
    width: f64,
    height: f64,
    form_family: Option<Vec<String>>,
    grid_order: Option<Vec<String>>,
    light: Light,
    camera: ToldCamera,
    pieces: Vec<ToldPiece>,
    #[serde(default = "own_renderer")]
    renderer: String,
    #[serde(flatten)]
    view: Option<View>,
}

fn own_renderer() -> String {
    "foreign".to_owned()
}

#[derive(Deserialize)]
struct Light {
    name: String,
}

/// Its world has z upwards and y away from the viewer; only differences of places and the distance
/// to the tray's plane are used, so it stays in that frame.
#[derive(Deserialize)]
struct ToldCamera {
    f_px: f64,
    cx: f64,
    cy: f64,
    position_mm: [f64; 3],
    rows_right_down_forward: [[f64; 3]; 3],
}

#[derive(Deserialize)]
struct ToldPiece {
    form: String,
    size: String,
    colour: String,
    face: String,
    centre_mm: [f64; 3],
    centroid_px: Option<[f64; 2]>,
    visible_fraction: f64,
}

/// The photos of both sets, by name.
///
/// # Errors
/// When a folder or a truth cannot be read.
pub fn photos(folder: &Path) -> Result<Vec<Photo>> {
    let mut photos = set(folder, "", "foreign")?;
    if folder.join("views/truth").is_dir() {
        photos.extend(set(folder, "views/", "foreign views")?);
    }
    Ok(photos)
}

fn set(folder: &Path, below: &str, world: &str) -> Result<Vec<Photo>> {
    let place = folder.join(below).join("truth");
    let list = fs::read_dir(&place).with_context(|| format!("reading {}", place.display()))?;
    let mut paths = Vec::new();
    for item in list {
        paths.push(item?.path());
    }
    paths.sort();
    paths.retain(|path| path.extension().is_some_and(|e| e == "json"));
    paths
        .iter()
        .map(|path| photo(folder, path, below, world))
        .collect()
}

fn photo(folder: &Path, path: &Path, below: &str, world: &str) -> Result<Photo> {
    let text = fs::read_to_string(path).with_context(|| format!("reading {}", path.display()))?;
    let told: Told =
        serde_json::from_str(&text).with_context(|| format!("in {}", path.display()))?;
    let id = path.file_stem().unwrap_or_default().to_string_lossy();
    let (kind, failure) = match (told.kind.as_str(), told.sub.as_deref()) {
        ("T1", _) => (Kind::Sorted, None),
        ("T2", _) => (Kind::Touching, None),
        ("C1", _) => (Kind::HardColours, None),
        ("P1", _) => (Kind::Poured, None),
        ("P2", _) => (Kind::Dumped, None),
        ("K", _) => (Kind::Teach, None),
        ("E", Some("empty")) => (Kind::Empty, None),
        ("E", Some("cut")) => (Kind::Failing, Some("pieces cut by the picture's border")),
        ("E", Some("cardhalf")) => (
            Kind::Failing,
            Some("half of the card is outside the picture"),
        ),
        ("E", Some("blur")) => (Kind::Failing, Some("blurred")),
        ("E", Some("over")) => (Kind::Failing, Some("far too bright")),
        (kind, sub) => bail!(
            "{} is of a kind '{kind}' ({}) unknown here",
            path.display(),
            sub.unwrap_or("no sub")
        ),
    };
    let form = match (kind, told.form_family.as_deref()) {
        (Kind::Poured | Kind::Dumped, _) => "mixed",
        (_, Some([one])) => one,
        _ => "mixed",
    };
    let truth = Truth {
        kind: told.kind,
        light: told.light.name,
        form: form.to_owned(),
        camera: Camera {
            f_px: told.camera.f_px,
            cx: told.camera.cx,
            cy: told.camera.cy,
            position_mm: told.camera.position_mm,
            rotation: told.camera.rows_right_down_forward,
            width_px: told.width,
            height_px: told.height,
        },
        pieces: told.pieces.into_iter().map(piece).collect(),
        unknown: Vec::new(),
        names: told.grid_order.unwrap_or_default(),
        failure: failure.map(str::to_owned),
        world: Some(world.to_owned()),
        renderer: told.renderer.to_lowercase(),
        view: told.view,
    };
    Ok(Photo {
        name: format!("{below}{id}"),
        root: folder.to_owned(),
        path: format!("{below}photos/{id}.jpg").into(),
        folder: Folder::Foreign,
        kind,
        truth,
        further: None,
    })
}

fn piece(told: ToldPiece) -> TruePiece {
    TruePiece {
        form: told.form,
        size: told.size,
        colour: told.colour,
        face: told.face,
        x_mm: told.centre_mm[0],
        y_mm: told.centre_mm[1],
        x_px: told.centroid_px.map(|p| p[0]),
        y_px: told.centroid_px.map(|p| p[1]),
        visible_px: told.visible_fraction,
        whole_px: 1.0,
    }
}
