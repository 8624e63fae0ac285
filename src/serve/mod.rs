//! The small server of the pages: for this user's browser alone.
//!
//! | layer | module | touches |
//! |---|---|---|
//! | who may ask | [`guard`] | memory only |
//! | what an answer is | [`answers`] | memory only |
//! | how it is asked | [`connections`], [`site`] | sockets |

pub mod answers;
pub mod connections;
pub mod guard;
pub mod site;
