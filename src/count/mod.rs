//! From pieces to groups: colours by name, how sure each piece is, counts with a range; what reviews showed of that.

mod even;
mod explain;
mod field;
mod shade;
mod joint;
mod taught;
mod level;
pub mod colours;
pub mod doubt;
pub mod features;
pub mod fitted;
pub mod flaw;
pub mod groups;
pub mod reason;
pub mod record;
pub mod weigh;

pub use colours::{Colours, Named, name_colours};
pub use doubt::{ShapeOdds, shape_odds};
pub use flaw::{flaws, spoils};
pub use groups::{groups, hidden};
pub use reason::Doubt;
