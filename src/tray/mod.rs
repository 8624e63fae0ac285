//! tray (to be written)
