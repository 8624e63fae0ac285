//! Our printed reference card, v1: its design, printing it, finding it in a photo.

pub mod design;
mod v1;
pub mod print;
pub mod find;
mod tags;
mod edges;
pub mod quality;

pub use find::{CardError, FoundCard, FoundTag, find};
pub use quality::{CardQuality, card_quality};
