//! How far what was called sure could be trusted in this home: every finished review is evidence.
//!
//! [`evidence`] reads from a sheet what was stated of each piece and what it turned out to be. [`Record`] keeps that, a
//! sheet once, in `calibration/record.json`. [`HomeMap`] makes of enough of it a correction of what is stated, if it was
//! stated by the maps that are shipped today ([`maps_id`]).

mod evidence;
mod file;
mod fit;
mod map;
mod maps;
mod tally;

#[cfg(test)]
mod simulation;

pub use evidence::{LOOKED_THROUGH, evidence};
pub use file::{Entry, Record, RecordError, Row};
pub use map::{ENOUGH, ENOUGH_SHEETS, HomeMap};
pub use maps::maps_id;
pub use tally::{Bin, Tally, bins, by_doubt, by_light, came_upon, sure};
