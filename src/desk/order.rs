//! What is to be counted, as the command that does it.

use std::ffi::OsString;
use std::path::Path;

use serde::Deserialize;

use super::words::Command;

/// How photos are to be counted.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Order {
    /// The photos' names.
    pub photos: Vec<String>,
    /// Whether they are of one tray at rest.
    #[serde(default)]
    pub together: bool,
    /// What kind of pieces lie there; any where it is not said.
    #[serde(default)]
    pub form: Option<String>,
    /// What the cup can hold, as `count --expect` takes it.
    #[serde(default)]
    pub expect: String,
    /// Where they live.
    #[serde(default)]
    pub place: String,
    /// Whether the taught colours are all there are.
    #[serde(default)]
    pub only_taught: bool,
    /// Whether the pieces are the sample pieces.
    #[serde(default)]
    pub sample_colours: bool,
    /// Whether a sheet that a person put right is put aside.
    #[serde(default)]
    pub again: bool,
}

impl Order {
    /// The command that counts these of its photos.
    pub fn command(&self, photos: &[String], folder: &Path) -> Vec<OsString> {
        let mut command = Command::default();
        command
            .words(&["count", "--json"])
            .flag("together", self.together && photos.len() > 1)
            .flag("only-taught", self.only_taught)
            .flag("sample-colours", self.sample_colours)
            .flag("again", self.again)
            .unless_empty("form", self.form.as_deref().unwrap_or(""))
            .unless_empty("expect", &self.expect)
            .unless_empty("place", &self.place)
            .words(&["--"]);
        command
            .0
            .extend(photos.iter().map(|photo| folder.join(photo).into()));
        command.0
    }

    /// The photos of each count: all of one tray, or one each.
    pub fn counts(&self) -> Vec<Vec<String>> {
        if self.together {
            return vec![self.photos.clone()];
        }
        self.photos
            .iter()
            .map(|photo| vec![photo.clone()])
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn photos_of_one_tray_are_one_count() {
        let order = |together| Order {
            photos: vec!["a.jpg".into(), "b.jpg".into()],
            together,
            place: "cup 1".into(),
            ..Order::default()
        };
        assert_eq!(order(true).counts(), [["a.jpg", "b.jpg"]]);
        assert_eq!(order(false).counts(), [["a.jpg"], ["b.jpg"]]);
        let photos = &order(true).photos;
        let words = order(true).command(photos, Path::new("photos"));
        let last: Vec<_> = [
            "--together",
            "--place=cup 1",
            "--",
            "photos/a.jpg",
            "photos/b.jpg",
        ]
        .map(OsString::from)
        .into();
        assert_eq!(words[2..], last);
    }
}
