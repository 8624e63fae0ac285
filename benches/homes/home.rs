//! One home: taught, counted, reviewed, counted again.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use cuptally::count::reason::NEW_COLOUR;
use cuptally::pieces::ANY;
use rayon::prelude::*;
use serde_json::json;

use crate::All;
use crate::lessons;
use crate::matching::matched;
use crate::program::{Homes, Said, SaidPiece};
use crate::reliability::Told;
use crate::set::Photo;
use crate::support::{self, Server};
use crate::truth::TruePiece;

/// So many sheets are reviewed, where there are as many.
const REVIEWED: usize = 20;
/// Of a smaller home a quarter of the trays is left aside in turn, so that there are enough to learn from.
const HANDS: usize = 4;

/// A home and its photos.
pub struct Home<'a> {
    name: &'a str,
    /// Where all of it lies.
    folder: PathBuf,
    /// The trays that are left aside together, each with all its views.
    hands: Vec<Vec<&'a Photo>>,
}

impl<'a> Home<'a> {
    /// Trays are dealt out in the order of their names, of a tray all views or none.
    pub fn new(name: &'a str, folder: PathBuf, photos: Vec<&'a Photo>) -> Self {
        let scene = |photo: &Photo| {
            let view = photo.truth.view.as_ref();
            view.map_or_else(|| photo.name.clone(), |view| view.scene.clone())
        };
        let hands = match photos.len() >= 2 * REVIEWED {
            true => 2,
            false => HANDS,
        };
        let mut trays: Vec<(String, Vec<&Photo>)> = Vec::new();
        for photo in photos {
            let scene = scene(photo);
            match trays.iter_mut().find(|(name, _)| *name == scene) {
                Some((_, tray)) => tray.push(photo),
                None => trays.push((scene, vec![photo])),
            }
        }
        let mut dealt = vec![Vec::new(); hands];
        for (n, (_, tray)) in trays.into_iter().enumerate() {
            dealt[n % hands].extend(tray);
        }
        Self {
            name,
            folder,
            hands: dealt,
        }
    }

    /// The photos that are reviewed while a hand is left aside.
    fn beside(&self, aside: usize) -> Vec<&'a Photo> {
        let others = self.hands.iter().enumerate().filter(|(n, _)| *n != aside);
        others
            .flat_map(|(_, hand)| hand.iter().copied())
            .take(REVIEWED)
            .collect()
    }

    /// How many sheets are reviewed for each hand.
    pub fn reviewed(&self) -> Vec<usize> {
        (0..self.hands.len())
            .map(|n| self.beside(n).len())
            .collect()
    }

    /// Whether it has as many sheets to review as it should.
    pub fn is_full(&self) -> bool {
        self.reviewed().iter().all(|number| *number >= REVIEWED)
    }

    /// What is stated of the pieces of photos that were left aside, before any review and after.
    pub fn told(&self, all: &[Photo], counted: bool) -> [All; 2] {
        let mut homes = Homes::new(self.folder.join("homes"), counted);
        let before = self.folder.join("before");
        // A world may have two palettes, and so homes that were taught differently.
        for photo in self.hands.iter().flatten() {
            homes.teach(&lessons::lessons(photo, all)).unwrap();
        }
        let taught = |photo: &Photo| homes.place(&lessons::lessons(photo, all));
        let every: Vec<&Photo> = self.hands.iter().flatten().copied().collect();
        count(&every, &taught, &before, counted);
        let mut told = [All::new(), All::new()];
        for (n, hand) in self.hands.iter().enumerate() {
            let after = self.folder.join(format!("after-{n}"));
            if !(counted && hand.iter().all(|photo| sheet_of(photo, &after).is_file())) {
                self.review_beside(n, &taught, &before, &after);
            }
            told[0].extend(judged(hand, &before));
            told[1].extend(judged(hand, &after));
        }
        told
    }

    /// Reviews what lies beside a hand, and counts that hand with what the reviews left behind.
    fn review_beside(
        &self,
        aside: usize,
        taught: &(dyn Fn(&Photo) -> PathBuf + Sync),
        before: &Path,
        after: &Path,
    ) {
        eprintln!("{}: reviewing, hand {} aside", self.name, aside + 1);
        let record = self.folder.join(format!("reviewed-{aside}"));
        if record.exists() {
            fs::remove_dir_all(&record).unwrap();
        }
        fs::create_dir_all(&record).unwrap();
        review(&self.beside(aside), &record, before);
        let home = |photo: &Photo| record.join(taught(photo).file_name().unwrap());
        let kept = "calibration/record.json";
        for photo in &self.hands[aside] {
            if !home(photo).exists() {
                copy(&taught(photo), &home(photo));
                fs::copy(record.join(kept), home(photo).join(kept)).unwrap();
            }
        }
        count(&self.hands[aside], &home, after, false);
    }
}

/// Puts sheets right and finishes them in a home.
fn review(photos: &[&Photo], home: &Path, sheets: &Path) {
    for (n, photo) in photos.iter().enumerate() {
        let sheet = home.join(format!("{}.sheet.json", file_name(photo)));
        fs::copy(sheet_of(photo, sheets), &sheet).unwrap();
        let mut command = support::command(home, &[&sheet]);
        let beside = photo.path.parent().unwrap();
        let server = Server::at(&mut command, &photo.root.join(beside));
        put_right(&server, photo, &sheet);
        let wish = json!({
            "version": server.shown()["version"], "checked": true, "place": format!("cup {n}"), "mode": "add",
        });
        let done = server.post("api/sheet/0/finish", &wish).ok().json();
        let said = done["done"].as_str().unwrap();
        assert!(!said.contains("not kept"), "{}: {said}", photo.name);
    }
}

/// A person who has the tray before them looks at every piece, and takes it up where the photo does not tell.
fn put_right(server: &Server, photo: &Photo, sheet: &Path) {
    let said = said(sheet).pieces;
    let mut truth: Vec<Option<&TruePiece>> = vec![None; said.len()];
    for (piece, at) in photo.truth.pieces.iter().zip(matched(&photo.truth, &said)) {
        if let Some(at) = at {
            truth[at] = Some(piece);
        }
    }
    let (mut right, mut nothing) = (Vec::new(), Vec::new());
    for (said, truth) in said.iter().zip(truth) {
        match truth {
            None => nothing.push(said.id),
            Some(piece) if is_right(piece, said) => right.push(said.id),
            Some(piece) => {
                let change = json!({
                    "what": "change", "ids": [said.id], "form": piece.form, "size": piece.size, "colour": piece.colour,
                });
                server.correct(change).ok();
            }
        }
    }
    if !nothing.is_empty() {
        server
            .correct(json!({ "what": "remove", "ids": nothing }))
            .ok();
    }
    let spots: Vec<usize> = (0..server.shown()["spots"].as_array().unwrap().len()).collect();
    server
        .correct(json!({ "what": "accept", "ids": right, "spots": spots, "together": true }))
        .ok();
}

fn is_right(piece: &TruePiece, said: &SaidPiece) -> bool {
    (&piece.form, &piece.size, &piece.colour) == (&said.form, &said.size, &said.colour)
}

/// Counts photos, each with its home, some at a time.
fn count(
    photos: &[&Photo],
    home: &(dyn Fn(&Photo) -> PathBuf + Sync),
    sheets: &Path,
    counted: bool,
) {
    photos.par_iter().for_each(|photo| {
        let sheet = sheet_of(photo, sheets);
        if counted && sheet.is_file() {
            return;
        }
        eprintln!("counting {}", photo.name);
        // A folder for each, as names of sheets are made of names of photos.
        let out = sheets.join(file_name(photo));
        if out.exists() {
            fs::remove_dir_all(&out).unwrap();
        }
        let ended = Command::new(support::PROGRAM)
            .current_dir(&photo.root)
            .arg("--home")
            .arg(home(photo))
            .arg("count")
            .arg(&photo.path)
            .args(["--form", photo.truth.form_argument(), "--out"])
            .arg(&out)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .unwrap();
        assert!(matches!(ended.code(), Some(0 | 3)), "{}", photo.name);
    });
}

fn file_name(photo: &Photo) -> String {
    photo.name.replace('/', "-")
}

fn sheet_of(photo: &Photo, sheets: &Path) -> PathBuf {
    let stem = photo.path.file_stem().unwrap().to_string_lossy();
    sheets
        .join(file_name(photo))
        .join(format!("{stem}.sheet.json"))
}

fn said(sheet: &Path) -> Said {
    serde_json::from_slice(&fs::read(sheet).unwrap()).unwrap()
}

/// Of each counted piece what was stated, and whether form, size and colour are right. As in a record, pieces whose form or
/// colour could not be told are left out: they have no name that could be right.
fn judged(photos: &[&Photo], sheets: &Path) -> All {
    let mut all = All::new();
    for photo in photos {
        let said = said(&sheet_of(photo, sheets));
        let mut right = vec![false; said.pieces.len()];
        let at = matched(&photo.truth, &said.pieces);
        for (piece, at) in photo.truth.pieces.iter().zip(at) {
            if let Some(at) = at {
                right[at] = is_right(piece, &said.pieces[at]);
            }
        }
        let pieces = said.pieces.iter().zip(right);
        let pieces = pieces.filter(|(piece, _)| {
            piece.form != ANY && piece.doubts.iter().all(|doubt| doubt != NEW_COLOUR)
        });
        all.extend(pieces.map(|(piece, right)| Told {
            stated: piece.sure,
            right,
        }));
    }
    all
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for item in fs::read_dir(from).unwrap() {
        let item = item.unwrap();
        let target = to.join(item.file_name());
        if item.file_type().unwrap().is_dir() {
            copy(&item.path(), &target);
        } else {
            fs::copy(item.path(), &target).unwrap();
        }
    }
}
