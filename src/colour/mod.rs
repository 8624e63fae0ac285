//! colour (to be written)
