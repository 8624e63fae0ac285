//! The photos with their truth: which folder each is from and what its scene asks of the program.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use clap::ValueEnum;
use serde::{Deserialize, Serialize};

use crate::foreign;
use crate::truth::Truth;

/// Whether the program was written with this photo in sight.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Folder {
    /// `sample-photos/tune`: looked at while developing.
    Tune,
    /// `sample-photos/check`: never tuned on.
    Check,
    /// Photos that the studio did not make, from a folder beside the project.
    Foreign,
}

impl Folder {
    /// All.
    pub const ALL: [Self; 3] = [Self::Tune, Self::Check, Self::Foreign];

    /// Those whose photos are shipped.
    const SHIPPED: [Self; 2] = [Self::Tune, Self::Check];

    /// The folder's name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Tune => "tune",
            Self::Check => "check",
            Self::Foreign => "foreign",
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
    /// Shapes of a user's own, listed in `own-shapes.json`; the user said which the cup can hold.
    Own,
    /// A cup dumped in a heap.
    Dumped,
    /// Sorted, with things that are no pieces.
    Strays,
    /// The card alone.
    Empty,
    /// A photo that should be refused or warned of.
    Failing,
    /// Several photos of one tray, counted together.
    Together,
}

impl Kind {
    /// In the order of the tables.
    pub const ALL: [Self; 12] = [
        Self::Sorted,
        Self::Teach,
        Self::Touching,
        Self::HardColours,
        Self::Poured,
        Self::Expected,
        Self::Own,
        Self::Dumped,
        Self::Strays,
        Self::Empty,
        Self::Failing,
        Self::Together,
    ];

    /// As the tables call it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Sorted => "sorted",
            Self::Teach => "teach",
            Self::Touching => "touching",
            Self::HardColours => "hard colours",
            Self::Poured => "poured",
            Self::Expected => "expected",
            Self::Own => "shapes of one's own",
            Self::Dumped => "dumped",
            Self::Strays => "strays",
            Self::Empty => "empty",
            Self::Failing => "failing",
            Self::Together => "several photos together",
        }
    }

    /// Whether its photos belong to the sum of all: those made to fail do not, nor do
    /// those that are counted a second time.
    pub fn is_in_sum(self) -> bool {
        !matches!(
            self,
            Self::Failing | Self::Expected | Self::Own | Self::Together
        )
    }

    /// Whether every piece stands apart from all others, studs up.
    pub fn is_apart(self) -> bool {
        matches!(
            self,
            Self::Sorted | Self::Teach | Self::Strays | Self::Empty
        )
    }
}

/// A photo of the set.
pub struct Photo {
    /// File name without extension.
    pub name: String,
    /// The folder from which its path leads.
    pub root: PathBuf,
    /// Where it lies from there, so that what the program says of it is the same everywhere.
    pub path: PathBuf,
    /// Which part of the set.
    pub folder: Folder,
    /// What it asks.
    pub kind: Kind,
    /// What is in it.
    pub truth: Truth,
    /// Of several photos counted together the others, in order, and what the scene asks.
    pub further: Option<Further>,
}

/// What is counted together with a photo.
pub struct Further {
    /// Where the others lie, from the same root.
    pub paths: Vec<PathBuf>,
    /// What the scene asks.
    pub of: Kind,
}

impl Photo {
    /// Whether it counts in sums: once, though it be counted a second time or its scene be taken from
    /// several places.
    pub fn is_in_sum(&self) -> bool {
        self.kind.is_in_sum() && self.truth.view.as_ref().is_none_or(|v| v.is_first())
    }
}

/// All photos, `tune` first, by name; foreign ones where their folder is named.
///
/// # Errors
/// When the folders or a truth cannot be read.
pub fn photos(root: &Path) -> Result<Vec<Photo>> {
    let mut photos = Vec::new();
    for folder in Folder::SHIPPED {
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
                if read.kind == Kind::Poured && read.truth.view.is_none() {
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
    if let Some(folder) = foreign::folder()? {
        photos.extend(foreign::photos(&folder)?);
    }
    let sets = together(&photos);
    photos.extend(sets);
    Ok(photos)
}

/// The trays that are there from several places, as sets of two and of three photos of which the first is view a.
fn together(photos: &[Photo]) -> Vec<Photo> {
    // By folder, the folder below, and the scene: its views' letters and photos.
    type Views<'a> = Vec<(&'a str, &'a Photo)>;
    let mut scenes: BTreeMap<(Folder, &Path, &str), Views<'_>> = BTreeMap::new();
    for photo in photos {
        if let Some(view) = &photo.truth.view {
            let beside = photo.path.parent().unwrap_or(Path::new(""));
            let scene = scenes
                .entry((photo.folder, beside, &view.scene))
                .or_default();
            scene.push((&view.view, photo));
        }
    }
    let mut sets = Vec::new();
    for views in scenes.values_mut() {
        views.sort_by_key(|(view, _)| *view);
        for number in 2..=views.len().min(3) {
            let set = &views[..number];
            let (_, first) = set[0];
            let truths: Vec<&Truth> = set.iter().map(|(_, photo)| &photo.truth).collect();
            let letters: Vec<&str> = set[1..].iter().map(|(view, _)| *view).collect();
            sets.push(Photo {
                name: format!("{} with {}", first.name, letters.join(" and ")),
                root: first.root.clone(),
                path: first.path.clone(),
                folder: first.folder,
                kind: Kind::Together,
                truth: Truth::together(&truths),
                further: Some(Further {
                    paths: set[1..]
                        .iter()
                        .map(|(_, photo)| photo.path.clone())
                        .collect(),
                    of: first.kind,
                }),
            });
        }
    }
    sets
}

/// A photo with the truth beside it; its path leads from `root`.
///
/// # Errors
/// When the truth cannot be read.
pub fn photo(root: &Path, path: &Path, folder: Folder) -> Result<Photo> {
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
    } else if name.starts_with("own-") {
        Kind::Own
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
        root: root.to_owned(),
        path: path.strip_prefix(root)?.to_owned(),
        folder,
        kind,
        truth,
        further: None,
    })
}
