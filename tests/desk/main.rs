//! The desk: the whole job in a real browser, over real sockets, through kill -9 and strangers.
//!
//! The browser tests need Chromium and its driver (Debian: chromium, chromium-driver), that of the door for phones also
//! unshare (util-linux) and ip (iproute2), the accessibility test axe-core, whose file `CUPTALLY_AXE` names.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

#[path = "../support/mod.rs"]
mod outside;

#[path = "../review/axe.rs"]
mod axe;
#[path = "../review/browser.rs"]
mod browser;
#[path = "../review/support.rs"]
mod support;

mod home;

mod arrivals;
mod commands;
#[cfg(target_os = "linux")]
mod door;
mod first_visit;
#[cfg(target_os = "linux")]
mod many;
mod rooms;

/// Whether a browser is there; see [`outside::need_tool`].
fn need_browser() -> bool {
    outside::need_tool("chromedriver", "chromium-driver")
        && outside::need_tool("chromium", "chromium")
}
