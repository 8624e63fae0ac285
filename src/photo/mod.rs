//! photo (to be written)
