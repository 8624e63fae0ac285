//! Holds what is written to what is built: documents, `--help`, schemas, layers.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "../harbour/mod.rs"]
mod harbour;

mod code;
mod commands;
mod cover;
mod files;
mod homes;
mod layers;
mod markdown;
mod printing;
mod text;
mod transcripts;
