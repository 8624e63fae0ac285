//! The printed card: what is in the files, and what a page of it measures.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "../support/mod.rs"]
mod support;

mod page;
mod print;
mod tags;
