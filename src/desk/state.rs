//! How things stand, as the page shows it.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::arrivals::Arrival;
use super::counts::Stand;
use super::plans::{self, Listed};
use super::sheets::Short;
use crate::review::swatches;
use crate::sheet::LightFile;
use crate::stock::Stock;
use crate::stock::file::StockFile;
use crate::stock::inbox::SHEET_ENDING;
use crate::stock::reader::{self, CALIBRATION};

/// Folder of the photos that came in by the page.
pub const PHOTOS: &str = "photos";
/// Folder of the sheets.
pub const SHEETS: &str = "sheets";
/// Folder of the plans and offers.
pub const PLANS: &str = "plans";

/// A photo of the page's list.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Photo {
    /// Its file name.
    pub name: String,
    /// Whether it is there, or still on its way.
    pub there: bool,
    /// How its count stands, where one was asked for since the desk was opened.
    pub count: Option<Stand>,
    /// The name of its sheet's file.
    pub sheet: Option<String>,
}

/// Everything that the page shows without being asked.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct State {
    /// The program and its version.
    pub program: &'static str,
    /// The home folder.
    pub home: String,
    /// Photos, in order.
    pub photos: Vec<Photo>,
    /// All sheets, those of other photos too.
    pub sheets: Vec<Short>,
    /// The taught colours' names.
    pub colours: Vec<String>,
    /// The lights that colours were taught in.
    pub lights: Vec<String>,
    /// The files of the photos that colours were taught by, or lights measured.
    pub teaching: Vec<String>,
    /// The measured lights.
    pub measured: Vec<String>,
    /// Whether a printed copy of the card was measured.
    pub printed: bool,
    /// Places that hold something.
    pub places: Vec<String>,
    /// The number of the last entry of the stock's history.
    pub entries: usize,
    /// Plans and offers.
    pub plans: Vec<Listed>,
    /// What cannot be used: a sentence each.
    pub faults: Vec<String>,
}

/// The stock as it lies in a home folder; empty, with a sentence, where it cannot be read.
pub fn stock(home: &Path) -> (Stock, Option<String>) {
    match StockFile::in_home(home).read() {
        Ok(stock) => (stock.unwrap_or_default(), None),
        Err(error) => (Stock::default(), Some(error.to_string())),
    }
}

/// How things stand in a home folder.
pub fn state(
    home: &Path,
    arrivals: Vec<Arrival>,
    counts: &BTreeMap<String, Stand>,
    (stock, mut faults): (&Stock, Vec<String>),
    sheets: Vec<Short>,
) -> State {
    let (colours, lights, mut teaching) = match swatches::read(home) {
        Ok(book) => {
            let own = |names: Vec<&str>| names.into_iter().map(str::to_owned).collect();
            let files = book.teaching_photos().into_iter().collect();
            (own(book.names()), own(book.lights()), own(files))
        }
        Err(error) => {
            faults.push(error.to_string());
            (Vec::new(), Vec::new(), Vec::new())
        }
    };
    // The last sheet of a photo goes for it.
    let sheet_of: BTreeMap<&str, &str> = (sheets.iter())
        .flat_map(|sheet| {
            let photos = sheet.own_photos.iter().map(String::as_str);
            photos.map(|photo| (photo, sheet.sheet.as_str()))
        })
        .collect();
    let photos = (arrivals.into_iter())
        .map(|Arrival { name, there }| Photo {
            count: counts.get(&name).cloned(),
            sheet: sheet_of.get(name.as_str()).map(|sheet| (*sheet).to_owned()),
            name,
            there,
        })
        .collect();
    let calibration = home.join(CALIBRATION_FOLDER);
    let lights_folder = calibration.join("lights");
    let measured = json_stems(&lights_folder);
    teaching.extend(measured.iter().filter_map(|light| {
        let path = lights_folder.join(format!("{light}.json"));
        let light: LightFile =
            serde_json::from_slice(&reader::bytes(&path, CALIBRATION).ok()?).ok()?;
        Some(light.photo.file)
    }));
    let printed = !json_stems(&calibration.join("prints")).is_empty();
    let places = stock.contents.place_names().into_iter();
    State {
        program: concat!("cuptally ", env!("CARGO_PKG_VERSION")),
        home: home.display().to_string(),
        photos,
        colours,
        lights,
        teaching,
        measured,
        printed,
        places: places.map(ToString::to_string).collect(),
        entries: stock.history.len(),
        plans: plans::list(&home.join(PLANS)),
        sheets,
        faults,
    }
}

/// Folder of everything learned under the user's lights.
const CALIBRATION_FOLDER: &str = "calibration";

/// The names, without their ending, of the JSON files in a folder.
fn json_stems(folder: &Path) -> Vec<String> {
    let items = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut stems: Vec<String> = (items.map(|item| item.path()))
        .filter(|path| path.extension().is_some_and(|end| end == "json"))
        .filter_map(|path| Some(path.file_stem()?.to_str()?.to_owned()))
        .collect();
    stems.sort();
    stems
}

/// The file of a sheet of the home folder, by its name; none where it leads elsewhere.
pub fn sheet_file(home: &Path, name: &str) -> Option<PathBuf> {
    let is_one =
        name.ends_with(SHEET_ENDING) && !name.contains(['/', '\\']) && !name.starts_with('.');
    is_one
        .then(|| home.join(SHEETS).join(name))
        .filter(|path| path.is_file())
}

/// The picture that a count drew beside its sheet.
pub fn marked_file(home: &Path, sheet: &str) -> Option<PathBuf> {
    let path = sheet_file(home, sheet)?;
    let stem = sheet.strip_suffix(SHEET_ENDING)?;
    Some(path.with_file_name(format!("{stem}.marked.jpg"))).filter(|path| path.is_file())
}
