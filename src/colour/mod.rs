//! From linear camera RGB to trusted CIELAB (D65), names and swatches.
//!
//! Everything here is pure: plain numbers in, plain numbers out.

pub mod lab;
pub mod names;
