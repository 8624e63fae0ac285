//! count (to be written)
