//! Opening photos for commands, and the forms they may look for.

use clap::ValueEnum;
use std::path::Path;

use super::Failure;
use crate::photo::{self, Limits, Photo};
use crate::pieces::{Form, Search};
use crate::pipeline::Trouble;

/// Forms on the tray, as the user says it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum FormArg {
    /// Bricks only.
    Brick,
    /// Plates only.
    Plate,
    /// Tiles only.
    Tile,
    /// Any of them; what cannot be told apart is doubtful.
    #[default]
    Any,
}

impl FormArg {
    /// The forms that are meant.
    pub fn forms(self) -> &'static [Form] {
        match self {
            FormArg::Brick => &[Form::Brick],
            FormArg::Plate => &[Form::Plate],
            FormArg::Tile => &[Form::Tile],
            FormArg::Any => &Form::ALL,
        }
    }

    /// What to search for.
    pub fn search(self) -> Search {
        Search::of_forms(self.forms())
    }
}

/// Opens a photo with the usual limits.
///
/// # Errors
/// As [`photo::open`].
pub fn open(path: &Path) -> Result<Photo, Failure> {
    Ok(photo::open(path, &Limits::default())?)
}

/// Says which photo could not be measured.
pub fn trouble(path: &Path, trouble: &Trouble) -> Failure {
    fault(path, trouble)
}

/// Says of which photo an error speaks.
pub fn fault(path: &Path, trouble: &impl std::fmt::Display) -> Failure {
    Failure::failed(format!("{}: {trouble}", path.display()))
}
