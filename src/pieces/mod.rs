//! From foreground to pieces: which form and size stands where, turned how.
//!
//! Every hypothesis is a [`Stance`]: a shape standing at a place with a turn. It
//! predicts a silhouette from the camera's pose, because a piece has height and
//! its sides show away from the camera's axis. Hypotheses are searched for
//! around each patch of foreground, measured against edges and colours, and the
//! best one is kept together with how far the next best lies behind.

pub mod polygon;
pub mod profile;
pub mod shape;
pub mod list;
pub mod face;
pub mod stance;
mod seeds;
pub mod apart;
mod turn;
mod patch;
mod evidence;
mod refine;
mod beside;
mod canvas;
pub mod search;
pub mod found;
pub mod find;
pub mod learned;
mod shade;
mod odd;
mod seam;
mod instance;
mod agree;
mod unknown;
pub mod drawn;
mod frame;
pub mod traced;
pub mod footprint;
pub mod heap;
pub mod paint;

pub use agree::find_pieces;
pub use face::{Body, Face};
pub use find::Sight;
pub use found::{FREE, FoundPiece, Leftover, Said, Witness};
pub use list::{ShapeError, Shapes};
pub use profile::{Along, Profile};
pub use search::{ANY, ExpectError, Expected, Search};
pub use shape::{Below, Form, Shape};
pub use stance::Stance;
