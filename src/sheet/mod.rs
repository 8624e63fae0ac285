//! The sheet: the result of one photo, as a file and as a marked-up picture.

pub mod file;
pub mod review;
pub mod light;
pub mod weighing;
pub mod chart;
pub mod faults;
pub mod advice;
pub mod verdict;
pub mod marked;
pub mod reading_order;

pub use file::{
    Group, Instead, Otherwise, Piece, SURE, Sheet, Spoilt, Total, Unexplained, Warning,
};
pub use light::{LightFile, PatchReport, drift_warnings, light_on};
pub use review::Review;
pub use weighing::Weighing;
