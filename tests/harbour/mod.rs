//! The tidal-harbour club's sheets and stock, for tests through the real program.
#![allow(dead_code)] // each test file uses its part

use assert_cmd::Command;
use cuptally::sheet::file::{CardReport, ColourReport, PhotoRef, SetRightBy, Unexplained, Version};
use cuptally::sheet::{Group, Instead, Otherwise, Piece, Sheet, Spoilt, Warning};
use cuptally::stock::{Stock, check, format};
use sha2::{Digest, Sha256};
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// Form, size, colour, count, low, high.
pub type Row<'a> = (&'a str, &'a str, &'a str, u32, u32, u32);

/// The program as it was built for this test.
pub const PROGRAM: &str = env!("CARGO_BIN_EXE_cuptally");

/// A home folder of its own, and a folder for sheets.
pub struct Harbour {
    folder: TempDir,
}

/// How a call ended.
#[derive(Debug)]
pub struct Ended {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Ended {
    /// Asserts the exit code.
    #[track_caller]
    pub fn code(self, code: i32) -> Self {
        assert_eq!(self.code, code, "{self:#?}");
        self
    }

    /// Asserts what stderr says.
    #[track_caller]
    pub fn says(self, text: &str) -> Self {
        assert!(self.err.contains(text), "no '{text}' in {self:#?}");
        self
    }

    /// Asserts what stdout says.
    #[track_caller]
    pub fn prints(self, text: &str) -> Self {
        assert!(self.out.contains(text), "no '{text}' in {self:#?}");
        self
    }

    /// Reads stdout as JSON.
    #[track_caller]
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error} in {self:#?}"))
    }
}

impl Harbour {
    pub fn new() -> Self {
        Self {
            folder: tempfile::tempdir().unwrap(),
        }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn home(&self) -> PathBuf {
        self.path("home")
    }

    pub fn stock_file(&self) -> PathBuf {
        self.home().join("stock.json")
    }

    /// A call that is yet to be made, with clock and user pinned.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(PROGRAM);
        command
            .current_dir(self.folder.path())
            .env_clear()
            .env("CUPTALLY_HOME", self.home())
            .env("CUPTALLY_NOW", "2026-05-02T10:12:00Z")
            .env("USER", "mara")
            .env("TZ", "UTC0")
            .args(args);
        command
    }

    pub fn run(&self, args: &[&str]) -> Ended {
        let output = self.command(args).output().unwrap();
        Ended {
            code: output.status.code().expect("ended by a signal"),
            out: String::from_utf8(output.stdout).unwrap(),
            err: without_home(&String::from_utf8(output.stderr).unwrap()),
        }
    }

    /// Writes a sheet nobody has looked at; returns its file name.
    pub fn sheet(&self, name: &str, place: Option<&str>, rows: &[Row]) -> String {
        self.write_sheet(name, &sheet(name, place, false, rows))
    }

    /// Writes a sheet that a person has looked at.
    pub fn checked(&self, name: &str, place: Option<&str>, rows: &[Row]) -> String {
        self.write_sheet(name, &sheet(name, place, true, rows))
    }

    pub fn write_sheet(&self, name: &str, sheet: &Sheet) -> String {
        let file = format!("{name}.sheet.json");
        let text = serde_json::to_string_pretty(sheet).unwrap();
        fs::write(self.path(&file), text).unwrap();
        file
    }

    /// The stock as it lies on disk; it must be whole and follow from its history.
    #[track_caller]
    pub fn stock(&self) -> Stock {
        sound(&self.stock_file())
    }

    /// `place form size colour` with its number, checked pieces only.
    #[track_caller]
    pub fn checked_rows(&self) -> Vec<String> {
        let contents = self.stock().contents;
        let rows = contents.places.iter().flat_map(|(place, lots)| {
            lots.iter()
                .map(move |(kind, tally)| format!("{place}: {kind} {tally}"))
        });
        rows.collect()
    }

    /// The same for pending pieces.
    #[track_caller]
    pub fn pending_rows(&self) -> Vec<String> {
        let contents = self.stock().contents;
        let rows = contents.pending.iter().flat_map(|sheet| {
            sheet
                .lots
                .iter()
                .map(move |(kind, tally)| format!("{}: {kind} {tally}", sheet.place))
        });
        rows.collect()
    }
}

/// What is said without which folder is home, which `tests/stock/homes.rs` sees to.
pub fn without_home(said: &str) -> String {
    let told = |line: &&str| !line.starts_with("cuptally: home: ");
    said.split_inclusive('\n').filter(told).collect()
}

/// Reads a stock file that must be whole and follow from its history.
#[track_caller]
pub fn sound(path: &Path) -> Stock {
    let stock = format::parse(&fs::read(path).unwrap()).unwrap();
    assert_eq!(check::differences(&stock), vec![]);
    stock
}

/// The hash that the photo of a sheet has here.
pub fn hash(name: &str) -> String {
    format!("{:x}", Sha256::digest(name))
}

/// A whole sheet, with one piece and one warning so that every part is there.
pub fn sheet(name: &str, place: Option<&str>, checked: bool, rows: &[Row]) -> Sheet {
    let group = |&(form, size, colour, count, low, high): &Row| Group {
        form: form.to_owned(),
        size: size.to_owned(),
        colour: colour.to_owned(),
        count,
        low,
        high,
        sure: if low == high { 0.99 } else { 0.7 },
    };
    Sheet {
        sheet: Version::V1,
        photos: PhotoRef {
            file: format!("{name}.jpg"),
            width_px: 4000,
            height_px: 3000,
            hash: hash(name),
            counted_at_px: None,
            path: None,
            card: None,
        }
        .into(),
        place: place.map(str::to_owned),
        checked,
        only_taught: true,
        set_right_by: Some(SetRightBy {
            sheets: 24,
            pieces: 1893,
        }),
        stated_by: Some("5f0c21d7a9be".to_owned()),
        card: CardReport {
            version: "v1".to_owned(),
            tags: vec![0, 1, 2, 3],
            corners_px: [[10.0, 10.0], [1910.0, 12.0], [1908.0, 712.0], [9.0, 710.0]],
            reprojection_px: 0.2,
            mm_per_px: 0.1,
            tilt_deg: 2.5,
            camera_height_mm: 410.0,
            lens_k1: 0.004,
            patches: 24,
        },
        colour: ColourReport {
            mean_de00: 0.9,
            p95_de00: 1.8,
            max_de00: 2.4,
            print_profile: false,
            method: "root-polynomial".to_owned(),
        },
        pieces: vec![Piece {
            id: 1,
            form: "plate".to_owned(),
            size: "2x4".to_owned(),
            colour: "rose".to_owned(),
            x_px: 2000.5,
            y_px: 1500.5,
            x_mm: 95.0,
            y_mm: 120.0,
            turn_deg: 45.0,
            face: "up".to_owned(),
            sure: 0.6,
            stated: Some(0.71),
            lab: [55.0, 40.0, 8.0],
            outline_px: vec![[1960.0, 1480.0], [2040.0, 1480.0], [2000.0, 1520.0]],
            seen_in: Vec::new(),
            height_mm: None,
            views: Vec::new(),
            instead: vec![Instead {
                form: "plate".to_owned(),
                size: "2x3".to_owned(),
                colour: "rose".to_owned(),
                sure: 0.3,
            }],
            doubts: vec!["another piece covers a corner".to_owned()],
            covered: 0.1,
            spoilt: Some(vec![Spoilt::Shaded]),
            otherwise: Some(Box::new(Otherwise {
                colour: "rose".to_owned(),
                sure: 0.5,
                stated: Some(0.57),
                instead: Vec::new(),
                doubts: vec!["colour could be one that was not taught".to_owned()],
            })),
            looked_at: false,
            together: false,
            as_counted: false,
        }],
        groups: rows.iter().map(group).collect(),
        unexplained: vec![Unexplained {
            x_px: 3100.5,
            y_px: 900.5,
            x_mm: 205.0,
            y_mm: 60.0,
            area_mm2: 61.0,
            sides_mm: Some([6.0, 14.0]),
            colour: Some("dark grayish green".to_owned()),
            lab: Some([30.0, -9.0, 4.0]),
        }],
        light: Some("kitchen".to_owned()),
        weighing: None,
        total: None,
        second_photo: None,
        warnings: vec![Warning {
            code: "card-partial".to_owned(),
            text: "Part of the card is out of view; move it into the picture.".to_owned(),
        }],
        review: None,
    }
}
