//! Pages in the user's browser: where they are served, and that they are opened.

use super::say;
use crate::serve::site::Ready;

/// What the commands that serve a page have in common.
#[derive(clap::Args)]
pub struct PageArgs {
    /// Port of 127.0.0.1 to listen on [default: any that is free].
    #[arg(long, value_name = "PORT")]
    port: Option<u16>,

    /// Only print the page's address, and open no browser.
    #[arg(long)]
    no_open: bool,
}

impl PageArgs {
    /// The port; 0 for any that is free.
    pub fn port(&self) -> u16 {
        self.port.unwrap_or(0)
    }

    /// Opens the page in the user's browser, unless it is only to be printed; beside the server, since some ways to open one
    /// end only with it.
    pub fn open(&self, ready: &Ready) {
        if self.no_open {
            return;
        }
        let address = ready.address_for_once();
        std::thread::spawn(move || {
            if opener::open_browser(&address).is_err() {
                say::note("no browser could be opened; open the address above yourself");
            }
        });
    }
}
