//! From pieces to groups: colours by name, how sure each piece is, counts with a range.

pub mod colours;
pub mod doubt;
pub mod groups;

pub use colours::{Named, name_colours};
pub use doubt::{Doubt, shape_probability};
pub use groups::groups;
