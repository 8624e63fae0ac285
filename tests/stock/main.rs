//! The stock file and what is asked of it, through the real program.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "../harbour/mod.rs"]
mod harbour;
#[path = "../support/mod.rs"]
mod support;
#[path = "../stock_ops/mod.rs"]
mod stock_ops;

mod basics;
mod bounds;
mod colours;
mod cover;
mod cover_optimum;
mod disk;
mod homes;
mod kill;
mod leftovers;
mod model;
mod post;
mod rearrange;
mod reconcile;
mod slips;
mod spreadsheet;
mod safety;
mod table;
mod telling;
mod take;
