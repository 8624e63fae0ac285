//! Sheets over shipped photos, with the truth as the guess and doubts of our choosing,
//! so that what is tested here does not depend on how well photos are counted.

// The bench of the page uses its part of this too.
#![allow(dead_code)]

use std::fs;
use std::path::{Path, PathBuf};

use cuptally::colour::lab::de00;
use cuptally::colour::{Swatch, SwatchBook};
use cuptally::count::groups;
use cuptally::photo::{self, Limits};
use cuptally::pieces::Shapes;
use cuptally::review::tray::{Stand, Tray, middle};
use cuptally::sheet::file::{CardReport, ColourReport, PhotoRef, Unexplained, Version};
use cuptally::sheet::{Instead, Piece, Sheet, Warning};
use cuptally::units::Mm;
use serde::Deserialize;

use crate::support::rendered;

#[derive(Deserialize)]
struct Truth {
    camera: Camera,
    card: Card,
    pieces: Vec<TruePiece>,
    palette_lab: std::collections::BTreeMap<String, [f64; 3]>,
}

#[derive(Deserialize)]
struct Camera {
    position_mm: [f64; 3],
    k1: f64,
    width_px: u32,
    height_px: u32,
}

#[derive(Deserialize)]
struct Card {
    corners_px: [[f64; 2]; 4],
}

#[derive(Deserialize)]
struct TruePiece {
    form: String,
    size: String,
    colour: String,
    face: String,
    x_mm: f64,
    y_mm: f64,
    turn_deg: f64,
}

/// A shipped photo.
pub fn photo_of(name: &str) -> PathBuf {
    rendered().join("tune").join(format!("{name}.jpg"))
}

/// The sheet of a shipped photo: at most `most` of its pieces that lie studs up (all
/// of them where `any_face`), `doubtful` of which could be something else.
pub fn sheet(name: &str, most: usize, doubtful: usize, any_face: bool) -> Sheet {
    let truth = fs::read(photo_of(name).with_extension("json")).unwrap();
    let truth: Truth = serde_json::from_slice(&truth).unwrap();
    let photo = photo::open(&photo_of(name), &Limits::default()).unwrap();
    let mut sheet = empty(&truth, photo.file.clone(), photo.hash);
    let tray = Tray::of(&sheet, Shapes::shipped()).unwrap();
    for piece in truth
        .pieces
        .iter()
        .filter(|p| any_face || p.face == "up")
        .take(most)
    {
        sheet
            .pieces
            .extend(placed(&truth, piece, sheet.pieces.len(), &tray));
    }
    let every = sheet.pieces.len() / doubtful.max(1);
    for k in 0..doubtful {
        let piece = &mut sheet.pieces[k * every];
        doubt(piece, &neighbour(&truth, &piece.colour));
    }
    sheet.groups = groups(&sheet.pieces);
    sheet
}

/// The colour of the palette that is most like this one.
fn neighbour(truth: &Truth, colour: &str) -> String {
    let own = truth.palette_lab[colour];
    let others = truth.palette_lab.iter().filter(|(name, _)| *name != colour);
    let nearest = others.min_by(|a, b| de00(*a.1, own).total_cmp(&de00(*b.1, own)));
    nearest.unwrap().0.clone()
}

/// Teaches a home folder the palette of a shipped photo.
pub fn teach(home: &Path, name: &str) {
    let truth = fs::read(photo_of(name).with_extension("json")).unwrap();
    let truth: Truth = serde_json::from_slice(&truth).unwrap();
    let mut book = SwatchBook::default();
    for (name, lab) in &truth.palette_lab {
        book.teach(Swatch {
            name: name.clone(),
            samples: vec![*lab],
            light: "daylight".to_owned(),
            flaw: None,
            from: None,
        })
        .unwrap();
    }
    fs::create_dir_all(home.join("calibration")).unwrap();
    fs::write(
        home.join("calibration/swatches.json"),
        book.to_json().unwrap(),
    )
    .unwrap();
}

/// As [`sheet`] with `count` pieces: those of the photo again and again, side by side,
/// as many as a page may have to show.
pub fn crowded(name: &str, count: usize, doubtful: usize) -> Sheet {
    let mut sheet = sheet(name, usize::MAX, 0, true);
    let tray = Tray::of(&sheet, Shapes::shipped()).unwrap();
    let known = sheet.pieces.clone();
    for k in sheet.pieces.len()..count {
        let mut piece = known[k % known.len()].clone();
        piece.id = k as u32 + 1;
        (piece.form, piece.size) = ("plate".into(), "1x2".into());
        // A lattice over the tray, 20 mm apart.
        let (x, y) = (k % 20, (k / 20) % 15);
        piece.x_mm += (x as f64 - 10.0) * 1.7;
        piece.y_mm += (y as f64 - 7.0) * 1.7;
        if tray.place(&mut piece) {
            sheet.pieces.push(piece);
        }
    }
    for k in 0..doubtful {
        let at = k * (sheet.pieces.len() / doubtful);
        doubt(&mut sheet.pieces[at], "weed-green");
    }
    sheet.groups = groups(&sheet.pieces);
    sheet
}

/// Calls some doubtful pieces by the colour that they could be, and doubts them as what they are: as a count errs.
pub fn call_alike(sheet: &mut Sheet, most: usize) {
    let open = sheet.pieces.iter_mut().filter(|p| !p.instead.is_empty());
    for piece in open.take(most) {
        let other = &mut piece.instead[0];
        std::mem::swap(&mut piece.colour, &mut other.colour);
        piece.doubts = vec![format!("colour could be {}", other.colour)];
    }
    sheet.groups = groups(&sheet.pieces);
}

fn doubt(piece: &mut Piece, colour: &str) {
    piece.sure = 0.62;
    piece.doubts = vec![format!("colour could be {colour}")];
    piece.instead = vec![Instead {
        form: piece.form.clone(),
        size: piece.size.clone(),
        colour: colour.to_owned(),
        sure: 0.36,
    }];
}

/// Makes a piece one of a colour that nobody taught, which may be these taught ones.
pub fn make_new(piece: &mut Piece, general: &str, taught: &[(&str, f64)]) {
    piece.colour = general.to_owned();
    piece.sure = 0.1;
    piece.doubts = vec!["colour not taught".to_owned()];
    let other = |&(colour, sure): &(&str, f64)| Instead {
        form: piece.form.clone(),
        size: piece.size.clone(),
        colour: colour.to_owned(),
        sure,
    };
    piece.instead = taught.iter().map(other).collect();
}

fn empty(truth: &Truth, file: String, hash: String) -> Sheet {
    let [a, b, ..] = truth.card.corners_px;
    Sheet {
        sheet: Version::V1,
        photos: PhotoRef {
            file,
            width_px: truth.camera.width_px,
            height_px: truth.camera.height_px,
            hash,
            counted_at_px: None,
            path: None,
            card: None,
        }
        .into(),
        place: Some("cup 7, breakwater".to_owned()),
        light: None,
        checked: false,
        only_taught: false,
        set_right_by: None,
        stated_by: Some(cuptally::count::record::maps_id().to_owned()),
        card: CardReport {
            version: "v1".to_owned(),
            tags: vec![0, 1, 2, 3],
            corners_px: truth.card.corners_px,
            reprojection_px: 0.1,
            mm_per_px: 190.0 / (b[0] - a[0]).hypot(b[1] - a[1]),
            tilt_deg: 4.0,
            camera_height_mm: -truth.camera.position_mm[2],
            lens_k1: truth.camera.k1,
            patches: 24,
        },
        colour: ColourReport {
            mean_de00: 1.2,
            p95_de00: 2.5,
            max_de00: 3.9,
            print_profile: false,
            method: "root-polynomial".to_owned(),
        },
        pieces: Vec::new(),
        groups: Vec::new(),
        unexplained: Vec::new(),
        weighing: None,
        total: None,
        second_photo: None,
        warnings: vec![Warning {
            code: "tilted".to_owned(),
            text: "the camera is tilted by 4 degrees; hold it level above the middle of the tray"
                .to_owned(),
        }],
        review: None,
    }
}

fn placed(truth: &Truth, of: &TruePiece, index: usize, tray: &Tray) -> Option<Piece> {
    let at = Mm::new(of.x_mm, of.y_mm);
    let outline = tray.outline(&Stand {
        form: &of.form,
        size: &of.size,
        face: &of.face,
        at,
        turn_deg: of.turn_deg,
    })?;
    let [x, y] = middle(&outline);
    Some(Piece {
        id: index as u32 + 1,
        form: of.form.clone(),
        size: of.size.clone(),
        colour: of.colour.clone(),
        x_px: x,
        y_px: y,
        x_mm: of.x_mm,
        y_mm: of.y_mm,
        turn_deg: of.turn_deg.rem_euclid(180.0),
        face: of.face.clone(),
        sure: 0.985,
        lab: truth.palette_lab[&of.colour],
        spoilt: Some(Vec::new()),
        outline_px: outline,
        ..Piece::default()
    })
}

/// A place in the photo that nothing explains.
pub fn spot(x_px: f64, y_px: f64) -> Unexplained {
    Unexplained {
        x_px,
        y_px,
        x_mm: 0.0,
        y_mm: 0.0,
        area_mm2: 180.0,
        sides_mm: Some([12.0, 15.0]),
        colour: Some("dark grayish green".to_owned()),
        lab: Some([30.0, -9.0, 4.0]),
    }
}

/// Writes a sheet; gives its path.
pub fn write(folder: &Path, name: &str, sheet: &Sheet) -> PathBuf {
    fs::create_dir_all(folder).unwrap();
    let path = folder.join(format!("{name}.sheet.json"));
    fs::write(&path, serde_json::to_vec_pretty(sheet).unwrap()).unwrap();
    path
}

/// The sheet as it lies on the disk; it must be whole.
#[track_caller]
pub fn read(path: &Path) -> Sheet {
    serde_json::from_slice(&fs::read(path).unwrap()).unwrap()
}
