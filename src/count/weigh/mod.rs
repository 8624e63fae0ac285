//! A second witness: what the counted pieces weigh, against what a scale shows.
//!
//! A piece's mass is estimated from its shape, or measured by the user; how well it is known
//! decides which difference means anything.

mod volume;
mod reading;
mod book;
mod masses;
mod compare;
mod explain;

pub use book::{MOST_PIECES, Weighed, WeightBook, WeightError};
pub use compare::{WeighError, weigh};
pub use masses::{Mass, Masses};
pub use reading::{Reading, ReadingError};
pub use volume::{estimate_g, volume_mm3};
