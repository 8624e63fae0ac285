//! Colour against published tables, spectral data and the sample photos.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "../spectral/mod.rs"]
mod spectral;

mod ciede2000;
mod correction;
mod reference;
mod samples;
