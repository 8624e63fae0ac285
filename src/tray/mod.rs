//! The tray: its own colour under today's light, and what lies on it.
//!
//! Works on the photo's own colours. Telling pieces from ground only compares
//! a place with the tray around it, so it needs no colour correction and cannot
//! be misled by a bad one.

pub mod lab_view;
pub mod ground;
pub mod foreground;
pub mod pattern;
pub mod light;

pub use foreground::{Foreground, Kind, distance};
pub use ground::Ground;
pub use lab_view::LabView;
pub use light::Light;
pub use pattern::without_pattern;
