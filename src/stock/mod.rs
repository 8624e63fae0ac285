//! The stock file (to be written).
