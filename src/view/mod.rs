//! view (to be written)
