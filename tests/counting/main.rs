//! From photo to sheet through the real program, and what it leans on.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "../support/mod.rs"]
mod support;

mod bad_input;
mod calibrate;
mod demo;
mod expect;
mod faults;
mod hostile;
mod learned_reference;
mod marked;
mod measured;
mod memory;
mod mutated;
mod names;
mod real_photos;
mod sample_colours;
mod samples;
mod shapes;
mod taught;
mod terminal;
mod together;
mod unexplained;
mod unreadable;
mod weigh;
