//! The small server of the pages: for this user's browser alone, and for phones that were paired with it.
//!
//! | layer | module | touches |
//! |---|---|---|
//! | who may ask | [`guard`], [`phones`] | memory only |
//! | what an answer is | [`answers`], [`qr`] | memory only |
//! | how it is asked | [`connections`], [`site`] | sockets |

pub mod answers;
pub mod connections;
pub mod guard;
pub mod phones;
pub mod qr;
pub mod site;
