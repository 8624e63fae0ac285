//! Which folder is home, and what lies in it besides the stock: swatches, lights, the print profile.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use etcetera::BaseStrategy;

use super::Failure;
use crate::card::design::CardDesign;
use crate::colour::{PrintProfile, SwatchBook};
use crate::count::record::HomeMap;
use crate::count::weigh::WeightBook;
use crate::pieces::Shapes;
use crate::pipeline::Targets;
use crate::sheet::LightFile;
use crate::stock::reader::{self, CALIBRATION};

pub mod choose;
pub mod sample;

/// The home folder of this call: what `--home` named, or what the surroundings say.
///
/// # Errors
/// When nothing says one.
pub fn of_user(named: Option<PathBuf>) -> Result<choose::Home, Failure> {
    let environment = std::env::var_os("CUPTALLY_HOME").map(PathBuf::from);
    let platform = etcetera::base_strategy::choose_native_strategy().ok();
    // Links in it followed, as they are in the name of the folder that one is in; Windows names folders in another
    // way where links are followed.
    let users = platform.as_ref().map(|platform| match platform.home_dir() {
        folder if cfg!(unix) => folder.canonicalize().unwrap_or_else(|_| folder.to_owned()),
        folder => folder.to_owned(),
    });
    let own = (platform.as_ref()).map(|platform| platform.data_dir().join("cuptally"));
    let marked = std::env::current_dir().ok().and_then(|here| {
        let holds = |path: &Path| path.is_file();
        let (folder, marker) = choose::marked(&here, users.as_deref(), holds, same_owner)?;
        // Shorter to show, and what the user would type.
        let folder = if folder == here { ".".into() } else { folder };
        Some((folder, marker))
    });
    choose::choose(named, environment, marked, own).ok_or_else(|| {
        Failure::failed(
            "this system does not tell where your files lie; name a folder for stock and calibration with --home",
        )
    })
}

/// Whether two folders belong to the same user.
#[cfg(unix)]
fn same_owner(one: &Path, other: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let owner = |folder: &Path| fs::metadata(folder).map(|about| about.uid()).ok();
    owner(one).is_some() && owner(one) == owner(other)
}

/// Only Unix tells an owner in a word.
#[cfg(not(unix))]
fn same_owner(_one: &Path, _other: &Path) -> bool {
    true
}

/// Folder of everything learned under the user's lights.
pub fn calibration(home: &Path) -> PathBuf {
    home.join("calibration")
}

/// The taught colours; an empty book where none were taught yet.
///
/// # Errors
/// When the file is there but cannot be read or is damaged.
pub fn swatches(home: &Path) -> Result<SwatchBook, Failure> {
    Ok(crate::review::swatches::read(home)?)
}

/// The shapes that pieces may have: those that the program brings along, and the user's own.
///
/// # Errors
/// When the user's list is there but cannot be read or is damaged.
pub fn shapes(home: &Path) -> Result<Shapes, Failure> {
    Ok(crate::review::own_shapes::read(home)?)
}

/// What pieces weigh that were weighed; an empty book where none were yet.
///
/// # Errors
/// When the file is there but cannot be read or is damaged.
pub fn weights(home: &Path, shapes: Shapes) -> Result<WeightBook, Failure> {
    let path = calibration(home).join(WEIGHTS);
    match reader::text_if_there(&path, CALIBRATION)? {
        Some(text) => WeightBook::from_json(&text, shapes)
            .map_err(|e| Failure::failed(format!("cannot use {}: {e}", path.display()))),
        None => Ok(WeightBook::default()),
    }
}

/// What this home's reviews make of what is stated of pieces; none while there are too few. A record that cannot be used
/// is said, and nobody is kept from counting by it.
pub fn record(home: &Path) -> Option<HomeMap> {
    match crate::review::record::read(home) {
        Ok(record) => HomeMap::of(&record),
        Err(error) => {
            super::say::note(&format!(
                "{error}; until then pieces are as sure as the program is shipped"
            ));
            None
        }
    }
}

/// The file of the weights, in the calibration folder.
pub const WEIGHTS: &str = "weights.json";

/// Folder of the measured printed copies.
pub fn prints(home: &Path) -> PathBuf {
    calibration(home).join("prints")
}

/// Folder of the measured lights.
pub fn lights(home: &Path) -> PathBuf {
    calibration(home).join("lights")
}

/// What the card's patches should look like: as the printed copy on the tray was measured, or
/// the nominal values where none was.
///
/// # Errors
/// When the named copy was never measured, when several were and none is named, or when
/// a profile cannot be read.
pub fn targets(home: &Path, copy: Option<&str>) -> Result<Targets, Failure> {
    let kept = json_files(&prints(home))?;
    let name = |path: &Path| path.file_stem().map(|s| s.to_string_lossy().into_owned());
    let names: Vec<String> = kept.iter().filter_map(|path| name(path)).collect();
    let wanted = match (copy, kept.as_slice()) {
        (None, []) => return Ok(Targets::nominal()),
        (None, [only]) => only,
        (None, _) => {
            return Err(Failure::wrong_use(format!(
                "{} printed copies of the card were measured ({}); say with --card NAME which one lies on the tray",
                names.len(),
                names.join(", ")
            )));
        }
        (Some(copy), _) => match kept.iter().find(|p| name(p).as_deref() == Some(copy)) {
            Some(path) => path,
            None => {
                return Err(Failure::wrong_use(format!(
                    "no printed copy '{copy}' was measured under {}; measure it with `cuptally calibrate PHOTO --light NAME --print={copy}`",
                    prints(home).display()
                )));
            }
        },
    };
    let text = reader::text(wanted, CALIBRATION)?;
    let patches = CardDesign::v1().patches.iter().map(|p| p.name);
    let profile = PrintProfile::from_json(&text, patches)
        .map_err(|e| Failure::failed(format!("cannot use {}: {e}", wanted.display())))?;
    Ok(Targets::of(&profile))
}

/// The lights that were measured, or the named one.
///
/// # Errors
/// When the named one was never measured, or a file cannot be read or is damaged.
pub fn known_lights(home: &Path, name: Option<&str>) -> Result<Vec<LightFile>, Failure> {
    let folder = lights(home);
    let paths = match name {
        None => json_files(&folder)?,
        Some(name) => {
            let path = folder.join(format!("{}.json", file_name("light", name)?));
            if !path.exists() {
                return Err(Failure::wrong_use(format!(
                    "no light '{name}' was measured under {}; measure it with `cuptally calibrate PHOTO --light {name}`, or leave --light out",
                    folder.display()
                )));
            }
            vec![path]
        }
    };
    paths
        .iter()
        .map(|path| {
            serde_json::from_str(&reader::text(path, CALIBRATION)?).map_err(|e| {
                Failure::failed(format!(
                    "cannot use {}: this is not a light of version v1 ({e}); measure the light again with `cuptally calibrate`, or take the file away",
                    path.display()
                ))
            })
        })
        .collect()
}

/// The `.json` files of a folder, by name; none where there is no folder.
fn json_files(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let cannot = |e: io::Error| {
        Failure::failed(format!(
            "cannot look into {}: {e}; put the folder right or name another --home",
            folder.display()
        ))
    };
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => return Err(cannot(e)),
    };
    let mut paths = Vec::new();
    for entry in entries {
        let path = entry.map_err(cannot)?.path();
        if path.extension().is_some_and(|e| e == "json") {
            paths.push(path);
        }
    }
    paths.sort();
    Ok(paths)
}

/// A name that is safe as a file's name.
///
/// # Errors
/// When it is empty, long, or has characters that file systems treat differently.
pub fn file_name(what: &str, name: &str) -> Result<String, Failure> {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if name.is_empty() || name.len() > 40 || !name.chars().all(plain) {
        return Err(Failure::wrong_use(format!(
            "the {what} name '{name}' is not usable: take up to 40 letters, digits, '-' or '_'"
        )));
    }
    Ok(name.to_owned())
}
