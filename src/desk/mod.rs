//! The whole job on one local page: photos, review, stock, plans, colours.
//!
//! The page does nothing that the commands do not do. What it asks for becomes a command of this very program, which runs
//! as a process of its own ([`ask`], [`program`]): so page and command line cannot differ, a count can be
//! ended at any time, and a photo on which a count fails takes nothing with it. Only looking (which photos there
//! are, how they stand) is done here.
//!
//! | layer | modules | touches |
//! |---|---|---|
//! | what is asked for, as a command | [`ask`], [`order`] | memory only |
//! | photos on their way in, and counts | [`arrivals`], [`counts`] | disk, processes |
//! | how things stand | [`sheets`], [`plans`], [`pictures`], [`state`] | disk |
//! | how it is asked | [`api`], [`routes`], `page/` | sockets |

mod words;
pub mod ask;
pub mod order;
pub mod program;
pub mod arrivals;
pub mod counts;
pub mod sheets;
pub mod plans;
pub mod pictures;
pub mod reviewing;
pub mod state;
pub mod api;
pub mod routes;
