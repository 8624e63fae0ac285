//! The sheet: the result of one photo, as a file and as a marked-up picture.

pub mod file;
pub mod marked;

pub use file::{Group, Piece, Sheet, Unexplained, Warning};
pub use marked::{MarkedError, marked, to_jpeg};
