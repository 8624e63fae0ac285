//! The review page: in a real browser, over real sockets, through kill -9.
//!
//! The browser tests need Chromium and its driver (Debian: chromium, chromium-driver);
//! the accessibility test also needs axe-core, whose file `CUPTALLY_AXE` names.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "../support/mod.rs"]
mod outside;

mod axe;
mod browser;
mod sheets;
mod support;

mod accessible;
mod actions;
mod certainty;
#[cfg(unix)]
mod connections;
mod corrections;
mod crash;
mod files;
mod finish;
mod keys;
mod learn;
mod new_colour;
mod only_taught;
mod photos;
mod pictures;
mod record;
mod security;
mod side;
mod spot;
mod things;
mod two_servers;
mod windows;

/// Whether a browser is there; see [`outside::need_tool`].
fn need_browser() -> bool {
    outside::need_tool("chromedriver", "chromium-driver")
        && outside::need_tool("chromium", "chromium")
}
