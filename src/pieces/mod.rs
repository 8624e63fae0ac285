//! pieces (to be written)
