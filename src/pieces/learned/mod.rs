//! Pieces as a trained net sees them: what lies where, how it is turned, which side is up.
//!
//! Takes the metric view and gives [`Proposal`]s, places to look at with a probability for
//! every form, size and side. The net was trained on renders alone.

mod conv;
mod weights;
pub mod net;
pub mod input;
pub mod maps;
mod mirror;
pub mod lies;
mod votes;
pub mod proposals;
pub mod strangers;

pub use input::Input;
pub use lies::Lies;
pub use maps::Maps;
pub use mirror::with_mirrored;
pub use net::{Net, NetError};
pub use proposals::{Proposal, Reading, is_taught, proposals};
pub use strangers::{Stranger, strangers};
