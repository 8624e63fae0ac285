//! The local page on which a person puts a sheet right.
//!
//! Takes sheet files, gives them back corrected, and posts them to the stock.
//!
//! | layer | modules | touches |
//! |---|---|---|
//! | what a correction is | [`vocabulary`], [`tray`], [`correction`], [`resolve`], [`parts`], [`history`], [`totals`], [`snap`], [`side`], [`shown`], [`spot_check`], [`copies`] | memory only |
//! | what corrections teach of colours | [`witness`], [`learn`] | memory only |
//! | where it lies | [`lines`], [`slots`], [`daylight`], [`photos`], [`kept`], [`swatches`], [`own_shapes`], [`record`], [`feed`], [`finish`] | disk, clock, environment |
//! | how it is asked | [`api`], [`routes`], `page/` | memory only |
//!
//! A correction becomes a [`Step`](crate::sheet::review::Step), which holds the pieces
//! before and after; the sheet is then the guess with all steps played over it. So
//! undo and redo need no code of their own for each kind of correction.
//!
//! Nothing is told to the page as kept before it is on the disk.

pub mod vocabulary;
pub mod tray;
pub mod correction;
mod recolour;
pub mod resolve;
pub mod parts;
pub mod history;
pub mod totals;
pub mod snap;
pub mod side;
pub mod shown;
pub mod spot_check;
pub mod copies;
pub mod witness;
pub mod learn;

pub mod lines;
pub mod slots;
pub mod daylight;
pub mod photos;
pub mod kept;
pub mod swatches;
pub mod own_shapes;
pub mod record;
pub mod feed;
pub mod finish;

pub mod api;
pub mod routes;
