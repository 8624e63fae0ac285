//!
//! Everything here is pure: plain numbers in, plain numbers out. [`correct()`] learns

pub mod lab;
mod metric;
mod prints;
mod tone;
mod model;
mod fit;
pub mod residuals;
pub mod correct;
pub mod names;

pub use correct::{Correction, CorrectionError, Method, Patch, correct};
pub use residuals::{Exclusion, PatchResidual, Residuals};
