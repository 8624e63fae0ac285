//! From linear camera RGB to trusted CIELAB (D65), names and swatches.
//!
//! Everything here is pure: plain numbers in, plain numbers out. [`correct()`] learns
//! a correction from the card's patches; [`book`] remembers what was taught,
//! [`cluster()`] sorts what was not, and [`names`] has words for it.

pub mod lab;
mod metric;
mod prints;
mod tone;
mod model;
mod fit;
pub mod residuals;
pub mod correct;
pub mod read;
pub mod print_profile;
pub mod drift;
pub mod look;
pub mod names;
pub mod swatch;
pub mod book;
pub mod overview;
pub mod cluster;

pub use book::{Lesson, Replaced, SwatchBook, SwatchError};
pub use cluster::{Clusters, cluster};
pub use correct::{Correction, CorrectionError, Method, Patch, correct};
pub use look::CardLook;
pub use print_profile::{PrintError, PrintProfile};
pub use read::{read_paper, read_patches};
pub use residuals::{Exclusion, PatchResidual, Residuals};
pub use swatch::{Flaw, Origin, Swatch};
