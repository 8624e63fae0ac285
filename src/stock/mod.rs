//! The stock file: what is owned, where, and how that came about.
//!
//! Two layers, and nothing crosses them:
//!
//! | layer | modules | touches |
//! |---|---|---|
//! | what a stock is | [`kind`], [`tally`], [`lots`], [`model`], [`change`], [`history`], [`identity`], [`scene`], [`merge`], [`alike`], [`near`], [`portion`], [`take`], [`moving`], [`rename`], [`reconcile`], [`confirm`], [`undo`], [`check`], [`incoming`], [`table`], [`view`], [`format`](mod@format) | memory only |
//! | where it lies | [`file`](mod@file), [`restore`], [`lock`], [`durable`], [`why`], [`shell`], [`reader`], [`inbox`], [`author`], [`stamp`] | disk, clock, environment |
//!
//! Every operation makes new [`Contents`]; [`Stock::record`] writes down the
//! difference as a history [`Entry`]. So any operation, also one that is yet to
//! be written, can be undone and recomputed without code of its own.

pub mod kind;
pub mod natural;
pub mod tally;
pub mod lots;
pub mod model;
pub mod change;
pub mod history;
pub mod identity;
pub mod scene;
pub mod merge;
pub mod alike;
pub mod near;
pub mod portion;
pub mod take;
pub mod moving;
pub mod rename;
pub mod reconcile;
pub mod confirm;
pub mod undo;
pub mod check;
pub mod incoming;
pub mod table;
pub mod view;
pub mod format;

pub mod file;
pub mod restore;
pub mod lock;
pub mod durable;
pub mod why;
pub mod shell;
pub mod reader;
pub mod inbox;
pub mod author;
pub mod stamp;

pub use change::Change;
pub use file::StockFile;
pub use history::{Entry, What};
pub use kind::{Kind, Name, PhotoHash, Size};
pub use lots::Lots;
pub use model::{Contents, PendingSheet, Stock};
pub use portion::{Portion, Wanted};
pub use stamp::Stamp;
pub use tally::Tally;
