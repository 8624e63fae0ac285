//! What one run measured, as `docs/accuracy.json` keeps it.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::best::Bests;
use crate::doubts::ByReason;
use crate::reliability::Bins;
use crate::score::Figures;
use crate::set::{Folder, Kind};
use crate::truth::View;

/// A run over the photos.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Record {
    /// Day of the run.
    pub measured: String,
    /// Day of the run over a folder that the last run left out.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub measured_before: BTreeMap<Folder, String>,
    /// What changed since, a sentence written by hand; the next run leaves it out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since: Option<String>,
    /// Processor cores of the machine.
    pub cores: usize,
    /// Photos counted at once.
    pub jobs: usize,
    /// Of each teach photo, the sentence with which teaching was refused; none is good.
    pub lessons: BTreeMap<String, Option<String>>,
    /// Stated probabilities against what came true, of each folder.
    pub reliability: BTreeMap<Folder, Bins>,
    /// Counted pieces of each folder by the main reason of their doubt.
    #[serde(default)]
    pub reasons: BTreeMap<Folder, ByReason>,
    /// The best that each figure ever was.
    #[serde(default)]
    pub best: Bests,
    /// Every photo by name.
    pub photos: BTreeMap<String, Measured>,
}

/// One photo.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Measured {
    /// Which part of the set.
    pub folder: Folder,
    /// What the scene asks.
    pub kind: Kind,
    /// The program that rendered it; records made before 29 November 2026 lack it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub renderer: Option<String>,
    /// Which view of which scene.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub view: Option<View>,
    /// Of several photos counted together how many there are, and what their scene asks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub together: Option<Together>,
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
    /// Time in which the `image` crate decodes the photo's JPEG on one thread, in the same run.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decode_seconds: Option<f64>,
    /// Most memory held at once.
    pub peak_mib: f64,
    /// What is right and wrong.
    #[serde(flatten)]
    pub figures: Figures,
}

/// What is known of photos that were counted together.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Together {
    /// How many.
    pub photos: usize,
    /// What the scene asks.
    pub of: Kind,
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

/// A line of a table: photos of one folder that have something in common.
pub struct Line {
    /// What they have in common.
    pub name: String,
    /// Sums.
    pub figures: Figures,
    /// What a photo costs.
    pub cost: Cost,
}

/// What counting costs.
#[derive(Clone, Copy)]
pub struct Cost {
    /// Mean wall time of a photo.
    pub seconds: f64,
    /// Mean processor time of a photo, where all of them have it.
    pub cpu_seconds: Option<f64>,
    /// Processor time over the time to decode the JPEG, sums of all, where all of them have both.
    pub over_decoding: Option<f64>,
    /// Most memory of any photo, MiB.
    pub peak_mib: f64,
}

/// The line of all photos that count in sums.
pub const ALL: &str = "all but failing";

impl Measured {
    /// Whether it counts in sums: see [`crate::set::Photo::is_in_sum`].
    pub fn is_in_sum(&self) -> bool {
        self.kind.is_in_sum() && self.is_first_view()
    }

    /// Whether it belongs to the line of this name.
    pub fn is_of(&self, line: &str) -> bool {
        if line == ALL {
            self.is_in_sum()
        } else {
            self.kind.name() == line && self.is_first_view() && self.together.is_none()
        }
    }

    fn is_first_view(&self) -> bool {
        self.view.as_ref().is_none_or(View::is_first)
    }
}

impl Record {
    /// The lines of one folder: each kind that it has, then all but the failing.
    pub fn lines(&self, folder: Folder) -> Vec<Line> {
        let names = Kind::ALL.map(Kind::name).into_iter().chain([ALL]);
        names
            .filter_map(|name| self.line(folder, name, |m| m.is_of(name)))
            .collect()
    }

    /// One line for each renderer that a folder's photos are of; none where there is only one.
    pub fn lines_by_renderer(&self, folder: Folder) -> Vec<Line> {
        let of_folder = |m: &&Measured| m.folder == folder;
        let renderers: BTreeSet<&str> = (self.photos.values().filter(of_folder))
            .filter_map(|m| m.renderer.as_deref())
            .collect();
        if renderers.len() < 2 {
            return Vec::new();
        }
        let line = |name: &&str| {
            let own = |m: &Measured| m.is_in_sum() && m.renderer.as_deref() == Some(name);
            self.line(folder, name, own)
        };
        renderers.iter().filter_map(line).collect()
    }

    /// One line for each view of a scene that was taken from more than one place.
    pub fn lines_by_view(&self, folder: Folder) -> Vec<Line> {
        let mut scenes: BTreeMap<&str, Vec<&View>> = BTreeMap::new();
        let alone = |m: &&Measured| m.folder == folder && m.together.is_none();
        for view in self.photos.values().filter(alone) {
            if let Some(view) = &view.view {
                scenes.entry(&view.scene).or_default().push(view);
            }
        }
        scenes.retain(|_, views| views.len() > 1);
        let line = |view: &View| {
            let name = format!("{}, view {}", view.scene, view.view);
            let own = |m: &Measured| m.together.is_none() && m.view.as_ref() == Some(view);
            self.line(folder, &name, own)
        };
        let views = scenes.into_values().flat_map(|mut views| {
            views.sort();
            views
        });
        views.filter_map(line).collect()
    }

    /// Of each kind the scenes that were taken from several places: by the first photo, by two and by three together, as
    /// far as there are.
    pub fn lines_together(&self, folder: Folder) -> Vec<Line> {
        let sets = || {
            let of_folder = self.photos.values().filter(|m| m.folder == folder);
            of_folder.filter_map(|m| Some((m.together.as_ref()?, m.view.as_ref()?)))
        };
        let mut lines = Vec::new();
        for kind in Kind::ALL {
            let scenes = |number: usize| -> BTreeSet<&str> {
                sets()
                    .filter(|(set, _)| set.of == kind && set.photos == number)
                    .map(|(_, view)| view.scene.as_str())
                    .collect()
            };
            let (two, three) = (scenes(2), scenes(3));
            let mut add = |number: usize, words: &str, of: &BTreeSet<&str>| {
                let own = |m: &Measured| {
                    let has = m
                        .view
                        .as_ref()
                        .is_some_and(|v| of.contains(v.scene.as_str()));
                    has && m.together.as_ref().map_or(1, |set| set.photos) == number
                        && (number > 1 || m.is_first_view())
                };
                lines.extend(self.line(folder, &format!("{}, {words}", kind.name()), own));
            };
            add(1, "one photo", &two);
            add(2, "two photos", &two);
            if !three.is_empty() && three.len() < two.len() {
                add(2, "two photos of those with three", &three);
            }
            add(3, "three photos", &three);
        }
        lines
    }

    fn line(&self, folder: Folder, name: &str, of: impl Fn(&Measured) -> bool) -> Option<Line> {
        let photos: Vec<&Measured> = (self.photos.values())
            .filter(|m| m.folder == folder && of(m))
            .collect();
        let mut figures = Figures::default();
        for photo in &photos {
            figures.add(&photo.figures);
        }
        (!photos.is_empty()).then(|| Line {
            name: name.to_owned(),
            figures,
            cost: cost(&photos),
        })
    }
}

/// Means and sums over some photos.
pub fn cost(photos: &[&Measured]) -> Cost {
    let number = photos.len().max(1) as f64;
    let cpu: Option<f64> = photos.iter().map(|m| m.cpu_seconds).sum();
    let decode: Option<f64> = photos.iter().map(|m| m.decode_seconds).sum();
    Cost {
        seconds: photos.iter().map(|m| m.seconds).sum::<f64>() / number,
        cpu_seconds: cpu.map(|sum| sum / number),
        over_decoding: cpu.zip(decode).map(|(cpu, decode)| cpu / decode),
        peak_mib: photos.iter().map(|m| m.peak_mib).fold(0.0, f64::max),
    }
}
