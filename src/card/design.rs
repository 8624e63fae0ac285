//! design
