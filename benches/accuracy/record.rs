//! What one run measured, as `docs/accuracy.json` keeps it.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::reliability::Bins;
use crate::score::Figures;
use crate::set::{Folder, Kind};

/// A run over the sample photos.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Record {
    /// Day of the run.
    pub measured: String,
    /// Processor cores of the machine.
    pub cores: usize,
    /// Photos counted at once.
    pub jobs: usize,
    /// Of each teach photo, the sentence with which teaching was refused; none is good.
    pub lessons: BTreeMap<String, Option<String>>,
    /// Stated probabilities against what came true, of `tune` and of `check`.
    pub reliability: BTreeMap<Folder, Bins>,
    /// Every photo by name.
    pub photos: BTreeMap<String, Measured>,
}

/// One photo.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Measured {
    /// Which half of the set.
    pub folder: Folder,
    /// What the scene asks.
    pub kind: Kind,
    /// Why a count should not be trusted, in photos that should be warned of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub failure: Option<String>,
    /// The sentence with which it was refused.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refused: Option<String>,
    /// Codes of the warnings on its sheet.
    pub warnings: Vec<String>,
    /// Wall time of `count`.
    pub seconds: f64,
    /// Processor time of `count`, all threads together; records made before 26 November
    /// 2026 lack it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cpu_seconds: Option<f64>,
    /// Most memory held at once.
    pub peak_mib: f64,
    /// What is right and wrong.
    #[serde(flatten)]
    pub figures: Figures,
}

/// How a photo that should not be trusted ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum End {
    /// Counted wrongly and nothing was said.
    WrongInSilence,
    /// Counted wrongly, with warnings.
    Warned,
    /// Refused with a sentence.
    Refused,
    /// Every group is right.
    Right,
}

impl Measured {
    /// How it ended. "untaught" speaks of the home folder and not of the photo.
    pub fn end(&self) -> End {
        if self.refused.is_some() {
            End::Refused
        } else if self.figures.group_error == 0 {
            End::Right
        } else if self.warnings.iter().any(|code| code != "untaught") {
            End::Warned
        } else {
            End::WrongInSilence
        }
    }
}

/// A line of a table: photos of one kind from one folder.
pub struct Line {
    /// Which half of the set.
    pub folder: Folder,
    /// The kind; none for all but the failing photos together.
    pub kind: Option<Kind>,
    /// Sums.
    pub figures: Figures,
    /// Mean wall time of a photo.
    pub seconds: f64,
    /// Mean processor time of a photo, where all of them have it.
    pub cpu_seconds: Option<f64>,
    /// Most of any photo.
    pub peak_mib: f64,
}

impl Record {
    /// The lines of one folder: each kind that it has, then all but the failing.
    pub fn lines(&self, folder: Folder) -> Vec<Line> {
        let kinds = Kind::ALL.into_iter().map(Some).chain([None]);
        kinds.filter_map(|kind| self.line(folder, kind)).collect()
    }

    fn line(&self, folder: Folder, kind: Option<Kind>) -> Option<Line> {
        let mut line = Line {
            folder,
            kind,
            figures: Figures::default(),
            seconds: 0.0,
            cpu_seconds: Some(0.0),
            peak_mib: 0.0,
        };
        for photo in self.photos.values() {
            let of_kind = kind.map_or(photo.kind.is_in_sum(), |kind| photo.kind == kind);
            if photo.folder == folder && of_kind {
                line.figures.add(&photo.figures);
                line.seconds += photo.seconds;
                line.cpu_seconds = line.cpu_seconds.zip(photo.cpu_seconds).map(|(a, b)| a + b);
                line.peak_mib = line.peak_mib.max(photo.peak_mib);
            }
        }
        line.seconds /= f64::from(line.figures.photos);
        line.cpu_seconds = line.cpu_seconds.map(|s| s / f64::from(line.figures.photos));
        (line.figures.photos > 0).then_some(line)
    }
}
